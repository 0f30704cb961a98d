"""A battery through the year: its balance, its disconnect, what it loses, and the water it brings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from specc.operation.advice import advise, useful_m3
from specc.operation.bank import Charging, Line, settle_bank
from specc.operation.described import plant_of
from specc.operation.installation import Charger, Feed, Guard, Installation, Store
from specc.operation.made import sun_of
from specc.operation.plant import NotWorkedOut, Range
from specc.operation.sharing import lit
from specc.operation.together import Ran, Together, bring_together
from specc.operation.weather import SunYear, coarser
from specc.operation.year import run_year, settle
from tests.jobs import compiled
from tests.operation import several
from tests.operation.plants import PLANT, installed, year_of
from tests.reference import read_edited

# A 24 V lead-acid bank of 100 Ah, in round figures.
STORE = Store("BAT1", 360_000.0, 25.8, 22.8, 0.02, 0.3, 0.9, 3600.0, 0.03 / 2.628e6)
GUARD = Guard("LV1", 23.0, 25.2, 0.004)


def _banked(
    *,
    store: Store = STORE,
    guard: Guard | None = GUARD,
    tracks: bool = False,
    efficiency: float = 0.97,
    **array: Any,
) -> Installation:
    one = installed(PLANT)
    (panels,) = one.feeds[0].arrays
    charger = Charger("CC1", (replace(panels, **array),), 0.01, efficiency, 20.0, tracks, 28.8)
    guards = () if guard is None else (guard,)
    pump = replace(one.pumps[0], guard=None if guard is None else 0)
    return replace(one, pumps=(pump,), feeds=(Feed(store.tag, (), store, (charger,), guards),))


BANKED = _banked()


def _days(count: int, sun_hours: float = 4.5) -> SunYear:
    whole = year_of(sun_hours)
    hours = slice(0, 24 * count)
    return SunYear(
        whole.origin, whole.step_s, whole.plane_w_m2[hours], whole.air_k[hours], whole.wind_m_s[hours]
    )


def _ran(made: Installation, sun: SunYear, demand: float | None = 1.1e-5, inflow: float | None = 3e-4) -> Ran:
    ready = bring_together(made, ((sun,),))
    return ready.run([inflow], [demand])


@pytest.mark.parametrize("tracks", [False, True], ids=["switch", "tracking"])
@pytest.mark.parametrize("hours", [2.0, 5.0])
def test_energy_closes_in_every_hour(tracks: bool, hours: float) -> None:
    """Sun in = losses of panels, wire, controller, battery, motor, pump + what is stored + water lifted."""
    made = _banked(tracks=tracks, light_share=0.93)
    ready = settle(made, year_of(hours))
    ran = run_year(ready, "nominal", "nominal", energy=True)
    assert isinstance(ran, Ran)
    assert ran.energy is not None

    assert np.abs(ran.energy.miss_share).max() < 0.001
    # At night too: what the battery gives is what motor, wire and water take.
    total = sum(ran.energy.parts_j.values())
    night = ran.energy.sun_j == 0.0
    assert np.abs(total[night]).max() < 1e-6 * ran.energy.sun_j.max()
    stored = ran.energy.parts_j["put into the battery"].sum()
    change = STORE.energy_j(float(ran.stored_c[0][-1])) - STORE.energy_j(STORE.capacity_c)
    assert stored == pytest.approx(change, rel=1e-9, abs=1.0)
    for name, joules in ran.energy.parts_j.items():
        if name not in ("warm cells and low light", "put into the battery"):
            assert joules.min() >= -1e-6 * ran.energy.sun_j.mean(), name


def test_water_lifted_is_weight_times_height() -> None:
    """Source: definition of work; the well held at one level."""
    made = replace(BANKED, high_m=BANKED.low_m)
    ran = run_year(settle(made, year_of(4.0)), "nominal", "nominal", energy=True)
    assert isinstance(ran, Ran)
    assert ran.energy is not None

    lifted = made.weight_n_m3 * 20.0 * ran.pumped_m3.sum()
    assert ran.energy.parts_j["water lifted"].sum() == pytest.approx(lifted, rel=1e-3)


def test_it_pumps_by_night_too_and_keeps_within_its_charge() -> None:
    ran = _ran(BANKED, year_of(5.0), demand=2e-5)

    assert ran.run_s[0].reshape(365, 24)[:, :4].sum() > 0.0
    assert (ran.stored_c[0] >= 0.0).all()
    assert (ran.stored_c[0] <= STORE.capacity_c + 1e-6).all()


def test_floats_stop_it_by_night() -> None:
    full = replace(BANKED, tanks=(replace(BANKED.tanks[0], stop_m3=5.8, restart_m3=5.5),))
    ran = _ran(full, _days(10, 6.0), demand=0.0)

    assert ran.pumped_m3.sum() < 1e-3  # the second in which the float first feels the full tank
    assert ran.wait_s[0].sum() > 0.0


def test_the_disconnect_holds_the_pump_off_and_lets_it_back() -> None:
    ran = _ran(BANKED, _days(60, 2.0), demand=None)
    off, on = ran.bank_off_s[0].sum(), ran.run_s[0].sum()

    assert off > 0.0
    assert on > 0.0
    assert off + on == pytest.approx(60 * 86_400.0, rel=1e-6)
    # It never lets the bank be drained far under what 23.0 V loaded stand for.
    rest_v = 23.0 + 3.0 * (STORE.inner_ohm + GUARD.wire_ohm)
    assert ran.stored_c[0].min() > 0.8 * STORE.capacity_c * (rest_v - 22.8) / 3.0


def test_without_a_disconnect_it_is_run_down() -> None:
    guarded, bare = (_ran(_banked(guard=g), _days(60, 2.0), demand=None) for g in (GUARD, None))

    assert bare.stored_c[0].min() < 1e-3 * STORE.capacity_c < guarded.stored_c[0].min()
    assert bare.bank_off_s[0].sum() == 0.0


def test_in_the_dark_it_loses_what_leaks() -> None:
    """3 % a month, by dq/dt = -q/T: 0.97 of the charge after a month, but for the bend of the exponential."""
    ran = _ran(BANKED, SunYear("dark", 3600.0, *(np.full(730, v) for v in (0.0, 293.15, 1.0))), demand=0.0)

    assert ran.stored_c[0][-1] / STORE.capacity_c == pytest.approx(np.exp(-0.03), rel=1e-5)


def test_charge_is_kept() -> None:
    """Σ charge in · share given back - Σ charge out - leak = change of charge, over weeks that end low."""
    store = replace(STORE, leak_per_s=0.0, charge_share=1.0, inner_ohm=0.0, rise_ohm=0.0)
    made = _banked(store=store, efficiency=1.0)
    lossy = _banked(store=replace(store, charge_share=0.8), efficiency=1.0)
    sun = _days(90, 3.0)
    whole, part = (_ran(m, sun, demand=None).pumped_m3.sum() for m in (made, lossy))

    # All that is pumped by night goes through the bank, by day hardly any of it.
    assert 0.80 < part / whole < 0.97


def test_a_moment_is_where_a_root_finder_has_it() -> None:
    """scipy.optimize.brentq on the sum of currents at the posts; the single diode solved by it as well."""
    sun = year_of(5.0)
    (charger,) = BANKED.feeds[0].chargers
    panels = lit(charger.arrays, (sun,))
    step = int(np.argmax(sun.plane_w_m2 > 500.0))
    load = Line(15.0, 1.0, [[0.2 * n for n in range(16)]])
    charge = 0.5 * STORE.capacity_c
    made = settle_bank(STORE, [Charging(charger, panels)], load, step, charge, 0.0)
    curve = panels.wired[0].at(np.array([step]))

    def charging(volts: float) -> float:
        def miss(amperes: float) -> float:
            behind = (volts + amperes * charger.bank_wire_ohm) / charger.efficiency
            return float(curve.current_a(behind)[0]) - amperes

        return float(brentq(miss, -1.0, 10.0))

    def excess(volts: float) -> float:
        rest = STORE.rest_v(charge)
        ohm = STORE.inner_ohm + (STORE.rise_ohm if volts > rest else 0.0)
        return charging(volts) - 0.2 * (volts - 15.0) - (volts - rest) / ohm

    volts = brentq(excess, 20.0, 28.8)
    assert made.bank_v == pytest.approx(volts, rel=1e-6)
    assert made.could_a[0] == pytest.approx(charging(volts), rel=1e-5)


def test_small_steps_come_to_the_same() -> None:
    """Ten days by our own arithmetic in steps of a minute, Euler's way, without float or disconnect."""
    store = replace(STORE, capacity_c=20.0 * STORE.capacity_c)  # so that it does not run flat
    made = _banked(store=store, guard=None, tracks=True)
    made = replace(made, wells=(replace(made.wells[0], inflow_m3_s=None),), high_m=made.low_m)
    sun = _days(10, 5.0)
    ran = _ran(made, sun, demand=None, inflow=None)
    (charger,) = made.feeds[0].chargers
    panels = lit(charger.arrays, (sun,))
    peak_v, peak_a = panels.maximum()
    power = np.where(sun.plane_w_m2 > 0.0, peak_v * peak_a, 0.0) * charger.efficiency
    ready = bring_together(made, ((sun,),))
    lines = ready.banks[0].lines(frozenset({0}), frozenset({0}))
    charge, water = store.capacity_c, 0.0
    for watts in np.repeat(power, 60):
        rest = store.rest_v(charge)
        drawn = lines.amperes[0].at(rest)
        into = min(watts / rest, 20.0) - drawn
        if into > 0.0:
            into = min(into, (store.capacity_c - charge) / 3600.0)
        volts = rest + into * (STORE.inner_ohm + (STORE.rise_ohm if into > 0.0 else 0.0))
        water += lines.flow[0].at(volts) * 60.0
        charge += (into * (0.9 if into > 0.0 else 1.0) - STORE.leak_per_s * charge) * 60.0
        charge = min(charge, store.capacity_c)

    assert charge > 0.0
    assert ran.pumped_m3.sum() == pytest.approx(water, rel=0.01)


def test_tracking_brings_more_than_a_switch_from_the_same_panels() -> None:
    """Common practice, no source: 10 to 30 % with panels whose best voltage lies well over the bank's."""
    sun = _days(60, 3.0)
    switch, tracking = (_ran(_banked(tracks=t), sun, demand=None).pumped_m3.sum() for t in (False, True))

    assert 1.05 < tracking / switch < 1.5


BANKS = st.builds(_banked, tracks=st.booleans(), parallel=st.integers(1, 2))
_LESS = 1.005  # a disconnect that trips at another moment moves the worth by less than this


def _worth_m3(made: Installation, sun: SunYear) -> float:
    """Water pumped, and what the charge left in the bank would still pump [m³].

    A disconnect lets the bank fill for days and then drains it: what the last day finds in the bank may be a
    cycle's water, so that sums of pumped water alone compare moments of that cycle, not the sun of the days.
    """
    ran = _ran(made, sun, demand=None)
    dark = SunYear("dark", 3600.0, *(np.full(12, v) for v in (0.0, 293.15, 1.0)))
    (feed,), (pump,) = made.feeds, made.pumps
    bare = replace(made, feeds=(replace(feed, guards=()),), pumps=(replace(pump, guard=None),))
    drained = _ran(bare, dark, demand=None)
    per_c = drained.pumped_m3.sum() / (STORE.capacity_c - drained.stored_c[0][-1])
    return float(ran.pumped_m3.sum() + per_c * ran.stored_c[0][-1])


@settings(max_examples=6)
@given(made=BANKS, hours=st.floats(1.0, 6.0), share=st.floats(0.5, 0.98))
@example(made=_banked(tracks=True, parallel=1), hours=1.125, share=0.75)  # a cycle's charge left at the end
def test_more_sun_never_brings_less_water(made: Installation, hours: float, share: float) -> None:
    sun = _days(20, hours)
    dim = replace(sun, plane_w_m2=sun.plane_w_m2 * share)
    less, more = (_worth_m3(made, s) for s in (dim, sun))

    assert np.isfinite(more)
    assert less <= more * _LESS


@settings(max_examples=6)
@given(made=BANKS, hours=st.floats(1.0, 6.0), more=st.floats(1.0, 12.0))
def test_a_higher_head_never_brings_more_water(made: Installation, hours: float, more: float) -> None:
    sun = _days(20, hours)
    higher = replace(made, top_m=(made.top_m[0] + more,))
    low, high = (_worth_m3(m, sun) for m in (made, higher))

    assert high <= low * _LESS


@settings(max_examples=6)
@given(hours=st.floats(1.0, 6.0), ohm=st.floats(0.05, 1.0), share=st.floats(0.0, 0.9))
def test_thicker_wire_never_brings_less_water(hours: float, ohm: float, share: float) -> None:
    sun = _days(20, hours)

    def water(wire: float) -> float:
        made = _banked(wire_ohm=wire)
        pump = replace(made.pumps[0], lead_ohm=wire)
        return _worth_m3(replace(made, pumps=(pump,)), sun)

    assert water(ohm) <= water(ohm * share) * _LESS


def test_a_bank_that_cannot_start_the_motor_is_refused() -> None:
    weak = replace(BANKED, pumps=(replace(BANKED.pumps[0], start_a=60.0),))

    with pytest.raises(NotWorkedOut, match=r"P1 wants 60\.0 A to start"):
        settle(weak, year_of(4.0))


def test_what_a_range_of_inflow_brings() -> None:
    well = replace(BANKED.wells[0], inflow_m3_s=Range(5e-6, 1e-5, 2e-5))
    ready = bring_together(replace(BANKED, wells=(well,)), ((_days(30, 5.0),),))
    low, middle, high = (run_year(ready, end, None).pumped_m3.sum() for end in ("low", "nominal", "high"))

    assert low < middle < high


def test_the_numbers_of_a_bank_come_from_spec_and_catalogue() -> None:
    """Two 12 V batteries of the reference parts in series; practice figures of lead-acid."""
    works = plant_of(read_edited(several.BANK))
    assert isinstance(works, Installation)
    store = works.feeds[0].store
    assert store is not None

    assert (store.full_v, store.empty_v) == (pytest.approx(25.8), pytest.approx(22.8))
    assert store.capacity_c == pytest.approx(100.0 * 3600.0)
    assert store.inner_ohm == pytest.approx(0.008)
    assert store.charge_share == 0.9
    # 28.8 V are reached at the ten-hour rate of 10 A when it is full: 3 V over 10 A.
    assert store.rise_ohm == pytest.approx(0.3)
    assert works.feeds[0].guards[0].stops_below_v == pytest.approx(22.8)
    assert not works.feeds[0].chargers[0].tracks
    assert works.pumps[0].stops_when_full == (0,)
    assert works.pumps[0].stops_when_low


def test_coarser_steps_keep_light_and_change_little() -> None:
    sun = _days(90, 4.0)
    four = coarser(sun, 4)
    fine, coarse = (run_year(settle(BANKED, s), "nominal", None).pumped_m3.sum() for s in (sun, four))

    assert four.plane_w_m2.sum() * 4.0 == pytest.approx(sun.plane_w_m2.sum())
    assert coarse == pytest.approx(fine, rel=0.03)


def test_a_bank_may_stand_beside_panels_but_not_pump_into_their_pipe() -> None:
    one, other = installed(PLANT), BANKED
    beside = replace(
        one,
        pumps=(one.pumps[0], replace(other.pumps[0], tag="P2", bus=1, well=1)),
        buses=(one.buses[0], replace(other.buses[0], feed=1)),
        feeds=(one.feeds[0], other.feeds[0]),
        wells=(one.wells[0], replace(one.wells[0], tag="WELL2")),
        low_m=one.low_m * 2,
        high_m=one.high_m * 2,
        pieces=(
            *one.pieces,
            replace(one.pieces[0], start="WELL2", end="P2.in"),
            replace(one.pieces[1], start="P2.out", end="TK1"),
        ),
    )
    ready = settle(beside, year_of(4.0))
    assert isinstance(ready, Together)
    ran = ready.run([3e-4, 3e-4], [None])
    assert all(m3.sum() > 0.0 for m3 in ran.pump_m3)

    joined = tuple(replace(p, end="J") if p.end == "TK1" else p for p in beside.pieces)
    line = replace(one.pieces[1], start="J", end="TK1")
    with pytest.raises(NotWorkedOut, match="P1 and P2 pump into one net of pipes"):
        settle(replace(beside, pieces=(*joined, line)), year_of(4.0))


def test_changes_tried_on_a_few_days_bring_what_they_bring_in_the_whole_year() -> None:
    system = compiled("saltbush-paddock").system
    assert system is not None
    works = plant_of(system)
    sky = sun_of(system, works, steps_an_hour=1)

    advice = advise(system, works, sky)
    whole = useful_m3(works, sky, served=False)

    assert advice.days_a_month == 4
    assert advice.base_m3 == pytest.approx(whole, rel=0.1)  # dull spells of a week do not fit into four days
    more = next(change for change in advice.changes if "another string" in change.says)
    assert not isinstance(sky, SunYear)
    eased = next(limit for limit in advice.limits if limit.name == "sun")
    brighter = tuple(tuple(replace(sun, plane_w_m2=sun.plane_w_m2 * 1.25) for sun in row) for row in sky)
    assert eased.gain_share == pytest.approx(useful_m3(works, brighter, served=False) / whole - 1.0, abs=0.03)
    assert more.gain_m3 > 0.0
