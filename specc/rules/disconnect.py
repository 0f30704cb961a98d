"""Rules on the means to cut a source from what it feeds: there, all poles, rated, in sight."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rules._edits import BATTERY, METRIC, PV_DIRECT
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system import worst
from specc.system.earthing import bonds
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Path, Pole, Port
from specc.system.once import once
from specc.system.states import Logic, circuits, fed_from
from specc.system.system import System
from specc.system.walk import Source

_MEANS = ("isolator", "breaker")  # kinds of device that are there to be opened by hand


@dataclass(frozen=True)
class _Circuit:
    """A source, and a load that it feeds."""

    source: Source
    load: Port

    @property
    def tag(self) -> str:
        return self.load.device.tag

    @property
    def path(self) -> Path:
        return self.load.device.path

    @property
    def name(self) -> str:
        return f"{self.source.tag} to {self.load.device.tag}"


def _circuits(system: System) -> Iterator[_Circuit]:
    for pair in system.walked.pairs:
        yield _Circuit(pair.source, pair.load)


def _is_means(pole: Pole) -> bool:
    return pole.device.kind in _MEANS


def _poles_in(system: System, circuit: _Circuit) -> tuple[Pole, ...]:
    """Poles of isolators and breakers through which the source feeds the load."""
    return tuple(_means_by_pair(system).get((circuit.source, circuit.load), ()))


@once
def _means_by_pair(system: System) -> dict[tuple[Source, Port], list[Pole]]:
    found: dict[tuple[Source, Port], list[Pole]] = defaultdict(list)
    for pole in system.connected.poles:
        branch = system.walked.branch(pole) if _is_means(pole) else None
        for pair in system.walked.crossings(branch) if branch is not None else ():
            found[pair.source, pair.load].append(pole)
    return found


def _by_device(poles: Iterable[Pole]) -> dict[Device, tuple[Pole, ...]]:
    found: dict[Device, list[Pole]] = defaultdict(list)
    for pole in poles:
        found[pole.device].append(pole)
    return {device: tuple(group) for device, group in found.items()}


# -- missing -------------------------------------------------------------------------------------------


def _to_cut(system: System) -> Iterator[Port]:
    """Ports that must be cut from what feeds them: motors, controllers, and batteries on an array."""
    for port in system.connected.ports:
        feeding = {p.device.kind for p in fed_from(port, system.circuits())} & _cut_from(port)
        if feeding or (port.device.kind == "pump" and fed_from(port, system.circuits())):
            yield port


def _cut_from(port: Port) -> set[str]:
    """Kinds of source from which a load must be cut (one battery of a bank need not be cut from the next)."""
    if port.device.kind == "battery":
        return {"panel"}
    return {"panel", "battery"} if port.device.kind == "controller" and port.takes else set()


@once
def _running_opened(system: System) -> frozenset[str]:
    """Tags of the pumps that run, every isolator and breaker open and every sensor in the clear."""
    opened = Logic(system.connected, lambda pole: pole.clear_closed and not _is_means(pole))
    return opened.running(frozenset())


def _missing(system: System, port: Port) -> Answer:
    device = port.device
    if device.kind == "pump":
        still = fed_from(port, system.circuits()) if device.tag in _running_opened(system) else ()
        whence = "its source" if not still else " and ".join(dict.fromkeys(p.device.tag for p in still))
    else:
        walked = system.in_state(lambda pole: pole.clear_closed and not _is_means(pole))
        still = tuple(p for p in fed_from(port, circuits(walked)) if p.device.kind in _cut_from(port))
        whence = " and ".join(dict.fromkeys(p.device.tag for p in still))
    required = "an isolator or breaker that cuts it"
    if not still:
        return satisfied(
            device.tag,
            device.path,
            f"{device.tag} ({port.name}) can be cut from every source.",
            required=required,
            actual="cut with every isolator and breaker open",
        )
    near = _first_conductor(system, still[0], port)
    where = f" in {near.tag}, between {near.start} and {near.end}," if near is not None else ""
    return violated(
        device.tag,
        device.path,
        f"Nothing cuts {whence} from {device.tag} ({port.name}): with every isolator and breaker open it "
        "is still fed.",
        required=required,
        actual="none",
        fix=f"Add a DC load-break isolator or breaker{where} with a pole in each conductor that is not "
        "grounded.",
        related=tuple(dict.fromkeys(p.device.path for p in still)),
    )


def _first_conductor(system: System, source: Port, load: Port) -> Conductor | None:
    """The conductor nearest to the source on its way to the load."""
    for ends in ((source.plus, load.plus), (source.minus, load.minus), (source.plus, load.minus)):
        way = system.walked.paths(*ends)
        found = next((step for step in way if isinstance(step, Conductor)), None)
        if found is not None:
            return found
    return None


_NO_BREAKER = {
    "breakers.Q1": None,
    "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "GB1"],
    "runs.R1.conductors[0].to": "CB1.pv+",
    "runs.R2.conductors[0]": None,
}

_NO_BREAKER_PV_DIRECT = {
    **PV_DIRECT,
    "breakers.Q1": None,
    "enclosures.BOX1.holds": ["F1", "DS1", "GB1", "TB1"],
    "runs.R1.conductors[0].to": "F1.1",
    "runs.R2.conductors": [{"from": "F1.2", "to": "DS1.1", "color": "red"}],
}

MISSING = Rule(
    id="disconnect.missing",
    severity=Severity.ERROR,
    title="Nothing to cut a source from what it feeds",
    checks="With every isolator and breaker open, no array and no battery is still on a closed path with a "
    "controller, "
    "and no motor is still fed. One device may serve several. Fuses, plugs between modules and remote "
    "terminals are "
    "no means to cut.",
    why="Whoever works on the pump or the controller must be able to make it dead, and keep it dead, with "
    "the sun out.",
    clauses={
        "us-2023": "690.13, 690.15; 430.102; batteries 480.7, 706.15",
        "iec": "60364-7-712 712.537; 60364-5-53 536; 62548-1",
    },
    look=_to_cut,
    examine=_missing,
    fires=(
        Case("no breaker between array and controller", _NO_BREAKER, subject="CB1"),
        Case(
            "neither breaker nor switch between array and motor, no controller",
            {
                **_NO_BREAKER_PV_DIRECT,
                "disconnects.DS1": None,
                "enclosures.BOX1.holds": ["F1", "GB1", "TB1"],
                "runs.R2.conductors": [],
                "runs.R3.conductors[0].from": "F1.2",
            },
            subject="P1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "one lockable device for array and motor, in sight of both, no controller", _NO_BREAKER_PV_DIRECT
        ),
    ),
    sees_not="Whether the device can be reached; whether it opens all poles (disconnect.poles).",
)

# -- poles ---------------------------------------------------------------------------------------------


def _grounded(system: System) -> frozenset[str]:
    """Live nets that count as solidly grounded: the job says so, and a bond is there."""
    if not system.solidly_grounded:
        return frozenset()
    return frozenset(bond.net for bond in bonds(system) if bond.solid)


def _cut_circuits(system: System) -> Iterator[_Circuit]:
    return (circuit for circuit in _circuits(system) if _poles_in(system, circuit))


def _poles(system: System, circuit: _Circuit) -> Iterator[Answer]:
    grounded = _grounded(system)
    by_device = _by_device(_poles_in(system, circuit))
    nets = {"+": circuit.source.plus, "−": circuit.source.minus}
    live = {sign: net for sign, net in nets.items() if net not in grounded}
    opens = {
        device: {sign for sign, net in nets.items() for pole in poles if system.walked.net(pole.a) == net}
        for device, poles in by_device.items()
    }
    names = ", ".join(device.tag for device in by_device)
    required = f"{' and '.join(live) or 'nothing'} opened together" + (
        "" if len(live) == 2 else ", the grounded one stays"
    )
    actual = "; ".join(f"{device.tag} opens {' and '.join(sorted(signs))}" for device, signs in opens.items())
    alone = [d for d, signs in opens.items() if signs - set(live) and not set(live) <= signs]
    if alone:
        yield violated(
            alone[0].tag,
            alone[0].path + ("part",),
            f"{alone[0].tag} opens the grounded conductor from {circuit.name} alone; the other stays live "
            "to ground.",
            required=required,
            actual=actual,
            fix=f"Move the pole of {alone[0].tag} to the conductor that is not grounded, or open both "
            "together.",
            related=(circuit.path,),
        )
    elif not any(set(live) <= signs for signs in opens.values()):
        first = next(iter(by_device))
        yield violated(
            first.tag,
            first.path + ("part",),
            f"From {circuit.name} neither conductor is solidly grounded, and no device opens both together "
            f"({actual})."
            if len(live) == 2
            else f"No device opens the live conductor from {circuit.name} ({actual}).",
            required=required,
            actual=actual,
            fix=f"Take a {len(live)}-pole device for {first.tag}, with a pole in {' and in '.join(live)}.",
            related=(circuit.path,),
        )
    else:
        yield satisfied(
            circuit.tag, circuit.path, f"{names} cut {circuit.name}.", required=required, actual=actual
        )


_FLOATING = {
    "job.earthing": "floating",
    "grounding.GB1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
    "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
}

_TWO_POLES = {
    **_FLOATING,
    "breakers.Q1": None,
    "disconnects.DS2": {"part": "isolator-r-2p", "location": "pump house"},
    "disconnects.DS1.part": "isolator-r-2p",
    "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "DS2"],
    "runs.R1.conductors[0].to": "DS2.1",
    "runs.R1.conductors[1].to": "DS2.3",
    "runs.R2.conductors": [
        {"from": "DS2.2", "to": "CB1.pv+", "color": "red"},
        {"from": "DS2.4", "to": "CB1.pv-", "color": "black"},
        {"from": "CB1.motor+", "to": "F1.1", "color": "red"},
        {"from": "F1.2", "to": "DS1.1", "color": "red"},
        {"from": "CB1.motor-", "to": "DS1.3", "color": "black"},
    ],
    "runs.R3.conductors[1].from": "DS1.4",
}

POLES = Rule(
    id="disconnect.poles",
    severity=Severity.DANGER,
    title="Disconnect that leaves a live conductor closed",
    checks="In each circuit that an isolator or breaker cuts, one device opens all conductors together "
    "that are not "
    "solidly grounded; a solidly grounded conductor is not opened alone.",
    why="In a floating system both poles are live to whoever touches the other; with one pole open the "
    "motor looks "
    "dead and is not.",
    clauses={"us-2023": "690.13, 690.15; 240.15(B); 404.2(B)", "iec": "60364-7-712 712.537 (all live poles)"},
    look=_cut_circuits,
    examine=_poles,
    fires=(
        Case("a floating array with a 1-pole breaker in +", _FLOATING, subject="Q1"),
        Case(
            "a floating array with a 1-pole breaker in +, metric rulebook",
            {**METRIC, **_FLOATING},
            subject="Q1",
        ),
        Case(
            "the breaker in the grounded negative",
            {
                "runs.R1.conductors[0].to": "CB1.pv+",
                "runs.R1.conductors[1].to": "Q1.1",
                "runs.R2.conductors[0]": {"from": "Q1.2", "to": "CB1.pv-", "color": "white"},
            },
            subject="Q1",
        ),
    ),
    keeps_still=(
        Case("grounded negative with 1 pole in +"),
        Case("a floating job with 2-pole devices", _TWO_POLES),
        Case("a floating job with 2-pole devices, metric rulebook", {**METRIC, **_TWO_POLES}),
    ),
    sees_not="A bond that somebody adds or takes away later.",
)

# -- rating --------------------------------------------------------------------------------------------


def _devices_that_cut(system: System) -> Iterator[Device]:
    seen = (pole.device for circuit in _circuits(system) for pole in _poles_in(system, circuit))
    yield from dict.fromkeys(seen)


def _rating(system: System, device: Device) -> Iterator[Answer]:
    part = device.part
    path = device.path + ("part",)
    if not part.load_break:
        yield _not_load_break(system, device)
        return
    voltage, current = _wanted_voltage(system, device), _wanted_current(system, device)
    has_v = float(need_part(device, "dc_voltage", "DC voltage rating"))
    key = "rating" if device.kind == "breaker" and part.dc_current is None else "dc_current"
    has_a = float(need_part(device, key, "DC current rating"))
    show = system.show
    required = f"{show(voltage.value, 'voltage')} and {show(current.value, 'current')} DC"
    actual = f"{show(has_v, 'voltage')} and {show(has_a, 'current')} DC"
    if has_v >= voltage.value and has_a >= current.value:
        yield satisfied(
            device.tag,
            path,
            f"{device.tag} can break its circuit.",
            required=required,
            actual=actual,
            calculations=(voltage, current),
        )
        return
    yield violated(
        device.tag,
        path,
        f"{device.tag} is rated to break {actual}; its circuit asks for {required}.",
        required=required,
        actual=actual,
        fix=f"Take a DC load-break device of at least {show(voltage.value, 'voltage')} and "
        f"{show(current.value, 'current')}.",
        calculations=(voltage, current),
    )


def _not_load_break(system: System, device: Device) -> Answer:
    path = device.path + ("part",)
    alone = []
    for circuit in _circuits(system):
        others = _by_device(_poles_in(system, circuit))
        if device in others and not any(other.part.load_break for other in others):
            alone.append(circuit)
    required = "a DC load-break device in the circuit"
    if alone:
        names = ", ".join(circuit.name for circuit in alone)
        return violated(
            device.tag,
            path,
            f"{device.tag} ({device.part.name}) is all that cuts {names}, and it must not be opened under "
            "load.",
            required=required,
            actual="not load-break",
            fix="Add a DC load-break isolator, and label this device: do not open under load.",
            related=tuple(circuit.path for circuit in alone),
        )
    return satisfied(
        device.tag,
        path,
        f"{device.tag} is not for opening under load; a load-break device is in each of its circuits.",
        required=required,
        actual="there is one",
    )


def _branches(system: System, device: Device) -> Iterator[Pole]:
    return (pole for pole in system.poles_of(device) if system.walked.branch(pole) is not None)


def _wanted_voltage(system: System, device: Device) -> Calculation:
    """The highest voltage across any pole of the device, in any state of the switches [V]."""
    found = worst.voltage_on(system, *system.poles_of(device))
    assert found is not None
    return found.number


def _wanted_current(system: System, device: Device) -> Calculation:
    """Current that the device must be able to break: by array, by motor, else what flows for hours [A]."""
    found = [option for pole in _branches(system, device) for option in _currents(system, pole)]
    return max(found, key=lambda c: c.value)


def _currents(system: System, pole: Pole) -> Iterator[Calculation]:
    electrical, book, tag = system.electrical, system.book, pole.device.tag
    branch = electrical.branch(pole)
    if branch is None:
        return
    arrays = electrical.arrays_through(branch)
    if arrays:
        factor, most = book.factor("pv_conductor"), electrical.maximum_current(arrays)
        yield Calculation(
            "load-break current, array circuit",
            tag,
            "Ib",
            factor.value * most.value,
            "current",
            f"{factor.value:g} · Imax",
            (Input("Imax", most.value, "current", most.subject),),
            factor.source,
        )
    motors = electrical.motors_through(branch)
    if motors:
        factor = book.factor("motor_disconnect")
        amps = {motor: electrical.motor_current_a(motor) for motor in motors}
        yield Calculation(
            "load-break current, motor circuit",
            tag,
            "Ib",
            factor.value * sum(amps.values()),
            "current",
            f"{factor.value:g} · ΣIm",
            tuple(Input("Im", amp, "current", f"{motor.tag}, catalogue") for motor, amp in amps.items()),
            factor.source,
        )
    if not arrays and not motors:
        carried = electrical.continuous_current(pole)
        if carried is not None:
            yield carried


RATING = Rule(
    id="disconnect.rating",
    severity=Severity.DANGER,
    title="Disconnect that cannot break its circuit",
    checks="DC load-break rating at the highest voltage of the circuit, and at factor · Imax of the array "
    "(the factor "
    "of its conductors) or 115 % of the motor's label current, whichever is more. What is not load-break "
    "(plugs) "
    "serves only beside a device that is.",
    why="Direct current draws an arc that does not go out by itself; a switch too small for it burns in "
    "the hand that "
    "opens it.",
    clauses={
        "us-2023": "430.110(A); 690.15; 690.33(D)",
        "iec": "60947-3; 60364-7-712 712.537; 62852 (connectors)",
    },
    look=_devices_that_cut,
    examine=_rating,
    fires=(
        Case(
            "an 18 A motor on a 20 A switch: 20.7 A",
            {"part:pump-r.rated_current": "18 A", "part:isolator-r.dc_current": "20 A"},
            subject="DS1",
        ),
        Case(
            "a plug as the only motor disconnect",
            {"disconnects.DS1.part": "plug-connector-2p-50a"},
            subject="DS1",
        ),
        Case("a 40 V switch in the array circuit", {"part:breaker-r.dc_voltage": "40 V"}, subject="Q1"),
        Case(
            "a 16 A breaker in the array circuit: 18.75 A",
            {"part:breaker-r.dc_current": "16 A"},
            subject="Q1",
        ),
        Case(
            "a 14 A breaker in the array circuit, metric rulebook: 15 A",
            {**METRIC, "part:breaker-r.dc_current": "14 A"},
            subject="Q1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a 17 A motor on a 20 A switch: 19.55 A",
            {"part:pump-r.rated_current": "17 A", "part:isolator-r.dc_current": "20 A"},
        ),
        Case(
            "a 16 A breaker in the array circuit, metric rulebook: 15 A",
            {**METRIC, "part:breaker-r.dc_current": "16 A"},
        ),
    ),
    sees_not="Whether the rating holds with fewer poles in series than the maker shows "
    "(voltage.no-dc-rating).",
)

# -- sight ---------------------------------------------------------------------------------------------


def _motors(system: System) -> Iterator[Device]:
    return (pump for pump in system.of_kind("pump") if _motor_disconnects(system, pump))


def _motor_disconnects(system: System, pump: Device) -> tuple[Device, ...]:
    """Devices that cut the motor: those of its own circuit, else those before its controller."""
    own = [c for c in _circuits(system) if c.load.device is pump]
    found = [pole.device for circuit in own for pole in _poles_in(system, circuit)]
    if not found:
        feeders = {device for circuit in own for device in circuit.source.devices}
        before = [c for c in _circuits(system) if c.load.device in feeders]
        found = [pole.device for circuit in before for pole in _poles_in(system, circuit)]
    return tuple(dict.fromkeys(found))


def _controllers_of(system: System, pump: Device) -> tuple[Device, ...]:
    sources = [c.source for c in _circuits(system) if c.load.device is pump and c.source.kind == "converter"]
    return tuple(dict.fromkeys(device for source in sources for device in source.devices))


def _in_sight(system: System, pump: Device) -> Answer:
    devices = _motor_disconnects(system, pump)
    limit = system.book.threshold("in_sight_m")
    most = system.show(limit.value, "length")
    required = f"lockable open, or visible and within {most} of motor and controller"
    lockable = [device for device in devices if device.part.lockable]
    if lockable:
        return satisfied(
            pump.tag,
            lockable[0].path,
            f"{lockable[0].tag} can be locked open.",
            required=required,
            actual="lockable",
        )
    seen: dict[Device, str] = {}
    for device in devices:
        out = [
            _out_of_sight(system, device, other, limit.value)
            for other in (pump, *_controllers_of(system, pump))
        ]
        faults = [fault for fault in out if fault]
        if not faults:
            return satisfied(
                pump.tag, device.path, f"{device.tag} is in sight.", required=required, actual="in sight"
            )
        seen[device] = ", ".join(faults)
    first = devices[0]
    actual = "; ".join(f"{device.tag}: {fault}" for device, fault in seen.items())
    return violated(
        first.tag,
        first.path + ("location",) if first.spec.location else first.path,
        f"The disconnect of {pump.tag} cannot be locked open and is out of sight ({actual}).",
        required=required,
        actual=actual,
        fix="Take one that can be locked open, or add a second switch at the pump.",
        related=(pump.path,),
    )


def _out_of_sight(system: System, device: Device, other: Device, most_m: float) -> str:
    """Why a device does not count as in sight of another; empty where it does."""
    here, there = (need(d.location, f"{d.tag}: where it stands", d.path, "location") for d in (device, other))
    sight = system.connected.places.between(here, there)
    if sight is None:
        raise MissingDatum(
            f"distance and sight between {here} and {there} ([[sightlines]])",
            ("sightlines",),
            "between, distance",
        )
    if not sight.visible:
        return f"not visible from {other.tag}"
    if not sight.distance_m <= most_m:
        return f"{system.show(sight.distance_m, 'length')} from {other.tag}"
    return ""


_FAR = {"part:isolator-r.lockable": False, "sightlines.1.distance": "20 m"}

OUT_OF_SIGHT = Rule(
    id="disconnect.out-of-sight",
    severity=Severity.WARNING,
    title="Motor disconnect that nobody at the motor can watch or lock",
    checks="The motor's disconnect can be locked open where it stands, or it is visible and within 15 m "
    "(50 ft) of "
    "motor and controller.",
    why="The person with hands in the pump must see that nobody closes the switch, or hold the key to it.",
    clauses={
        "us-2023": "430.102(A), (B); Art. 100 (in sight from)",
        "iec": "60364-5-53 536.3 (mechanical maintenance); 60204-1 5.4",
    },
    look=_motors,
    examine=_in_sight,
    fires=(
        Case("20 m away, no lock", _FAR, subject="DS1"),
        Case(
            "near but behind a wall, no lock",
            {"part:isolator-r.lockable": False, "sightlines.1.visible": False},
        ),
        Case("20 m away, no lock, battery job", {**BATTERY, **_FAR}, subject="DS1"),
        Case("20 m away, no lock, metric rulebook", {**METRIC, **_FAR}, subject="DS1"),
    ),
    keeps_still=(
        Case("exactly 15 m and visible", {**_FAR, "sightlines.1.distance": "15 m"}),
        Case(
            "exactly 15 m and visible, metric rulebook", {**METRIC, **_FAR, "sightlines.1.distance": "15 m"}
        ),
        Case("20 m away and lockable", {"sightlines.1.distance": "20 m"}),
    ),
    sees_not="What stands in the way on the day.",
)

RULES = (MISSING, POLES, RATING, OUT_OF_SIGHT)
