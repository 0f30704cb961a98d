"""Every part of the catalogue is drawn, and called in legend and index, as what it is."""

from __future__ import annotations

import re
from typing import Any, get_args

import pytest

from specc.documents.device_symbols import OTHER, symbol_of_fitting, symbol_of_part
from specc.documents.diagram import Diagram
from specc.documents.drafting.symbols import read_symbols
from specc.documents.layout import lay_out
from specc.documents.one_line import one_line
from specc.documents.wiring import wiring
from specc.documents.wiring_layout import lay_out_wiring
from specc.reading import parts
from specc.reading.spec import PARTS_OF_TABLE, Source
from specc.rendering.dxf import drawing_dxf
from specc.rendering.svg import render_drawing
from specc.rulebooks import load_handbook
from tests.jobs import solved
from tests.reference import read_edited
from tests.test_catalog_parts import catalog

# Parts of these kinds are wires, ducts and pipes: lines of a drawing, no devices.
LINES = ("wire", "raceway", "pipe")
# What the seller calls it -> what the legend calls it. The first that stands in a part's name counts; the
# words are those of the trade, and of the standards that the symbol files name.
CALLED = {
    "panel": {"Panel": "PV array"},
    "battery": {"Battery": "battery"},
    "controller": {
        "Low-voltage disconnect": "low-voltage disconnect",
        "Charge controller": "charge controller",
        "Current booster": "booster, DC/DC converter",
    },
    "isolator": {
        "Plug connector": "plug connector, not under load",
        "Toggle switch": "switch contact",
        "load-break isolator": "isolator, load-break",
        "Battery isolator": "isolator, load-break",
    },
    "breaker": {"breaker": "circuit breaker"},
    "fuse": {"fuse": "fuse"},
    "terminal_block": {
        "Terminal block": "terminal block",
        "Bus bar": "bar or block, all joined",
        "Pigtail block": "bar or block, all joined",
    },
    "switch": {
        "float switch": "float switch",
        "temperature switch": "temperature switch",
        "Pressure switch": "pressure switch",
    },
    "pump": {"pump": "DC motor and pump"},
    "filter": {"filter": "filter", "strainer": "filter"},
    "valve": {
        "Ball valve": "ball valve",
        "check valve": "check valve",
        "Priming tee": "priming tee",
        "gate valve": "gate valve",
        "relief valve": "relief valve",
        "float valve": "float valve",
        "Drain cock": "drain cock",
        "air valve": "air valve",
    },
    "gauge": {
        "Pressure gauge": "pressure gauge",
        "Vacuum gauge": "vacuum gauge",
        "Water meter": "water meter",
        "voltmeter": "voltmeter",
        "ammeter": "ammeter",
    },
    "enclosure": {"enclosure": "bar or block, all joined", "Battery box": "bar or block, all joined"},
    "grounding": {
        "rod 5/8 in by": "earth, ground rod",
        "Earth rod": "earth, ground rod",
        "clamp": "bonding clamp",
        "System bond": "bond of the DC system",
        "resistor": "functional earth through a resistor",
        "Ground-fault device, 1 A fuse": "functional earth through a fuse, with a contact",
        "Ground-fault detector": "functional earth through a detector, with a contact",
        "holder with a 1 A fuse": "functional earth through a fuse",
        "Bonding bar": "bar or block, all joined",
        "Surge device": "surge protective device",
    },
    "tank": {"tank": "tank, vented", "cistern": "tank, vented"},
}
DEVICES = {
    name: part
    for name, part in catalog().items()
    if part.kind in {kind for kinds in PARTS_OF_TABLE.values() for kind in kinds} - set(LINES)  # type: ignore[attr-defined]
}


def words_of(part: parts.Part) -> str:
    return read_symbols()[symbol_of_part(part)].words


@pytest.mark.parametrize("name", DEVICES)
def test_a_part_is_called_what_its_seller_calls_it(name: str) -> None:
    part: Any = DEVICES[name]
    wanted = [
        words for called, words in CALLED[part.kind].items() if re.search(called, part.name, re.IGNORECASE)
    ]

    assert wanted, f"no word for {part.name}"
    assert words_of(part) == wanted[0]


def test_no_two_types_of_a_kind_share_a_symbol() -> None:
    """Types as the models list them, so that a new one cannot slip in under the symbol of another."""
    for model, key, more in (
        (parts.Controller, "type", {"ports": ()}),
        (parts.Isolator, "type", {"poles": (), "load_break": True}),
        (parts.Switch, "senses", {"poles": (), "contact": {}}),
        (parts.Valve, "type", {"size": "1 in"}),
        (parts.Gauge, "measures", {}),
        (parts.Grounding, "type", {}),
    ):
        types = get_args(model.model_fields[key].annotation)
        made = [model.model_validate({"id": "x", "name": "x", key: each, **more}) for each in types]
        symbols = [symbol_of_part(part) for part in made]

        assert len(types) > 1
        assert len(set(symbols)) == len(types), dict(zip(types, symbols, strict=True))
        # A functional earth that does not say what it goes through has no symbol that would be true.
        assert {t for t, s in zip(types, symbols, strict=True) if s == OTHER} <= {"functional earth"}


@pytest.mark.parametrize("through", get_args(parts.FunctionalEarth.model_fields["through"].annotation))
@pytest.mark.parametrize("contact", [False, True])
def test_a_functional_earth_is_drawn_through_what_it_goes_through(through: str, contact: bool) -> None:
    poles = [{"between": ["3", "4"]}] if contact else []
    part = parts.Grounding.model_validate(
        {
            "id": "x",
            "name": "x",
            "type": "functional earth",
            "functional_earth": {"terminal": "1", "through": through},
            "poles": poles,
        }
    )

    assert f"through a {through}" in words_of(part)
    assert ("contact" in words_of(part)) is contact


def test_an_isolator_that_must_not_break_a_load_is_not_drawn_as_one_that_may() -> None:
    may, must_not = (
        parts.Isolator.model_validate({"id": "x", "name": "x", "poles": (), "load_break": load_break})
        for load_break in (True, False)
    )

    assert words_of(may) == "isolator, load-break"
    assert words_of(must_not) == "isolator, not under load"


@pytest.mark.parametrize("kind", get_args(Source.model_fields["kind"].annotation))
def test_a_source_is_called_what_the_job_calls_it(kind: str) -> None:
    diagram = one_line(read_edited({"source.WELL.kind": kind}))
    (source,) = [device for device in diagram.devices if device.tag == "WELL"]

    assert read_symbols()[source.symbol].words.split()[-1] == kind.split()[-1]


def test_valves_among_the_fittings_are_called_what_they_are() -> None:
    handbook = load_handbook()
    for name in handbook.fitting_names():
        symbol, duty = symbol_of_fitting(name), handbook.fitting_duty(name)
        words = read_symbols()[symbol].words if symbol else ""
        if duty == "stop valve":
            assert words == name
        else:
            assert words == (duty if duty in ("check valve", "foot valve") else "")


def on_paper(diagram: Diagram) -> tuple[str, str]:
    drawing = lay_out(diagram)
    return render_drawing(drawing), drawing_dxf(drawing).decode("utf-8")


def test_a_low_voltage_disconnect_is_one_on_every_paper() -> None:
    """Saltbush Paddock has one behind its battery, and no booster."""
    system = solved("saltbush-paddock")
    svg, dxf = on_paper(one_line(system))
    (tag,) = [d.tag for d in system.of_kind("controller") if d.part.type == "low-voltage disconnect"]

    assert f"{tag} (low-voltage disconnect)" in svg  # the words for those who do not see it
    assert svg.count(">low-voltage disconnect<") >= 2  # caption and legend
    assert "booster" not in svg + dxf
    assert "U&lt;" in svg
    assert "U<" in dxf
    (device,) = [d for d in wiring(system).devices if d.tag == tag]
    assert device.captions[0] == "low-voltage disconnect"
    # Its maker joins the negatives and says that it opens the positive leg.
    assert {(i.start, i.end, i.kind) for i in device.inners} == {
        ("battery+", "load+", "contact"),
        ("battery-", "load-", "join"),
    }
    drawn = "".join(render_drawing(each) for each in lay_out_wiring(wiring(system)))
    assert "booster" not in drawn
