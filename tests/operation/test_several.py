"""Several pumps, wells, tanks and arrays: settled together, water and energy kept, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from specc.documents.water_year import parts_of_year
from specc.documents.water_year import water_year as water_table
from specc.operation import made as make
from specc.operation.described import plant_of
from specc.operation.installation import Bus, Installation
from specc.operation.panel import array_curve, cell_k
from specc.operation.plant import NotWorkedOut, Plant
from specc.operation.sharing import Lit, Mode, settle_mode
from specc.operation.together import Ran, Together
from specc.operation.year import run_year, settle, water_year
from specc.rules._edits import BATTERY as BATTERY_ALONE
from specc.system.missing import MissingDatum
from tests.operation import several
from tests.operation.plants import BOOSTED, PLANT, changed, installed
from tests.operation.plants import year_of as synthetic
from tests.reference import read_edited

TANK = frozenset({0})
JOBS: dict[str, dict[str, Any]] = {
    "two boosters on one array, one line": several.TWO_BOOSTERS,
    "two arrays, one line": several.TWO_ARRAYS,
    "two wells": several.TWO_WELLS,
    "one pump, two tanks": several.TANK_2,
    "two pumps, two tanks": {**several.TWO_BOOSTERS, **several.TANK_2},
    "two pumps beside each other on one booster": several.BESIDE,
    "two pumps straight on the panels": several.DIRECT_TWO,
    "two pumps on a battery": several.BANK_TWO,
}


@pytest.mark.parametrize("plant", [PLANT, BOOSTED], ids=["direct", "booster"])
@pytest.mark.parametrize("hours", [2.5, 4.5])
def test_an_installation_of_one_is_the_plant(plant: Plant, hours: float) -> None:
    """The two ways to a year share no code from the pump's curve to the floats."""
    sun = synthetic(hours)
    one, other = water_year(plant, sun), water_year(installed(plant), sun)

    assert other.total_m3 == pytest.approx(one.total_m3, rel=1e-4)
    assert [m.days_short for m in other.months] == [m.days_short for m in one.months]
    for ours, theirs in zip(other.months, one.months, strict=True):
        assert ours.water_m3 == pytest.approx(theirs.water_m3, rel=1e-3)
        assert ours.run_h == pytest.approx(theirs.run_h, rel=1e-3)
        assert ours.starts == pytest.approx(theirs.starts, rel=1e-3)
        assert ours.clear is not None
        assert theirs.clear is not None
        assert theirs.clear.first_min is not None
        # Looked for in steps of two minutes there; here by a straight line between hours, or half an hour.
        assert ours.clear.first_min == pytest.approx(theirs.clear.first_min, abs=35.0)
    assert one.energy is not None
    assert other.energy is not None
    for name in ("light not taken up", "pump friction and slip", "pipe friction", "water lifted"):
        assert other.energy.parts_j[name].sum() == pytest.approx(one.energy.parts_j[name].sum(), rel=1e-3)


def _job(edit: dict[str, Any]) -> tuple[Installation, Together]:
    system = read_edited(edit)
    works = plant_of(system)
    assert isinstance(works, Installation)
    ready = settle(works, make.sun_of(system, works, steps_an_hour=1))
    assert isinstance(ready, Together)
    return works, ready


@pytest.mark.parametrize("edit", JOBS.values(), ids=JOBS)
def test_water_and_energy_are_kept(edit: dict[str, Any]) -> None:
    """Sun in = every loss and the water lifted, in each hour within 0.1 %; and no water is lost or made."""
    works, ready = _job(edit)
    ran = run_year(ready, "nominal", "nominal", energy=True)
    assert isinstance(ran, Ran)

    assert ran.energy is not None
    assert np.abs(ran.energy.miss_share).max() < 0.001
    assert all(np.isfinite(part).all() for part in ran.energy.parts_j.values())
    mean = ran.energy.sun_j.mean()
    for name, joules in ran.energy.parts_j.items():
        # On a cold bright day panels give more than at 25 °C; a battery gives back; and where a data sheet is
        # prolonged the pump may come out a little too good.
        least = {
            "warm cells and low light": -1.0,
            "put into the battery": -1.0,
            "pump friction and slip": -0.01,
        }
        assert joules.min() >= least.get(name, -1e-6) * mean, name
    assert sum(x.sum() for x in ran.into_m3) == pytest.approx(ran.pumped_m3.sum(), rel=1e-6, abs=1e-9)
    for n, tank in enumerate(works.tanks):
        assert tank.demand_m3_s is not None
        gained = np.diff(ran.level_m3[n], prepend=tank.stop_m3)
        wanted = tank.demand_m3_s.nominal * 3600.0
        kept = ran.into_m3[n] - (wanted - ran.lack_m3[n]) - ran.over_m3[n]
        assert kept == pytest.approx(gained, abs=1e-8)
    for n, well in enumerate(works.wells):
        drawn = sum(ran.pump_m3[k].sum() for k, pump in enumerate(works.pumps) if pump.well == n)
        assert well.inflow_m3_s is not None
        assert drawn <= well.storage_m3 + well.inflow_m3_s.nominal * 365 * 86_400.0 + 1e-6
    assert all((run <= 3600.0 + 1e-6).all() for run in ran.run_s)


@pytest.mark.parametrize("name", ["two wells", "one pump, two tanks", "two pumps on a battery"])
def test_water_lifted_is_weight_times_height(name: str) -> None:
    """Source: definition of work. Wells held at one level, so that the height is known."""
    works, _ = _job(JOBS[name])
    level = replace(works, high_m=works.low_m)
    ready = settle(level, synthetic(4.0))
    ran = run_year(ready, "nominal", "nominal", energy=True)
    assert isinstance(ran, Ran)
    assert ran.energy is not None

    up = sum(m3.sum() * top for m3, top in zip(ran.into_m3, level.top_m, strict=True))
    down = sum(m3.sum() * level.low_m[p.well] for m3, p in zip(ran.pump_m3, level.pumps, strict=True))
    lifted = ran.energy.parts_j["water lifted"].sum()
    assert lifted == pytest.approx(level.weight_n_m3 * (up - down), rel=5e-3)


# -- what settles ------------------------------------------------------------------------------------

_LIGHTS = st.lists(st.floats(1.0, 1300.0), min_size=1, max_size=4)


def _apart(
    plant: Plant, *, heads: tuple[float, float] = (20.0, 20.0), one_line: bool = False
) -> Installation:
    """Two pumps like the plant's, from wells of their own, on one array; one line or two, one tank."""
    one = installed(plant)
    pumps = tuple(
        replace(one.pumps[0], tag=tag, well=n, bus=n if plant.booster is not None else 0)
        for n, tag in enumerate(("P1", "P2"))
    )
    buses = (
        one.buses if plant.booster is None else tuple(replace(one.buses[0], tag=t) for t in ("CB1", "CB2"))
    )
    wells = tuple(replace(plant.well, tag=tag) for tag in ("WELL", "WELL2"))
    joint = "J" if one_line else "TK1"
    suction, delivery = one.pieces
    pieces = [
        *(replace(suction, start=well, end=f"{tag}.in") for well, tag in (("WELL", "P1"), ("WELL2", "P2"))),
        *(replace(delivery, start=f"{tag}.out", end=joint) for tag in ("P1", "P2")),
    ]
    if one_line:
        pieces.append(replace(delivery, start="J", end="TK1"))
    levels = (-heads[0], -heads[1])
    return replace(
        one, pumps=pumps, buses=buses, wells=wells, low_m=levels, high_m=levels, pieces=tuple(pieces)
    )


def _lit(made: Installation, lights: list[float], cells_k: float | None = None) -> dict[int, Lit]:
    light = np.array(lights)
    found = {}
    for feed, its in enumerate(made.feeds):
        curves = []
        for array in its.arrays:
            cells = (
                cell_k(np.full_like(light, 293.15), light, np.ones_like(light), array.module.label.noct_k)
                if cells_k is None
                else np.full_like(light, cells_k)
            )
            curves.append(array_curve(array.module, array.series, array.parallel, light, cells))
        found[feed] = Lit(its.arrays, tuple(curves))
    return found


def _settled(made: Installation, lights: list[float], cells_k: float | None = None) -> Mode:
    turning = tuple(range(len(made.pumps)))
    return settle_mode(made, _lit(made, lights, cells_k), turning, (), TANK, made.low_m)


def _water(mode: Mode) -> Any:
    """Flow of all pumps, nothing in a step in which one of them stalls."""
    turns = np.all([run >= 0.0 for run in mode.run.values()], axis=0)
    return np.where(turns, sum(mode.flow_m3_s.values()), 0.0)


@pytest.mark.parametrize("light", [700.0, 900.0, 1100.0])
def test_two_motors_on_one_array_settle_where_a_root_finder_has_them(light: float) -> None:
    """scipy.optimize.brentq on the panels' curve and the sum of both motors' lines, each to a height."""
    plant = changed(PLANT, parallel=2)
    made = _apart(plant, heads=(20.0, 26.0))
    mode = _settled(made, [light])
    curves = [changed(plant, motor_wire_ohm=0.1).curve(head) for head in (20.0, 26.0)]
    panels = _lit(made, [light])[0]

    def line(volts: float, number: int) -> tuple[float, float]:
        curve = curves[number]
        at_bus = curve.voltage_v + curve.current_a * 0.1
        return (
            float(np.interp(volts, at_bus, curve.current_a)),
            float(np.interp(volts, at_bus, curve.flow_m3_s)),
        )

    def surplus(volts: float) -> float:
        return float(panels.current_a(volts)[0]) - line(volts, 0)[0] - line(volts, 1)[0]

    volts = brentq(surplus, 5.0, 40.0)
    for number in (0, 1):
        assert mode.flow_m3_s[number][0] == pytest.approx(line(volts, number)[1], rel=2e-3)


def test_two_like_pumps_on_twice_the_panels_give_twice_the_water() -> None:
    sun = synthetic(4.5)
    well = replace(PLANT.well, inflow_m3_s=None)
    alone = changed(
        PLANT, well=well, static_high_m=PLANT.static_low_m, panel_wire_ohm=0.2, motor_wire_ohm=0.1
    )
    both = _apart(changed(alone, parallel=2, panel_wire_ohm=0.1))

    assert water_year(both, sun).total_m3 == pytest.approx(2.0 * water_year(alone, sun).total_m3, rel=1e-3)


def test_one_line_for_two_never_brings_more_than_two() -> None:
    lights = [300.0, 500.0, 700.0, 900.0, 1100.0]
    for plant in (changed(PLANT, parallel=2), changed(BOOSTED, parallel=2)):
        one, two = (_water(_settled(_apart(plant, one_line=o), lights)) for o in (True, False))
        assert (one <= two + 1e-9).all()
        assert one[-1] < two[-1]


def test_the_booster_that_holds_lower_is_served_first() -> None:
    made = _apart(BOOSTED)
    assert BOOSTED.booster is not None
    low = replace(made.buses[0], booster=replace(BOOSTED.booster, hold_v=27.0))
    mode = _settled(replace(made, buses=(low, made.buses[1])), [250.0])
    even = _settled(made, [250.0])

    assert mode.flow_m3_s[0][0] > 2.0 * even.flow_m3_s[0][0]
    assert mode.run[1][0] < 0.0  # nothing is left for the other
    assert even.flow_m3_s[0][0] == pytest.approx(even.flow_m3_s[1][0], rel=1e-6)


PAIRS = st.sampled_from([changed(PLANT, parallel=2), changed(BOOSTED, parallel=2)])


@settings(max_examples=12)
@given(plant=PAIRS, one_line=st.booleans(), light=st.floats(1.0, 1300.0), more=st.floats(0.0, 300.0))
def test_more_sun_never_brings_less_water(plant: Plant, one_line: bool, light: float, more: float) -> None:
    mode = _settled(_apart(plant, one_line=one_line), [light, light + more], 313.15)

    assert all(
        np.isfinite(x).all() for part in (mode.flow_m3_s, mode.run, mode.parts_w) for x in part.values()
    )
    dim, bright = _water(mode)
    assert bright >= dim - 1e-9


@settings(max_examples=12)
@given(plant=PAIRS, one_line=st.booleans(), light=st.floats(100.0, 1300.0), head=st.floats(2.0, 30.0),
       more=st.floats(0.1, 5.0))  # fmt: skip
def test_a_higher_head_never_brings_more_water(
    plant: Plant, one_line: bool, light: float, head: float, more: float
) -> None:
    low, high = (
        _water(_settled(_apart(plant, heads=(h, h), one_line=one_line), [light]))[0]
        for h in (head, head + more)
    )

    assert high <= low + 1e-9


@settings(max_examples=12)
@given(plant=PAIRS, light=st.floats(100.0, 1300.0), ohm=st.floats(0.0, 1.5), share=st.floats(0.0, 0.95))
def test_thicker_wire_never_brings_less_water(plant: Plant, light: float, ohm: float, share: float) -> None:
    thin, thick = (
        _water(_settled(_apart(changed(plant, panel_wire_ohm=r, motor_wire_ohm=r)), [light]))[0]
        for r in (ohm, ohm * share)
    )

    assert thick >= thin - 1e-8


@settings(max_examples=15)
@given(plant=PAIRS, lights=_LIGHTS)
def test_a_stall_is_consistent(plant: Plant, lights: list[float]) -> None:
    """What stands draws current and lifts nothing; what its panels cannot start they do not."""
    made = _apart(plant)
    still = settle_mode(made, _lit(made, lights), (), (0, 1), TANK, made.low_m)
    half = settle_mode(made, _lit(made, lights), (0,), (1,), TANK, made.low_m)
    short = _lit(made, lights)[0].current_a(0.0)

    assert not still.flow_m3_s
    if plant.booster is None:
        assert (still.start[0] + still.start[1] <= short + 1e-6).all()
    # One that stands beside a running pump takes from it.
    alone = settle_mode(made, _lit(made, lights), (0,), (), TANK, made.low_m)
    turns = half.run[0] >= 0.0
    assert (half.flow_m3_s[0][turns] <= alone.flow_m3_s[0][turns] + 1e-9).all()


def test_a_dry_well_stops_its_own_pump_alone() -> None:
    _, ready = _job({**several.TWO_WELLS, "source.WELL2.inflow": "0.2 L/min"})
    ran = run_year(ready, "nominal", None)
    assert isinstance(ran, Ran)

    first, second = (float(m3.sum()) for m3 in ran.pump_m3)
    assert second == pytest.approx(0.2e-3 / 60.0 * 365 * 86_400.0, rel=0.05)
    assert first > 5.0 * second
    assert ran.dry_s.sum() == 0.0


def test_a_float_valve_shuts_its_tank_and_not_the_pump() -> None:
    works, ready = _job({**several.TWO_BOOSTERS, **several.TANK_2})
    ran = run_year(ready, "nominal", "nominal")
    tank = works.tanks[1]

    assert tank.float_valve
    assert ran.level_m3[1].max() <= tank.stop_m3 + 1e-9
    assert ran.over_m3[1].sum() == 0.0
    assert all(1 not in pump.stops_when_full for pump in works.pumps)


def test_arrays_that_meet_add_their_currents() -> None:
    """Twice the same array side by side is the array with twice the strings."""
    one = installed(changed(PLANT, parallel=2, panel_wire_ohm=0.1))
    array = replace(one.feeds[0].arrays[0], parallel=1, wire_ohm=0.2)
    two = replace(one, feeds=(replace(one.feeds[0], arrays=(array, replace(array, tag="PV2"))),))
    lights = [400.0, 700.0, 1000.0]

    apart, together = (_settled(m, lights) for m in (two, one))
    assert apart.flow_m3_s[0] == pytest.approx(together.flow_m3_s[0], rel=1e-5)
    assert apart.parts_w["panel wire"] == pytest.approx(together.parts_w["panel wire"], rel=1e-3)


# -- what is said ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (
            {
                "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
                "runs.R3.conductors[1].to": "P2.-",
                "runs.R3.conductors[3]": {"from": "P1.-", "to": "P2.+", "color": "white"},
            },
            "motors in series",
        ),
        (
            {
                **several.PUMP_2,
                "runs.R2.conductors[3]": {"from": "Q1.2", "to": "P2.+", "color": "red"},
                "runs.R2.conductors[4]": {"from": "CB1.pv-", "to": "P2.-", "color": "white"},
            },
            "straight and others through a booster",
        ),
        (dict(BATTERY_ALONE), "no charge controller on it"),
        ({"pipes.S9": {"part": "pipe-r", "from": "WELL2", "to": "FL1.in", "length": "3 m"},
          **{key: several.WELL_2[key] for key in ("source.WELL2", "locations.well 2")}},
         "through one suction"),
        ({**several.BANK, "part:battery-r.chemistry": "nickel-iron"}, "knows lead-acid and lithium"),
    ],
    ids=["series", "mixed", "no charger", "two suctions", "chemistry"],
)  # fmt: skip
def test_a_shape_that_is_not_worked_out_is_named(edit: dict[str, Any], says: str) -> None:
    with pytest.raises(NotWorkedOut, match=says):
        plant_of(read_edited(edit))


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({**several.BANK, "part:charger-r.tracks_maximum_power": None}, "tracks_maximum_power"),
        ({**several.BANK, "part:battery-r.chemistry": None}, "chemistry"),
        ({**several.BANK, "part:battery-r.internal_resistance": None}, "internal_resistance"),
        ({**several.BANK, "part:battery-r.capacity": None}, "capacity"),
        ({**several.BANK, "part:charger-r.efficiency": None}, "efficiency"),
        ({**several.TANK_2, "switches.LS1.location": "shed", "locations.shed": {},
          "pumps.P1.location": "well", "valves.FV2.part": "ball-valve-r"}, "location"),
        ({**several.TWO_WELLS, "source.WELL2.inflow": None}, "inflow"),
        ({**several.TWO_ARRAYS, "panels.PV2.tilt": None}, "tilt"),
    ],
)  # fmt: skip
def test_a_datum_that_is_missing_is_named(edit: dict[str, Any], key: str) -> None:
    with pytest.raises(MissingDatum) as lack:
        make.made_year(read_edited(edit), steps_an_hour=1)
    assert lack.value.key == key


def test_pumps_that_never_turn_are_told_of() -> None:
    system = read_edited(several.BESIDE)
    year = make.made_year(system, steps_an_hour=1)

    assert any("P1 lifts nothing all year" in note for note in water_table(system, year).notes)
    assert {table.name for table in parts_of_year(system, year)} == {"water-pumps"}


def test_a_bus_of_one_needs_no_bus_wire() -> None:
    """Wire before the pumps part or after is the same to a single pump."""
    one = installed(BOOSTED)
    shifted = replace(
        one,
        buses=(Bus(0, 0.1, BOOSTED.booster),),
        pumps=(replace(one.pumps[0], lead_ohm=one.pumps[0].lead_ohm - 0.1),),
    )
    lights = [150.0, 300.0, 900.0]
    assert _settled(shifted, lights).flow_m3_s[0] == pytest.approx(
        _settled(one, lights).flow_m3_s[0], rel=1e-5
    )
