"""Rules on what a switch is by its making, and what it can feel where it hangs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from specc.diagnostics import Severity
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._switches import contacts, in_power_path
from specc.system.earthing import solidly_grounded_nets
from specc.system.model import Device, Pole
from specc.system.stops import must_stop
from specc.system.system import System


def _fixed_by_making(system: System) -> Iterator[Device]:
    """Switches whose contact closes on rise or on fall however they are hung."""
    return (device for device in system.of_kind("switch") if device.part.closes_on is not None)


def _closes_on(system: System, switch: Device) -> Answer:
    made, said = switch.part.closes_on, switch.spec.closes_on
    path = switch.path + ("closes_on",)
    required, actual = f"closes on {made}", f"closes on {said}"
    if made != said:
        return violated(
            switch.tag,
            path,
            f'{switch.tag} is said to close on {said}; its part "{switch.part.id}" closes on {made} by its '
            "making.",
            required=required,
            actual=actual,
            fix=f'Write closes_on = "{made}" and check that it then stops the pump, or take a part that '
            f"closes on {said}.",
            related=(switch.path + ("part",),),
        )
    return satisfied(
        switch.tag, path, f"{switch.tag} closes on {said}, as it is made.", required=required, actual=actual
    )


CLOSES_ON = Rule(
    id="switch.closes-on-contradicted",
    severity=Severity.ERROR,
    title="Switch said to close the other way than it is made",
    checks="Where the catalogue fixes whether a contact closes on rise or on fall, the job says the same.",
    why="Every check of what the switch does to the pump rests on this word: wired as drawn, it would do "
    "the opposite.",
    clauses={"us-2023": "110.3(B)", "iec": "60947-5-1; maker's instructions"},
    sees_not="Switches whose hanging decides, such as a float that can be turned.",
    look=_fixed_by_making,
    examine=_closes_on,
    fires=(
        Case(
            "float made to close on rise, said to close on fall",
            {"part:float-r.closes_on": "rise"},
            subject="LS1",
        ),
        Case(
            "thermal switch made to open on rise, said to close on it",
            {"part:thermal-r.closes_on": "fall", "switches.TS1.closes_on": "rise"},
            subject="TS1",
        ),
    ),
    keeps_still=(Case("thermal switch that closes on fall, said so", {"part:thermal-r.closes_on": "fall"}),),
)


# -- what it can feel ------------------------------------------------------------------------------

# What tells of an event: a level switch, or a pressure switch on the pipe that runs empty or fills up.
_FELT_BY: Mapping[str, tuple[str, ...]] = {
    "source low": ("level", "pressure"),
    "tank full": ("level", "pressure"),
    "pump hot": ("temperature",),
    "pressure high": ("pressure",),
}
_WATER_OF: Mapping[str, str] = {"source low": "source", "tank full": "tank"}


def _switches(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    return each(system.of_kind("switch"), _senses, _hangs, _reached)


def _senses(system: System, switch: Device) -> Answer:
    senses, guards, serve = switch.part.senses, switch.spec.guards, _FELT_BY[switch.spec.guards]
    path, required = switch.path + ("guards",), f"a switch that senses {' or '.join(serve)}"
    told = f'{switch.tag} ("{switch.part.id}") senses {senses} and is to guard against "{guards}"'
    if senses not in serve:
        return violated(
            switch.tag,
            path,
            f"{told}: it does not feel that.",
            required=required,
            actual=senses,
            fix=f"Take {required}, or say what {switch.tag} really guards against.",
            related=(switch.path + ("part",),),
        )
    return satisfied(switch.tag, path, f"{told}.", required=required, actual=senses)


def _hangs(system: System, switch: Device) -> Answer | None:
    """A level switch hangs in the water that it guards, not in the other."""
    wanted = _WATER_OF.get(switch.spec.guards)
    if wanted is None or switch.part.senses != "level" or switch.location is None:
        return None
    here = [
        d for d in system.devices.values() if d.table in ("source", "tank") and d.location == switch.location
    ]
    if not here:
        return None  # in a place of neither
    path, names = switch.path + ("location",), ", ".join(d.tag for d in here)
    required, told = f"in a {wanted}", f'{switch.tag} guards against "{switch.spec.guards}"'
    if all(d.table != wanted for d in here):
        return violated(
            switch.tag,
            path,
            f"{told} and hangs at {switch.location}, with {names}: it feels the wrong water.",
            required=required,
            actual=names,
            fix=f"Hang it in the {wanted} and name that place, or correct `guards`.",
            related=(switch.path + ("guards",),),
        )
    return satisfied(switch.tag, path, f"{told} and hangs with {names}.", required=required, actual=names)


def _reached(system: System, switch: Device) -> Answer | None:
    """The water comes up to a low-water float and falls below it."""
    level = switch.spec.acts_at
    if switch.spec.guards != "source low" or switch.part.senses != "level" or level is None:
        return None
    sources = _sources_of(system, switch)
    tops = {d: d.spec.water_level for d in sources if d.spec.water_level is not None}
    bottoms = {d: d.spec.bottom for d in sources if d.spec.bottom is not None}
    if not tops and not bottoms:
        return None
    show, path = system.show, switch.path + ("acts_at",)
    top, bottom = max(tops.values(), default=None), min(bottoms.values(), default=None)
    source = max(tops, key=lambda d: tops[d]) if tops else sources[0]
    actual = show(level, "elevation")
    ends = [show(end, "elevation") for end in (bottom, top) if end is not None]
    required = f"in the water of {source.tag} ({' to '.join(ends)})"
    if top is not None and level >= top:
        told = (
            f"{switch.tag} acts at {actual}, and {source.tag} stands at {show(top, 'elevation')} at rest: "
            "the float never floats, and the pump it stops never runs."
        )
    elif bottom is not None and level <= bottom:
        told = (
            f"{switch.tag} acts at {actual}, and the bottom of {source.tag} is at "
            f"{show(bottom, 'elevation')}: the float never falls, and stops nothing."
        )
    else:
        return satisfied(switch.tag, path, f"{switch.tag} acts {required}.", required=required, actual=actual)
    return violated(
        switch.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix="Hang it above the intake and below the lowest level that is pumped from; check sign and unit of "
        "acts_at.",
        related=(source.path + ("water_level",),),
    )


def _sources_of(system: System, switch: Device) -> tuple[Device, ...]:
    """The sources in one of which a switch hangs: those of its pumps, of these those of its place."""
    pumps = must_stop(system, switch)
    sources = [d for d in system.devices.values() if d.table == "source"]
    drawn = [d for d in sources if any(pump in system.water.drawn_by(d) for pump in pumps)] or sources
    here = [d for d in drawn if d.location is not None and d.location == switch.location]
    return tuple(here or drawn)


CANNOT_FEEL = Rule(
    id="switch.cannot-feel",
    severity=Severity.ERROR,
    title="Switch that cannot feel what it guards against",
    checks="A level or pressure switch guards a source or a tank, a temperature switch a hot pump, a "
    "pressure switch high pressure; a level switch does not hang in the tank to guard the "
    "source, or the reverse; a low-water float acts below the standing water and above the bottom.",
    why="Every check of what stops the pump believes `guards`: a float in the wrong water never acts, and "
    "the pump runs dry or the tank over.",
    clauses={"us-2023": "110.3(B)", "iec": "60947-5-1; maker's instructions"},
    sees_not="Whether it hangs free.",
    look=_switches,
    examine=ask,
    fires=(
        Case("low-water float hung in the tank", {"switches.LS2.location": "tank"}, subject="LS2"),
        Case("tank float hung in the well", {"switches.LS1.location": "well"}, subject="LS1"),
        Case("thermal switch to guard a full tank", {"switches.TS1.guards": "tank full"}, subject="TS1"),
        Case("low-water float above the standing water", {"switches.LS2.acts_at": "-2.9 m"}, subject="LS2"),
        Case("low-water float below the bottom", {"switches.LS2.acts_at": "-4.9 m"}, subject="LS2"),
    ),
    keeps_still=(
        Case("floats in their own water"),
        Case("low-water float whose place is not given", {"switches.LS2.location": None}),
    ),
)


# -- in the grounded conductor ---------------------------------------------------------------------


def _in_grounded(system: System, pole: Pole) -> Answer | None:
    if not in_power_path(system, pole):
        return None
    switch, grounded = pole.device, solidly_grounded_nets(system)
    nets = {system.walked.net(end) for end in (pole.a, pole.b)}
    path, required = switch.path, "its contact in the conductor that is not grounded"
    if not nets & grounded:
        return satisfied(switch.tag, path, f"{switch.tag} breaks no grounded conductor.", required=required)
    return violated(
        switch.tag,
        path,
        f"{switch.tag} breaks the grounded conductor alone: when it has stopped the pump, the motor and its "
        "leads stay live, and one earth fault there starts it again.",
        required=required,
        actual="in the grounded conductor",
        fix=f"Move {switch.tag} to the other conductor.",
    )


# The tank float in the motor's positive; the remote terminals are joined.
_IN_MOTOR_LINE: dict[str, object] = {
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
    "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
    "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
}

IN_GROUNDED = Rule(
    id="switch.in-grounded-conductor",
    severity=Severity.ERROR,
    title="Float or other sensing switch in the grounded conductor",
    checks="A contact that breaks the current of a pump or an array lies in a conductor that is not solidly "
    "grounded.",
    why="It stops the pump and leaves it live: whoever works on it, thinking it dead, touches the other "
    "pole. The first earth fault on its load side goes round the switch.",
    clauses={"us-2023": "404.2(B); 430.85", "iec": "60364-4-46 461.2; 60204-1 9.4.3.1"},
    look=contacts,
    examine=_in_grounded,
    fires=(
        Case(
            "the tank float in the grounded return of the motor",
            {
                **_IN_MOTOR_LINE,
                "runs.R3.conductors[0]": {"from": "DS1.2", "to": "P1.+", "color": "red"},
                "runs.R3.conductors[1]": {"from": "CB1.motor-", "to": "LS1.1", "color": "white"},
                "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.-", "color": "white"},
            },
            subject="LS1",
        ),
    ),
    keeps_still=(Case("in the remote loop"), Case("in the motor's positive", _IN_MOTOR_LINE)),
    sees_not="Switches that a contactor of the job follows.",
)

RULES = (CLOSES_ON, CANNOT_FEEL, IN_GROUNDED)
