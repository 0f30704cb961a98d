"""Where "auto" may stand in a spec, and where it may not."""

from __future__ import annotations

from typing import Any

import pytest

from specc.reading.read import Reading, read_spec
from tests.reference import edited


def read(edit: dict[str, Any]) -> Reading:
    job, parts = edited(edit)
    return read_spec(job, "job.toml", lambda name: parts)


@pytest.mark.parametrize(
    ("edit", "path"),
    [
        ({"runs.R1.size": "auto"}, ("runs", 0, "size")),
        ({"runs.R1.conductors[2].size": "auto"}, ("runs", 0, "conductors", 2, "size")),
        ({"panels.PV1.series": "auto"}, ("panels", 0, "series")),
        ({"panels.PV1.parallel": "auto"}, ("panels", 0, "parallel")),
        ({"breakers.Q1.part": "auto"}, ("breakers", 0, "part")),
        ({"fuses.F1.part": "auto"}, ("fuses", 0, "part")),
        ({"disconnects.DS1.part": "auto"}, ("disconnects", 0, "part")),
        ({"controllers.CB1.part": "auto"}, ("controllers", 0, "part")),
        ({"raceways.C1.part": "auto"}, ("raceways", 0, "part")),
        ({"pipes.S1.part": "auto"}, ("pipes", 0, "part")),
    ],
)
def test_may_stand_here(edit: dict[str, Any], path: tuple[str | int, ...]) -> None:
    description = read(edit).description

    assert description is not None
    assert description.autos() == (path,)


@pytest.mark.parametrize(
    ("edit", "rule"),
    [
        ({"pumps.P1.part": "auto"}, "spec.unknown-part"),
        ({"runs.R1.wire": "auto"}, "spec.unknown-part"),
        ({"runs.R1.length": "auto"}, "spec.not-a-number"),
        ({"panels.PV1.series": "automatic"}, "spec.wrong-type"),
        ({"panels.PV1.series": 0}, "spec.out-of-range"),
        ({"part:booster-r.wire.largest": "auto"}, "spec.unknown-unit"),
        ({"part:conduit-r.trade_size": "auto"}, "spec.unknown-unit"),
    ],
)
def test_may_not_stand_here(edit: dict[str, Any], rule: str) -> None:
    reading = read(edit)

    assert reading.description is None
    assert [f.rule for f in reading.findings] == [rule]


def test_a_named_part_must_be_of_the_form_asked_for() -> None:
    (finding,) = read({"fuses.F1.form": "blade"}).findings

    assert finding.rule == "spec.unknown-part"
    assert "10x38" in finding.message
    assert "blade" in finding.message
    assert read({"fuses.F1.form": "10x38"}).findings == ()
    assert read({"raceways.C1.family": "pvc-sch40"}).findings == ()
    assert read({"pipes.S1.family": "pe100-sdr11"}).findings
