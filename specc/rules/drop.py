"""Rules on voltage drop: from source to load, and round the loops of remote switches."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import conductors as wire
from specc.rulebooks import NotInTable, Sourced
from specc.rules._edits import BATTERY, METRIC, PV_DIRECT
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules.terminal import taken_sizes, too_small_for
from specc.system.missing import need
from specc.system.model import Conductor, Device, Pole, Run
from specc.system.network import reference_v
from specc.system.system import System
from specc.system.walk import Crossing, Walk

# -- power runs ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Way:
    """The way of the current from a source to a load and back, at the design point."""

    drop_v: float
    by_conductor: tuple[tuple[Conductor, float], ...]  # each with its own drop [V]
    reference_v: float
    limit: Sourced[float]

    @property
    def fraction(self) -> float:
        return wire.drop_fraction(self.drop_v, self.reference_v)

    def by_run(self) -> dict[Run, float]:
        """Volts lost in each run."""
        found: dict[Run, float] = defaultdict(float)
        for conductor, drop_v in self.by_conductor:
            found[conductor.run] += drop_v
        return found


def _ways(system: System) -> Iterator[tuple[Device, Crossing]]:
    """Arrays to controllers, controllers to motors, arrays and batteries to what they feed."""
    for pair in system.walked.pairs:
        if pair.load.device.kind in ("pump", "controller"):
            yield pair.load.device, pair


def _way(system: System, pair: Crossing) -> _Way | None:
    """None where the design point gives no voltage at one of the ends."""
    # A battery carries its loads alone by night; by day its charger takes part of them.
    walked, by_night = system.walked, pair.source.kind == "battery"
    point = system.night_point() if by_night else system.design_point()
    lower, upper = pair.source.ports[0], pair.source.ports[-1]
    ends = [pair.load.plus, pair.load.minus]
    if walked.net(ends[0]) != pair.source.plus:
        ends.reverse()
    legs = [(upper.plus, ends[0]), (ends[1], lower.minus)]
    legs += [(a.plus, b.minus) for a, b in zip(pair.source.ports, pair.source.ports[1:], strict=False)]
    drops = [point.drop_v(*leg) for leg in legs]
    known = [drop for drop in drops if drop is not None]
    if len(known) != len(drops):
        return None
    passed = [step for leg in legs for step in walked.paths(*leg) if isinstance(step, Conductor)]
    each = tuple((c, abs(point.current_a[c.tag]) * system.electrical.resistance_ohm(c)) for c in passed)
    return _Way(sum(known), each, reference_v(pair), _limit(system, pair))


def _limit(system: System, pair: Crossing) -> Sourced[float]:
    if pair.source.kind == "converter" and not _on_battery(system, pair):
        return system.book.threshold("drop_motor_fraction")
    if pair.source.kind == "array" and pair.load.device.kind == "controller":
        return system.book.threshold("drop_array_fraction")
    return system.book.threshold("drop_source_to_motor_fraction")


def _on_battery(system: System, pair: Crossing) -> bool:
    """Does a battery feed the load straight, so that a charger beside it only helps?"""
    return any(source.kind == "battery" for source in system.walked.feeds(pair.load))


def _power_run(system: System, subject: tuple[Device, Crossing]) -> Iterator[Answer]:
    load, pair = subject
    way = _way(system, pair)
    if way is None:
        yield unchecked(
            load.tag, load.path, f"the design point gives no voltage from {pair.source.tag} to {load.tag}."
        )
        return
    if not way.by_conductor:  # bolted together: nothing to lose volts in
        return
    ahead = _from_battery(system, pair)
    if ahead is None:
        yield _judged(system, pair, way)
    else:
        yield _judged_through(system, pair, way, ahead)


def _from_battery(system: System, pair: Crossing) -> tuple[Crossing, _Way] | None:
    """The worst way from a battery to the controller that feeds this motor, if any does."""
    device = pair.source.ports[0].device
    if pair.source.kind != "converter" or pair.load.device.kind != "pump" or _on_battery(system, pair):
        return None
    found = [
        (other, way)
        for other in system.walked.pairs
        if other.load.device is device
        and other.source.kind == "battery"
        and (way := _way(system, other)) is not None
    ]
    return max(found, key=lambda item: item[1].fraction, default=None)


def _judged(system: System, pair: Crossing, way: _Way) -> Answer:
    return _answer(system, way, way, f"{pair.source.tag} to {pair.load.device.tag}", way.fraction, way.limit)


def _judged_through(system: System, pair: Crossing, way: _Way, ahead: tuple[Crossing, _Way]) -> Answer:
    """Battery, controller and motor together; blamed on the part of the way that loses more."""
    first, before = ahead
    limit = system.book.threshold("drop_source_to_motor_fraction")
    worse = max(way, before, key=lambda w: w.fraction)
    name = f"{first.source.tag} by {pair.source.tag} to {pair.load.device.tag}"
    return _answer(system, worse, way, name, way.fraction + before.fraction, limit)


def _answer(
    system: System, blamed: _Way, way: _Way, name: str, fraction: float, limit: Sourced[float]
) -> Answer:
    """Judges a fraction of the whole way; the run of ``blamed`` that loses most is named."""
    show = system.show
    by_run = blamed.by_run()
    run = max(by_run, key=lambda r: by_run[r])
    own = _run_drop(run, by_run[run], blamed, limit)
    path = run.path + ("size",)
    required, actual = f"at most {show(limit.value, 'fraction', 3)}", show(fraction, "fraction", 3)
    told = (
        f"{run.tag} loses {show(by_run[run], 'voltage', 3)} "
        f"({show(by_run[run] / blamed.reference_v, 'fraction', 3)}); the whole way "
        f"from {name} loses {actual} of {show(way.reference_v, 'voltage')}, target "
        f"{show(limit.value, 'fraction')}."
    )
    if keeps_to(fraction, limit.value):
        return satisfied(run.tag, path, told, required=required, actual=actual, calculations=(own,))
    return violated(
        run.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=_thicker(system, run, blamed, fraction, limit.value),
        related=tuple(dict.fromkeys(r.path for r in by_run if r is not run)),
        calculations=(own,),
        severity=None if keeps_to(fraction, _too_much(system)) else Severity.ERROR,
    )


def _too_much(system: System) -> float:
    """The fraction from which the load does not work at all, whatever is accepted."""
    return system.handbook.threshold("drop_error_fraction").value


def _run_drop(run: Run, drop_v: float, way: _Way, limit: Sourced[float]) -> Calculation:
    parts = [(c, v) for c, v in way.by_conductor if c.run is run]
    inputs = tuple(
        Input(f"L {c.tag}", c.length_m, "length", f"{run.tag}, one way, {c.size}") for c, _ in parts
    )
    drops = tuple(
        Input(f"ΔV {c.tag}", v, "voltage", "L · R′ · I, solved network at the design point") for c, v in parts
    )
    return Calculation(
        "voltage drop",
        run.tag,
        "ΔV",
        drop_v,
        "voltage",
        "Σ L · R′ · I over the conductors there and back",
        (*inputs, *drops, Input("V", way.reference_v, "voltage", "rated voltage that it is a share of")),
        limit.source,
    )


def _thicker(system: System, run: Run, way: _Way, fraction: float, limit: float) -> str:
    """The smallest size of the run that meets the target for the whole way."""
    book, electrical = system.book, system.electrical
    members = [(c, v) for c, v in way.by_conductor if c.run is run and v > 0.0]
    smallest = min((book.size_index(c.size) for c, _ in members), default=len(book.sizes()))
    for size in book.sizes()[smallest + 1 :]:
        try:
            saved = sum(
                v
                * max(
                    0.0, 1.0 - electrical.resistance_ohm(replace(c, size=size)) / electrical.resistance_ohm(c)
                )
                for c, v in members
            )
        except NotInTable:
            continue
        if fraction - saved / way.reference_v <= limit:
            return _take(system, run, size, [c for c, _ in members])
    return (
        f"No size of {run.tag} alone meets the target: shorten the way, raise the voltage, or enlarge other "
        "runs too."
    )


def _take(system: System, run: Run, size: str, conductors: list[Conductor]) -> str:
    """What to do for a thicker run: also where its terminals do not take that size."""
    refusing = list(dict.fromkeys(t for c in conductors for t in too_small_for(system, c, size)))
    pace = "the grounding conductor keeps pace"
    if run.raceway is not None:
        pace = f"{run.raceway.tag} still holds it and that {pace}"
    if not refusing:
        return f"Take {size} for {run.tag}; its terminals take it. See that {pace}."
    shown = ", ".join(f"{t.id} (up to {taken_sizes(system, t, size)[1]})" for t in refusing)
    blocks = " and ".join(dict.fromkeys(t.device.tag for t in refusing))
    return (
        f"Take {size} for {run.tag}, but not into {shown}: end it on a terminal block beside {blocks} and "
        "go on with a short pigtail that the terminal takes, checked for its own ampacity; or shorten the "
        f"way, or raise the voltage. See that {pace}."
    )


_FAR = {"runs.R1.length": "20 m", "raceways.C1.length": "20 m"}

POWER_RUN = Rule(
    id="drop.power-run",
    severity=Severity.WARNING,
    title="Too much voltage lost between source and load",
    checks="ΔV = Σ L · R′(hot) · I from source to load and back, at the design point (array at maximum "
    "power, motor at its "
    "label). Array to controller: at most 3 % of Vmp. Controller to motor: at most 3 % of the motor's volts. "
    "Array or battery "
    "to motor without a booster, through whatever lies between: at most 5 %. Above a quarter it is an error, "
    "which nobody can accept.",
    why="Volts lost in the wire are water not lifted; at 12 V a metre of wire costs four times the share "
    "that it costs at 24 V.",
    clauses={
        "us-2023": "210.19, 215.2 notes (not mandatory); Chapter 9 Table 8",
        "iec": "60364-5-52 525, Annex G",
    },
    look=_ways,
    examine=_power_run,
    fires=(
        Case("array at 20 m: 1.810 V, 5.03 %", _FAR, subject="R1"),
        Case(
            "array at 110 m: 9.96 V, 27.7 %",
            {"runs.R1.length": "110 m", "raceways.C1.length": "110 m", "sightlines.0.distance": "110 m"},
            severity=Severity.ERROR,
            subject="R1",
        ),
        Case("motor run in 12 AWG: 1.040 V, 4.33 %", {"runs.R3.size": "12 AWG"}, subject="R3"),
        Case(
            "array at 20 m in 4 mm²: 2.50 V, 6.95 %",
            {**METRIC, **_FAR, "runs.R1.size": "4 mm2"},
            subject="R1",
        ),
        Case(
            "battery to motor, 20 m of 10 AWG: 1.302 V, 5.43 %",
            {**BATTERY, "runs.R3.length": "20 m"},
            subject="R3",
        ),
        Case("array to motor without a booster, 10 m + 10 m: 5.5 %", {**PV_DIRECT, "panels.PV1.series": 1}),
    ),
    keeps_still=(
        Case("the reference job: 2.51 % and 2.71 %"),
        Case("the metric job: 6 mm² throughout", METRIC),
        Case(
            "array to motor without a booster, 5 m + 10 m: 4.2 %",
            {**PV_DIRECT, "panels.PV1.series": 1, "runs.R1.length": "5 m"},
        ),
    ),
    acceptable=True,
    sees_not="The way from a charge controller to its battery; joints and contacts.",
)


# -- control loops ---------------------------------------------------------------------------------


def _loops(system: System) -> Iterator[Device]:
    """Controllers whose remote terminals are wired."""
    wired = {end for c in system.conductors for end in (c.start, c.end)}
    for device in system.of_kind("controller"):
        remote = device.part.remote
        if remote is not None and wired & {f"{device.tag}.{name}" for name in remote.terminals}:
            yield device


def _loop(system: System, device: Device) -> tuple[Conductor | Pole, ...]:
    """Conductors and contacts round a remote loop when it is closed; empty where it never closes."""
    remote = device.part.remote
    walked: Walk = system.walked if remote.runs_when == "closed" else system.in_state(lambda _: True)
    return walked.paths(*(f"{device.tag}.{name}" for name in remote.terminals))


def _control_run(system: System, device: Device) -> Answer:
    remote, show = device.part.remote, system.show
    loop = _loop(system, device)
    if not loop:
        return unchecked(device.tag, device.path, f"the remote loop of {device.tag} is nowhere closed.")
    contact = system.handbook.threshold("switch_contact_ohm")
    resistance = _loop_resistance(system, device, loop, contact)
    runs = _runs_of(loop)
    run = max(runs, key=lambda r: runs[r], default=None)
    tag, path = (run.tag, run.path + ("size",)) if run is not None else (device.tag, device.path)
    if remote.coil_voltage is not None:
        return _coil(system, device, loop, resistance, tag, path)
    key = ("part",)
    limit = need(
        remote.highest_resistance,
        f"{device.tag}: highest loop resistance of its remote terminals (catalogue part {device.part.id})",
        device.path + key,
        "highest_resistance",
    )
    required, actual = f"at most {show(limit, 'resistance')}", show(resistance.value, "resistance", 3)
    told = (
        f"The remote loop of {device.tag} has {actual} when hot; its terminals take "
        f"{show(limit, 'resistance')}."
    )
    if keeps_to(resistance.value, limit):
        return satisfied(tag, path, told, required=required, actual=actual, calculations=(resistance,))
    return violated(
        tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=_thicker_loop(system, loop, resistance.value, limit, tag),
        related=(device.path + key,),
        calculations=(resistance,),
    )


def _coil(
    system: System,
    device: Device,
    loop: tuple[Conductor | Pole, ...],
    resistance: Calculation,
    tag: str,
    path: tuple[str | int, ...],
) -> Answer:
    remote, show = device.part.remote, system.show
    amperes = need(
        remote.coil_current,
        f"{device.tag}: current of its relay coil (catalogue part {device.part.id})",
        device.path + ("part",),
        "coil_current",
    )
    pickup = system.handbook.threshold("coil_pickup_fraction")
    rated = float(remote.coil_voltage)
    left = Calculation(
        "volts left at the relay coil",
        device.tag,
        "Vcoil",
        rated - resistance.value * amperes,
        "voltage",
        "V - Rloop · I",
        (
            Input("V", rated, "voltage", f"{device.tag}, catalogue part {device.part.id}"),
            Input("Rloop", resistance.value, "resistance", "conductors and contacts of the loop, hot"),
            Input("I", amperes, "current", f"{device.tag}, catalogue part {device.part.id}"),
        ),
        pickup.source,
    )
    share = left.value / rated
    required, actual = f"at least {show(pickup.value, 'fraction')}", show(share, "fraction", 3)
    told = (
        f"At the end of its loop the coil of {device.tag} is left {show(left.value, 'voltage', 3)}, {actual} "
        "of "
        f"{show(rated, 'voltage')}; it is sure to pick up from {show(pickup.value, 'fraction')}."
    )
    numbers = (resistance, left)
    if reaches(share, pickup.value):
        return satisfied(tag, path, told, required=required, actual=actual, calculations=numbers)
    limit = rated * (1.0 - pickup.value) / amperes
    return violated(
        tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=_thicker_loop(system, loop, resistance.value, limit, tag),
        related=(device.path + ("part",),),
        calculations=numbers,
    )


def _runs_of(loop: tuple[Conductor | Pole, ...]) -> dict[Run, float]:
    """Length of conductor of each run in a loop [m]."""
    found: dict[Run, float] = defaultdict(float)
    for step in loop:
        if isinstance(step, Conductor):
            found[step.run] += step.length_m
    return found


def _loop_resistance(
    system: System, device: Device, loop: tuple[Conductor | Pole, ...], contact: Sourced[float]
) -> Calculation:
    length = sum(c.length_m for c in loop if isinstance(c, Conductor))
    wires = sum(system.electrical.resistance_ohm(c) for c in loop if isinstance(c, Conductor))
    contacts = sum(1 for step in loop if isinstance(step, Pole))
    return Calculation(
        "resistance of the remote loop, hot",
        device.tag,
        "Rloop",
        wires + contacts * contact.value,
        "resistance",
        "Σ L · R′ + n · Rcontact",
        (
            Input("ΣL", length, "length", "conductors of the loop, there and back"),
            Input("Σ L · R′", wires, "resistance", "rulebook's resistance of each conductor, hot"),
            Input("n", contacts, "number", "switch contacts in the loop"),
            Input("Rcontact", contact.value, "resistance", contact.source),
        ),
        "Ohm's law",
    )


def _thicker_loop(
    system: System, loop: tuple[Conductor | Pole, ...], ohms: float, limit: float, tag: str
) -> str:
    """The smallest size of the longest run that brings the loop within its limit."""
    book, electrical = system.book, system.electrical
    members = [c for c in loop if isinstance(c, Conductor) and c.run.tag == tag]
    for size in book.sizes()[
        min((book.size_index(c.size) for c in members), default=len(book.sizes())) + 1 :
    ]:
        try:
            saved = sum(
                electrical.resistance_ohm(c) - electrical.resistance_ohm(replace(c, size=size))
                for c in members
            )
        except NotInTable:
            continue
        if ohms - saved <= limit:
            return f"Take {size} for {tag}, set a relay nearer, or take a coil that needs less current."
    return "Set a relay near the pump, or take a coil that needs less current."


_LONG_LOOP = {
    "runs.R4.length": "80 m",
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
    "part:booster-r.remote.coil_voltage": "24 V",
}

CONTROL_RUN = Rule(
    id="drop.control-run",
    severity=Severity.WARNING,
    title="Switch loop too long and thin for what it works",
    checks="Relay in the loop: V - (ΣL · R′ + n · Rcontact) · I >= 85 % of the coil's rated volts. No relay: "
    "loop resistance "
    "with its contacts <= what the remote terminals take.",
    why="A relay on too few volts chatters and burns its contacts, or lets the pump run when it should stop.",
    clauses={"us-2023": "Article 725; common practice", "iec": "60947-4-1 (85 % of rated coil voltage)"},
    look=_loops,
    examine=_control_run,
    fires=(
        Case(
            "24 V coil of 1.0 A at 80 m of 18 AWG: 19.8 V, 82 %",
            {**_LONG_LOOP, "part:booster-r.remote.coil_current": "1.0 A"},
            subject="R4",
        ),
        Case(
            "24 V coil of 1.0 A at 80 m of 0.75 mm²: 19.2 V, 80 %",
            {**METRIC, **_LONG_LOOP, "part:booster-r.remote.coil_current": "1.0 A"},
            subject="R4",
        ),
        Case("500 m of loop on terminals that take 50 ohm", {"runs.R4.length": "500 m"}, subject="R4"),
    ),
    keeps_still=(
        Case(
            "24 V coil of 0.5 A at 80 m of 18 AWG: 21.9 V, 91 %",
            {**_LONG_LOOP, "part:booster-r.remote.coil_current": "0.5 A"},
        ),
        Case("the reference job: 15 m, 50 ohm allowed"),
    ),
    acceptable=True,
    sees_not="Relays that are no controller of the spec; what a dirty contact adds beyond the usual "
    "allowance.",
)

RULES = (POWER_RUN, CONTROL_RUN)
