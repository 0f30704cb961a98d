"""Rules on fuses, breakers and isolators that do nothing: a way runs round them, or nothing hangs on them."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._edits import BATTERY, METRIC
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system import clearing
from specc.system.earthing import earth_poles
from specc.system.every_state import everything_closed, first_fault, witness
from specc.system.model import Conductor, Device, Path, Pole, Port
from specc.system.system import System
from specc.system.walk import Walk

_PROTECTIVE = ("fuse", "breaker")
_CARRIES_ON = ("terminal_block", "fuse", "breaker", "isolator")  # no source and no load of their own
_NO_LOAD = ("grounding", "gauge")  # what may hang on one wire alone: surge devices, bonds, meters


def _wired_poles(system: System, kinds: tuple[str, ...]) -> Iterator[Pole]:
    """Poles that a conductor reaches at both ends, in a circuit that is no equipment grounding."""
    wired, every = system.connected.wired, everything_closed(system)
    for pole in system.connected.poles:
        both = pole.a in wired and pole.b in wired
        if pole.device.kind in kinds and both and not every.is_ground(pole.a) and not every.is_ground(pole.b):
            yield pole


def _name(system: System, pole: Pole) -> str:
    several = sum(1 for p in system.poles_of(pole.device)) > 1
    return f"{pole.a} to {pole.b} of {pole.device.tag}" if several else pole.device.tag


# -- a way round ---------------------------------------------------------------------------------------


def _way_round(system: System, pole: Pole) -> Walk | None:
    """The state nearest to the clear one in which the ends of a pole are joined with its device open.

    Raises ``TooManySwitches``.
    """
    branch = everything_closed(system).branch(pole)
    if branch is None or branch.sole:
        return None  # joined round it in no state
    return first_fault(
        system,
        (pole.a, pole.b),
        lambda walked: walked.net(pole.a) == walked.net(pole.b),
        barred=lambda other: other.device is pole.device,
    )


def _bypassed(system: System, pole: Pole) -> Answer:
    device = pole.device
    walked = _way_round(system, pole)
    if walked is None:
        return satisfied(
            device.tag,
            device.path,
            f"Nothing runs round {_name(system, pole)}.",
            required="no way round it",
            actual="none",
        )
    way = walked.paths(pole.a, pole.b)
    conductors = [step for step in way if isinstance(step, Conductor)]
    devices = list(dict.fromkeys(step.device for step in way if isinstance(step, Pole)))
    by = ", ".join([*(c.tag for c in conductors), *(d.tag for d in devices)]) or "a join inside a device"
    when = "" if walked is system.walked else _when(system, walked, device)
    severity, harm = _harm(system, pole, devices)
    return violated(
        device.tag,
        device.path,
        f"{_name(system, pole)} does nothing{when}: from {pole.a} to {pole.b} a way runs round it, by {by}. "
        f"{harm}",
        required="no way round it",
        actual=by,
        fix=_way_out(conductors, devices, device),
        related=_blamed(system, conductors, devices),
        severity=severity,
        mends=((conductors[0].path, None),) if len(conductors) == 1 and not devices else (),
    )


def _when(system: System, walked: Walk, device: Device) -> str:
    """In which state the way is there, where it is not always; the device itself counts for nothing."""
    others = [p for p in system.connected.poles if p.device is not device]
    if all(walked.closed(p) == p.clear_closed for p in others):
        return ""
    changed = witness(system.connected, lambda p: p.clear_closed if p.device is device else walked.closed(p))
    return f" with {changed}"


def _harm(system: System, pole: Pole, devices: list[Device]) -> tuple[Severity, str]:
    device = pole.device
    if device.kind != "fuse":
        return Severity.DANGER, f"Whoever opens {device.tag} finds the circuit still live."
    sources = system.electrical.sources_at(pole.a, pole.b)
    guarded = any(d.kind in _PROTECTIVE for d in devices)
    if clearing.batteries_behind(system, sources) and not guarded:
        return Severity.DANGER, "A battery drives a short circuit past it."
    if guarded:
        return Severity.ERROR, "Side by side, neither limits the current to its own rating."
    return Severity.ERROR, "It never opens, whatever happens behind it."


def _way_out(conductors: list[Conductor], devices: list[Device], device: Device) -> str:
    if conductors:
        return f"Take {conductors[0].tag} away" + (
            "."
            if len(conductors) == 1
            else f", or what else of this way is there by mistake; or {device.tag}."
        )
    if devices:
        return f"Keep one of {device.tag} and {devices[0].tag}."
    return f"Take out the link that joins both sides of {device.tag}."


def _blamed(system: System, conductors: list[Conductor], devices: list[Device]) -> tuple[Path, ...]:
    """The conductors of the way, then what it passes, and the blocks whose links it may pass."""
    ends = [end for c in conductors for end in (c.start, c.end)]
    blocks = dict.fromkeys(system.terminal(end).device for end in ends)
    linked = [d.path + ("links",) for d in blocks if getattr(d.spec, "links", ())]
    return (*(c.path for c in conductors), *(d.path for d in devices), *linked)


_ROUND_F1 = {
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.3 m",
        "laid": "in enclosure",
        "conductors": [{"from": "F1.1", "to": "F1.2", "color": "red"}],
    }
}
_ROUND_DS1 = {**_ROUND_F1, "runs.R9.conductors": [{"from": "F1.2", "to": "DS1.2", "color": "red"}]}
_BY_A_LINK = {
    "terminal_blocks.TB1": {"part": "block-r", "links": [["1", "3"]]},
    "runs.R2.conductors[1].to": "TB1.1",
    "runs.R2.conductors[2]": {"from": "TB1.2", "to": "F1.1", "color": "red"},
    "runs.R2.conductors[3]": {"from": "F1.2", "to": "TB1.3", "color": "red"},
    "runs.R2.conductors[4]": {"from": "TB1.4", "to": "DS1.1", "color": "red"},
}
_DOUBLED = {"runs.R2.conductors[3]": {"from": "F1.2", "to": "DS1.1", "color": "red"}}

FUSE_BYPASSED = Rule(
    id="fuse.bypassed",
    severity=Severity.DANGER,
    title="Fuse or breaker with a way round it",
    checks="With all poles of the device open, its two ends are on two nets, in every state of the switches: "
    "no conductor, no link of a terminal block and no other device joins them. An error for a fuse that no "
    "battery feeds, and for two side by side; else a danger.",
    why="What goes round a fuse is not guarded by it: everybody counts on it, and it never opens.",
    clauses={"us-2023": "240.4, 240.8, 240.21; 110.3(B)", "iec": "60364-4-43 431, 433.2, 434.2"},
    look=lambda system: _wired_poles(system, _PROTECTIVE),
    examine=_bypassed,
    fires=(
        Case("a wire from one end of the motor fuse to the other", _ROUND_F1, Severity.ERROR, "F1"),
        Case("a link in a terminal block joins both its sides", _BY_A_LINK, Severity.ERROR, "F1"),
        Case(
            "a second fuse beside it",
            {
                "fuses.F2": {"part": "fuse-r"},
                "runs.R9": {
                    **_ROUND_F1["runs.R9"],
                    "conductors": [
                        {"from": "F1.1", "to": "F2.1", "color": "red"},
                        {"from": "F2.2", "to": "F1.2", "color": "red"},
                    ],
                },
            },
            Severity.ERROR,
            "F1",
        ),
        Case(
            "a wire round the array's breaker",
            {**_ROUND_F1, "runs.R9.conductors": [{"from": "Q1.1", "to": "Q1.2", "color": "red"}]},
            subject="Q1",
        ),
        Case("a wire round the motor fuse of a battery", {**BATTERY, **_ROUND_F1}, subject="F1"),
        Case(
            "a wire round the motor fuse, metric rulebook",
            {**METRIC, **_ROUND_F1, "runs.R9.size": "6 mm2"},
            Severity.ERROR,
            "F1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case("two conductors side by side, both through the fuse", _DOUBLED),
        Case("the isolator bypassed, not the fuse", _ROUND_DS1),
    ),
    sees_not="A way through earth, which is ground.second-bond; a fuse replaced by a nail.",
)

DISCONNECT_BYPASSED = Rule(
    id="disconnect.bypassed",
    severity=Severity.DANGER,
    title="Isolator with a way round it",
    checks="With all poles of an isolator open, the two ends of each pole are on two nets, in every state of "
    "the other switches.",
    why="The handle says off, the lock is on it, and the pump starts with a hand in it.",
    clauses={
        "us-2023": "690.13, 690.15; 430.102, 430.103; 404.2",
        "iec": "60364-5-53 536; 60364-7-712 712.537",
    },
    look=lambda system: _wired_poles(system, ("isolator",)),
    examine=_bypassed,
    fires=(
        Case("a wire from before the motor's isolator to behind it", _ROUND_DS1, subject="DS1"),
        Case(
            "a float across the isolator, closed when the tank is full",
            {
                "switches.LS9": {
                    "part": "float-r",
                    "location": "tank",
                    "closes_on": "rise",
                    "guards": "tank full",
                },
                "runs.R9": {
                    **_ROUND_F1["runs.R9"],
                    "conductors": [
                        {"from": "DS1.1", "to": "LS9.1", "color": "red"},
                        {"from": "LS9.2", "to": "DS1.2", "color": "red"},
                    ],
                },
            },
            subject="DS1",
        ),
        Case(
            "a wire round the isolator, metric rulebook",
            {**METRIC, **_ROUND_DS1, "runs.R9.size": "6 mm2"},
            subject="DS1",
        ),
    ),
    keeps_still=(Case("as it stands"), Case("the fuse bypassed, not the isolator", _ROUND_F1)),
    sees_not="A way through earth, which is ground.second-bond.",
)


# -- nothing behind ------------------------------------------------------------------------------------


def _walk_with(system: System, pole: Pole) -> Walk:
    """The clear state; of a change-over device the position in which this pole is closed."""
    if pole.clear_closed:
        return system.walked
    return system.in_state(lambda p: p is pole or (p.clear_closed and p.device is not pole.device))


def _nothing(system: System, pole: Pole) -> Answer | None:
    device = pole.device
    walked = _walk_with(system, pole)
    branch = walked.branch(pole)
    if branch is None or not branch.sole:
        return None  # a way runs round it: that is for another rule
    name, required = _name(system, pole), "a source on one side and what it feeds on the other"
    if walked.crossings(branch):
        return satisfied(device.tag, device.path, f"{name} parts a source from a load.", required=required)
    if system.electrical.is_control(branch.net):
        return satisfied(device.tag, device.path, f"{name} lies in a control loop.", required=required)
    if pole in earth_poles(system):
        return satisfied(device.tag, device.path, f"{name} opens the joint with earth.", required=required)
    sides = [walked.hanging(pole, end) for end in (pole.a, pole.b)]
    bare = [
        (end, side) for end, side in zip((pole.a, pole.b), sides, strict=True) if not _things(system, side)
    ]
    if bare and any(_spare(system, t) for _, side in bare for t in side):
        return satisfied(device.tag, device.path, f"{name} is kept spare.", required=required)
    if bare:
        actual = f"nothing beyond {bare[0][0]}"
    elif any(_hangs_alone(system, side) for side in sides):
        return satisfied(device.tag, device.path, f"{name} guards what hangs on it.", required=required)
    else:
        unfed = _unfed(walked, sides)
        if unfed is not None:
            tag = unfed.device.tag
            return unchecked(device.tag, device.path, f"{tag}, behind it, lies on no closed path.")
        actual = "no source feeds anything through it"
    return violated(
        device.tag,
        device.path,
        f"{name} {'guards' if device.kind in _PROTECTIVE else 'cuts'} nothing: {actual}.",
        required=required,
        actual=actual,
        fix=f"Move {device.tag} into the circuit that it is meant for, remove it, or list what is kept free "
        "under `spare`.",
    )


def _things(system: System, side: frozenset[str]) -> list[Device]:
    """Devices on one side that are more than a way onward."""
    devices = dict.fromkeys(system.terminal(t).device for t in sorted(side))
    return [d for d in devices if d.kind not in _CARRIES_ON]


def _spare(system: System, terminal: str) -> bool:
    found = system.terminal(terminal)
    return found.name in getattr(found.device.spec, "spare", ())


def _hangs_alone(system: System, side: frozenset[str]) -> bool:
    return all(device.kind in _NO_LOAD for device in _things(system, side))


def _unfed(walked: Walk, sides: list[frozenset[str]]) -> Port | None:
    """A load on either side that no source feeds."""
    fed = {pair.load for pair in walked.pairs}
    ends = frozenset().union(*sides)
    takers = (p for p in walked.connected.ports if p.takes and p not in fed)
    return next((p for p in takers if p.plus in ends or p.minus in ends), None)


_ON_A_STUB = {
    "fuses.F9": {"part": "fuse-r"},
    "terminal_blocks.TB9": {"part": "block-r", "spare": ["3", "4"]},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.3 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "CB1.motor+", "to": "F9.1", "color": "red"},
            {"from": "F9.2", "to": "TB9.1", "color": "red"},
        ],
    },
}
_STUB_ISOLATOR = {
    **_ON_A_STUB,
    "fuses.F9": None,
    "disconnects.F9": {"part": "isolator-r"},
}

GUARDS_NOTHING = Rule(
    id="fuse.guards-nothing",
    severity=Severity.WARNING,
    title="Fuse or breaker with nothing to guard",
    checks="Opening the device parts some source from some load, or one part of a source from the other; "
    "or it stands before a surge device or a meter, in a control loop, or before terminals listed under "
    "`spare`.",
    why="A fuse that is bought and wired and guards nothing stands where another place has none.",
    clauses={"us-2023": "240.21; 110.3(B)", "iec": "60364-4-43 433.2, 434.2"},
    look=lambda system: _wired_poles(system, _PROTECTIVE),
    examine=_nothing,
    fires=(
        Case("a fuse on a stub that ends in a terminal block", _ON_A_STUB, subject="F9"),
        Case(
            "a fuse on a stub, metric rulebook",
            {**METRIC, **_ON_A_STUB, "runs.R9.size": "6 mm2"},
            subject="F9",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a fuse before terminals that are kept spare",
            {**_ON_A_STUB, "terminal_blocks.TB9.spare": ["2", "3", "4"]},
        ),
        Case(
            "a fuse in the remote loop",
            {
                "fuses.F9": {"part": "fuse-r"},
                "runs.R4.conductors[0].to": "F9.1",
                "runs.R4.conductors[4]": {"from": "F9.2", "to": "LS1.1", "color": "blue"},
            },
        ),
    ),
    acceptable=True,
    sees_not="Whether it guards enough: the other rules of the group ask that.",
)

CUTS_NOTHING = Rule(
    id="disconnect.cuts-nothing",
    severity=Severity.WARNING,
    title="Isolator that cuts nothing",
    checks="Opening a pole of an isolator parts some source from some load, or one part of a source from the "
    "other; or it lies in a control loop, or before terminals listed under `spare`.",
    why="Somebody will one day turn it and believe that something is dead.",
    clauses={
        "us-2023": "690.13, 690.15; 404.2; 110.22(A)",
        "iec": "60364-5-53 536; 60364-7-712 712.537",
    },
    look=lambda system: _wired_poles(system, ("isolator",)),
    examine=_nothing,
    fires=(
        Case("an isolator on a stub that ends in a terminal block", _STUB_ISOLATOR, subject="F9"),
        Case(
            "an isolator on a stub, metric rulebook",
            {**METRIC, **_STUB_ISOLATOR, "runs.R9.size": "6 mm2"},
            subject="F9",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a stop switch in the remote loop",
            {
                "disconnects.DS9": {"part": "isolator-r"},
                "runs.R4.conductors[0].to": "DS9.1",
                "runs.R4.conductors[4]": {"from": "DS9.2", "to": "LS1.1", "color": "blue"},
            },
        ),
    ),
    acceptable=True,
    sees_not="Whether enough is cut: disconnect.missing and disconnect.poles ask that.",
)

RULES = (FUSE_BYPASSED, DISCONNECT_BYPASSED, GUARDS_NOTHING, CUTS_NOTHING)
