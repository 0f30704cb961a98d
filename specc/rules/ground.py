"""Rules on earthing: bonds, grounding conductors, colours, ground faults."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rulebooks import ROUNDING, NotInTable
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._variants import (
    FLOATING,
    FUNCTIONAL,
    FUNCTIONAL_BY_FUSE,
    FUNCTIONAL_INSIDE,
    METRIC,
)
from specc.system import bonding, earthing, guarding
from specc.system.bonding import Bond
from specc.system.earthing import Supply, ground_conductors
from specc.system.every_state import everything_closed
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Path, Pole, Port
from specc.system.once import once
from specc.system.states import Logic
from specc.system.system import System
from specc.system.walk import Crossing, Groups, Source

# -- ground.bond-missing -------------------------------------------------------------------------------


def _grounded_supplies(system: System) -> Iterator[Supply]:
    if not system.floating:
        yield from (supply for supply in earthing.supplies(system) if supply.feeders)


def _bond_missing(system: System, supply: Supply) -> Answer:
    joins = _refers if system.functional else _bonds_solidly
    good = [bond for bond in supply.bonds if joins(system, bond)]
    required = (
        "one conductor joined to earth through a fuse, breaker, resistor or detector"
        if system.functional
        else "the negative bonded to earth at one point"
    )
    if good:
        side = earthing.polarity(system, good[0].net)
        told = f"{good[0].tag} refers the {side} to earth" if system.functional else f"{good[0].tag} bonds it"
        return satisfied(supply.tag, good[0].path, f"{told}.", required=required, actual="bonded")
    actual = "; ".join(_falls_short(system, bond) for bond in supply.bonds) or "no bond"
    said = str(system.job.earthing)
    wanted = "reference to earth through a device" if system.functional else "bond of its negative to earth"
    negative = supply.feeders[0].ports[0].minus
    cure = (
        f"Put a functional-earth device between the net of {negative} and the grounding bar"
        if system.functional
        else f"Bond the net of {negative} to the grounding bar at one point"
    )
    astray = [b.tag for b in supply.bonds if b.solid and not b.hidden]
    if astray and not system.functional:  # a second bond beside one on the positive would short the supply
        cure = f"Move {' and '.join(astray)} to the net of {negative}, so that the positive has no bond left"
    return violated(
        supply.tag,
        ("job", "earthing"),
        f'The job says "{said}", but the supply of {supply.tag} has no {wanted}'
        + (f": {actual}." if supply.bonds else "."),
        required=required,
        actual=actual,
        fix=f"{cure}{_or_say(system, supply)}.",
        related=(supply.path, *(b.path for b in supply.bonds)),
    )


def _refers(system: System, bond: Bond) -> bool:
    return bond.functional and bool(earthing.polarity(system, bond.net))


def _bonds_solidly(system: System, bond: Bond) -> bool:
    return bond.solid and earthing.polarity(system, bond.net) == "negative"


def _falls_short(system: System, bond: Bond) -> str:
    """Why a bond is not what the job says."""
    side = earthing.polarity(system, bond.net)
    if system.functional and bond.solid:
        return f"{bond.tag} joins the {side or 'circuit'} to earth solidly, with nothing that opens"
    if bond.through is not None and not bond.functional:
        return f"in the bond stands {bond.through.device.tag}, which opens only by hand"
    if bond.through is not None and not system.functional:
        return f"{bond.tag} is no solid bond: it joins the {side} to earth through a {bond.through.through}"
    return f"{bond.tag} is not on " + ("a pole of the supply" if system.functional else "the negative")


def _or_say(system: System, supply: Supply) -> str:
    """The other way out: to say what stands; empty where the job says so already, or has no word for it."""
    said = "floating"
    if any(bond.functional for bond in supply.bonds):
        said = "functionally grounded"
    elif any(bond.solid for bond in supply.bonds):
        if not any(earthing.polarity(system, bond.net) == "negative" for bond in supply.bonds if bond.solid):
            return ""
        said = "negative grounded"
    return "" if said == system.job.earthing else f', or write earthing = "{said}"'


_NO_BOND: dict[str, object] = {
    "grounding.GB1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
    "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
}

_ONE_AMPERE = {
    "terminal": "system",
    "through": "fuse",
    "rating": "1 A",
    "dc_voltage": "600 V",
    "breaking_capacity": "10 kA",
}
_IN_BOOSTER = {**_ONE_AMPERE, "terminal": "pv-"}

# An isolator between the negative and the bar, in a job that says "functionally grounded".
_SWITCH_IN_BOND: dict[str, object] = {
    **FUNCTIONAL_BY_FUSE,
    "fuses.F9": None,
    "disconnects.F9": {"part": "isolator-r", "location": "pump house"},
}

BOND_MISSING = Rule(
    id="ground.bond-missing",
    severity=Severity.ERROR,
    title="The bonds to earth are not what the job says",
    checks='Where the job says "negative grounded", the negative of every separate supply is joined to '
    "the grounding net, with nothing between: by a conductor, a system bond, or inside a controller. Where "
    'it says "functionally grounded", one pole of every supply is joined to it through a fuse, breaker, '
    "resistor or detector: in the lead, in a device of its own, or inside a controller or breaker.",
    why="Colours, fuses and the poles of switches are chosen for the earthing that the job names; with other "
    "bonds each of them is wrong.",
    clauses={
        "us-2023": "Art. 100 (functionally grounded); 690.41(A), 690.42; 250.164",
        "iec": "60364-1 312.2; 60364-7-712 712.411; 62548-1 functional earthing",
    },
    look=_grounded_supplies,
    examine=_bond_missing,
    fires=(
        Case("no bond in a grounded job", _NO_BOND),
        Case("the bond on the positive", {"runs.R5.conductors[1].to": "CB1.pv+"}),
        Case("a fuse in the bond of a grounded job", {"part:bond-r.functional_earth": _ONE_AMPERE}),
        Case("functionally grounded, and a solid bond", {"job.earthing": "functionally grounded"}),
        Case("functionally grounded, and no bond", {**FLOATING, "job.earthing": "functionally grounded"}),
        Case("functionally grounded, a switch in the bond", _SWITCH_IN_BOND),
    ),
    keeps_still=(
        Case("one bond"),
        Case("the bond inside the booster", {**_NO_BOND, "part:booster-r.bond_inside": True}),
        Case("functionally grounded through a device of its own", FUNCTIONAL),
        Case("functionally grounded inside the booster", FUNCTIONAL_INSIDE),
        Case("functionally grounded through a fuse in the lead", FUNCTIONAL_BY_FUSE),
        Case(
            "a wire from the negative to the grounding bar",
            {
                **_NO_BOND,
                "runs.R5.conductors": [
                    {"from": "CB1.case", "to": "BOX1.ground", "color": "green"},
                    {"from": "CB1.pv-", "to": "BOX1.ground", "color": "green"},
                ],
            },
        ),
    ),
)


# -- ground.second-bond --------------------------------------------------------------------------------


def _bonds(system: System) -> Iterator[tuple[Bond, Supply]]:
    for supply in earthing.supplies(system):
        for bond in supply.bonds:
            yield bond, supply


def _second_bond(system: System, subject: tuple[Bond, Supply]) -> Answer:
    bond, supply = subject
    allowed = 0 if system.floating else 1
    # A bond inside a device cannot be taken out: it is the one that stays; a stray wire goes first.
    keep = sorted(
        supply.bonds,
        key=lambda b: (system.functional and not b.functional, not b.hidden, b.tag not in system.devices),
    )[:allowed]
    required = "one bond" if allowed else "no bond: the job says floating"
    actual = f"{len(supply.bonds)}: {', '.join(b.tag for b in supply.bonds)}"
    if bond in keep:
        return satisfied(bond.tag, bond.path, f"{bond.tag} is the bond.", required=required, actual=actual)
    others = [b for b in supply.bonds if b is not bond]
    where = "inside it " if bond.hidden else ""
    cure = (
        f"Use a controller without a bond inside in place of {bond.tag}"
        if bond.hidden
        else f"Remove the bond {bond.tag}"
    )
    return violated(
        bond.tag,
        bond.path,
        f"{bond.tag} {where}bonds the supply of {supply.tag} to earth"
        + (f", as {keep[0].tag} does." if keep else ", and the job says that it is floating."),
        required=required,
        actual=actual,
        fix=f"{cure}" + (f"; keep {keep[0].tag} alone." if keep else f"{_or_say(system, supply)}."),
        related=tuple(b.path for b in others) or (("job", "earthing"),),
    )


SECOND_BOND = Rule(
    id="ground.second-bond",
    severity=Severity.DANGER,
    title="The supply is bonded to earth at more than one point",
    checks="Bonds of one supply to earth: one at most, none if floating. Wires from a live net to a "
    "grounding terminal, system bonds, functional-earth devices, and what stands inside controllers and "
    "breakers all count.",
    why="With two bonds the load's current flows in grounding conductors and frames, and a ground fault "
    "goes unseen; a second one goes round the device of a functional earth.",
    clauses={"us-2023": "250.164, 250.6; 690.42", "iec": "60364-7-712 712.411; 62548-1 functional earthing"},
    look=_bonds,
    examine=_second_bond,
    fires=(
        Case("a bond in the booster besides", {"part:booster-r.bond_inside": True}, subject="GB1"),
        Case(
            "a bond at the array besides",
            {"runs.R1.conductors[3]": {"from": "PV1.-", "to": "PV1.frame", "color": "green"}},
        ),
        Case("a bond in a floating job", {"job.earthing": "floating"}, subject="GB1"),
        Case(
            "a solid bond at the array beside a functional one",
            {**FUNCTIONAL, "runs.R1.conductors[3]": {"from": "PV1.-", "to": "PV1.frame", "color": "green"}},
            subject="R1.4",
        ),
        Case(
            "a functional earth in the booster besides",
            {**FUNCTIONAL, "part:booster-r.functional_earth": _IN_BOOSTER},
            subject="GF1",
        ),
        Case(
            "a functional earth in a floating job", {**FUNCTIONAL, "job.earthing": "floating"}, subject="GF1"
        ),
    ),
    keeps_still=(
        Case("one bond"),
        Case("one functional bond", FUNCTIONAL),
        Case("the only bond is inside the booster", {**_NO_BOND, "part:booster-r.bond_inside": True}),
    ),
)


# -- ground.egc-missing --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Electrode:
    """Stands for the grounding electrode of an installation: of the whole job, as a rule."""

    main: tuple[str, ...]  # terminals of the grounding net that should reach it
    of: str = ""  # one of its devices, where the job has several installations apart

    path: Path = ("job", "earthing")

    @property
    def tag(self) -> str:
        return f"grounding of {self.of}" if self.of else "grounding"


@once
def _main_nets(system: System) -> Mapping[str, tuple[str, ...]]:
    """Tag -> terminals of the one grounding net on which a device belongs.

    What shares a wiring, a place, a box, a raceway or a grounding net is one installation and has one net:
    that with the electrode, then the largest. Installations apart may each have their own.
    """
    nets = earthing.ground_groups(system)
    first = next(iter(nets.values()), ())
    if len(nets) < 2:
        return dict.fromkeys(system.devices, first)
    together, wiring = Groups(), system.wiring()
    for device in system.devices.values():
        if device.location is not None:
            together.join(f"device {device.tag}", f"place {device.location}")
        if device.box is not None:
            together.join(f"device {device.tag}", f"device {device.box}")
        if device.tag in wiring:
            together.join(f"device {device.tag}", f"wiring {wiring[device.tag]}")
    for raceway in system.of_kind("raceway"):
        for run in system.connected.runs_in(raceway):
            for conductor in run.conductors:
                end = system.terminal(conductor.start).device
                together.join(f"device {raceway.tag}", f"device {end.tag}")
    mains: dict[str, tuple[str, ...]] = {}
    for net, terminals in nets.items():
        for terminal in terminals:
            together.join(f"ground {net}", f"device {system.terminal(terminal).device.tag}")
    for net, terminals in nets.items():
        mains.setdefault(together.root(f"ground {net}"), terminals)
    return {tag: mains.get(together.root(f"device {tag}"), first) for tag in system.devices}


_CASED = ("panel", "controller", "pump", "enclosure")  # what says whether it has exposed metal


def _cased_devices(system: System) -> Iterator[Device]:
    for device in system.devices.values():
        part = device.part
        if part is None:
            continue
        exposed = part.metal_case or getattr(part, "metal", False)
        if exposed or (device.kind in _CASED and not part.double_insulated):
            yield device


def _extra_low(system: System) -> bool:
    """Does the rulebook let the cases of this job go without earth: floating, at extra-low voltage?"""
    if not system.floating or system.book.flag("egc_at_extra_low_voltage").value:
        return False
    limit = system.book.threshold("extra_low_voltage_v").value
    return all(system.electrical.highest_voltage(s).value <= limit for s in system.walked.sources)


def _wants_earth(system: System) -> Iterator[Device | _Electrode]:
    devices = tuple(_cased_devices(system))
    yield from devices
    cased: dict[tuple[str, ...], str] = {}
    for device in devices:
        if device.part.metal_case:
            cased.setdefault(_main_nets(system)[device.tag], device.tag)
    for main, tag in cased.items():
        yield _Electrode(main, tag if len(cased) > 1 else "")
    yield from (d for d in system.devices.values() if earthing.is_electrode(d))
    yield from (d for d in system.of_kind("source") if _pump_beside(system, d))


def _pump_beside(system: System, source: Device) -> bool:
    return source.location is not None and any(p.location == source.location for p in system.of_kind("pump"))


def _ground_terminals(system: System, device: Device) -> tuple[str, ...]:
    return tuple(t.id for t in system.connected.terminals_of(device) if t.role == "ground")


def _egc_missing(system: System, subject: Device | _Electrode) -> Answer:
    if isinstance(subject, _Electrode):
        return _electrode_missing(system, subject)
    main = _main_nets(system)[subject.tag]
    if subject.table == "source":
        return _casing(system, subject, main)
    path = subject.path + ("part",)
    if not earthing.is_electrode(subject):
        part = subject.part
        known = {"metal_case", "double_insulated", "metal"} & part.model_fields_set
        if subject.kind in _CASED and not known:
            need(
                None,
                f"{subject.tag}: whether its case is metal (catalogue part {part.id}, key metal_case)",
                path,
                "metal_case",
            )
        if not part.metal_case and not getattr(part, "metal", False):
            return satisfied(subject.tag, path, f"{subject.tag} has no exposed metal.")
    if _extra_low(system):
        return satisfied(subject.tag, path, f"{subject.tag} needs no earth: floating, at extra-low voltage.")
    own = _ground_terminals(system, subject)
    wired = [t for t in own if t in main and len(main) > 1]
    if wired:
        return satisfied(
            subject.tag, path, f"{subject.tag} is on the grounding net.", actual=", ".join(wired)
        )
    if not own:
        missing, cure = (
            "has no grounding terminal",
            f"Bond {subject.tag} with a listed clamp that stands in the catalogue part",
        )
    elif any(c for c in earthing.ground_conductors(system) if {c.start, c.end} & set(own)):
        missing, cure = "is on a grounding net of its own", f"Join {own[0]} to the main grounding net"
    else:
        missing, cure = (
            "is not bonded",
            f"Run a grounding conductor{_of_size(system, subject)} from {own[0]} to "
            f"{main[0] if main else 'the rod'}",
        )
    return violated(
        subject.tag,
        path,
        f"{subject.tag} {missing}: its metal stays live after a fault.",
        required="on the one grounding net",
        actual=missing,
        fix=f"{cure}.",
    )


def _of_size(system: System, device: Device) -> str:
    """ " of 12 AWG", from the table for the circuits of a device; nothing where that cannot be told."""
    try:
        sizes = [size for size, _ in _circuit_sizes(system, (device,), "copper")]
        return f" of {max(sizes, key=system.book.size_index)}" if sizes else ""
    except (MissingDatum, NotInTable):
        return ""


def _electrode_missing(system: System, subject: _Electrode) -> Answer:
    if _extra_low(system) or earthing.has_electrode(system, subject.main):
        return satisfied(subject.tag, subject.path, "The grounding net reaches an electrode, or needs none.")
    return violated(
        subject.tag,
        subject.path,
        f"The grounding net{f' of {subject.of}' if subject.of else ''} reaches no electrode.",
        required="a rod on the grounding net",
        actual="none",
        fix="Drive a rod and join it to the grounding bar.",
    )


def _casing(system: System, source: Device, main: tuple[str, ...]) -> Answer:
    path = source.path
    if source.spec.kind == "bored well":
        need(source.spec.casing, f"{source.tag}: what its casing is made of", path, "casing")
    if source.spec.casing != "metal":
        return satisfied(source.tag, path, f"{source.tag} has no metal casing.")
    clamps = [
        d for d in system.of_kind("grounding") if d.part.type == "clamp" and d.location == source.location
    ]
    if any(set(_ground_terminals(system, d)) & set(main) for d in clamps) or _extra_low(system):
        return satisfied(source.tag, path, f"The casing of {source.tag} is on the grounding net.")
    return violated(
        source.tag,
        path + ("casing",),
        f"The metal casing of {source.tag} beside the motor is not bonded.",
        required="on the one grounding net",
        actual="not bonded",
        fix=f"Put a casing clamp at {source.location} and join it to the grounding net.",
    )


EGC_MISSING = Rule(
    id="ground.egc-missing",
    severity=Severity.DANGER,
    title="Exposed metal that is not bonded to earth",
    checks="Every part with a metal case (frames, boxes, raceways, motor, controller) and a metal well "
    "casing beside a pump is on one grounding net; that net reaches a rod, and all rods are on it. "
    "Installations that share no wiring, place, box or raceway may each have a net of their own. "
    "Exempt: double-insulated parts; in an IEC job all of a floating supply at extra-low voltage.",
    why="Metal that is not bonded stays live after a fault and shocks whoever touches it.",
    clauses={
        "us-2023": "690.43, 690.47; 250.110, 250.112(L), (M), 250.50",
        "iec": "60364-5-54; 60364-4-41 411 (not for SELV)",
    },
    look=_wants_earth,
    examine=_egc_missing,
    fires=(
        Case("the array's frame has no bond", {"runs.R1.conductors[2]": None}, subject="PV1"),
        Case("no rod", {"grounding.GR1": None, "runs.R6": None}, subject="grounding"),
        Case(
            "a rod at the array on its own",
            {
                "grounding.GR2": {"part": "rod-r", "location": "array"},
                "runs.R1.conductors[2].to": "GR2.rod",
            },
            subject="PV1",
        ),
        Case("a metal casing without a clamp", {"source.WELL.casing": "metal"}, subject="WELL"),
    ),
    keeps_still=(
        Case("everything bonded"),
        Case(
            "plastic pump, motor marked double-insulated, no bond",
            {
                "part:pump-r.metal_case": False,
                "part:pump-r.double_insulated": True,
                "runs.R3.conductors[2]": None,
            },
        ),
        Case(
            "grounding conductor outside of the raceway",
            {
                "runs.R1.conductors[2]": None,
                "runs.R9": {
                    "wire": "thwn2-r",
                    "size": "12 AWG",
                    "length": "12 m",
                    "laid": "out of reach",
                    "conductors": [{"from": "PV1.frame", "to": "BOX1.ground", "color": "green"}],
                },
            },
        ),
        Case(
            "IEC, floating, 49 V: no earth is needed",
            {**FLOATING, "job.rulebook": "iec", "runs.R1.conductors[2]": None},
        ),
    ),
    sees_not="Metal that no table of the spec names: rails, fences, pipes.",
)


# -- grounding conductors and their circuits -----------------------------------------------------------


def _held(system: System, devices: Iterable[Device]) -> tuple[Device, ...]:
    """Devices, with what the enclosures among them hold, each once."""
    return tuple(dict.fromkeys(held for d in devices for held in (d, *system.connected.held_by(d))))


def _circuits(system: System, devices: Iterable[Device]) -> tuple[Crossing, ...]:
    """What feeds what in, out of, or through some devices."""
    wanted = _held(system, devices)
    touched = [p for p in system.walked.pairs if not {p.load.device, *p.source.devices}.isdisjoint(wanted)]
    for device in wanted:
        for pole in system.poles_of(device):
            touched += guarding.feeds(system, pole)
    return tuple(dict.fromkeys(touched))


def _circuit_conductors(system: System, pairs: Iterable[Crossing]) -> tuple[Conductor, ...]:
    by_pair = _conductors_by_pair(system)
    return system.connected.in_order(c for pair in pairs for c in by_pair.get(pair, ()))


@once
def _conductors_by_pair(system: System) -> dict[Crossing, list[Conductor]]:
    found: dict[Crossing, list[Conductor]] = {}
    for conductor in system.conductors:
        for pair in guarding.feeds(system, conductor):
            found.setdefault(pair, []).append(conductor)
    return found


def _device_rating(system: System, pair: Crossing) -> Input:
    """Rating of the overcurrent device of a circuit, or what stands for it where there is none [A]."""
    devices = [pole.device for pole in guarding.carrying(system, (pair,))]
    if devices:
        least = min(devices, key=lambda d: float(d.part.rating))
        return Input("In", float(least.part.rating), "current", f"{least.tag}, catalogue")
    source, electrical = pair.source, system.electrical
    if source.kind == "array":
        band = system.book.pv_fuse_band(electrical.short_circuit_a(source))
        return Input("In", band.low_a, "current", f"{source.tag} has no device: {band.source}")
    if source.kind == "converter":
        factor = system.book.factor("converter_output_conductor")
        amperes = factor.value * electrical.given_current_a(source)
        return Input(
            "In", amperes, "current", f"{source.tag} has no device: {factor.value:g} · Iout, {factor.source}"
        )
    raise NotInTable(
        f"no fuse or breaker guards the circuit of {source.tag}: nothing bounds its fault current."
    )


def _lines(system: System, devices: Iterable[Device], pairs: tuple[Crossing, ...]) -> tuple[Conductor, ...]:
    """Line conductors on some devices beyond the last overcurrent device: what meets a fault to their cases.

    The grounded pole is no line, and a conductor elsewhere in the circuit does not count, unless there
    is nothing else.
    """
    wanted = _held(system, devices)
    whole = _circuit_conductors(system, pairs)
    found = (
        tuple(
            c for c in whole if not {system.terminal(t).device for t in (c.start, c.end)}.isdisjoint(wanted)
        )
        or whole
    )
    grounded = earthing.solidly_grounded_nets(system)
    lines = tuple(c for c in found if system.walked.net(c.start) not in grounded) or found
    behind = {c: _devices_before(system, c, pairs) for c in lines}
    most: dict[str, int] = {}
    for conductor, count in behind.items():
        net = system.walked.net(conductor.start)
        most[net] = max(most.get(net, 0), count)
    return tuple(c for c, count in behind.items() if count == most[system.walked.net(c.start)])


def _devices_before(system: System, conductor: Conductor, pairs: tuple[Crossing, ...]) -> int:
    """The most overcurrent devices ahead of a conductor towards a source, or a battery that is charged."""
    crossing = [pair for pair in pairs if pair in guarding.feeds(system, conductor)]
    sources = {pair.source for pair in crossing if pair.load.device.kind != "battery"}
    charged = {pair.load for pair in crossing if pair.load.device.kind == "battery"}
    sources |= {s for s in system.walked.sources if charged & set(s.ports)}
    return max((len(system.electrical.ahead(conductor, source)) for source in sources), default=0)


def _largest(system: System, conductors: Iterable[Conductor]) -> str | None:
    sizes = [c.size for c in conductors]
    return max(sizes, key=system.book.size_index) if sizes else None


# -- ground.switched -----------------------------------------------------------------------------------


@once
def _grounding_poles(system: System) -> dict[Device, list[Pole]]:
    """Poles and contacts through which a grounding conductor passes, whatever their state, by device."""
    every, wired = everything_closed(system), system.connected.wired
    found: dict[Device, list[Pole]] = defaultdict(list)
    for pole in system.connected.poles:
        ends = (pole.a, pole.b)
        if all(end in wired for end in ends) and any(every.is_ground(end) for end in ends):
            found[pole.device].append(pole)
    return found


def _switched(system: System, subject: Device) -> Answer:
    cut = _grounding_poles(system).get(subject, [])
    required = "a grounding conductor that nothing opens"
    if not cut:
        return satisfied(
            subject.tag, subject.path, f"No grounding conductor passes {subject.tag}.", required=required
        )
    ends = {end for pole in cut for end in (pole.a, pole.b)}
    conductors = [c for c in ground_conductors(system) if ends & {c.start, c.end}]
    names = ", ".join(c.tag for c in conductors) or f"{cut[0].a} to {cut[0].b}"
    return violated(
        subject.tag,
        subject.path,
        f"{subject.tag} stands in a grounding conductor ({names}): when it opens, the cases behind it have "
        "no "
        "earth.",
        required=required,
        actual=f"{subject.tag} in {names}",
        fix=f"Join {names} on a bar, and leave {subject.tag} to the live conductors.",
        related=tuple(c.path for c in conductors),
    )


_SWITCHED = {
    "disconnects.DS9": {"part": "isolator-r"},
    "runs.R3.conductors[2].to": "DS9.1",
    "runs.R5.conductors[3]": {"from": "DS9.2", "to": "BOX1.ground", "color": "green"},
}

SWITCHED = Rule(
    id="ground.switched",
    severity=Severity.DANGER,
    title="Switch or fuse in a grounding conductor",
    checks="No fuse, breaker, isolator or contact stands in an equipment grounding, bonding or electrode "
    "conductor.",
    why="Nobody sees that it is open: all runs as before, and the first fault makes the case live.",
    clauses={"us-2023": "250.124(B); 240.22", "iec": "60364-5-54 543.3.3"},
    look=lambda system: system.electrical.devices_with_poles(),
    examine=_switched,
    fires=(
        Case("an isolator in the pump's grounding conductor", _SWITCHED, subject="DS9"),
        Case(
            "a fuse in the pump's grounding conductor",
            {**_SWITCHED, "disconnects.DS9": None, "fuses.DS9": {"part": "fuse-r"}},
            subject="DS9",
        ),
        Case(
            "an isolator in the pump's grounding conductor, metric rulebook",
            {**METRIC, **_SWITCHED},
            subject="DS9",
        ),
    ),
    keeps_still=(Case("as it stands"), Case("floating", FLOATING)),
)


# -- ground.egc-size -----------------------------------------------------------------------------------


def _circuit_sizes(system: System, devices: tuple[Device, ...], material: str) -> Iterator[tuple[str, str]]:
    """Least sizes of a conductor that bonds some devices, and what asks for each."""
    book = system.book
    pairs = _circuits(system, devices)
    if pairs:
        rating = max((_device_rating(system, pair) for pair in pairs), key=lambda i: i.value)
        line = _largest(system, _lines(system, devices, pairs))
        found = book.egc_size(rating.value, material, line)
        yield found.value, f"{found.source}, {system.show(rating.value, 'current')}: {rating.origin}"
    if any(d.kind == "panel" for d in devices):
        frame = book.frame_bond_size()
        yield frame.value, f"bond of a module frame, {frame.source}"


def _electrode_size(system: System) -> tuple[str, str]:
    """Least size of a conductor to an electrode: the largest circuit conductor, within two bounds."""
    book = system.book
    cap, least = book.electrode_conductor_size(), book.electrode_conductor_least()
    largest = _largest(system, (c for c in system.conductors if guarding.feeds(system, c))) or least.value
    size = max(least.value, min(cap.value, largest, key=book.size_index), key=book.size_index)
    return size, f"conductor to an electrode, {cap.source}"


def _is_electrode_conductor(system: System, conductor: Conductor) -> bool:
    if earthing.has_electrode(system, (conductor.start, conductor.end)):
        return True
    counts = system.book.electrode_conductor_throughout or conductor.run.spec.laid == "direct buried"
    return counts and earthing.leads_to_electrode(system, conductor)


def _egc_size(system: System, conductor: Conductor) -> Answer | None:
    devices = earthing.bonded_by(system, conductor)
    sizes = list(_circuit_sizes(system, devices, conductor.wire.material))
    if _is_electrode_conductor(system, conductor):
        sizes.append(_electrode_size(system))
    if not sizes:
        return None
    book, path = system.book, guarding.size_path(conductor)
    size, because = max(sizes, key=lambda item: book.size_index(item[0]))
    if book.size_index(conductor.size) >= book.size_index(size):
        return satisfied(
            conductor.tag,
            path,
            f"{conductor.tag} is large enough.",
            required=f"at least {size}",
            actual=conductor.size,
        )
    names = ", ".join(d.tag for d in devices)
    return violated(
        conductor.tag,
        path,
        f"Grounding conductor {conductor.tag} of {names} is {conductor.size}; {size} is the least "
        f"({because}).",
        required=f"at least {size}",
        actual=conductor.size,
        fix=f"Take {size} for {conductor.tag}.",
    )


# The conductor to the rod in two pieces.
_LED_ON = {
    "terminal_blocks.TB9": {"part": "bus-bar-4-100a"},
    "runs.R6.conductors[0].to": "TB9.1",
    "runs.R6.conductors[1]": {"from": "TB9.2", "to": "BOX1.ground", "color": "bare"},
}

EGC_SIZE = Rule(
    id="ground.egc-size",
    severity=Severity.ERROR,
    title="Grounding conductor too small",
    checks="Size >= table for the overcurrent device of the circuits whose equipment it bonds (US), or "
    "for the line conductors on it beyond the last overcurrent device (IEC); with no device 1.25 · Imax "
    "stands for it. Never more than the circuit's own conductors. Module frames and conductors to rods, "
    "whatever block or bar they are led over, have their own least sizes.",
    why="A grounding conductor must carry the fault until the device opens; too small, it burns through "
    "first.",
    clauses={
        "us-2023": "250.122(A), Table 250.122; 690.45; 250.166",
        "iec": "60364-5-54 543.1 Table 54.2; 62548-1",
    },
    look=earthing.protective_conductors,
    examine=_egc_size,
    fires=(
        Case("30 A breaker, 12 AWG", {"part:breaker-r.rating": "30 A"}, subject="R1.3"),
        Case(
            "IEC: 4 mm2 to a module frame",
            {**METRIC, "runs.R1.conductors[2].size": "4 mm2"},
            subject="R1.3",
        ),
        Case("10 AWG to the rod", {"runs.R6.size": "10 AWG"}, subject="R6.1"),
        Case(
            "IEC: 16 mm2 to the rod, 10 mm2 from a block in the middle on, in the ground too",
            {
                **METRIC,
                **_LED_ON,
                "runs.R6.size": "16 mm2",
                "runs.R6.laid": "direct buried",
                "runs.R6.buried": "600 mm",
                "runs.R6.conductors[1].size": "10 mm2",
            },
            subject="R6.2",
        ),
        Case(
            "6 AWG to the rod, but 10 AWG from a block in the middle on",
            {**_LED_ON, "runs.R6.conductors[1].size": "10 AWG"},
            subject="R6.2",
        ),
    ),
    keeps_still=(
        Case("20 A breaker, 12 AWG"),
        Case("6 AWG to the rod, over a block in the middle", _LED_ON),
        Case(
            "IEC: 16 mm2 in the ground to the rod, 10 mm2 from a block above it on",
            {**METRIC, **_LED_ON, "runs.R6.size": "16 mm2", "runs.R6.conductors[1].size": "10 mm2"},
        ),
        Case("IEC: the size of the line", METRIC),
        Case(
            "no larger than the circuit's own conductors",
            {
                "part:breaker-r.rating": "30 A",
                "runs.R1.size": "12 AWG",
                "runs.R2.size": "12 AWG",
                "runs.R3.size": "12 AWG",
            },
        ),
        Case(
            "array conductors enlarged for drop, grounding conductor of the table", {"runs.R1.size": "6 AWG"}
        ),
    ),
    sees_not="The live lead of a system bond: that is ground.bond-size.",
)


# -- ground.bond-size ----------------------------------------------------------------------------------


def _bond_leads(system: System) -> Iterator[tuple[Conductor, Bond]]:
    """Each conductor between a live net and the solid joint that bonds it, with the bond."""
    leads = bonding.leads(system.walked)
    for conductor in system.conductors:
        bond = leads.get(conductor.tag)
        if bond is not None and bond.solid:
            yield conductor, bond


def _bond_size(system: System, subject: tuple[Conductor, Bond]) -> Answer:
    conductor, bond = subject
    book, path = system.book, guarding.size_path(conductor)
    ground = earthing.ground_groups(system).get(system.walked.ground_of.get(bond.ground, ""), ())
    devices = tuple(dict.fromkeys(system.terminal(t).device for t in ground))
    sizes = [(s, why) for s, why in _circuit_sizes(system, devices, conductor.wire.material)]
    usual = book.system_bond_size()
    size, because = max(sizes, key=lambda item: book.size_index(item[0]), default=("", ""))
    required = f"at least {size or usual.value}"
    if size and book.size_index(conductor.size) < book.size_index(size):
        return violated(
            conductor.tag,
            path,
            f"{conductor.tag}, the live lead of the bond {bond.tag}, is {conductor.size}; a fault to any "
            "case "
            f"comes home through it, and asks for {size} ({because}).",
            required=required,
            actual=conductor.size,
            fix=f"Take {size} for {conductor.tag}.",
            related=(bond.path,),
        )
    if book.size_index(conductor.size) < book.size_index(usual.value):
        return violated(
            conductor.tag,
            path,
            f"{conductor.tag}, the live lead of the bond {bond.tag}, is {conductor.size}: enough for the "
            "fault, "
            f"and less than {usual.value}, which an inspector may ask for.",
            required=f"at least {usual.value}",
            actual=conductor.size,
            fix=f"Take {usual.value} for {conductor.tag}, or ask the authority.",
            related=(bond.path,),
            severity=Severity.ADVICE,
        )
    return satisfied(
        conductor.tag, path, f"{conductor.tag} is large enough.", required=required, actual=conductor.size
    )


BOND_SIZE = Rule(
    id="ground.bond-size",
    severity=Severity.ERROR,
    title="Lead of the system's bond too small",
    checks="The conductor from the grounded pole to the joint that bonds it is as large as the grounding "
    "conductor that the circuits bonded there ask for; less than the book's least bonding jumper is advice.",
    why="Every fault to a case returns through this one conductor. Where it burns off, the cases stay live "
    "and no fuse opens.",
    clauses={"us-2023": "250.168, 250.166; Table 250.122", "iec": "60364-5-54 543.1, 544.1.1"},
    look=_bond_leads,
    examine=_bond_size,
    fires=(
        Case(
            "18 AWG from the bond to the negative, 20 A breaker: 12 AWG",
            {"runs.R5.conductors[1].size": "18 AWG"},
            subject="R5.2",
        ),
        Case(
            "18 AWG straight from the negative to the box",
            {
                "grounding.GB1": None,
                "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
                "runs.R5.conductors": [
                    {"from": "CB1.case", "to": "BOX1.ground", "color": "green"},
                    {"from": "CB1.pv-", "to": "BOX1.ground", "color": "white", "size": "18 AWG"},
                ],
            },
            subject="R5.2",
        ),
        Case(
            "IEC: 1.5 mm2 from the bond to the negative",
            {**METRIC, "runs.R5.conductors[1].size": "1.5 mm2"},
            subject="R5.2",
        ),
        Case("10 AWG: enough for the fault", {}, severity=Severity.ADVICE, subject="R5.2"),
    ),
    keeps_still=(
        Case("8 AWG", {"runs.R5.conductors[1].size": "8 AWG"}),
        Case("IEC: 6 mm2", METRIC),
    ),
    sees_not="Bonds inside controllers.",
)


# -- ground.egc-upsized --------------------------------------------------------------------------------


def _circuit_kind(pair: Crossing) -> str:
    """ "pv", "motor" or "battery", as the rulebook names circuits here."""
    if pair.source.kind == "array":
        return "pv"
    return "motor" if pair.load.device.kind == "pump" else "battery"


def _beside(system: System, conductor: Conductor, pairs: Iterable[Crossing]) -> tuple[Conductor, ...]:
    """Conductors of circuits that lie in the run or the raceway of a grounding conductor."""
    run = conductor.run
    return tuple(
        c
        for c in _circuit_conductors(system, pairs)
        if c.run is run or (run.raceway is not None and c.run.raceway is run.raceway)
    )


def _accompanying(system: System) -> Iterator[tuple[Conductor, Crossing]]:
    """Grounding conductors with each circuit that they go with, or whose load they bond alone."""
    for conductor in earthing.protective_conductors(system):
        devices = earthing.bonded_by(system, conductor)
        for pair in _circuits(system, devices):
            if _beside(system, conductor, (pair,)) or pair.load.device in devices[:1]:
                yield conductor, pair


def _sufficient(system: System, pair: Crossing, conductor: Conductor) -> bool:
    """Would a conductor carry the circuit, before any thought of voltage drop?"""
    electrical, book = system.electrical, system.book
    needed = []
    if pair.source.kind == "array":
        needed.append(book.factor("pv_conductor").value * electrical.maximum_current((pair.source,)).value)
    if pair.source.kind == "converter":
        factor = book.factor("converter_output_conductor").value
        needed.append(factor * electrical.given_current_a(pair.source))
    if pair.load.device.kind == "pump":
        needed.append(book.factor("motor_conductor").value * electrical.motor_current_a(pair.load.device))
    elif pair.source.kind == "battery":
        load = electrical.continuous_current(conductor)
        needed.append(load.value if load is not None else 0.0)
    carries = min(
        electrical.corrected_ampacity(conductor).value, electrical.terminal_ampacity(conductor).value
    )
    if carries * (1.0 + ROUNDING) < max(needed, default=0.0):
        return False
    guard = None if pair.load.device.kind == "pump" else guarding.guard(system, conductor)
    if guard is None:
        return True
    cap = book.small_conductor_limit_a(conductor.size, conductor.wire.material)
    allowed = min(book.largest_device_a(carries).value, cap.value if cap is not None else float("inf"))
    return float(guard.device.part.rating) <= allowed * (1.0 + ROUNDING)


def _egc_upsized(system: System, subject: tuple[Conductor, Crossing]) -> Answer:
    egc, pair = subject
    book, show = system.book, system.show
    path = guarding.size_path(egc)
    kind = _circuit_kind(pair)
    rule = book.egc_upsizing(kind)
    if not rule.value:
        return satisfied(
            egc.tag,
            path,
            f"{egc.tag} need not grow with the circuit of {pair.load.device.tag} ({rule.source}).",
        )
    lines = _beside(system, egc, (pair,)) or _circuit_conductors(system, (pair,))
    line = max(lines, key=lambda c: (c.length_m, book.size_index(c.size)))
    least = guarding.smallest_size(system, line, lambda c: _sufficient(system, pair, c))
    installed = book.size_area_m2(line.size).value
    if least is None or book.size_index(least) > book.size_index(line.size):
        return unchecked(egc.tag, path, f"{line.tag} ({line.size}) itself does not carry its circuit.")
    table = book.egc_size(_device_rating(system, pair).value, egc.wire.material, line.size).value
    ratio = installed / book.size_area_m2(least).value
    wanted = min(book.size_area_m2(table).value * ratio, installed)
    tolerance = system.handbook.threshold("egc_ratio_tolerance_fraction").value
    number = Calculation(
        "grounding conductor beside enlarged conductors",
        egc.tag,
        "Aegc",
        wanted,
        "area",
        "Atable · Ainstalled / Aleast, at most Ainstalled",
        (
            Input(
                "Atable", book.size_area_m2(table).value, "area", f"{table}, for the device of the circuit"
            ),
            Input("Ainstalled", installed, "area", f"{line.tag}, {line.size}"),
            Input("Aleast", book.size_area_m2(least).value, "area", f"{least} would carry the circuit"),
        ),
        rule.source,
    )
    has = book.size_area_m2(egc.size).value
    required, actual = f"at least {show(wanted, 'area')}", f"{show(has, 'area')} ({egc.size})"
    if has >= wanted * (1.0 - tolerance):
        return satisfied(
            egc.tag,
            path,
            f"{egc.tag} has grown with its circuit.",
            required=required,
            actual=actual,
            calculations=(number,),
        )
    size = book.smallest_size_of_area(wanted).value
    return violated(
        egc.tag,
        path,
        f"{line.tag} is {line.size} where {least} would carry the circuit; grounding conductor {egc.tag} "
        f"({egc.size}) must grow by the same ratio, {ratio:.3g}, to {show(wanted, 'area')}.",
        required=required,
        actual=actual,
        fix=f"Take {size} for {egc.tag}.",
        related=(guarding.size_path(line),),
        calculations=(number,),
    )


EGC_UPSIZED = Rule(
    id="ground.egc-upsized",
    severity=Severity.ERROR,
    title="Grounding conductor that did not grow with its circuit",
    checks="Where the conductors of a motor or battery circuit are larger than current and heat ask for: "
    "area of the grounding conductor >= table area · installed / least area, to 1 in 1000. Not for array "
    "circuits; never more than the circuit's own.",
    why="Conductors enlarged for voltage drop let more fault current flow, and for longer runs than the "
    "table was made for.",
    clauses={
        "us-2023": "250.122(B); 690.45",
        "iec": "60364-5-54 Table 54.2: sized from the line, it grows with it",
    },
    look=_accompanying,
    examine=_egc_upsized,
    fires=(
        Case(
            "motor run 10 AWG, 14 AWG would do, grounding conductor 14 AWG",
            {"runs.R3.conductors[2].size": "14 AWG"},
            subject="R3.3",
        ),
    ),
    keeps_still=(
        Case("grounding conductor 10 AWG"),
        Case("array run 6 AWG with a 12 AWG grounding conductor", {"runs.R1.size": "6 AWG"}),
        Case(
            "12 AWG because of heat and grouping, grounding conductor of the table",
            {
                "runs.R1.raceway": "C2",
                "runs.R3.size": "12 AWG",
                "runs.R3.hottest": "60 degC",
                "runs.R3.conductors[2].size": "14 AWG",
            },
        ),
    ),
)


# -- ground.colour-role --------------------------------------------------------------------------------

_MARKS = {
    "positive": ("+",),
    "negative floating": ("-",),
    "negative grounded": ("white",),
    "negative functionally grounded": ("-",),
    "equipment ground": ("green", "green-yellow"),
    "functional earth": ("green", "green-yellow"),
}


def _roles(system: System, conductor: Conductor) -> tuple[str, ...]:
    """What a conductor serves as, in the words of the colour rules; the second is as good as the first."""
    walked = system.walked
    if conductor in walked.bonds:
        return ("functional earth",)
    if conductor.tag in walked.ground_conductors:
        bond = bonding.leads(walked).get(conductor.tag)
        if bond is not None and bond.functional:
            return ("functional earth",)
        ends = [system.terminal(end).device for end in (conductor.start, conductor.end)]
        at_bond = any(d.kind == "grounding" and d.part.type == "system bond" for d in ends)
        return ("equipment ground", "functional earth") if at_bond else ("equipment ground",)
    net = walked.net(conductor.start)
    side = earthing.polarity(system, net)
    if side == "negative":
        if net in earthing.solidly_grounded_nets(system):
            return ("negative grounded",)
        functional = system.functional or net in earthing.functional_nets(system)
        return ("negative functionally grounded" if functional else "negative floating",)
    return (side or "control",)


def _end_marks(conductor: Conductor) -> str:
    return str(conductor.run.spec.conductors[conductor.path[-1]].marked)


def _judge_colour(system: System, conductor: Conductor, role: str) -> tuple[Severity | None, str, str]:
    """How bad the colour is in this role (None: right), what is wrong, and the cure."""
    rule = system.book.colours(role)
    colour = system.handbook.colour_name(conductor.color)
    usual = " or ".join(rule.usual)
    if colour in rule.usual or (not rule.usual and colour not in rule.forbidden):
        return None, "", ""
    if colour in rule.forbidden:
        cure = f"Take {usual}." if usual else f"Take any colour but {', '.join(rule.forbidden)}."
        return Severity.ERROR, f"{colour} never serves as {role}", cure
    if not rule.marked_from:
        return Severity.ERROR, f"{role} is {usual} along its length", f"Take {usual}."
    if system.book.size_index(conductor.size) < system.book.size_index(rule.marked_from):
        return (
            Severity.ERROR,
            f"{role} in {conductor.size} is {usual} along its length (marks serve from {rule.marked_from})",
            f"Take {usual}.",
        )
    marks = _MARKS.get(role, ())
    if _end_marks(conductor) in marks or conductor.joint_note:
        return None, "", ""
    wanted = " or ".join(marks)
    written = " or ".join(f'marked = "{mark}"' for mark in marks)
    return (
        Severity.WARNING,
        f"{colour} as {role} wants marks at both ends",
        f"Take {usual}, or mark both ends {wanted} and write {written} on it.",
    )


def _colour_role(system: System, conductor: Conductor) -> Answer:
    path = conductor.path + ("color",)
    judged = [(role, _judge_colour(system, conductor, role)) for role in _roles(system, conductor)]
    role, (severity, wrong, cure) = next((j for j in judged if j[1][0] is None), judged[0])
    rule = system.book.colours(role)
    required = " or ".join(rule.usual) or f"not {', '.join(rule.forbidden)}"
    if severity is None:
        return satisfied(
            conductor.tag,
            path,
            f"{conductor.tag} has a colour for {role}.",
            required=required,
            actual=conductor.color,
        )
    return violated(
        conductor.tag,
        path,
        f"{conductor.tag} ({conductor.start} to {conductor.end}) is {conductor.color}: {wrong}.",
        required=required,
        actual=conductor.color,
        fix=cure,
        severity=severity,
    )


_METRIC_COLOURS: dict[str, object] = {
    "job.rulebook": "iec",
    "runs.R1.conductors[1].color": "white",
    "runs.R1.conductors[2].color": "green-yellow",
    "runs.R3.conductors[1].color": "white",
    "runs.R3.conductors[2].color": "green/yellow",
    "runs.R4.conductors[1].color": "violet",
    "runs.R6.conductors[0].color": "green and yellow",
}

COLOUR_ROLE = Rule(
    id="ground.colour-role",
    severity=Severity.ERROR,
    title="Conductor in a colour that its role forbids",
    checks="Role from the sources: positive, negative (floating, solidly or functionally grounded), "
    "equipment ground, functional earth, control; colours of the rulebook for each. A colour that is "
    "permitted with marks at the ends, without them: warning. No demand between sources in series.",
    why="Whoever opens the box next trusts the colours: a live green or a floating white conductor is "
    "touched in good faith.",
    clauses={
        "us-2023": "200.6, 200.7, 250.119, 310.6, 690.31(B)",
        "iec": "60445 6.2.4, 6.3; 60364-5-51 514.3",
    },
    look=lambda system: system.conductors,
    examine=_colour_role,
    fires=(
        Case(
            "floating, white negative", {**FLOATING, "runs.R3.conductors[1].color": "white"}, subject="R3.2"
        ),
        Case("green motor lead", {"runs.R3.conductors[0].color": "green"}, subject="R3.1"),
        Case("grounded negative in black, 10 AWG", {"runs.R3.conductors[1].color": "black"}, subject="R3.2"),
        Case(
            "positive in blue without marks",
            {"runs.R3.conductors[0].color": "blue"},
            severity=Severity.WARNING,
            subject="R3.1",
        ),
        Case(
            "IEC: green without yellow as protective conductor",
            {**FLOATING, "job.rulebook": "iec"},
            subject="R1.3",
        ),
    ),
    keeps_still=(
        Case("white grounded negative"),
        Case("grey grounded negative", {"runs.R3.conductors[1].color": "Gray"}),
        Case("floating, red and black", FLOATING),
        Case(
            "positive in blue, marked + at both ends",
            {"runs.R3.conductors[0].color": "blue", "runs.R3.conductors[0].marked": "+"},
        ),
        Case(
            "IEC, floating: white negative",
            {
                **FLOATING,
                **_METRIC_COLOURS,
                "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green-yellow"}],
            },
        ),
    ),
)


# -- ground.colour-changes -----------------------------------------------------------------------------


def _wired_nets(system: System) -> dict[str, tuple[Conductor, ...]]:
    """Conductors of each net that is on a source, and of each stretch of other wiring between switches."""
    found: dict[str, list[Conductor]] = defaultdict(list)
    open_everywhere = system.in_state(lambda pole: False)
    for conductor in system.conductors:
        if system.walked.branch(conductor) is None:
            continue
        net = system.walked.net(conductor.start)
        key = net if net in system.walked.potentials else f"stretch {open_everywhere.net(conductor.start)}"
        found[key].append(conductor)
    return {net: tuple(conductors) for net, conductors in found.items()}


def _colour(system: System, conductor: Conductor) -> str:
    return system.handbook.colour_name(conductor.color)


def _nets(system: System) -> Iterator[tuple[Conductor, ...]]:
    return iter(_wired_nets(system).values())


def _boxes(system: System) -> Iterator[Device]:
    return iter(system.of_kind("enclosure"))


def _colour_changes(system: System, subject: tuple[Conductor, ...] | Device) -> Iterator[Answer]:
    if isinstance(subject, Device):
        yield from _one_colour_two_roles(system, subject)
        return
    usual = set(system.book.colours(_roles(system, subject[0])[0]).usual)
    counted = Counter(_colour(system, c) for c in subject)
    main = max(counted, key=lambda colour: (colour in usual, counted[colour]))
    first = next(c for c in subject if _colour(system, c) == main)
    for conductor in subject:
        path = conductor.path + ("color",)
        if _colour(system, conductor) == main or conductor.joint_note or _end_marks(conductor):
            yield satisfied(
                conductor.tag, path, f"{conductor.tag} keeps the colour of its net.", required=main
            )
            continue
        yield violated(
            conductor.tag,
            path,
            f"{conductor.tag} is {conductor.color}, and {first.tag} on the same net is {main}: the colour "
            "changes on the way.",
            required=main,
            actual=conductor.color,
            fix=f"Take {main} for {conductor.tag}, or give joint_note where it meets {first.tag}.",
            related=(first.path + ("color",),),
        )


def _one_colour_two_roles(system: System, box: Device) -> Iterator[Answer]:
    inside = (box, *system.connected.held_by(box))
    serving: dict[str, dict[str, Conductor]] = defaultdict(dict)
    for conductor in system.connected.conductors_at(*inside):
        side = earthing.polarity(system, system.walked.net(conductor.start))
        if side and system.walked.branch(conductor) is not None:
            serving[_colour(system, conductor)].setdefault(side, conductor)
    for colour, sides in serving.items():
        if len(sides) < 2:
            continue
        plus, minus = sides["positive"], sides["negative"]
        yield violated(
            box.tag,
            minus.path + ("color",),
            f"In {box.tag} {colour} serves as positive ({plus.tag}) and as negative ({minus.tag}).",
            required="one polarity a colour",
            actual=f"{colour}: both",
            fix=f"Take another colour for {minus.tag}.",
            related=(plus.path + ("color",),),
        )
        return
    yield satisfied(box.tag, box.path, f"In {box.tag} each colour serves one polarity.")


def _coloured(system: System) -> Iterator[tuple[Conductor, ...] | Device]:
    yield from _nets(system)
    yield from _boxes(system)


_BLOCK: dict[str, object] = {"terminal_blocks.TB1": {"part": "block-r", "location": "pump house"}}


def _through_block(first: str, second: str) -> dict[str, object]:
    """The array run through a terminal block, with the colours behind it."""
    return {
        **_BLOCK,
        "runs.R1.conductors[0].to": "TB1.1",
        "runs.R1.conductors[1].to": "TB1.3",
        "runs.R9": {
            "wire": "thwn2-r",
            "size": "10 AWG",
            "length": "0.3 m",
            "laid": "in enclosure",
            "conductors": [
                {"from": "TB1.2", "to": "Q1.1", "color": first},
                {"from": "TB1.4", "to": "CB1.pv-", "color": second},
            ],
        },
    }


COLOUR_CHANGES = Rule(
    id="ground.colour-changes",
    severity=Severity.WARNING,
    title="A net changes its colour on the way",
    checks="All conductors of one net have one colour through blocks, fuses and switches (in control "
    "loops: between switches); a conductor with joint_note or with marked ends may differ. In one "
    "enclosure no colour serves two polarities.",
    why="A colour that changes at a block is how two conductors come to be crossed at the next repair.",
    clauses={"us-2023": "690.31(B); 310.6(C)", "iec": "60445; 60364-5-51 514"},
    look=_coloured,
    examine=_colour_changes,
    fires=(
        Case("positive red to the block, black after it", _through_block("black", "white"), subject="R9.1"),
        Case("red and white crossed behind the block", _through_block("white", "red"), subject="BOX1"),
    ),
    keeps_still=(
        Case("red and white all the way", _through_block("red", "white")),
        Case(
            "brown pump lead, said at the joint",
            {
                "runs.R3.conductors[0].color": "brown",
                "runs.R3.conductors[0].joint_note": "brown lead of the pump",
            },
        ),
    ),
    acceptable=True,
)


# -- ground.booster-common -----------------------------------------------------------------------------


def _port_pairs(system: System) -> Iterator[tuple[Device, Port, Port]]:
    for device in system.of_kind("controller"):
        for one, other in combinations(system.connected.ports_of(device), 2):
            yield device, one, other


def _joined_inside(device: Device, a: str, b: str) -> bool:
    names = {a.partition(".")[2], b.partition(".")[2]}
    return any(names <= set(group) for group in device.part.joined)


def _booster_common(system: System, subject: tuple[Device, Port, Port]) -> Answer:
    device, one, other = subject
    path = device.path + ("part",)
    if one.minus == other.minus or _joined_inside(device, one.minus, other.minus):
        if device.part.switched_leg in ("negative", "both"):
            raise MissingDatum(
                f"{device.tag}: which leg it switches (catalogue part {device.part.id} joins its negatives "
                "and says that it switches the negative)",
                path,
                "switched_leg",
            )
        return satisfied(device.tag, path, f"{device.tag} passes the negative straight through.")
    walked = system.walked
    nets = {walked.net(one.minus), walked.net(other.minus)}
    held = [b for b in earthing.bonds(system) if b.net in nets and not (b.hidden and b.tag == device.tag)]
    ends = f"{one.minus} and {other.minus}"
    required = f"{ends} kept apart"
    if len(nets) == 1:
        return violated(
            device.tag,
            path,
            f"{ends} are wired together, and {device.tag} does not join them inside: the wiring bypasses "
            "its control, and the motor sees the full source and never stops.",
            required=required,
            actual="joined outside",
            fix=f"Part {other.minus} from {one.minus}: each to its own side only.",
        )
    if {b.net for b in held} == nets:
        return violated(
            device.tag,
            path,
            f"{ends} are both bonded to earth ({', '.join(b.tag for b in held)}), and {device.tag} does "
            "not join them inside: earth bypasses its control, and the motor never stops.",
            required=required,
            actual="joined through earth",
            fix=f"Remove the bond of {other.minus}.",
            related=tuple(b.path for b in held),
        )
    return satisfied(device.tag, path, f"{ends} are kept apart.", required=required)


_LOW_SIDE: dict[str, object] = {
    "part:booster-r.joined": [["pv+", "motor+"]],
    "part:booster-r.switched_leg": "negative",
}

BOOSTER_COMMON = Rule(
    id="ground.booster-common",
    severity=Severity.DANGER,
    title="Earth or a wire bypasses the controller",
    checks="Where a controller does not pass the negative straight through, the negatives of its input "
    "and output are neither wired together nor both bonded to earth.",
    why="A controller that switches the negative leg is bridged by such a joint: the motor sees the "
    "whole array and never stops.",
    clauses={"us-2023": "110.3(B)", "iec": "62109-1; maker's data"},
    look=_port_pairs,
    examine=_booster_common,
    fires=(
        Case(
            "low-side booster, input bonded, motor - on the same bar",
            {**_LOW_SIDE, "runs.R3.conductors[3]": {"from": "P1.-", "to": "BOX1.ground", "color": "green"}},
            subject="CB1",
        ),
        Case(
            "low-side booster, negatives in one block",
            {**_LOW_SIDE, "runs.R3.conductors[3]": {"from": "P1.-", "to": "CB1.pv-", "color": "white"}},
            subject="CB1",
        ),
    ),
    keeps_still=(
        Case("negative common, one bond"),
        Case("low-side booster, input side bonded only", _LOW_SIDE),
    ),
)


# -- ground.fault-protection ---------------------------------------------------------------------------


def _array_supplies(system: System) -> Iterator[Supply]:
    for supply in earthing.supplies(system):
        if any(s.kind == "array" for s in supply.sources):
            yield supply


def array_on_building(system: System, source: Source) -> bool:
    """Is an array, or a device of its circuit, on or in a building? Raises ``MissingDatum``."""
    for device in source.devices:
        place = system.connected.places.locations.get(device.location or "")
        mounted = device.spec.mounted
        if mounted is None and place is None:
            need(None, f"{device.tag}: where it is mounted", device.path, "mounted")
        if mounted == "building" or (place is not None and place.on_building):
            return True
    loads = [pair.load.device for pair in system.walked.pairs if pair.source is source]
    poles = [
        p.device for p in system.connected.poles if any(x.source is source for x in guarding.feeds(system, p))
    ]
    places = [system.connected.places.locations.get(d.location or "") for d in (*loads, *poles)]
    return any(place is not None and place.on_building for place in places)


def _detectors(system: System, supply: Supply, arrays: Iterable[Source]) -> list[Device]:
    """Devices of a supply, or in the circuits of its arrays, that detect a ground fault and interrupt it."""
    wanted = set(arrays)
    loads = [p.load.device for p in system.walked.pairs if p.source in wanted]
    poles = [
        p.device for p in system.connected.poles if any(x.source in wanted for x in guarding.feeds(system, p))
    ]
    in_circuit = [d for d in (*loads, *poles) if getattr(d.part, "ground_fault", False)]
    at_earth = [
        b.through.device
        for b in supply.bonds
        if b.through is not None and getattr(b.through.device.part, "ground_fault", False)
    ]
    return [*in_circuit, *(d for d in at_earth if d not in in_circuit and _stops(system, supply, d))]


def _stops(system: System, supply: Supply, device: Device) -> bool:
    """Do the pumps of a supply stand still when a device has opened its contacts?"""
    own = set(system.poles_of(device))
    pumps = {
        pair.load.device.tag
        for pair in system.walked.pairs
        if pair.source in supply.sources and pair.load.device.kind == "pump"
    }
    opened = Logic(system.connected, lambda pole: pole.clear_closed and pole not in own)
    return bool(own) and not pumps & opened.running(frozenset())


def _blind(system: System, supply: Supply, detectors: Iterable[Device]) -> Bond | None:
    """The functional bond whose device does not see a fault on the conductor that it earths itself."""
    if not system.book.flag("fault_seen_on_earthed_pole").value:
        return None
    for bond in supply.bonds:
        through = bond.through
        if through is not None and through.device in detectors and not through.sees_both_poles:
            return bond
    return None


def _fault_protection(system: System, supply: Supply) -> Answer:
    arrays = tuple(s for s in supply.sources if s.kind == "array")
    book, show, electrical = system.book, system.show, system.electrical
    path = arrays[0].devices[0].path
    volts = max((electrical.highest_voltage(s) for s in arrays), key=lambda c: c.value)
    amperes = electrical.maximum_current(arrays)
    limit_v, limit_a = book.threshold("ground_fault_v"), book.threshold("ground_fault_a")
    actual = f"{show(volts.value, 'voltage')}, {show(amperes.value, 'current')}"
    numbers = (volts, amperes)
    if volts.value <= limit_v.value and amperes.value <= limit_a.value:
        return satisfied(
            supply.tag,
            path,
            f"{supply.tag} is below the limits.",
            required=limit_v.source,
            actual=actual,
            calculations=numbers,
        )
    required = "ground-fault detection and interruption"
    detectors = _detectors(system, supply, arrays)
    blind = _blind(system, supply, detectors)
    if blind is not None:
        return violated(
            supply.tag,
            blind.path,
            f"{blind.tag} does not see a fault on the conductor that it earths itself: such a fault stays, "
            "and the next one goes round it.",
            required="detection on both poles",
            actual="on one pole",
            fix="Take a device that measures the insulation of both poles, or the current that comes back "
            "short.",
            related=(("job", "earthing"),),
            calculations=numbers,
        )
    if detectors:
        return satisfied(
            supply.tag,
            path,
            f"{detectors[0].tag} detects and interrupts a ground fault.",
            required=required,
            calculations=numbers,
        )
    exempt = book.threshold("ground_fault_exempt_strings")
    strings = sum(electrical.strings(s) for s in arrays)
    solid = any(bond.solid for bond in supply.bonds)
    few = strings <= exempt.value
    if solid and few and not any(array_on_building(system, s) for s in arrays):
        return satisfied(
            supply.tag,
            path,
            f"{supply.tag}: solidly grounded, {strings} strings, off buildings: exempt ({exempt.source}).",
            calculations=numbers,
        )
    idle = next((b for b in supply.bonds if b.functional), None)
    return violated(
        supply.tag,
        path,
        f"{supply.tag} reaches {actual} and nothing detects and interrupts a ground fault"
        + (f": {idle.tag} opens the joint with earth, and the supply goes on." if idle else "."),
        required=required,
        actual=f"{idle.tag} alone" if idle else "none",
        fix=(
            f"Take for {idle.tag} a device whose contact stops the controller, and wire it into its remote "
            "loop; or a breaker that trips with it."
            if idle
            else "Add a device that detects and interrupts ground faults"
            + (", or ground the negative at one point." if few and not solid else ".")
        ),
        related=(("job", "earthing"),),
        calculations=numbers,
    )


_CONTACT_UNUSED: dict[str, object] = {
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "LS2.1", "color": "yellow"},
        {"from": "LS2.2", "to": "TS1.1", "color": "orange"},
        {"from": "TS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
}
_METRIC_BY_FUSE: dict[str, object] = {**FUNCTIONAL_BY_FUSE, "job.rulebook": "iec"}

FAULT_PROTECTION = Rule(
    id="ground.fault-protection",
    severity=Severity.WARNING,
    title="Array without ground-fault protection",
    checks="US: above 30 V or 8 A an array needs ground-fault detection and interruption, except a "
    "solidly grounded one of at most two strings, not on or in a building. IEC: above 120 V. A functional "
    "earth serves where its device stops the pumps (its contact in the remote loop, its breaker in the "
    "circuit, or inside the controller) and, in the US, sees a fault on the earthed conductor too. Wording "
    "varies by edition: ask the authority.",
    why="A first ground fault on an array goes unseen for months; the second one burns.",
    clauses={"us-2023": "690.41(A), (B); 250.167(B)", "iec": "60364-7-712; 62548-1 insulation monitoring"},
    look=_array_supplies,
    examine=_fault_protection,
    fires=(
        Case("floating, no device", FLOATING),
        Case("three strings", {"panels.PV1.parallel": 3}),
        Case("on a building", {"panels.PV1.mounted": "building"}),
        Case("functionally grounded through a fuse alone", FUNCTIONAL_BY_FUSE),
        Case(
            "a device whose contact is wired to nothing",
            {**FUNCTIONAL, **_CONTACT_UNUSED},
        ),
        Case(
            "a device that is blind on the earthed conductor",
            {**FUNCTIONAL, "part:functional-r.functional_earth.sees_both_poles": False},
        ),
        Case(
            "IEC, 160 V, a fuse alone",
            {**FUNCTIONAL_BY_FUSE, "job.rulebook": "iec", "panels.PV1.series": 7},
        ),
    ),
    keeps_still=(
        Case("grounded, two strings, on the ground"),
        Case(
            "floating, a controller that detects ground faults",
            {**FLOATING, "part:booster-r.ground_fault": True},
        ),
        Case("IEC, floating, 49 V", {**FLOATING, "job.rulebook": "iec"}),
        Case("functionally grounded through a device that stops the booster", FUNCTIONAL),
        Case("functionally grounded inside the booster", FUNCTIONAL_INSIDE),
        Case("IEC, functionally grounded through a fuse alone, 49 V", _METRIC_BY_FUSE),
    ),
    acceptable=True,
)

# -- ground.rod-too-short ------------------------------------------------------------------------------


def _rods(system: System) -> Iterator[Device]:
    return (d for d in system.devices.values() if earthing.is_electrode(d))


def _rod_length(system: System, rod: Device) -> Answer:
    least, show = system.book.threshold("electrode_rod_m"), system.show
    length = float(need_part(rod, "length", "length of the rod"))
    path = rod.path + ("part",)
    required, actual = f"at least {show(least.value, 'length')}", show(length, "length")
    if length >= least.value * (1.0 - ROUNDING):
        return satisfied(rod.tag, path, f"{rod.tag} is long enough.", required=required, actual=actual)
    return violated(
        rod.tag,
        path,
        f"{rod.tag} is {actual} long; a rod has {required} in the earth ({least.source}).",
        required=required,
        actual=actual,
        fix=f"Take a rod of {show(least.value, 'length')} or more.",
    )


ROD_TOO_SHORT = Rule(
    id="ground.rod-too-short",
    severity=Severity.ERROR,
    title="Grounding rod shorter than the rulebook's least",
    checks="Length of each rod >= the least in the earth (US 8 ft; IEC sets none: 1 m, common practice).",
    why="A short rod stands in soil that dries and freezes; the earth is lost when it is needed.",
    clauses={"us-2023": "250.52(A)(5), 250.53(A)(4)", "iec": "60364-5-54 542.2, Table 54.1"},
    look=_rods,
    examine=_rod_length,
    fires=(
        Case("a rod of 1.5 m", {"part:rod-r.length": "1.5 m"}, subject="GR1"),
        Case("IEC: a rod of 0.9 m", {"job.rulebook": "iec", "part:rod-r.length": "0.9 m"}, subject="GR1"),
    ),
    keeps_still=(
        Case("a rod of 2.44 m"),
        Case("IEC: a rod of 1.5 m", {"job.rulebook": "iec", "part:rod-r.length": "1.5 m"}),
    ),
    sees_not="The soil, and how deep the rod is really driven.",
    acceptable=True,
)

RULES = (
    EGC_MISSING,
    ROD_TOO_SHORT,
    SWITCHED,
    EGC_SIZE,
    BOND_SIZE,
    EGC_UPSIZED,
    COLOUR_ROLE,
    COLOUR_CHANGES,
    BOND_MISSING,
    SECOND_BOND,
    BOOSTER_COMMON,
    FAULT_PROTECTION,
)
