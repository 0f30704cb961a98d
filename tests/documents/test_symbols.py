"""The symbol files keep to what the layout reads from them."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from specc.documents.drafting.look import read_look
from specc.documents.drafting.symbols import parse_symbol, read_symbols
from specc.resources import templates_dir

NAMES = tuple(read_symbols())
NEEDED = (
    "pv-array",
    "battery",
    "fuse",
    "circuit-breaker",
    "isolator",
    "switch",
    "float-switch",
    "temperature-switch",
    "pressure-switch",
    "dc-motor-pump",
    "dc-dc-converter",
    "charge-controller",
    "terminal-block",
    "bus-bar",
    "ground-rod",
    "surge-device",
    "relay",
    "low-voltage-disconnect",
    "voltmeter",
    "ammeter",
    "well",
    "pond",
    "spring-box",
    "stream",
    "cistern",
    "filter",
    "foot-valve",
    "check-valve",
    "priming-tee",
    "ball-valve",
    "gate-valve",
    "relief-valve",
    "pressure-gauge",
    "water-meter",
    "tank",
    "union",
)


def test_every_device_of_such_a_job_has_a_symbol() -> None:
    assert set(NEEDED) <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_connection_points_lie_on_the_symbol_and_side_ports_on_the_grid(name: str) -> None:
    """Wires of one column stand on the grid, so heights of side ports must differ by whole steps of it."""
    symbol, grid = read_symbols()[name], read_look().grid

    assert symbol.ports
    assert len({port.name for port in symbol.ports}) == len(symbol.ports)
    for port in symbol.ports:
        assert 0 <= port.x <= symbol.width, port
        assert 0 <= port.y <= symbol.height, port
        assert set(port.kinds) <= {"power", "control", "signal", "ground", "water"}, port
        if port.side in ("left", "right"):
            assert (port.y - symbol.axis) % grid == 0, port


@pytest.mark.parametrize("name", NAMES)
def test_ports_that_leave_upward_or_downward_never_share_a_vertical(name: str) -> None:
    symbol = read_symbols()[name]
    for side in ("top", "bottom"):
        places = [port.x for port in symbol.ports if port.side == side]
        assert len(set(places)) == len(places)


@pytest.mark.parametrize("name", NAMES)
def test_symbols_use_the_three_line_weights_in_black_and_white(name: str) -> None:
    root = ElementTree.parse(templates_dir() / "symbols" / f"{name}.svg").getroot()
    weights = {element.get("stroke-width") for element in root.iter()} - {None}
    colours = {element.get(key) for element in root.iter() for key in ("fill", "stroke")} - {None}

    assert weights <= {"0.25", "0.35", "0.5", "1"}
    assert colours <= {"none", "#000", "#fff"}
    assert root.findtext("{http://www.w3.org/2000/svg}desc")


def test_a_symbol_that_does_not_begin_at_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="must begin at 0 0"):
        parse_symbol("odd", '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-5 0 10 10"/>')
