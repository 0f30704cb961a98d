"""Rule on fuses in one pole only of a battery's circuit in which neither pole stays at earth."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY
from specc.rules.fuse import exceeds, largest_devices
from specc.system import guarding
from specc.system.earthing import solidly_grounded_nets
from specc.system.model import Conductor, Pole
from specc.system.system import System
from specc.system.walk import Source

_Subject = tuple[Conductor, Pole, Pole]


def _own_pole(system: System) -> Iterator[_Subject]:
    """Conductors of a battery's own nets that a device of the other pole guards, and their own least."""
    grounded = solidly_grounded_nets(system)
    batteries = [s for s in system.walked.sources if s.kind == "battery"]
    for conductor in system.conductors:
        branch = system.walked.branch(conductor)
        pairs = guarding.feeds(system, conductor)
        if branch is None or branch.net in grounded or not pairs:
            continue
        if any(pair.source.kind == "array" for pair in pairs):
            continue  # array circuits may have their devices in one polarity
        guard = guarding.guard(system, conductor)
        across = system.walked.branch(guard) if guard is not None else None
        if guard is None or across is None or across.net == branch.net:
            continue
        own = _ahead(system, conductor, batteries, branch.net)
        # A breaker of both poles stands in either: what it lets through is the business of fuse.too-big.
        if own is not None and own.device is not guard.device:
            yield conductor, own, guard


def _ahead(system: System, conductor: Conductor, batteries: list[Source], net: str) -> Pole | None:
    """The smallest device between a post on this net and a conductor; of several posts the largest."""
    least = [
        min(poles, key=lambda pole: float(pole.device.part.rating))
        for battery in batteries
        if net in (battery.plus, battery.minus) and (poles := system.electrical.ahead(conductor, battery))
    ]
    return max(least, key=lambda pole: float(pole.device.part.rating), default=None)


def _one_pole(system: System, subject: _Subject) -> Answer:
    conductor, own, guard = subject
    show, rating = system.show, float(own.device.part.rating)
    limit, because = min(largest_devices(system, conductor, own.device))
    path = guarding.size_path(conductor)
    required = f"a device of at most {show(limit, 'current')} in its own pole"
    actual = f"{own.device.tag}, {show(rating, 'current')}"
    if not exceeds(rating, limit):
        return satisfied(
            conductor.tag,
            path,
            f"{own.device.tag} guards {conductor.tag} in its own pole.",
            required=required,
            actual=actual,
        )
    return violated(
        conductor.tag,
        path,
        f"{guard.device.tag} stands in the other pole than {conductor.tag} ({conductor.size}). Neither pole "
        f"stays at earth: two faults to earth, one on {conductor.tag}, go round {guard.device.tag}, and "
        f"only {own.device.tag} ({show(rating, 'current')}) is left; the largest device is "
        f"{show(limit, 'current')} ({because}).",
        required=required,
        actual=actual,
        fix=f"Put a device like {guard.device.tag} into the pole of {conductor.tag} as well, or take a size "
        f"that {own.device.tag} guards.",
        related=(guard.device.path, own.device.path),
    )


# The battery job without its bond: a 40 A fuse at either post, the motor's 15 A fuse in the positive alone.
_BOTH_POSTS: dict[str, object] = {
    **BATTERY,
    "job.earthing": "floating",
    "grounding.GB1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
    "runs.R5": None,
    "fuses.F0.part": "fuse-battery-40a",
    "fuses.F00": {"part": "fuse-battery-40a", "location": "pump house"},
    "runs.R7.conductors[1]": {"from": "BT1.-", "to": "F00.1", "color": "black"},
    "runs.R8.conductors[1].from": "F00.2",
}

ONE_POLE = Rule(
    id="fuse.one-pole",
    severity=Severity.ADVICE,
    title="Fuse in one pole only where neither pole stays at earth",
    checks="In a floating or functionally earthed supply with a battery, each conductor of the battery's own "
    "nets that a device of the other pole alone guards is guarded in its own pole too: the rating of the "
    "smallest device there <= what the conductor's size allows. Array circuits may have theirs in one "
    "polarity.",
    why="After two faults to earth the current takes the earth's way round a fuse of the other pole, and the "
    "battery drives what the fuse at its post lets through.",
    clauses={"us-2023": "240.15(A); 240.21", "iec": "60364-4-43 431.1.1, 433.2"},
    look=_own_pole,
    examine=_one_pole,
    fires=(
        Case(
            "floating: 14 AWG in the motor's return, 40 A at the post",
            {**_BOTH_POSTS, "runs.R3.size": "14 AWG"},
            subject="R3.2",
        ),
    ),
    keeps_still=(
        Case(
            "floating: 8 AWG in the motor's return, 40 A at the post",
            {**_BOTH_POSTS, "runs.R3.size": "8 AWG"},
        ),
        Case(
            "floating: a fuse of 15 A in either pole of the motor",
            {
                **_BOTH_POSTS,
                "runs.R3.size": "14 AWG",
                "fuses.F2": {"part": "fuse-r", "location": "pump house"},
                "runs.R2.conductors[3]": {
                    "from": "CB1.motor-",
                    "to": "F2.1",
                    "color": "black",
                    "size": "8 AWG",
                },
                "runs.R3.conductors[1].from": "F2.2",
            },
        ),
        Case(
            "floating: one breaker of 40 A opens both poles of a 10 AWG pair (fuse.too-big speaks of that)",
            {
                **_BOTH_POSTS,
                "fuses.F0.part": "fuse-battery-60a",
                "fuses.F00": {"part": "fuse-battery-60a", "location": "pump house"},
                "breakers.Q9": {"part": "dc-breaker-2p-40a", "location": "pump house"},
                "runs.R3.size": "8 AWG",
                "runs.R8.conductors[0].to": "Q9.1",
                "runs.R8.conductors[1]": {"from": "F00.2", "to": "Q9.3", "color": "black"},
                "runs.R2.conductors[3]": {"from": "Q9.2", "to": "CB1.battery+", "color": "red"},
                "runs.R2.conductors[4]": {"from": "Q9.4", "to": "CB1.battery-", "color": "black"},
            },
        ),
        Case("a grounded negative", BATTERY),
        Case("an array alone, floating: one polarity is permitted"),
    ),
    sees_not="Faults behind a controller that limits its own output; one fault that goes unseen (see "
    "ground.fault-protection).",
    acceptable=True,
)

RULES = (ONE_POLE,)
