"""What the one-line says of a job: every device, the runs, one line for both conductors."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from specc.documents.conductor_schedule import wire_type
from specc.documents.drafting.look import papers_of
from specc.documents.one_line import one_line
from specc.documents.paging import lay_out_sheets
from specc.pipeline import compile_spec
from specc.system.system import System
from tests.jobs import EXAMPLES as EXAMPLE_NAMES
from tests.jobs import solved
from tests.reference import EXAMPLES, read_edited
from tests.seeder.rates import compiled
from tests.seeder.systems import build


def test_one_line_stands_for_both_conductors_of_a_run() -> None:
    links = [link for link in one_line(read_edited({})).links if link.tag == "R1" and link.kind == "power"]

    assert [(link.from_tag, link.to_tag, link.conductors) for link in links] == [("PV1", "Q1", 2)]
    assert links[0].poles == "+ −"


def test_a_run_tells_its_wire_raceway_ground_voltage_and_current() -> None:
    """Cedar Fold's R1: as in the worked example of the trade, 3 × 22 V × (1 - 0.003 × (-33.9 - 25)) = 77.66 V
    on the coldest morning (own arithmetic); 1.25 × 6.00 A of its one string, NEC 690.8(A)(1)."""
    diagram = one_line(solved("cedar-fold-orchard"))
    (link,) = [link for link in diagram.links if link.tag == "R1"]
    grounds = {link.tag for link in diagram.links if link.kind == "ground"}

    assert link.all_captions == ("2 × 6 AWG", "77.7 V, 7.5 A", "THWN-2 Cu", "190 ft, C1", "ground 10 AWG")
    assert "R1" not in grounds


def test_a_ground_that_is_drawn_is_not_counted_at_its_run_as_well() -> None:
    links = one_line(solved("saltbush-paddock")).links
    (ground,) = [link for link in links if link.kind == "ground" and link.tag == "R1"]
    (power,) = [link for link in links if link.kind == "power" and link.tag == "R1"]

    assert ground.captions == ("6 mm2",)
    assert not any("ground" in caption for caption in power.all_captions)


def test_a_fuse_in_the_return_is_drawn() -> None:
    diagram = one_line(
        read_edited(
            {
                "fuses.F2": {"part": "fuse-r", "location": "pump house"},
                "runs.R1.conductors[1].to": "F2.1",
                "runs.R2.conductors[3]": {"from": "F2.2", "to": "CB1.pv-", "color": "white"},
            }
        )
    )

    assert "F2" in {device.tag for device in diagram.devices}
    assert {"F2"} & {end for link in diagram.links for end in (link.from_tag, link.to_tag)}


def test_a_fuse_in_either_pole_of_a_battery_is_one_symbol_with_both_tags() -> None:
    path = EXAMPLES / "saltbush-paddock.toml"
    compiled = compile_spec(path.read_bytes(), path.name, lambda name: (EXAMPLES / name).read_bytes())
    assert compiled.system is not None
    devices = {device.tag: device for device in one_line(compiled.system).devices}

    assert "F2" not in devices
    assert any("F2" in caption for caption in devices["F1"].captions)


def test_a_block_that_only_joins_two_wires_is_not_drawn_but_its_runs_are_named() -> None:
    diagram = one_line(
        read_edited(
            {
                "terminal_blocks.TB1": {"part": "block-r", "location": "pump house"},
                "runs.R4.conductors[0].to": "TB1.1",
                "runs.R7": {
                    "wire": "control-r",
                    "size": "18 AWG",
                    "length": "2 m",
                    "laid": "in enclosure",
                    "conductors": [{"from": "TB1.2", "to": "LS1.1", "color": "blue"}],
                },
            }
        )
    )

    assert "TB1" not in {device.tag for device in diagram.devices}
    assert any(link.tag in ("R4, R7", "R7, R4") for link in diagram.links)


def test_a_return_in_one_run_with_others_counts_beside_its_own_positive() -> None:
    # R2 holds the pair into the booster and the pair out of it: the booster's return to the isolator lies
    # beside the line to the fuse, not beside the line from the array.
    links = one_line(
        read_edited(
            {
                "disconnects.DS1.part": "isolator-r-2p",
                "runs.R1.conductors[1].to": "Q2.1",
                "breakers.Q2": {"part": "breaker-r", "location": "pump house"},
                "runs.R2.conductors[3]": {"from": "Q2.2", "to": "CB1.pv-", "color": "white"},
                "runs.R2.conductors[4]": {"from": "CB1.motor-", "to": "DS1.3", "color": "white"},
                "runs.R3.conductors[1].from": "DS1.4",
            }
        )
    ).links
    poles = {(link.from_tag, link.to_tag): link.poles for link in links if link.kind == "power"}

    assert poles["Q1", "CB1"] == "+ \N{MINUS SIGN}"
    assert poles["CB1", "F1"] == "+ \N{MINUS SIGN}"
    assert poles["F1", "DS1"] == "+"


def test_two_pieces_of_a_return_through_a_block_are_one_conductor_on_the_line() -> None:
    # From the breaker to a bar of negatives, and from the bar to the booster, both in R2.
    links = one_line(
        read_edited(
            {
                "terminal_blocks.TB1": {
                    "part": "bus-bar-4-100a",
                    "location": "pump house",
                    "spare": ["4"],
                },
                "breakers.Q1.part": "dc-breaker-2p-30a",
                "runs.R1.conductors[1].to": "Q1.3",
                "runs.R5.conductors[1].to": "TB1.3",
                "runs.R2.conductors[3]": {"from": "Q1.4", "to": "TB1.1", "color": "white"},
                "runs.R2.conductors[4]": {"from": "TB1.2", "to": "CB1.pv-", "color": "white"},
            }
        )
    ).links
    (into,) = [link for link in links if link.kind == "power" and link.to_tag == "CB1"]

    assert into.poles == "+ \N{MINUS SIGN}"
    assert into.captions[0] == "2 × 10 AWG"


def test_water_runs_from_source_to_tank() -> None:
    water = [(link.from_tag, link.to_tag) for link in one_line(read_edited({})).links if link.kind == "water"]

    assert water == [
        ("WELL", "FL1"),
        ("FL1", "PR1"),
        ("PR1", "P1"),
        ("P1", "RV1"),
        ("RV1", "CV1"),
        ("CV1", "TK1"),
    ]


def all_tags(system: System) -> list[str]:
    """Every tag that the spec gives to something."""
    entries = (entry.model for group in system.description.entries.values() for entry in group)
    return [entry.tag for entry in entries if getattr(entry, "tag", "")]


def has(text: str, word: str) -> bool:
    return re.search(rf"(?<![\w.-]){re.escape(word)}(?![\w-])", text) is not None


def unsaid(system: System) -> list[str]:
    """Tags that the sheets of the one-line do not bear, and runs of which they do not tell all."""
    diagram = one_line(system)
    papers = papers_of("us" if system.book.paper == "letter" else "iso")[:2]
    printed = " ".join(text.content for sheet in lay_out_sheets(diagram, papers) for text in sheet.texts)
    lacking = [tag for tag in all_tags(system) if not has(printed, tag)]
    for run in system.connected.runs.values():
        said = " ".join(
            (f"{link.tags} {' '.join(link.all_captions)}")
            for link in diagram.links
            if run.tag in link.tags.split(", ")
        )
        said = said or " ".join(note for note in diagram.notes if has(note, run.tag))
        raceway = [run.raceway.tag] if run.raceway is not None else []
        for word in (*{c.size for c in run.conductors}, *{wire_type(c) for c in run.conductors}, *raceway):
            if word not in said or not all(w in printed for w in word.split()):
                lacking.append(f"{word} of {run.tag}")
    return lacking


def test_the_checker_of_tags_sees_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    system = solved("saltbush-paddock")
    whole = one_line(system)
    links = tuple(replace(link, beside=(), once=()) for link in whole.links)
    monkeypatch.setattr(f"{__name__}.one_line", lambda _: replace(whole, links=links))

    assert {"R9", "C1", "C1 of R1"} <= set(unsaid(system))


@pytest.mark.parametrize("name", EXAMPLE_NAMES)
def test_every_tag_and_every_run_of_an_example_is_told_on_its_sheets(name: str) -> None:
    assert unsaid(solved(name)) == []


@pytest.mark.parametrize("first", range(0, 40, 8))
def test_every_tag_and_every_run_of_random_jobs_is_told_on_their_sheets(first: int) -> None:
    for seed in range(first, first + 8):
        system = compiled(build(seed)).system
        assert system is not None
        assert unsaid(system) == [], f"seed {seed}"


def test_a_return_in_a_run_of_its_own_stands_beside_the_line_on_whose_way_it_is() -> None:
    """Saltbush's R9 leads from the isolator at the pump back to it, while the positive goes by the float."""
    links = one_line(solved("saltbush-paddock")).links
    (beside,) = [link for link in links if "R9" in link.tags.split(", ")]
    (text,) = [text for _, text in beside.once if text.startswith("return R9")]

    assert (beside.tag, beside.to_tag) == ("R8", "P1")
    assert text == "return R9: 6 mm2, 57.6 V, 6.4 A, XLPE-90 Cu, 1.5 m, ground 6 mm2"


def test_a_run_of_grounding_alone_is_drawn() -> None:
    """Hazel Hollow's R4 bonds the case of the pump; nothing else lies in it."""
    links = one_line(solved("hazel-hollow-spring")).links

    assert [(link.from_tag, link.to_tag, link.captions) for link in links if link.tag == "R4"] == [
        ("P1", "BOX2", ("8 AWG",))
    ]


def test_what_joins_or_holds_nothing_is_named_in_the_notes() -> None:
    system = read_edited(
        {
            "raceways.C9": {"part": "conduit-r", "length": "3 m"},
            "enclosures.BOX9": {"part": "box-r", "location": "pump house", "holds": []},
        }
    )
    notes = " ".join(one_line(system).notes)

    assert "Raceways without a run: C9." in notes
    assert "Holding or joining nothing that is drawn: BOX9." in notes


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda p: p.stem)
def test_every_device_and_run_of_an_example_is_on_its_diagram(path: object) -> None:
    assert hasattr(path, "name")
    if path.name.endswith("parts.toml"):
        pytest.skip("a catalogue")
    compiled = compile_spec(
        path.read_bytes(), path.name, lambda name: (EXAMPLES / name).read_bytes(), strict=True
    )
    system = compiled.system
    assert system is not None
    diagram = one_line(system)
    shown = {device.tag for device in diagram.devices}
    # Raceways and enclosures are captions and outlines; a block that only splices is not drawn.
    wanted = {
        d.tag for d in system.devices.values() if d.kind not in ("raceway", "enclosure", "terminal_block")
    }

    # A twin in the return is named beside the device that stands for it.
    named_twins = {word for d in diagram.devices for caption in d.captions for word in caption.split()}

    assert wanted <= shown | named_twins
    named = {tag for link in diagram.links for tag in link.tag.split(", ")}
    assert {
        r for r in system.connected.runs if any(c for c in system.connected.runs[r].conductors)
    } >= named - set(system.connected.pipes)
    assert set(system.connected.pipes) <= named
