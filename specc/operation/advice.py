"""What limits a job most, and which single change brings most water for its money: both found by trying."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final

from specc.operation.described import booster_of, plant_of
from specc.operation.installation import Array, Feed, Installation, Piece, Works
from specc.operation.operating import Booster
from specc.operation.plant import NotWorkedOut, Plant, Range, Tank, Well
from specc.operation.sun import DAY_S
from specc.operation.weather import SunYear, coarser, sampled
from specc.operation.year import Sky, run_year, settle
from specc.rulebooks import NotInTable
from specc.system.connect import connect
from specc.system.missing import MissingDatum
from specc.system.model import Pipe, Run
from specc.system.system import System, solve

_EASE: Final = 1.25  # how much easier each thing is made in turn
_BANK_HOURS: Final = 4
_SAMPLE_DAYS: Final = 4  # of each month, in which changes to an installation of several or a bank are tried
_UNLIKE: Final = 4.0  # so much more may a run lose than its share of the ohms tells, by its larger current
_HOLD_MOVED: Final = 0.05  # a hold point nearer than that is where it should be
_WORTH: Final = 0.005  # a smaller gain is none
_YEAR_S: Final = 365.0 * DAY_S


@dataclass(frozen=True)
class Limit:
    """What a quarter more of one thing (for wire: no loss at all) would bring, as a share of the water."""

    name: str  # "sun", "head", "wire", "pipe", "well", "tank", "battery"
    gain_share: float


@dataclass(frozen=True)
class Change:
    """One change that was tried: what it brings in a year, what its parts cost (None: no price known).

    A setting costs nothing (0) and comes first.
    """

    says: str
    gain_m3: float
    cost: float | None

    @property
    def gain_per_cost(self) -> float:
        """Cubic metres a year for one unit of money; 0 where no price is known, no end where it is free."""
        if self.cost is None:
            return 0.0
        return self.gain_m3 / self.cost if self.cost > 0.0 else math.inf


@dataclass(frozen=True)
class Advice:
    """Limits, the strongest first; changes, most water for the money first.

    ``met`` says that the demand is met all year, so that water counts that only could be lifted.
    """

    met: bool
    base_m3: float
    limits: tuple[Limit, ...]
    changes: tuple[Change, ...]
    days_a_month: int | None = None  # on which changes were tried; None: on the whole year


def useful_m3(works: Works, sun: Sky, *, served: bool, days: float = 365.0) -> float:
    """Water that the ``days`` of a sky give: to the demands, or with room in the tanks for all [m³]."""
    ready = settle(works, sun)
    if served:
        run = run_year(ready, "nominal", "nominal")
        lack = sum(
            float(run.lack_m3[n].sum()) for n, tank in enumerate(works.tanks) if tank.demand_m3_s is not None
        )
        return _wanted_m3(works) * days / 365.0 - lack
    return float(run_year(ready, "nominal", None).pumped_m3.sum())


def _few_days(sky: tuple[tuple[SunYear, ...], ...], has_bank: bool) -> tuple[tuple[SunYear, ...], ...]:
    """The same few days of each month for every array."""
    every = sampled([sun for row in sky for sun in row], _SAMPLE_DAYS)
    if has_bank:
        every = tuple(coarser(sun, _BANK_HOURS) for sun in every)
    left = iter(every)
    return tuple(tuple(next(left) for _ in row) for row in sky)


def _wanted_m3(works: Works) -> float:
    """What all stated demands come to in a year [m³]."""
    demands = [tank.demand_m3_s for tank in works.tanks]
    return sum(demand.nominal for demand in demands if demand is not None) * _YEAR_S


def advise(system: System, works: Works, sun: Sky) -> Advice:
    """Tries each change on the whole year, in steps of an hour or of ``sun``.

    sun: as for the year itself; coarse steps will do, all trials share them. An installation of several
    pumps, or of a battery, is tried on a few days of each month that have the month's light; with a
    battery, which evens out what happens within a day, in coarser steps.
    """
    days, days_a_month = 365.0, None
    if not isinstance(sun, SunYear):
        sun, days_a_month = _few_days(sun, works.has_bank), _SAMPLE_DAYS
        days = days_a_month * 12.0
    wanted = _wanted_m3(works) * days / 365.0
    met = not wanted or useful_m3(works, sun, served=True, days=days) >= wanted * (1.0 - 1e-6)

    def water(trial: Works) -> float:
        try:
            return useful_m3(trial, sun, served=not met, days=days) * 365.0 / days
        except NotWorkedOut:
            return 0.0

    base = water(works)
    limits = sorted(_limits(works, water, base), key=lambda limit: -limit.gain_share)
    gains = {limit.name: limit.gain_share for limit in limits}
    changes = []
    for says, trial, cost in _changes(system, works, gains):
        made = trial()
        gain = 0.0 if made is None else water(made) - base
        if gain > _WORTH * base:
            changes.append(Change(says, gain, cost))
    ranked = sorted(changes, key=lambda change: (-change.gain_per_cost, -change.gain_m3))
    return Advice(met, base, tuple(limits), tuple(ranked), days_a_month)


def _limits(works: Works, water: Callable[[Works], float], base: float) -> Iterator[Limit]:
    eased = _eased_plant(works) if isinstance(works, Plant) else _eased(works)
    for name, trial in eased.items():
        yield Limit(name, (water(trial) - base) / base if base > 0.0 else 0.0)


def _eased_plant(plant: Plant) -> dict[str, Works]:
    return {
        "sun": replace(plant, light_share=plant.light_share * _EASE),
        "head": replace(
            plant,
            static_low_m=plant.static_low_m / _EASE,
            static_high_m=plant.static_high_m / _EASE,
            losses_m=tuple(loss / _EASE for loss in plant.losses_m),
        ),
        "wire": replace(plant, panel_wire_ohm=0.0, motor_wire_ohm=0.0),
        "pipe": replace(plant, losses_m=tuple(0.0 for _ in plant.losses_m)),
        "well": replace(plant, well=_fuller(plant.well)),
        "tank": replace(plant, tank=_larger(plant.tank, _EASE)),
    }


def _eased(made: Installation) -> dict[str, Works]:
    def lower(share: float) -> Installation:
        """Every lift by a share of itself less: the tanks come down towards the lowest water."""
        lowest = min(made.low_m)
        return replace(
            made,
            top_m=tuple(lowest + (top - lowest) * share for top in made.top_m),
            low_m=tuple(lowest + (level - lowest) * share for level in made.low_m),
            high_m=tuple(lowest + (level - lowest) * share for level in made.high_m),
            pieces=tuple(_friction(piece, share) for piece in made.pieces),
        )

    def sunnier(array: Array) -> Array:
        return replace(array, light_share=array.light_share * _EASE)

    def bare(array: Array) -> Array:
        return replace(array, wire_ohm=0.0)

    eased: dict[str, Works] = {
        "sun": replace(made, feeds=tuple(_with_arrays(feed, sunnier) for feed in made.feeds)),
        "head": lower(1.0 / _EASE),
        "wire": replace(
            made,
            feeds=tuple(_bare_bank(_with_arrays(feed, bare)) for feed in made.feeds),
            buses=tuple(replace(bus, wire_ohm=0.0) for bus in made.buses),
            pumps=tuple(replace(pump, lead_ohm=0.0) for pump in made.pumps),
        ),
        "pipe": replace(made, pieces=tuple(_friction(piece, 0.0) for piece in made.pieces)),
        "well": replace(made, wells=tuple(_fuller(well) for well in made.wells)),
        "tank": replace(made, tanks=tuple(_larger(tank, _EASE) for tank in made.tanks)),
    }
    if made.has_bank:
        eased["battery"] = replace(made, feeds=tuple(_more_bank(feed, _EASE) for feed in made.feeds))
    return eased


def _friction(piece: Piece, share: float) -> Piece:
    return replace(piece, losses_m=tuple(loss * share for loss in piece.losses_m))


def _with_arrays(feed: Feed, change: Callable[[Array], Array]) -> Feed:
    chargers = tuple(replace(c, arrays=tuple(change(a) for a in c.arrays)) for c in feed.chargers)
    return replace(feed, arrays=tuple(change(a) for a in feed.arrays), chargers=chargers)


def _bare_bank(feed: Feed) -> Feed:
    return replace(
        feed,
        chargers=tuple(replace(charger, bank_wire_ohm=0.0) for charger in feed.chargers),
        guards=tuple(replace(guard, wire_ohm=0.0) for guard in feed.guards),
    )


def _more_bank(feed: Feed, share: float) -> Feed:
    """A bank of more cells side by side."""
    store = feed.store
    if store is None:
        return feed
    more = replace(
        store,
        capacity_c=store.capacity_c * share,
        inner_ohm=store.inner_ohm / share,
        rise_ohm=store.rise_ohm / share,
    )
    return replace(feed, store=more)


def _fuller(well: Well) -> Well:
    given = well.inflow_m3_s
    if given is None:
        return well
    return replace(well, inflow_m3_s=Range(*(end * _EASE for end in (given.low, given.nominal, given.high))))


def _larger(tank: Tank, share: float) -> Tank:
    return replace(
        tank,
        capacity_m3=tank.capacity_m3 * share,
        stop_m3=tank.stop_m3 * share,
        restart_m3=tank.restart_m3 * share,
    )


Trial = tuple[str, Callable[[], Works | None], float | None]


def _changes(system: System, works: Works, gains: dict[str, float]) -> Iterator[Trial]:
    with suppress(MissingDatum):  # panels of which nobody knows how hot they get
        yield from _held_nearer(system, works)
    if isinstance(works, Plant):
        yield from _more_panels(system, works)
        if works.booster is None:
            yield from _with_booster(system, works)
    else:
        yield from _more_strings(system, works)
        yield from _more_batteries(system, works)
    if gains["wire"] > _WORTH:
        ohms = {run: _run_ohm(system, run) for run in system.connected.runs.values()}
        for run, ohm in ohms.items():
            # A run cannot bring more than its share of what no wire at all would, whatever its current.
            if _UNLIKE * gains["wire"] * ohm / sum(ohms.values()) > _WORTH:
                yield from _thicker(system, run)
    if gains["pipe"] > _WORTH:
        for pipe in system.connected.pipes.values():
            yield from _wider(system, pipe)
    if gains["tank"] > _WORTH:
        for n, tank in enumerate(works.tanks):
            yield from _larger_tank(system, works, n, tank)


def _more_panels(system: System, plant: Plant) -> Iterator[Trial]:
    panels = next(d for d in system.of_kind("panel") if d.tag == plant.panel_tag.split("+")[0])
    price = panels.part.price
    string = plant.series
    yield (
        f"{plant.panel_tag}: another string of {string} in parallel",
        lambda: replace(plant, parallel=plant.parallel + 1),
        None if price is None else price * string,
    )
    highest = _highest_input_v(system, plant)
    cold_v = system.electrical.cold_voltage(panels).value / panels.spec.series
    if highest is not None and (plant.series + 1) * cold_v <= highest:
        yield (
            f"{plant.panel_tag}: another panel in series",
            lambda: replace(plant, series=plant.series + 1),
            None if price is None else price * plant.parallel,
        )


def _held_nearer(system: System, works: Works) -> Iterator[Trial]:
    """A booster's hold point at what its panels still give on the hottest day."""
    if isinstance(works, Plant):
        boosters = [d for d in system.of_kind("controller") if d.part.type == "current booster"]
        if works.booster is None or len(boosters) != 1:
            return
        reach = _hot_v(system, works.panel_tag, works.series, works.parallel * works.panel_wire_ohm)
        yield from _held_at(
            boosters[0].tag, works.booster, reach, lambda booster: replace(works, booster=booster)
        )
        return
    for number, bus in enumerate(works.buses):
        arrays = works.feeds[bus.feed].arrays
        if bus.booster is None or not arrays:
            continue

        def moved(booster: Booster, number: int = number) -> Works:
            buses = list(works.buses)
            buses[number] = replace(buses[number], booster=booster)
            return replace(works, buses=tuple(buses))

        reach = min(_hot_v(system, a.tag, a.series, a.parallel * a.wire_ohm) for a in arrays)
        yield from _held_at(bus.tag, bus.booster, reach, moved)


def _hot_v(system: System, tag: str, series: int, ohm: float) -> float:
    """What is left of an array's hot working voltage behind its wire [V]; ``ohm`` times strings.

    Raises ``MissingDatum`` where the panels' data do not tell.
    """
    panels = system.devices[tag.split("+")[0]]
    each = system.electrical.hot_voltage(panels).value / panels.spec.series
    return float(series * each - ohm * panels.part.imp)


def _held_at(
    tag: str, booster: Booster, reach_v: float, moved: Callable[[Booster], Works]
) -> Iterator[Trial]:
    volts = float(math.floor(reach_v))
    if booster.hold_v is None or abs(volts / booster.hold_v - 1.0) < _HOLD_MOVED:
        return
    says = f"{tag}: input held at {volts:.0f} V instead of {booster.hold_v:.3g} V, if it can be set"
    yield says, lambda: moved(replace(booster, hold_v=volts)), 0.0


def _more_strings(system: System, made: Installation) -> Iterator[Trial]:
    for wanted in [array for feed in made.feeds for array in feed.every_array()]:
        price = system.devices[wanted.tag.split("+")[0]].part.price

        def more(wanted: Array = wanted) -> Works:
            def change(one: Array) -> Array:
                return replace(one, parallel=one.parallel + 1) if one is wanted else one

            return replace(made, feeds=tuple(_with_arrays(feed, change) for feed in made.feeds))

        says = f"{wanted.tag}: another string of {wanted.series} in parallel"
        yield says, more, None if price is None else price * wanted.series


def _more_batteries(system: System, made: Installation) -> Iterator[Trial]:
    for number, feed in enumerate(made.feeds):
        if feed.store is None:
            continue
        first = [system.devices[tag] for tag in feed.store.tag.split("+")]
        strings = first[0].spec.parallel
        prices = [d.part.price for d in first]
        cost = None if None in prices else sum(d.part.price * d.spec.series for d in first)

        def more(number: int = number, strings: int = strings) -> Works:
            feeds = list(made.feeds)
            feeds[number] = _more_bank(feeds[number], (strings + 1) / strings)
            return replace(made, feeds=tuple(feeds))

        yield f"{feed.store.tag}: another string of batteries in parallel", more, cost


def _highest_input_v(system: System, plant: Plant) -> float | None:
    """The highest voltage of what the panels feed, where that is a booster that takes more in series."""
    if plant.booster is None:
        return None
    boosters = [d for d in system.of_kind("controller") if d.part.type == "current booster"]
    return boosters[0].part.max_input_voltage if len(boosters) == 1 else None


def _with_booster(system: System, plant: Plant) -> Iterator[Trial]:
    pump = system.devices[plant.pump_tag]
    panels = system.devices[plant.panel_tag.split("+")[0]]
    cold_v = system.electrical.cold_voltage(panels).value
    fit = [
        part
        for part in system.description.catalog.parts("controller")
        if getattr(part, "type", "") == "current booster"
        and part.price is not None
        and _suits(part, pump, cold_v, plant)
    ]
    if not fit:
        return
    part: Any = min(fit, key=lambda p: (p.price, p.id))
    made = booster_of(part)

    def trial() -> Works | None:
        return replace(
            plant,
            booster=made,
            panel_wire_ohm=plant.motor_wire_ohm,
            motor_wire_ohm=0.0,
        )

    yield f"{part.id} beside {plant.pump_tag}", trial, part.price


def _suits(part: Any, pump: Any, cold_v: float, plant: Plant) -> bool:
    """Is a booster for this motor, does it stand the panels' voltage, and can the panels reach its hold?"""
    known = (
        part.nominal_output,
        part.max_input_voltage,
        part.output_current,
        part.efficiency,
        part.max_output_voltage,
    )
    if None in known or (part.hold_voltage is None and part.hold_share is None):
        return False
    return bool(
        abs(part.nominal_output / pump.part.nominal_voltage - 1.0) < 0.1
        and part.max_input_voltage >= cold_v
        and part.output_current >= (pump.part.rated_current or 0.0)
        and (part.hold_voltage or 0.0) <= 0.9 * plant.series * plant.module.label.vmp_v
    )


def _changed(system: System, table: str, tag: str, update: dict[str, Any], part: Any = None) -> Works | None:
    """The job with one entry of the spec changed; None where the job then cannot be worked out."""
    entries = dict(system.description.entries)
    entries[table] = tuple(
        replace(entry, model=entry.model.model_copy(update=update), part=part or entry.part)
        if getattr(entry.model, "tag", None) == tag
        else entry
        for entry in entries[table]
    )
    connected, _ = connect(replace(system.description, entries=entries))
    if connected is None:
        return None
    try:
        return plant_of(solve(connected))
    except (MissingDatum, NotInTable, NotWorkedOut):
        return None


def _run_ohm(system: System, run: Run) -> float:
    """Resistance of what carries current in a run [ohm]."""
    return sum(
        system.electrical.resistance_ohm(c) for c in run.conductors if system.electrical.carries_current(c)
    )


def _thicker(system: System, run: Run) -> Iterator[Trial]:
    """The next size of wire for a run that carries the pump's current."""
    if not any(system.electrical.carries_current(c) for c in run.conductors):
        return
    try:
        size = system.book.next_size_up(run.spec.size)
    except NotInTable:
        return
    prices = {row.size: row for row in run.wire.sizes}
    if size not in prices:
        return
    metres = sum(run.spec.length for c in run.conductors if c.size == run.spec.size)
    row = prices[size]
    packs = -(-metres // row.pack_length)
    says = f"{run.tag}: {size} instead of {run.spec.size}"
    yield says, lambda: _changed(system, "runs", run.tag, {"size": size}), packs * row.price


def _wider(system: System, pipe: Pipe) -> Iterator[Trial]:
    """The next bore of the same family for a pipe."""
    wider: list[Any] = [
        part
        for part in system.description.catalog.parts("pipe")
        if getattr(part, "family", "") == pipe.part.family
        and getattr(part, "bore", 0.0) > pipe.part.bore
        and (pipe.part.pressure is None or (getattr(part, "pressure", None) or 0.0) >= pipe.part.pressure)
    ]
    if not wider:
        return
    part = min(wider, key=lambda p: (p.bore, p.id))
    packs = -(-pipe.spec.length // part.pack_length) if part.pack_length else None
    cost = None if part.price is None or packs is None else packs * part.price
    says = f"{pipe.tag}: {part.id} instead of {pipe.part.id}"
    yield says, lambda: _changed(system, "pipes", pipe.tag, {"part": part.id}, part), cost


def _larger_tank(system: System, works: Works, n: int, tank: Tank) -> Iterator[Trial]:
    """The next larger tank of the catalogue; floats and spare height grow with it."""
    larger: list[Any] = [
        part
        for part in system.description.catalog.parts("tank")
        if getattr(part, "capacity", 0.0) > tank.capacity_m3
    ]
    if not larger:
        return
    part = min(larger, key=lambda p: (p.capacity, p.id))
    made = _larger(tank, part.capacity / tank.capacity_m3)

    def trial() -> Works:
        if isinstance(works, Plant):
            return replace(works, tank=made)
        return replace(works, tanks=(*works.tanks[:n], made, *works.tanks[n + 1 :]))

    yield f"{tank.tag}: {part.id}", trial, part.price
