"""Rules on weather: enclosure types, conductor insulation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from specc.diagnostics import Severity
from specc.rulebooks import EnclosureRule
from specc.rules._edits import METRIC
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import HOW_LAID, MissingDatum, need, need_part
from specc.system.model import Device, Run
from specc.system.system import System

_IP = re.compile(r"IP\s?[0-9X]([0-9X])[A-Z]*", re.IGNORECASE)


# -- enclosures ------------------------------------------------------------------------------------


_CASELESS = ("isolator", "breaker", "fuse", "terminal_block", "controller")


def _enclosures(system: System) -> Iterator[Device]:
    """Enclosures, and live devices that no enclosure of the job holds."""
    yield from system.of_kind("enclosure")
    for device in system.of_kind(*_CASELESS):
        if device.box is None:
            yield device


def _exposures(place: Any) -> tuple[str, ...]:
    """What an enclosure must stand at a place, as the rulebook names it."""
    wet = ("outdoors",) if place.outdoors or place.wet else ()
    return wet + tuple(word for word in ("hosed", "corrosive") if getattr(place, word))


def _marks(system: System, box: Device) -> tuple[str | None, str | None]:
    """Type and IP code of an enclosure, or of the case that a device (a fuse: its holder) has of its own."""
    part = box.part
    if box.kind == "enclosure":
        if part.type is None and part.ip is None:
            raise MissingDatum(
                f"{box.tag}: its type or IP code (catalogue part {part.id})", box.path + ("part",), "type"
            )
        return part.type, part.ip
    holder_id = (box.spec.holder or part.holder) if box.kind == "fuse" else None
    holder = system.description.catalog.find(holder_id) if holder_id else None
    shell = holder or part
    return shell.case_type, shell.case_ip


def _enclosure_type(system: System, box: Device) -> Answer | None:
    place = system.place_of(box)
    path = box.path + ("part",)
    if place is None:
        return _undescribed(system, box)
    exposures = _exposures(place)
    if not exposures:
        return satisfied(box.tag, path, f"{box.tag} stands in a dry place.")
    marks = _marks(system, box)
    if marks == (None, None):
        return _bare(box, exposures, system)
    for exposure in exposures:
        rule = system.book.enclosure(exposure)
        suits = _suits(marks, exposure, rule)
        if suits is None:
            return unchecked(
                box.tag, path, f"an IP code says nothing of corrosion; the type of {box.tag} is not given."
            )
        if not suits:
            return _unsuited(box, marks, exposure, rule)
    return satisfied(
        box.tag, path, f"{box.tag} suits its place.", required=" and ".join(exposures), actual=_mark(marks)
    )


def _undescribed(system: System, box: Device) -> Answer:
    """A case that stands hosing suits any place but a corrosive one; of a lesser the place must be known."""
    marks = _marks(system, box)
    if _suits(marks, "hosed", system.book.enclosure("hosed")):
        return satisfied(
            box.tag,
            box.path + ("part",),
            f"{box.tag} suits rain and hose, wherever it stands.",
            actual=_mark(marks),
        )
    if box.kind != "enclosure" and box.location is None:
        what = f"{box.tag}: where it stands (in which enclosure, under `holds`; or its location)"
    else:
        what = f"{box.tag}: whether its place is outdoors or wet ([[locations]] with its name)"
    raise MissingDatum(what, box.path, "location")


def _suits(marks: tuple[str | None, str | None], exposure: str, rule: EnclosureRule) -> bool | None:
    """Does a mark serve? None where it cannot be told."""
    type_, ip = marks
    if type_ is not None and type_.upper() in rule.types:
        return True
    if exposure == "corrosive":
        return None if type_ is None and ip is not None else False
    digit = _IP.fullmatch(ip.strip()) if ip else None
    return digit is not None and digit[1].upper() != "X" and int(digit[1]) >= rule.ip_water_digit


def _mark(marks: tuple[str | None, str | None]) -> str:
    type_, ip = marks
    return ", ".join(mark for mark in (f"type {type_}" if type_ else "", ip or "") if mark)


_WORDS = {"outdoors": "outdoors or wet", "hosed": "hosed down", "corrosive": "corrosive"}


def _least(exposure: str, rule: EnclosureRule) -> str:
    or_code = f", or IPX{rule.ip_water_digit} or better" if exposure != "corrosive" else ""
    return f"type {', '.join(rule.types)}{or_code}"


def _bare(box: Device, exposures: tuple[str, ...], system: System) -> Answer:
    least = " and ".join(_least(e, system.book.enclosure(e)) for e in exposures)
    where = " and ".join(_WORDS[e] for e in exposures)
    return violated(
        box.tag,
        box.path,
        f"{box.tag} ({box.part.name}) stands in no enclosure in a place that is {where}, and its part has no "
        "case of its own for that.",
        required=f"an enclosure, or a case of its own: {least}",
        actual="neither",
        fix=f"List {box.tag} under `holds` of an enclosure; where the maker's case is made for the place, "
        f"give case_type or case_ip of catalogue part {box.part.id}.",
        related=(box.path + ("location",),),
    )


def _unsuited(
    box: Device, marks: tuple[str | None, str | None], exposure: str, rule: EnclosureRule
) -> Answer:
    least = _least(exposure, rule)
    return violated(
        box.tag,
        box.path + ("part",),
        f"{box.tag} ({_mark(marks)}) stands in a place that is {_WORDS[exposure]}, which it is not made for.",
        required=least,
        actual=_mark(marks),
        fix=f"Take an enclosure of {least}.",
        related=(box.path + ("location",),),
    )


_ON_THE_WALL = {"enclosures.BOX1.holds": ["Q1", "F1", "DS1", "GB1"], "controllers.CB1.location": "pump house"}

ENCLOSURE_TYPE = Rule(
    id="outdoor.enclosure-type",
    severity=Severity.ERROR,
    title="Enclosure, or device in none, not made for its place",
    checks="Outdoors or wet: type 3R or better (or the rulebook's IP code); hosed: 4, 4X or better; "
    "corrosive: 4X or 6P. A well head counts as wet. An isolator, breaker, fuse, terminal block or "
    "controller that no enclosure holds is held to the same by the case that its part has of its own.",
    why="Water in a box corrodes terminals and tracks between poles; chlorine eats painted steel within a "
    "season.",
    clauses={"us-2023": "110.28; 300.6, 312.2", "iec": "60529; 60364-5-51 (AD3 IPX3, AD4 IPX4, AD5 IPX5)"},
    sees_not="Entries from below, drain holes and glands; live parts within reach of a hand.",
    look=_enclosures,
    examine=_enclosure_type,
    fires=(
        Case("type 1 outdoors", {"part:box-r.type": "1", "part:box-r.ip": None}, subject="BOX1"),
        Case(
            "type 3R where it is hosed down",
            {"part:box-r.type": "3R", "part:box-r.ip": "IP24", "locations.pump house.hosed": True},
        ),
        Case("type 4 in a corrosive place", {"part:box-r.type": "4", "locations.pump house.corrosive": True}),
        Case("a controller on the wall outdoors, with no case for it", _ON_THE_WALL, subject="CB1"),
        Case(
            "a controller in a case of its own where it is hosed down: IP54, IP65 wanted",
            {**_ON_THE_WALL, "part:booster-r.case_ip": "IP54", "locations.pump house.hosed": True},
            subject="CB1",
        ),
        Case(
            "an isolator on the wall outdoors, metric rulebook",
            {
                **METRIC,
                "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "GB1"],
                "disconnects.DS1.location": "pump house",
            },
            subject="DS1",
        ),
        Case("IEC, IP22 outdoors", {"job.rulebook": "iec", "part:box-r.type": None, "part:box-r.ip": "IP22"}),
    ),
    keeps_still=(
        Case("type 3R outdoors", {"part:box-r.type": "3R", "part:box-r.ip": None}),
        Case(
            "type 1 indoors and dry",
            {"part:box-r.type": "1", "part:box-r.ip": None, "locations.pump house.outdoors": False},
        ),
        Case(
            "a controller outdoors in a case of its own",
            {**_ON_THE_WALL, "part:booster-r.case_ip": "IP65"},
        ),
        Case(
            "a controller on the wall of a dry room", {**_ON_THE_WALL, "locations.pump house.outdoors": False}
        ),
        Case("IEC, IP23 outdoors", {"job.rulebook": "iec", "part:box-r.type": None, "part:box-r.ip": "IP23"}),
    ),
)


# -- conductors ------------------------------------------------------------------------------------


def _insulated(system: System) -> Iterator[tuple[Run, Any]]:
    """Each run with each kind of insulated wire in it."""
    for run in system.connected.runs.values():
        for wire in dict.fromkeys(c.wire for c in run.conductors):
            if wire.insulation != "bare":
                yield run, wire


def _places_of(system: System, run: Run) -> tuple[Any, ...]:
    """What is known of the places that a run touches; None for one that is not described."""
    raceway = run.raceway.spec.location if run.raceway is not None else None
    names = [name for name in (run.spec.location, raceway) if name]
    if not names:
        ends = [system.terminal(end).device for c in run.conductors for end in (c.start, c.end)]
        return tuple(dict.fromkeys(system.place_of(device) for device in dict.fromkeys(ends)))
    return tuple(system.connected.places.locations.get(name) for name in names)


def _demands(system: System, run: Run, wire: Any) -> Iterator[tuple[str, str]]:
    """What the laying of a run asks of a wire: the catalogue's key, and why."""
    spec, raceway = run.spec, run.raceway
    if raceway is not None:
        yield "raceway", "it lies in a raceway"
        if raceway.spec.buried is not None:
            yield "wet", "a buried raceway is wet inside"
        elif _any(system, run, wire, "wet", "outdoors", "wet"):
            yield "wet", "a raceway outdoors is wet inside"
    match spec.laid:
        case "in enclosure":
            return
        case "in raceway" if raceway is None:
            raise MissingDatum(f"{run.tag}: the raceway that it lies in", run.path, "raceway")
        case "direct buried":
            yield "direct_burial", "it is buried without a raceway"
            yield "wet", "the ground is wet"
        case "submerged":
            yield "submersible", "it hangs in water"
        case "out of reach" | "within reach":
            if _any(system, run, wire, "wet", "outdoors", "wet"):
                yield "wet", "it lies in the open"
            if _any(system, run, wire, "sunlight", "sunlit"):
                yield "sunlight", "it lies in the sun"
        case None if raceway is None:
            if not (wire.wet and wire.sunlight and wire.direct_burial and wire.submersible):
                raise MissingDatum(f"{run.tag}: {HOW_LAID}", run.path, "laid")


def _any(system: System, run: Run, wire: Any, mark: str, *words: str) -> bool:
    """Is one of these words true of a place of the run? An undescribed place matters only to a wire "
    "without the mark."""
    places = _places_of(system, run)
    if any(getattr(place, word) for place in places if place is not None for word in words):
        return True
    if None in places and not getattr(wire, mark):
        raise MissingDatum(
            f"{run.tag}: whether its places are {' or '.join(words)} ([[locations]] with their names)",
            run.path,
            "location",
        )
    return False


_MARKS = {
    "raceway": "may lie in a raceway",
    "wet": "suits wet places",
    "direct_burial": "may be buried directly",
    "submersible": "may hang in water",
    "sunlight": "stands sunlight",
}


def _conductor_type(system: System, subject: tuple[Run, Any]) -> Answer:
    run, wire = subject
    demands = tuple(_demands(system, run, wire))
    lacking = [(key, why) for key, why in demands if not getattr(wire, key)]
    path = run.path + ("wire",)
    if not lacking:
        return satisfied(run.tag, path, f'"{wire.id}" suits how {run.tag} is laid.')
    required = " and ".join(_MARKS[key] for key in dict(demands))
    return violated(
        run.tag,
        path,
        f'"{wire.id}" in {run.tag} is not marked for it: ' + "; ".join(why for _, why in lacking) + ".",
        required=f"wire that {required}",
        actual=f"not marked: {', '.join(_MARKS[key] for key in dict(lacking))}",
        fix=f"Take a wire that {required}.",
        related=(run.path + (("raceway",) if run.raceway is not None else ("laid",)),),
    )


CONDUCTOR_TYPE = Rule(
    id="outdoor.conductor-type",
    severity=Severity.DANGER,
    title="Insulation not made for its place",
    checks="The wire is marked for where it lies: wet (a buried raceway and one outdoors are wet inside), "
    "sunlight, direct burial, under water; battery cable not in a raceway. Of a run that says both its "
    "raceway and how it is laid, for either.",
    why="Insulation for dry places swells in water and cracks in the sun; the leak to earth comes years "
    "later and is not seen.",
    clauses={"us-2023": "300.9, 310.10, 690.31(C)", "iec": "62930; 60364-5-52 522"},
    sees_not="Oil, ozone, and the cord that a float brings along.",
    look=_insulated,
    examine=_conductor_type,
    fires=(
        Case("dry-place wire in a buried raceway", {"part:thwn2-r.wet": False}, subject="R1"),
        Case("IEC, dry-place wire in a buried raceway", {**METRIC, "part:thwn2-r.wet": False}, subject="R1"),
        Case(
            "wire without a burial mark, buried directly",
            {"part:control-r.direct_burial": False},
            subject="R4",
        ),
        Case("wire without a sunlight mark, in the sun", {"runs.R6.location": "array"}, subject="R6"),
        Case(
            "cable that may not hang in water, under water",
            {"runs.R4.laid": "submerged", "part:control-r.submersible": False},
            subject="R4",
        ),
        Case("battery cable in a raceway", {"runs.R3.wire": "battery-cable-cu"}, subject="R3"),
        Case(
            "cable that may not hang in water, part of it in a raceway and part under water",
            {
                "runs.R4.raceway": "C2",
                "runs.R4.laid": "submerged",
                "part:control-r.submersible": False,
            },
            subject="R4",
        ),
    ),
    keeps_still=(
        Case("wet-place wire in a buried raceway", {}),
        Case("dry-place wire in enclosures only", {"runs.R2.wire": "thhn-cu"}),
    ),
)


# -- pumps under water -----------------------------------------------------------------------------


def _pumps(system: System) -> Iterator[Device]:
    return iter(system.of_kind("pump"))


def _drowned(system: System, pump: Device) -> Answer:
    path, show = pump.path + ("elevation",), system.show
    here = [
        d
        for d in system.devices.values()
        if d.table == "source" and d.location is not None and d.location == pump.location
    ]
    for source in here:
        level = need(
            source.spec.water_level, f"{source.tag}: standing water level", source.path, "water_level"
        )
        if pump.spec.elevation >= level:
            continue
        required, actual = f"above {show(level, 'elevation')}", show(pump.spec.elevation, "elevation")
        made = need_part(pump, "submersible", "whether it is made to stand under water (true or false)")
        if made:
            continue
        return violated(
            pump.tag,
            path,
            f"{pump.tag} stands at {actual} in {source.tag}, whose water comes up to "
            f"{show(level, 'elevation')}: its motor drowns, and puts its voltage on the water.",
            required=required,
            actual=actual,
            fix=f"Set {pump.tag} {required}, or take a submersible pump; where it stands dry beside the "
            "water, give it a place of its own ([[locations]]).",
            related=(source.path + ("water_level",),),
        )
    return satisfied(pump.tag, path, f"{pump.tag} stands dry, or is made for water.")


DROWNED = Rule(
    id="outdoor.drowned",
    severity=Severity.DANGER,
    title="Pump under water that is not made for it",
    checks="A pump at the place of a source stands above its standing water, unless its part is submersible.",
    why="A surface pump that the well covers in spring is destroyed, and whoever touches the water is in its "
    "circuit.",
    clauses={"us-2023": "110.11; 110.28", "iec": "60034-5 (IPX8); 60335-2-41"},
    look=_pumps,
    examine=_drowned,
    fires=(
        Case(
            "a surface pump 0.5 m below the standing water",
            {"pumps.P1.elevation": "-3.5 m", "part:pump-r.submersible": False},
            subject="P1",
        ),
    ),
    keeps_still=(
        Case("3 m above the water"),
        Case("a submersible pump", {"pumps.P1.elevation": "-3.5 m", "part:pump-r.submersible": True}),
        Case(
            "a surface pump in a dry pit beside the well",
            {
                "pumps.P1.elevation": "-3.5 m",
                "part:pump-r.submersible": False,
                "locations.pit": {"sunlit": False},
                "pumps.P1.location": "pit",
            },
        ),
    ),
    sees_not="Floods above the standing water; a pit that fills.",
)

RULES = (ENCLOSURE_TYPE, CONDUCTOR_TYPE, DROWNED)
