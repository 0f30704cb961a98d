"""Worst cases: the highest voltage and current at each place, with the state and condition that make them.

The figures themselves come from ``electrical``, ``faults`` and ``physics``; here stands what each needs to
happen: a coldest morning, a cloud's edge, low sun, a start, a blocked rotor, a short circuit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

from specc.calculation import Calculation, Input
from specc.physics import pumps
from specc.rulebooks import NotInTable
from specc.system import clearing, faults, guarding
from specc.system.electrical import Electrical
from specc.system.every_state import witness
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Conductor, Device, Pole
from specc.system.once import once
from specc.system.states import TooManySwitches, positions
from specc.system.system import System
from specc.system.walk import Source, Walk

MOST_STATES = 64  # of change-over devices together; with more each position is tried by itself

_VOLTAGE = {
    "array": "coldest clear morning, array open",
    "battery": "charging, end of absorption",
    "converter": "controller unloaded, at its output clamp",
}


@dataclass(frozen=True)
class Worst:
    """One worst figure: the worked number, what has to happen for it, and the state of the switches."""

    number: Calculation
    condition: str
    state: str

    @property
    def value(self) -> float:
        """In SI."""
        return self.number.value


# -- states ------------------------------------------------------------------------------------------


@once
def states(system: System) -> tuple[tuple[Electrical, str], ...]:
    """The electrical side in every state that can carry other sources than the clear one, with its words."""
    found = [(system.electrical, witness(system.connected, system.walked.closed))]
    for walked in _other_walks(system):
        words = witness(system.connected, walked.closed)
        found.append((Electrical(system.connected, walked, system.book), words))
    return tuple({words: (electrical, words) for electrical, words in found}.values())


def _other_walks(system: System) -> Iterator[Walk]:
    """Change-over devices in their other positions, and each contact closed that is open in the clear."""
    try:
        every = [system.in_state(state) for state in positions(system.connected)]
    except TooManySwitches:
        every = []
    if 1 < len(every) <= MOST_STATES:
        yield from every
    for pole in system.connected.poles:
        if not pole.clear_closed:
            # The other contacts of the device change over with it.
            yield system.in_state(
                lambda p, pole=pole: p is pole or (p.clear_closed and p.device is not pole.device)  # type: ignore[misc]
            )


# -- voltage -----------------------------------------------------------------------------------------


def highest_voltage(system: System, sources: Iterable[Source]) -> Worst:
    """The highest voltage that any of one or more sources of the clear state can show [V]."""
    return _highest(system.electrical, tuple(sources), states(system)[0][1])


def _highest(electrical: Electrical, sources: tuple[Source, ...], state: str) -> Worst:
    source = max(sources, key=lambda s: electrical.highest_voltage(s).value)
    return Worst(electrical.highest_voltage(source), _voltage_condition(electrical, source), state)


def _voltage_condition(electrical: Electrical, source: Source) -> str:
    if source.kind != "converter" or electrical.highest_voltage(source).formula == "output clamp":
        return _VOLTAGE[source.kind]
    device = source.ports[0].device  # it passes on what it gets
    behind = max(electrical.feeding(device), key=lambda s: electrical.highest_voltage(s).value)
    return f"{_voltage_condition(electrical, behind)}; {device.tag} has no output clamp"


def reached(system: System, *what: Conductor | Pole | str) -> bool:
    """Does a source reach these conductors, poles or terminals in any state?"""
    return any(_sources(electrical, what) for electrical, _ in states(system))


def _sources(electrical: Electrical, what: Iterable[Conductor | Pole | str]) -> tuple[Source, ...]:
    found: dict[Source, None] = {}
    for thing in what:
        here = electrical.sources_at(thing) if isinstance(thing, str) else electrical.sources_on(thing)
        found.update(dict.fromkeys(here))
    return tuple(found)


@once
def voltage_on(system: System, *what: Conductor | Pole | str) -> Worst | None:
    """The highest voltage on conductors, poles or terminals, in any state [V]; None on no source."""
    found = []
    for electrical, state in states(system):
        sources = _sources(electrical, what)
        if sources:
            found.append(_highest(electrical, sources, state))
    return max(found, key=lambda worst: worst.value, default=None)


def hot_voltage(system: System, source: Source) -> Worst:
    """The lowest voltage at maximum power of an array, on the hottest noon [V]."""
    members = [system.electrical.hot_voltage(device) for device in source.devices]
    number = members[0]
    if len(members) > 1:
        number = Calculation(
            "voltage at maximum power, hottest day",
            source.tag,
            "Vmp,hot",
            sum(m.value for m in members),
            "voltage",
            "sum over the arrays in series",
            tuple(Input(f"Vmp,hot {m.subject}", m.value, "voltage", m.subject) for m in members),
            "series circuit",
        )
    return Worst(number, "hottest noon in full sun, array loaded", states(system)[0][1])


# -- current -----------------------------------------------------------------------------------------


def continuous_current(system: System, what: Conductor | Pole) -> Worst | None:
    """The largest current that flows for hours in any state [A]; None where none does."""
    found = []
    for electrical, state in states(system):
        number = electrical.continuous_current(what)
        branch = electrical.branch(what)
        if number is not None and branch is not None:
            found.append(Worst(number, _current_condition(system, number), state))
    return max(found, key=lambda worst: worst.value, default=None)


def _current_condition(system: System, number: Calculation) -> str:
    if number.symbol == "Imax":
        return f"bright sun, {system.book.factor('pv_maximum_current').value:g} of the standard irradiance"
    if number.symbol != "Iout":
        return "every load at its rated current"
    boosting = any(
        device.kind == "controller" and device.part.type == "current booster"
        for device in system.devices.values()
        if device.tag in number.subject.split(", ")
    )
    return (
        "low sun: the booster turns volts into amperes up to its limit"
        if boosting
        else "controller at its limit"
    )


def start_current(system: System, what: Conductor | Pole) -> Worst | None:
    """Current while the largest motor starts and the others run [A]; None where no motor is fed.

    A controller lets through no more than its peak output. Raises ``MissingDatum``.
    """
    motors = tuple(
        dict.fromkeys(p.load.device for p in guarding.feeds(system, what) if p.load.device.kind == "pump")
    )
    if not motors:
        return None
    running = {m: system.electrical.motor_current_a(m) for m in motors}
    starting = {m: float(need_part(m, "start_current", "starting current")) for m in motors}
    total = sum(running.values()) + max(starting[m] - running[m] for m in motors)
    inputs = [Input(f"Istart {m.tag}", starting[m], "current", f"{m.tag}, catalogue") for m in motors]
    inputs += [
        Input(f"Im {m.tag}", running[m], "current", f"{m.tag}, catalogue") for m in motors if len(motors) > 1
    ]
    return _limited(
        system,
        what,
        Calculation(
            "motor start",
            ", ".join(m.tag for m in motors),
            "Istart",
            total,
            "current",
            "Istart of the largest, plus Im of the others",
            tuple(inputs),
            "makers' data",
        ),
        "motor starts against its standing head",
    )


def stall_current(system: System, what: Conductor | Pole) -> Worst | None:
    """Current into the blocked rotor of the largest motor [A]; None where no motor is fed.

    V / Ra at the highest voltage of the circuit, no more than a controller lets through. Raises
    ``MissingDatum``.
    """
    motors = tuple(
        dict.fromkeys(p.load.device for p in guarding.feeds(system, what) if p.load.device.kind == "pump")
    )
    volts = voltage_on(system, what)
    if not motors or volts is None:
        return None
    ohms = {m: float(need_part(m, "armature_resistance", "armature resistance")) for m in motors}
    motor = min(motors, key=lambda m: ohms[m])
    stalled = Calculation(
        "rotor blocked",
        motor.tag,
        "Istall",
        pumps.stall_current_a(volts.value, ohms[motor]),
        "current",
        "V / Ra",
        (
            Input("V", volts.value, "voltage", volts.condition),
            Input("Ra", ohms[motor], "resistance", f"{motor.tag}, catalogue part {motor.part.id}"),
        ),
        "Ohm's law, no back voltage at rest",
    )
    return _limited(system, what, stalled, "rotor blocked")


def _limited(system: System, what: Conductor | Pole, number: Calculation, condition: str) -> Worst:
    """A motor current, held to what the sources let through where none of them is a battery."""
    sources = tuple(dict.fromkeys(pair.source for pair in guarding.feeds(system, what)))
    state = states(system)[0][1]
    if not sources or clearing.batteries_behind(system, sources):
        return Worst(number, condition, state)
    limit = sum(_most_a(system, source) for source in sources)
    if limit >= number.value:
        return Worst(number, condition, state)
    held = Calculation(
        number.what,
        number.subject,
        number.symbol,
        limit,
        "current",
        f"{number.formula}, held by its source",
        (*number.inputs, Input("Ilimit", limit, "current", ", ".join(s.tag for s in sources))),
        number.source,
    )
    return Worst(held, f"{condition}, held by {', '.join(s.tag for s in sources)}", state)


def _most_a(system: System, source: Source) -> float:
    """The largest current that an array or a controller gives for a moment [A]."""
    if source.kind == "array":
        return system.electrical.maximum_current((source,)).value
    device = source.ports[0].device
    return float(device.part.peak_output_current or system.electrical.output_current_a(device))


# -- faults ------------------------------------------------------------------------------------------


def short_circuit(system: System, pole: Pole) -> Worst | None:
    """What the stronger side drives into a short circuit behind a pole [A]; None where no source reaches.

    A fuse or breaker may have to break what comes from either side; another pole carries what feeds
    something through it.
    """
    branch = system.walked.branch(pole)
    if branch is None:
        return None
    found = []
    feeding = {pair.source for pair in guarding.feeds(system, pole)}
    for sources in guarding.sources_by_side(system, branch).values():
        if pole.device.kind not in ("fuse", "breaker"):
            sources = tuple(s for s in sources if s in feeding)
        if not sources:
            continue
        amperes, numbers = faults.prospective_a(system, pole, sources)
        tags = ", ".join(s.tag for s in sources)
        number = Calculation(
            "short circuit",
            pole.device.tag,
            "Ik",
            amperes,
            "current",
            "ΣIk of batteries through their cable, plus what arrays and controllers are limited to",
            tuple(Input(f"Ik {n.subject}", n.value, "current", n.source) for n in numbers),
            "; ".join(dict.fromkeys(n.source for n in numbers)) or "limited sources",
        )
        how = "full battery, cold cable" if numbers else "limited by its source"
        found.append(Worst(number, f"short circuit fed by {tags}, {how}", states(system)[0][1]))
    return max(found, key=lambda worst: worst.value, default=None)


def string_fault(system: System, source: Source) -> Worst:
    """What all else drives into one faulty string of an array [A]."""
    number = faults.string_fault(system, source)
    return Worst(number, "fault in one string, the others in bright sun", states(system)[0][1])


# -- all of them -------------------------------------------------------------------------------------


Work = Callable[[], Worst | None]


@dataclass(frozen=True)
class AtPlace:
    """What stands at one place, and its worst cases; ``lacking`` names what could not be worked out."""

    tag: str
    cases: tuple[Worst, ...]
    lacking: tuple[str, ...]


def every_place(system: System) -> Iterator[AtPlace]:
    """Arrays, then conductors, then the poles of devices, in the order of the spec."""
    for source in system.walked.sources:
        if source.kind == "array":
            works = (
                partial(highest_voltage, system, (source,)),
                partial(hot_voltage, system, source),
                partial(string_fault, system, source),
            )
            yield _at(source.tag, works)
    for conductor in system.conductors:
        if reached(system, conductor):
            yield _at(conductor.tag, _on(system, conductor))
    for pole in system.connected.poles:
        if reached(system, pole):
            several = sum(1 for other in system.connected.poles if other.device is pole.device) > 1
            tag = f"{pole.a} to {pole.b}" if several else pole.device.tag
            yield _at(tag, (*_on(system, pole), partial(short_circuit, system, pole)))


_ON_A_BRANCH = (voltage_on, continuous_current, start_current, stall_current)


def _on(system: System, what: Conductor | Pole) -> tuple[Work, ...]:
    return tuple(partial(work, system, what) for work in _ON_A_BRANCH)


def numbers(system: System) -> tuple[Calculation, ...]:
    """Every worked number behind the worst cases that is finite, for the calculation sheet."""
    found = (worst.number for place in every_place(system) for worst in place.cases)
    return tuple(dict.fromkeys(number for number in found if math.isfinite(number.value)))


def _at(tag: str, works: Iterable[Work]) -> AtPlace:
    cases: list[Worst] = []
    lacking: list[str] = []
    for work in works:
        try:
            worst = work()
        except MissingDatum as lack:
            lacking.append(lack.what)
        except NotInTable as outside:
            lacking.append(str(outside))
        else:
            if worst is not None:
                cases.append(worst)
    return AtPlace(tag, tuple(cases), tuple(dict.fromkeys(lacking)))


def places_of(system: System, device: Device) -> tuple[Pole | str, ...]:
    """Where a device meets voltage: its poles, else its terminals but for grounding."""
    poles = system.poles_of(device)
    if poles:
        return poles
    return tuple(t.id for t in system.connected.terminals_of(device) if t.role != "ground")
