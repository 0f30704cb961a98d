"""What limits a job most, and which single change brings most water for its money: both found by trying."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

from specc.operation.plant import NotWorkedOut, Plant, Range, booster_of, plant_of
from specc.operation.sun import DAY_S
from specc.operation.weather import SunYear
from specc.operation.year import settle
from specc.rulebooks import NotInTable
from specc.system.connect import connect
from specc.system.missing import MissingDatum
from specc.system.model import Pipe, Run
from specc.system.system import System, solve

_EASE: Final = 1.25  # how much easier each thing is made in turn
_WORTH: Final = 0.005  # a smaller gain is none
_YEAR_S: Final = 365.0 * DAY_S


@dataclass(frozen=True)
class Limit:
    """What a quarter more of one thing (for wire: no loss at all) would bring, as a share of the water."""

    name: str  # "sun", "head", "wire", "well", "tank"
    gain_share: float


@dataclass(frozen=True)
class Change:
    """One change that was tried: what it brings in a year and what its parts cost (None: no price known)."""

    says: str
    gain_m3: float
    cost: float | None

    @property
    def gain_per_cost(self) -> float:
        """Cubic metres a year for one unit of money; 0 where no price is known."""
        return self.gain_m3 / self.cost if self.cost else 0.0


@dataclass(frozen=True)
class Advice:
    """Limits, the strongest first; changes, most water for the money first.

    ``met`` says that the demand is met all year, so that water counts that only could be lifted.
    """

    met: bool
    base_m3: float
    limits: tuple[Limit, ...]
    changes: tuple[Change, ...]


def useful_m3(plant: Plant, sun: SunYear, *, served: bool) -> float:
    """Water that a year gives: to the demand, or with room in the tank for all [m³]."""
    inflow, demand = plant.well.inflow_m3_s, plant.tank.demand_m3_s
    rate = None if inflow is None else inflow.nominal
    states = settle(plant, sun)
    if served and demand is not None:
        return demand.nominal * _YEAR_S - float(states.run(rate, demand.nominal).short_m3.sum())
    return float(states.run(rate, None).pumped_m3.sum())


def advise(system: System, plant: Plant, sun: SunYear) -> Advice:
    """Tries each change on the whole year, in steps of an hour or of ``sun``.

    sun: as for the year itself; coarse steps will do, all trials share them.
    """
    demand = plant.tank.demand_m3_s
    met = demand is None or useful_m3(plant, sun, served=True) >= demand.nominal * _YEAR_S * (1.0 - 1e-6)

    def water(trial: Plant) -> float:
        try:
            return useful_m3(trial, sun, served=not met)
        except NotWorkedOut:
            return 0.0

    base = water(plant)
    limits = sorted(_limits(plant, water, base), key=lambda limit: -limit.gain_share)
    gains = {limit.name: limit.gain_share for limit in limits}
    changes = []
    for says, trial, cost in _changes(system, plant, gains):
        made = trial()
        gain = 0.0 if made is None else water(made) - base
        if gain > _WORTH * base:
            changes.append(Change(says, gain, cost))
    ranked = sorted(changes, key=lambda change: (-change.gain_per_cost, -change.gain_m3))
    return Advice(met, base, tuple(limits), tuple(ranked))


def _limits(plant: Plant, water: Callable[[Plant], float], base: float) -> Iterator[Limit]:
    eased = {
        "sun": replace(plant, light_share=plant.light_share * _EASE),
        "head": replace(
            plant,
            static_low_m=plant.static_low_m / _EASE,
            static_high_m=plant.static_high_m / _EASE,
            losses_m=tuple(loss / _EASE for loss in plant.losses_m),
        ),
        "wire": replace(plant, panel_wire_ohm=0.0, motor_wire_ohm=0.0),
        "pipe": replace(plant, losses_m=tuple(0.0 for _ in plant.losses_m)),
        "well": replace(plant, well=replace(plant.well, inflow_m3_s=_more(plant.well.inflow_m3_s))),
        "tank": replace(
            plant,
            tank=replace(
                plant.tank,
                capacity_m3=plant.tank.capacity_m3 * _EASE,
                stop_m3=plant.tank.stop_m3 * _EASE,
                restart_m3=plant.tank.restart_m3 * _EASE,
            ),
        ),
    }
    for name, trial in eased.items():
        yield Limit(name, (water(trial) - base) / base if base > 0.0 else 0.0)


def _more(given: Range | None) -> Range | None:
    return None if given is None else Range(given.low * _EASE, given.nominal * _EASE, given.high * _EASE)


Trial = tuple[str, Callable[[], Plant | None], float | None]


def _changes(system: System, plant: Plant, gains: dict[str, float]) -> Iterator[Trial]:
    yield from _more_panels(system, plant)
    if plant.booster is None and plant.bank is None:
        yield from _with_booster(system, plant)
    if gains["wire"] > _WORTH:
        for run in system.connected.runs.values():
            yield from _thicker(system, run)
    if gains["pipe"] > _WORTH:
        for pipe in system.connected.pipes.values():
            yield from _wider(system, pipe)
    if gains["tank"] > _WORTH:
        yield from _larger_tank(system, plant)


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

    def trial() -> Plant | None:
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


def _changed(system: System, table: str, tag: str, update: dict[str, Any], part: Any = None) -> Plant | None:
    """The plant with one entry of the spec changed; None where the job then cannot be worked out."""
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


def _larger_tank(system: System, plant: Plant) -> Iterator[Trial]:
    """The next larger tank of the catalogue; floats and spare height grow with it."""
    tank = plant.tank
    larger: list[Any] = [
        part
        for part in system.description.catalog.parts("tank")
        if getattr(part, "capacity", 0.0) > tank.capacity_m3
    ]
    if not larger:
        return
    part = min(larger, key=lambda p: (p.capacity, p.id))
    grown = part.capacity / tank.capacity_m3
    made = replace(
        tank,
        capacity_m3=part.capacity,
        stop_m3=tank.stop_m3 * grown,
        restart_m3=tank.restart_m3 * grown,
    )
    yield f"{tank.tag}: {part.id}", lambda: replace(plant, tank=made), part.price
