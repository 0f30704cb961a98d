"""Rules on raceways: how full, how deep, and whose circuits share them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from specc.calculation import Calculation, Input
from specc.diagnostics import Alike, Severity
from specc.rules._edits import METRIC
from specc.rules._limits import keeps_to, reaches
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system import raceways
from specc.system.missing import need
from specc.system.model import Conductor, Device, Run
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Source

_QUARTER_BEND_DEG = 90.0


def _used(system: System) -> Iterator[Device]:
    return (raceway for raceway in system.of_kind("raceway") if raceways.inside(system, raceway))


# -- fill ------------------------------------------------------------------------------------------


def _fill_and_bends(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    return each(_used(system), _fill, _bends)


def _fill(system: System, raceway: Device) -> Answer:
    show = system.show
    inside = raceways.inside(system, raceway)
    filled = raceways.fill(system, raceway)
    areas, internal, limit, fill = filled.areas, filled.internal, filled.limit, filled.fraction
    size = raceway.part.trade_size
    taken, room = show(filled.taken_m2, "area"), show(limit.value * internal.value, "area")
    path = raceway.path + ("part",)
    required, actual = f"at most {show(limit.value, 'fraction')}", show(fill, "fraction", 3)
    told = (
        f"{len(inside)} conductors take {taken} of {raceway.tag} ({size}), {actual}; "
        f"{show(limit.value, 'fraction')} or {room} may be taken."
    )
    number = Calculation(
        "raceway fill",
        raceway.tag,
        "fill",
        fill,
        "fraction",
        "ΣA / Ainternal",
        (
            *(Input(f"A {c.tag}", a.value, "area", a.source) for c, a in zip(inside, areas, strict=True)),
            Input("Ainternal", internal.value, "area", internal.source),
        ),
        limit.source,
    )
    if not keeps_to(fill, limit.value):
        return violated(
            raceway.tag,
            path,
            told,
            required=required,
            actual=actual,
            fix=_wider(system, raceway, filled.taken_m2, limit.value),
            related=tuple(dict.fromkeys(c.run.path for c in inside)),
            calculations=(number,),
        )
    if raceway.spec.other_circuits:
        return unchecked(
            raceway.tag,
            path,
            f"{raceway.tag} holds other circuits too, whose conductors the spec does not list.",
        )
    return satisfied(raceway.tag, path, told, required=required, actual=actual, calculations=(number,))


def _wider(system: System, raceway: Device, area_m2: float, limit: float) -> str:
    book, kind = system.book, raceway.part.raceway
    for size in book.raceway_sizes(kind):
        if area_m2 <= limit * book.raceway_area_m2(kind, size).value:
            return f"Take {kind} of trade size {size} for {raceway.tag}, or divide the conductors."
    return f"No {kind} of the table is wide enough: divide the conductors among more raceways."


def _bends(system: System, raceway: Device) -> Answer:
    limit = system.book.threshold("raceway_bends_deg")
    if raceway.spec.bends is None:
        return violated(
            raceway.tag,
            raceway.path,
            f"How often {raceway.tag} bends between pulling points is not said; {limit.value:g}° may be.",
            fix="Write bends, in quarter bends: 2 where it dips into the ground and comes up, 0 if straight.",
            severity=Severity.ADVICE,
        )
    degrees = raceway.spec.bends * _QUARTER_BEND_DEG
    path = raceway.path + ("bends",)
    required, actual = f"at most {limit.value:g}°", f"{degrees:g}°"
    told = f"{raceway.tag} bends by {actual} between pulling points; {limit.value:g}° may be."
    if degrees <= limit.value:
        return satisfied(raceway.tag, path, told, required=required, actual=actual)
    return violated(
        raceway.tag, path, told, required=required, actual=actual, fix=f"Set a pulling box in {raceway.tag}."
    )


# Six 10 AWG in one 1/2 in conduit: both pairs and both grounding conductors.
_SIX = {
    "part:conduit-r.trade_size": "1/2 in",
    "runs.R1.conductors[2].size": "10 AWG",
    "runs.R3.raceway": "C1",
}
_METRIC_PIPE = {**METRIC, "part:thwn2-r.insulation": "h07v-k", "part:conduit-r.raceway": "pvc-rigid"}

FILL = Rule(
    id="raceway.fill",
    severity=Severity.ERROR,
    title="Raceway too full, or with too many bends",
    checks="Sum of the outside areas of all conductors, grounding ones too, <= share of the internal area: "
    "53 % for one, "
    "31 % for two, 40 % for more (60 % in a short nipple), as the rulebook has it. Bends between pulling "
    "points <= 360°.",
    why="A packed raceway skins the insulation when it is pulled, and keeps the heat in.",
    clauses={
        "us-2023": "Chapter 9 Tables 1, 4 and 5; 352.26",
        "iec": "60364-5-52 521, 522.8 (sets no number)",
    },
    look=_fill_and_bends,
    examine=ask,
    fires=(
        Case("six of 10 AWG in 1/2 in: 0.1266 of 0.114 in²", _SIX, subject="C1"),
        Case(
            "three of 6 mm² in 16 mm pipe: 80 %",
            {**_METRIC_PIPE, "part:conduit-r.trade_size": "16 mm"},
            subject="C1",
        ),
        Case("five quarter bends between pulling points", {"raceways.C2.bends": 5}, subject="C2"),
        Case("bends not said", {"raceways.C2.bends": None}, Severity.ADVICE, subject="C2"),
    ),
    keeps_still=(
        Case("five of 10 AWG in 1/2 in: 0.1055 in²", {**_SIX, "runs.R3.conductors[2]": None}),
        Case("three of 6 mm² in 25 mm pipe: 28 %", {**_METRIC_PIPE, "part:conduit-r.trade_size": "25 mm"}),
        Case("four quarter bends", {"raceways.C2.bends": 4}),
        Case("straight from box to box", {"raceways.C2.bends": 0}),
    ),
    sees_not="Conductors of circuits that are not in the spec; offsets and partial bends.",
)


# -- cover -----------------------------------------------------------------------------------------

# What goes over it: row of the cover table, and its name for people.
_UNDER = {
    "ground": ("general", "in open ground"),
    "driveway": ("dwelling driveway", "under a driveway"),
    "street": ("street", "under a street"),
}


def _buried(system: System) -> Iterator[Device | Run]:
    yield from (r for r in system.of_kind("raceway") if r.spec.buried is not None)
    yield from (
        r for r in system.connected.runs.values() if r.raceway is None and r.spec.laid == "direct buried"
    )


_INCH_M = 0.0254


def _whole_inches(system: System, cover_m: float) -> str:
    """A cover as people dig it: the 600 mm of a table, which has 24 in beside it, never as 23.62 in."""
    if system.job.units == "us":
        cover_m = math.ceil(cover_m / _INCH_M - 1e-6) * _INCH_M
    return system.show(cover_m, "short_length")


def _cover(system: System, what: Device | Run) -> Answer:
    show, path = system.show, what.path + ("buried",)
    depth = need(what.spec.buried, f"{what.tag}: how deep it is buried", path, "buried")
    laying, told_as = _laying(system, what)
    row, place = _UNDER[getattr(what.spec, "under", "ground")]
    least = system.book.cover_m(laying, row)
    enough, actual = reaches(depth, least.value), show(depth, "short_length")
    asked = show(least.value, "short_length") if enough else _whole_inches(system, least.value)
    required = f"at least {asked}"
    told = f"{what.tag} ({told_as}) has {actual} of cover; {asked} is asked for {place}."
    if enough:
        return satisfied(what.tag, path, told, required=required, actual=actual)
    return violated(
        what.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Bury {what.tag} {asked} deep, or lay it in rigid metal raceway.",
    )


def _laying(system: System, what: Device | Run) -> tuple[str, str]:
    """Row of the cover table, and its name for people.

    Only rigid metal may lie shallower, so all other raceway goes by the row of plastic.
    """
    inside = what.conductors if isinstance(what, Run) else raceways.inside(system, what)
    if inside and all(_low_voltage_control(system, c) for c in inside):
        return "low-voltage control", "control circuits of known low voltage only"
    if isinstance(what, Run):
        return "direct buried", "cable direct in the ground"
    return (
        ("rigid metal", "rigid metal")
        if what.part.raceway == "rigid-metal"
        else ("pvc", "raceway, not rigid metal")
    )


def _low_voltage_control(system: System, conductor: Conductor) -> bool:
    """Is a conductor on a remote loop whose voltage the maker states to be low enough?"""
    branch = system.electrical.branch(conductor)
    if branch is None or system.electrical.circuit(branch) != "control":
        return False
    limit = system.book.threshold("control_cover_v").value
    ends = {
        f"{d.tag}.{n}": d
        for d in system.of_kind("controller")
        if d.part.remote
        for n in d.part.remote.terminals
    }
    driving = {ends[t] for t in system.walked.members[branch.net] if t in ends}
    volts = [d.part.remote.open_voltage for d in driving]
    return bool(volts) and all(v is not None and v <= limit for v in volts)


COVER = Rule(
    id="raceway.cover",
    severity=Severity.ERROR,
    title="Buried less deep than the rulebook asks",
    checks="Cover from ground to the top of the raceway or cable >= table value for how it is laid and what "
    "goes over it. "
    "The shallow column serves only control circuits whose remote terminals the maker states to be at 30 V "
    "or less: a "
    "24 V array is not one.",
    why="A spade finds what lies shallow, and a cut array cable burns without opening any fuse.",
    clauses={
        "us-2023": "Table 300.5(A); 300.5(D)",
        "iec": "60364-5-52 522.8; local rules, often 0.5 to 0.6 m",
    },
    look=_buried,
    examine=_cover,
    fires=(
        Case("plastic conduit at 300 mm", {"raceways.C1.buried": "300 mm"}, subject="C1"),
        Case(
            "plastic conduit at 450 mm by the metric book",
            {**METRIC, "raceways.C1.buried": "450 mm"},
            subject="C1",
        ),
        Case(
            "control cable direct in the ground at 300 mm, its voltage not known",
            {"runs.R4.buried": "300 mm"},
        ),
        Case(
            "rigid metal at 150 mm under a driveway",
            {
                "part:conduit-r.raceway": "rigid-metal",
                "raceways.C1.buried": "150 mm",
                "raceways.C1.under": "driveway",
            },
        ),
    ),
    keeps_still=(
        Case("plastic conduit at 450 mm", {"raceways.C1.buried": "450 mm"}),
        Case(
            "rigid metal at 150 mm", {"part:conduit-r.raceway": "rigid-metal", "raceways.C1.buried": "150 mm"}
        ),
        Case(
            "control cable at 300 mm, remote terminals at 12 V",
            {"runs.R4.buried": "300 mm", "part:booster-r.remote.open_voltage": "12 V"},
        ),
        Case("the metric job, 500 mm", METRIC),
    ),
    sees_not="The guard where it comes out of the ground (raceway.riser); rock, slabs and warning tape.",
)


# -- riser -----------------------------------------------------------------------------------------

_GUARDS_ITSELF = ("rigid-metal", "emt", "pvc-sch80")


def _riser(system: System, what: Device | Run) -> Answer:
    limit = system.book.threshold("riser_guard_m")
    high = system.show(limit.value, "length")
    path = what.path + ("riser_guarded",)
    required = f"guarded from below ground to {high} above it"
    if what.spec.riser_guarded:
        return satisfied(
            what.tag, path, f"{what.tag} is guarded where it rises.", required=required, actual="guarded"
        )
    kind = what.part.raceway if isinstance(what, Device) else ""
    if kind in _GUARDS_ITSELF:
        return satisfied(
            what.tag, path, f"{what.tag} ({kind}) is a guard itself.", required=required, actual=kind
        )
    return violated(
        what.tag,
        path,
        f"Where {what.tag} comes out of the ground it wants a guard up to {high}; the spec does not say that "
        "it has one.",
        required=required,
        actual="not said",
        fix=f"Put schedule 80 or metal raceway over it up to {high}, and write riser_guarded = true on "
        f"{what.tag}.",
        alike=Alike(
            f"Where {{}} come out of the ground they want a guard up to {high}; the spec does not say that "
            "they have one.",
            f"Put schedule 80 or metal raceway over each up to {high}, and write riser_guarded = true on "
            "{}.",
        ),
    )


RISER = Rule(
    id="raceway.riser",
    severity=Severity.ADVICE,
    title="Riser out of the ground without a guard",
    checks="Whatever is buried is of metal or schedule 80 raceway itself, or the spec says that it is "
    "guarded (riser_guarded) from below ground to 2.4 m above it.",
    why="Mowers, stock and spades meet a cable just where it leaves the ground.",
    clauses={"us-2023": "300.5(D)(1), (4)", "iec": "60364-5-52 522.6; height: common practice, no source"},
    look=_buried,
    examine=_riser,
    fires=(
        Case("plastic conduit, schedule 40", subject="C1"),
        Case("cable direct in the ground", subject="R4"),
        Case("plastic pipe, metric rulebook", METRIC, subject="C1"),
    ),
    keeps_still=(
        Case(
            "guards said",
            {
                "raceways.C1.riser_guarded": True,
                "raceways.C2.riser_guarded": True,
                "runs.R4.riser_guarded": True,
            },
        ),
        Case(
            "schedule 80, and a guard on the cable",
            {"part:conduit-r.raceway": "pvc-sch80", "runs.R4.riser_guarded": True},
        ),
    ),
    acceptable=True,
    sees_not="Whether it rises inside a wall or a box, where no guard is needed: say riser_guarded there "
    "too.",
)


# -- mixed circuits --------------------------------------------------------------------------------


def _shared(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    for raceway in _used(system):
        yield raceway, _strangers
        sources = tuple(
            dict.fromkeys(
                s for c in raceways.inside(system, raceway) for s in system.electrical.sources_on(c)
            )
        )
        if sources:
            for conductor in raceways.inside(system, raceway):
                if conductor.wire.insulation != "bare":
                    yield raceway, partial(_insulation, conductor=conductor, sources=sources)


def _strangers(system: System, raceway: Device) -> Answer:
    """Do array circuits share the raceway with circuits that no array belongs to?"""
    with_array = _nets_with_array(system)
    live = [c for c in raceways.inside(system, raceway) if system.electrical.branch(c) is not None]
    solar = [c for c in live if system.walked.net(c.start) in with_array]
    others = [c.tag for c in live if system.walked.net(c.start) not in with_array]
    strangers = [*raceway.spec.other_circuits, *others]
    path = raceway.path + (("other_circuits",) if raceway.spec.other_circuits else ())
    if solar and strangers and not raceway.spec.divider:
        return violated(
            raceway.tag,
            path,
            f"{raceway.tag} holds array circuits ({', '.join(dict.fromkeys(c.run.tag for c in solar))}) "
            "beside circuits of "
            f"another system ({', '.join(strangers)}) without a divider.",
            required="a raceway of its own, or a divider",
            actual=", ".join(strangers),
            fix=f"Lay {', '.join(strangers)} apart, or fit a divider and say so on {raceway.tag}.",
            related=tuple(dict.fromkeys(c.run.path for c in solar)),
        )
    kept = "kept apart by a divider" if strangers and solar else "one system's circuits only"
    return satisfied(raceway.tag, path, f"{raceway.tag} holds {kept}.", actual=kept)


@once
def _nets_with_array(system: System) -> frozenset[str]:
    """Nets that an array belongs to, directly or through the terminals of controllers, motors, batteries."""
    walked = system.walked
    near: dict[str, set[str]] = {}
    for device in system.of_kind("panel", "battery", "pump", "controller"):
        own = {walked.net(t.id) for t in system.connected.terminals_of(device) if t.role != "ground"}
        for net in own:
            near.setdefault(net, set()).update(own)
    found = {net for s in walked.sources if s.kind == "array" for net in (s.plus, s.minus, *s.links)}
    waiting = list(found)
    while waiting:
        fresh = near.get(waiting.pop(), set()) - found
        found |= fresh
        waiting += fresh
    return frozenset(found)


def _insulation(
    system: System, raceway: Device, *, conductor: Conductor, sources: tuple[Source, ...]
) -> Answer:
    """Does a conductor stand the highest voltage in its raceway?"""
    show, highest = system.show, system.electrical.highest_of(sources)
    path = conductor.run.path + ("wire",)
    rating = need(
        conductor.wire.voltage,
        f"{conductor.tag}: voltage rating (catalogue part {conductor.wire.id}, key voltage)",
        path,
        "voltage",
    )
    required, actual = f"at least {show(highest.value, 'voltage')}", show(rating, "voltage")
    told = (
        f"{conductor.tag} is insulated for {actual}; {raceway.tag} holds conductors at up to "
        f"{show(highest.value, 'voltage')}."
    )
    if reaches(rating, highest.value):
        return satisfied(conductor.tag, path, told, required=required, actual=actual, calculations=(highest,))
    return violated(
        conductor.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Take wire for {show(highest.value, 'voltage')} or more, or lay {conductor.run.tag} apart.",
        related=(raceway.path,),
        calculations=(highest,),
    )


_CONTROL_INSIDE = {"runs.R4.raceway": "C1", "runs.R4.laid": None, "runs.R4.buried": None}

MIXED_CIRCUITS = Rule(
    id="raceway.mixed-circuits",
    severity=Severity.ERROR,
    title="Array circuits share a raceway with what should be kept apart",
    checks="No circuit of another system (named in `other_circuits`, or on no array by the wiring) beside "
    "array circuits "
    "without a divider; every conductor insulated for the highest voltage in the raceway. An array, its "
    "controller, motor and "
    "switch loops may share.",
    why="A fault between two systems brings one's voltage onto the other, past every switch that was opened "
    "for safety.",
    clauses={"us-2023": "690.31(B); 300.3(C); Articles 722 and 725", "iec": "60364-5-52 528.1"},
    look=_shared,
    examine=ask,
    fires=(
        Case(
            "array and house 120 V AC in one raceway",
            {"raceways.C1.other_circuits": ["house 120 V AC"]},
            subject="C1",
        ),
        Case(
            "switch loop insulated for 30 V beside array conductors at 49.28 V",
            {**_CONTROL_INSIDE, "part:control-r.voltage": "30 V"},
            subject="R4.1",
        ),
    ),
    keeps_still=(
        Case("array positive, negative and grounding conductor"),
        Case("the booster's switch loop, insulated for 600 V, beside the array conductors", _CONTROL_INSIDE),
        Case(
            "house 120 V AC behind a divider",
            {"raceways.C1.other_circuits": ["house 120 V AC"], "raceways.C1.divider": True},
        ),
    ),
    sees_not="Circuits that the spec neither wires nor names.",
)


# -- runs that leave their box ---------------------------------------------------------------------


def _said_enclosed(system: System) -> Iterator[tuple[Run, Conductor]]:
    for run in system.connected.runs.values():
        if run.spec.laid == "in enclosure" and run.raceway is None:
            yield from ((run, conductor) for conductor in run.conductors)


def _leaves_box(system: System, subject: tuple[Run, Conductor]) -> Answer | None:
    run, conductor = subject
    ends = [system.terminal(end).device for end in (conductor.start, conductor.end)]
    places = [device.box or device.location for device in ends]
    if None in places:
        return None
    path, names = run.path + ("laid",), " and ".join(dict.fromkeys(d.location or "" for d in ends))
    required, actual = "both ends at one place", names
    if ends[0].location != ends[1].location:
        return violated(
            conductor.tag,
            path,
            f'{conductor.tag} is said to lie "in enclosure" and goes from {ends[0].tag} to {ends[1].tag}, '
            f"between {names}.",
            required=required,
            actual=actual,
            fix=f"Name the raceway of {run.tag}, or say how it is laid on the way.",
            related=(conductor.path,),
        )
    return satisfied(
        conductor.tag, path, f"{conductor.tag} stays at {names}.", required=required, actual=actual
    )


LEAVES_BOX = Rule(
    id="raceway.leaves-box",
    severity=Severity.ERROR,
    title="Wire said to lie in an enclosure, between two places",
    checks='A conductor laid "in enclosure" has both its ends at the same place.',
    why="In an enclosure nothing is asked of a wire: no raceway, no cover, no stand against wet and sun. "
    "Out of it the same wire is cut by a spade or rots, and no check would say so.",
    clauses={"us-2023": "300.3(A), 300.5, 310.10", "iec": "60364-5-52 521, 522"},
    look=_said_enclosed,
    examine=_leaves_box,
    fires=(
        Case(
            "motor wires from the box to the well",
            {"runs.R3.raceway": None, "runs.R3.laid": "in enclosure"},
            subject="R3.1",
        ),
    ),
    keeps_still=(Case("wires within the box"),),
    sees_not="Wires between two boxes at one place; ends whose place is not given.",
)


# -- runs that are longer than their raceway -------------------------------------------------------


def _in_raceways(system: System) -> Iterator[Run]:
    return (run for run in system.connected.runs.values() if run.raceway is not None and run.conductors)


def _ends_early(system: System, run: Run) -> Answer:
    raceway, show = run.raceway, system.show
    assert raceway is not None
    limit = system.handbook.threshold("run_outside_raceway_m")
    outside = float(run.spec.length) - float(raceway.spec.length)
    path = run.path + ("length",)
    required = f"at most {show(limit.value, 'length', 2)} of it outside, or `laid` for that part"
    actual = f"{show(max(outside, 0.0), 'length')} outside"
    if run.spec.laid not in (None, "in raceway"):
        return satisfied(
            run.tag, path, f"{run.tag} says how it is laid outside of {raceway.tag}.", actual=actual
        )
    if keeps_to(outside, limit.value):
        return satisfied(
            run.tag,
            path,
            f"{run.tag} lies in {raceway.tag} from box to box.",
            required=required,
            actual=actual,
        )
    return violated(
        run.tag,
        path,
        f"{run.tag} is {show(float(run.spec.length), 'length')} long and {raceway.tag}, in which it lies, "
        f"{show(float(raceway.spec.length), 'length')}: how {show(outside, 'length')} of it lie is not said.",
        required=required,
        actual=actual,
        fix=f'Correct one of the two lengths; or say how the rest of {run.tag} is laid (laid = "..."); or '
        f"end the run where {raceway.tag} ends and begin another.",
        related=(raceway.path + ("length",),),
    )


ENDS_EARLY = Rule(
    id="raceway.ends-early",
    severity=Severity.ERROR,
    title="Run that goes on where its raceway ends",
    checks="A run is no longer than its raceway and 10 ft or 3 m (its tails; common practice), unless it "
    "says under `laid` how the rest of it lies.",
    why="What is asked of a wire rests on where it lies. Wire for raceways, drawn on through open ground "
    "where the conduit ends, is cut by a spade or rots, and no check would say so.",
    clauses={"us-2023": "300.3(A), 300.5, 310.10", "iec": "60364-5-52 521, 522"},
    look=_in_raceways,
    examine=_ends_early,
    fires=(
        Case("10 m of wire in 6 m of raceway", {"raceways.C1.length": "6 m"}, subject="R1"),
        Case("30 m of wire in 10 m of raceway", {"runs.R3.length": "30 m"}, subject="R3"),
    ),
    keeps_still=(
        Case("10 m of wire in 10 m of raceway"),
        Case("12.9 m of wire in 10 m of raceway: tails", {"runs.R1.length": "12.9 m"}),
        Case(
            "15 m of cable, 10 m in a raceway and the rest under water, as it says",
            {"runs.R4.raceway": "C2", "runs.R4.laid": "submerged"},
        ),
    ),
    sees_not="A run that goes through two raceways, of which it can name but one.",
)

RULES = (FILL, COVER, RISER, MIXED_CIRCUITS, LEAVES_BOX, ENDS_EARLY)
