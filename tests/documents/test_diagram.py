"""A diagram that contradicts itself is refused when it is made."""

from __future__ import annotations

import pytest

from specc.documents.diagram import Diagram, DiagramBox, DiagramDevice, DiagramError, DiagramLink, TitleBlock

FUSE = DiagramDevice("F1", "fuse")
TITLE = TitleBlock("one fuse")


def test_a_tag_used_twice_is_refused_by_name() -> None:
    with pytest.raises(DiagramError, match="used twice: F1"):
        Diagram(TITLE, (FUSE, FUSE))


def test_a_link_to_an_unknown_device_is_refused_by_name() -> None:
    with pytest.raises(DiagramError, match="unknown devices: F2"):
        Diagram(TITLE, (FUSE,), (DiagramLink("R1", "F1", "F2", "power"),))


def test_a_box_around_an_unknown_device_is_refused_by_name() -> None:
    with pytest.raises(DiagramError, match="unknown devices: F3"):
        Diagram(TITLE, (FUSE,), boxes=(DiagramBox("B1", "box", ("F3",)),))


def test_a_device_in_two_boxes_is_refused_by_name() -> None:
    boxes = (DiagramBox("B1", "box", ("F1",)), DiagramBox("B2", "box", ("F1",)))

    with pytest.raises(DiagramError, match="two boxes: F1"):
        Diagram(TITLE, (FUSE,), boxes=boxes)
