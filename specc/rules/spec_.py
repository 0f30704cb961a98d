"""Rules on the spec itself: what nothing uses, what is assumed, and (``plausible``) what looks mistyped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from specc.diagnostics import Severity
from specc.reading.parts import Wire
from specc.reading.suggest import slips
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules.plausible import IMPLAUSIBLE
from specc.rules.terminal import wire_area_m2
from specc.system.connect import places_named
from specc.system.missing import need_part
from specc.system.model import Conductor, Device, Path, Run
from specc.system.once import once
from specc.system.system import System

# -- what is used by nothing -----------------------------------------------------------------------

# Water devices that stand at the end of a line, or hang on it by one connection.
_ONE_CONNECTION = ("relief valve", "drain cock", "air valve")


def _everything(system: System) -> Iterator[Device | Run | Conductor]:
    for device in system.devices.values():
        if device.table not in ("locations", "sightlines"):
            yield device
    for run in system.connected.runs.values():
        yield run
        yield from run.conductors


def _unused(system: System, thing: Device | Run | Conductor) -> Iterator[Answer]:
    if isinstance(thing, Conductor):
        yield from _both_ends(thing)
    elif isinstance(thing, Run):
        yield _filled_run(thing)
    elif thing.table == "raceways":
        yield _used_raceway(system, thing)
    else:
        yield from _used_terminals(system, thing)
        yield from _used_water_ends(system, thing)
        yield from _used_box(system, thing)


def _both_ends(conductor: Conductor) -> Iterator[Answer]:
    if conductor.start == conductor.end:
        yield violated(
            conductor.tag,
            conductor.path + ("to",),
            f"{conductor.tag} starts and ends on {conductor.start}.",
            required="two different terminals",
            actual=conductor.start,
            fix="Name the terminal at its other end.",
            related=(conductor.path + ("from",),),
        )


def _filled_run(run: Run) -> Answer:
    if not run.conductors:
        return violated(
            run.tag,
            run.path + ("conductors",),
            f"{run.tag} has no conductors.",
            fix="List its conductors, or remove the run.",
        )
    return satisfied(run.tag, run.path, f"{run.tag} has conductors.")


def _used_raceway(system: System, raceway: Device) -> Answer:
    if any(run.raceway is raceway for run in system.connected.runs.values()):
        return satisfied(raceway.tag, raceway.path, f"{raceway.tag} is used.")
    return violated(
        raceway.tag,
        raceway.path,
        f"No run lies in {raceway.tag}.",
        fix=f'Write raceway = "{raceway.tag}" in a run, remove it, or accept it as a spare.',
    )


def _used_terminals(system: System, device: Device) -> Iterator[Answer]:
    """Grounding terminals are left to the rules on grounding, except on what is there for nothing else."""
    own = system.connected.terminals_of(device)
    if not own:
        return
    wired = system.connected.wired
    linked = {f"{device.tag}.{name}" for pair in getattr(device.spec, "links", ()) for name in pair}
    spare = getattr(device.spec, "spare", ())
    counted = [t for t in own if t.role != "ground" or device.table == "grounding"]
    idle = [t for t in counted if t.id not in wired and t.id not in linked and t.name not in spare]
    path = device.path + ("spare",) if spare else device.path
    if counted and len(idle) == len(counted):
        yield violated(
            device.tag,
            device.path,
            f"{device.tag} is bought and wired to nothing.",
            required="a conductor on its terminals",
            actual="none",
            fix="Connect it, remove it, or list its terminals under `spare`.",
        )
    elif idle:
        names = ", ".join(t.id for t in idle)
        listed = ", ".join(f'"{name}"' for name in (*spare, *(t.name for t in idle)))
        yield violated(
            device.tag,
            path,
            f"Nothing is connected to {names}.",
            required="a conductor, or the word spare",
            actual=names,
            fix=f"Connect {names}, or write spare = [{listed}].",
        )
    elif counted:
        yield satisfied(device.tag, path, f"Every terminal of {device.tag} is used or spare.")
    yield from _true_spares(device, wired)


def _true_spares(device: Device, wired: frozenset[str]) -> Iterator[Answer]:
    for index, name in enumerate(getattr(device.spec, "spare", ())):
        if f"{device.tag}.{name}" in wired:
            yield violated(
                device.tag,
                (*device.path, "spare", index),
                f"{device.tag}.{name} is said to be spare, and a conductor ends on it.",
                fix=f'Take "{name}" off the list, or the conductor off the terminal.',
            )


@once
def _pipe_ends(system: System) -> frozenset[str]:
    return frozenset(end for pipe in system.connected.pipes.values() for end in (pipe.start, pipe.end))


def _used_water_ends(system: System, device: Device) -> Iterator[Answer]:
    ends = _pipe_ends(system)
    if device.table in ("source", "tank"):
        wanted = [device.tag] if device.tag not in ends else []
        open_ends = wanted
    elif device.table in ("pumps", "filters", "valves", "gauges"):
        both = [f"{device.tag}.in", f"{device.tag}.out"]
        open_ends = [end for end in both if end not in ends]
        single = device.table == "gauges" or getattr(device.part, "type", "") in _ONE_CONNECTION
        if single and len(open_ends) < 2:
            open_ends = []
        if device.table == "gauges" and device.part.measures in ("voltage", "current"):
            open_ends = []
    else:
        return
    if open_ends:
        yield violated(
            device.tag,
            device.path,
            f"No pipe ends on {' or '.join(open_ends)}.",
            required="a pipe",
            actual="none",
            fix=f"Join {' and '.join(open_ends)} to a pipe, or remove {device.tag}.",
        )
    else:
        yield satisfied(device.tag, device.path, f"{device.tag} stands in the water line.")


def _used_box(system: System, device: Device) -> Iterator[Answer]:
    if device.table != "enclosures":
        return
    if device.spec.holds or system.connected.conductors_at(device):
        yield satisfied(device.tag, device.path, f"{device.tag} is used.")
    else:
        yield violated(
            device.tag,
            device.path + ("holds",),
            f"{device.tag} holds nothing.",
            fix="List what it holds, or remove it.",
        )


_SPARE_FUSE = {"part": "fuse-r"}

UNUSED_PART = Rule(
    id="spec.unused-part",
    severity=Severity.WARNING,
    title="Part, terminal or pipe end that nothing uses",
    checks="Every device, terminal, pipe end, run and raceway is used, or its terminal is listed under "
    "`spare`; a conductor ends on two different terminals.",
    why="What is bought and joined to nothing is a line forgotten in the spec, or money wasted; an open way "
    "in a box lets fingers and insects in.",
    clauses={"us-2023": "110.12(A) (unused openings)", "iec": "common practice, no source"},
    acceptable=True,
    sees_not="Grounding terminals, which the rules on grounding look at.",
    look=_everything,
    examine=_unused,
    fires=(
        Case("a fuse that is bought, and on no net", {"fuses.F9": _SPARE_FUSE}, subject="F9"),
        Case("a conductor from a terminal to itself", {"runs.R2.conductors[2].to": "F1.2"}, subject="R2.3"),
        Case(
            "a raceway that no run lies in",
            {"raceways.C9": {"part": "conduit-r", "length": "5 m"}},
            subject="C9",
        ),
        Case(
            "a terminal block with one way open",
            {"terminal_blocks.TB1": {"part": "block-r"}, "runs.R2.conductors[2].to": "TB1.1"},
            subject="TB1",
        ),
        Case("a filter with no pipe behind it", {"pipes.S2.from": "FL1.in"}, subject="FL1"),
    ),
    keeps_still=(
        Case("both terminals of the fuse marked spare", {"fuses.F9": {**_SPARE_FUSE, "spare": ["1", "2"]}}),
        Case("everything used", {}),
    ),
)


# -- what is assumed -------------------------------------------------------------------------------


def _with_defaults(system: System) -> tuple[Device, ...]:
    return system.of_kind("panel", "battery")


def _assumed(system: System, device: Device) -> Answer:
    part, path = device.part, device.path + ("part",)
    if device.kind == "panel":
        if part.voc_coefficient is not None:
            return satisfied(device.tag, path, f"{device.tag} has a temperature coefficient of Voc.")
        factor = system.book.cold_voltage_factor(system.electrical.coldest_k)
        return _assumption(
            device,
            "voc_coefficient",
            f"the temperature coefficient of Voc of {device.tag}",
            f"the factor {factor.value:g} of {factor.source} is assumed",
        )
    need_part(device, "highest_charge_voltage", "highest charge voltage")  # nothing may stand for it
    return satisfied(device.tag, path, f"{device.tag} has a highest charge voltage.")


def _assumption(device: Device, key: str, what: str, instead: str) -> Answer:
    return violated(
        device.tag,
        device.path + ("part",),
        f"{what[:1].upper()}{what[1:]} is not given; {instead}.",
        required=key,
        actual="assumed",
        fix=f"Give {key} of catalogue part {device.part.id}: read it on the label or in the maker's data.",
        severity=Severity.WARNING,
    )


MISSING_DATA = Rule(
    id="spec.missing-data",
    severity=Severity.ERROR,
    title="A needed value is absent",
    checks="Whatever a rule needs and neither spec nor catalogue gives is named, with the rules that it "
    "blocks: an error. Where a published figure may stand for it, that figure is used and said to be "
    "assumed: a warning.",
    why="A check that cannot be made is no pass. A gap that is filled in silence hides the fault that it "
    "covers.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    look=_with_defaults,
    examine=_assumed,
    fires=(
        Case(
            "module without a coefficient: factor of the table assumed",
            {"part:panel-r.voc_coefficient": None},
            severity=Severity.WARNING,
            subject="PV1",
        ),
        Case(
            "IEC, module without a coefficient: 1.2 assumed",
            {"job.rulebook": "iec", "part:panel-r.voc_coefficient": None},
            severity=Severity.WARNING,
        ),
    ),
    keeps_still=(Case("coefficient given", {}),),
)

# -- names of places ---------------------------------------------------------------------------------

_SHORT_NAME = 6  # letters; shorter names may differ in one and both be meant (bank, tank)


def _free_names(system: System) -> Iterator[tuple[str, Path]]:
    """Each name of a place, where the job describes none, with its first mention."""
    if not system.connected.places.locations:
        yield from dict(reversed(list(places_named(system.description)))).items()


def _place_name(system: System, subject: tuple[str, Path]) -> Answer:
    name, path = subject
    mentions = [other for other, _ in places_named(system.description)]
    rarer = [o for o in dict.fromkeys(mentions) if o != name and mentions.count(o) >= mentions.count(name)]
    like = next((other for other in rarer if _one_slip(name, other)), None)
    stands = {d.location for d in system.devices.values()}
    required = "one spelling for one place"
    if like is not None:
        return violated(
            "",
            path,
            f'"{name}" and "{like}" look like one place spelt in two ways.',
            required=required,
            actual=f"{name}, {like}",
            fix=f'Write "{like}", or list both under [[locations]].',
        )
    if name not in stands and not any(r.spec.location == name for r in system.connected.runs.values()):
        return violated(
            "",
            path,
            f'Nothing stands at "{name}".',
            required="a place where something stands",
            actual=name,
            fix="Write the name as the devices have it, or list the place under [[locations]].",
        )
    return satisfied("", path, f'"{name}" is spelt in one way.', required=required, actual=name)


def _one_slip(name: str, other: str) -> bool:
    """One letter left out, put in, replaced or swapped; case, blanks and hyphens apart; numbers are meant."""
    plain, like = ("".join(c for c in word.casefold() if c.isalnum()) for word in (name, other))
    if [c for c in plain if c.isdigit()] != [c for c in like if c.isdigit()]:
        return False
    return plain == like or (min(len(plain), len(like)) >= _SHORT_NAME and slips(plain, like, 1) <= 1)


_NO_PLACES: dict[str, Any] = {
    "locations.array": None,
    "locations.pump house": None,
    "locations.well": None,
    "locations.tank": None,
}

PLACE_NAME = Rule(
    id="spec.place-name",
    severity=Severity.WARNING,
    title="Name of a place that looks misspelt",
    checks="Where the job has no [[locations]], no two names of places differ by one letter, by case or by "
    "blanks alone, and something stands at both ends of each sightline.",
    why="Two spellings are two places: what stands at the one is out of sight of what stands at the other.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    acceptable=True,
    sees_not="Short names that differ by one letter (bank, tank), and names that differ in a number.",
    look=_free_names,
    examine=_place_name,
    fires=(
        Case(
            "pump house once spelt otherwise, and no places listed",
            {**_NO_PLACES, "enclosures.BOX1.location": "pump huose"},
        ),
        Case(
            "a sightline to where nothing stands, and no places listed",
            {**_NO_PLACES, "sightlines.1.between": ["pump house", "pit"]},
        ),
    ),
    keeps_still=(Case("the same names throughout, and no places listed", _NO_PLACES),),
)

# -- sizes of wire -------------------------------------------------------------------------------------


def _wires(system: System) -> Iterator[tuple[str, Any, str, Path]]:
    """Tag, wire, size and place of each size that a run or a conductor of its own names."""
    if system.book.id != system.description.job.rulebook:
        return  # a second rulebook has sizes of its own; those of the job are not written by it
    for run in system.connected.runs.values():
        own = [c for c in run.conductors if c.wire is not run.wire or c.size != run.spec.size]
        if len(own) < len(run.conductors):
            yield run.tag, run.wire, run.spec.size, run.path + ("size",)
        for conductor in own:
            yield conductor.tag, conductor.wire, conductor.size, conductor.path + ("size",)


def _sold(system: System, subject: tuple[str, Any, str, Path]) -> Answer:
    tag, wire, size, path = subject
    sold = [priced.size for priced in wire.sizes]
    known = system.book.sizes()
    if size not in known:
        return violated(
            tag,
            path,
            f"{tag} is {size}, which is no conductor size of {system.book.title}: nothing that depends on "
            "its size can be checked.",
            required=f"a size of the rulebook: {known[0]} to {known[-1]}",
            actual=size,
            fix=_wire_to_take(system, wire, size),
            severity=Severity.ERROR,
        )
    if sold and size not in sold:
        return violated(
            tag,
            path,
            f'{tag} is {size}, and "{wire.id}" is not sold in that size.',
            required=f"one of: {', '.join(sold)}",
            actual=size,
            fix=_wire_to_take(system, wire, size),
        )
    return satisfied(tag, path, f'"{wire.id}" is sold in {size}.', actual=size)


def _wire_to_take(system: System, wire: Any, size: str) -> str:
    """The nearest sizes of this very wire, and the wires of its strand that are sold in the size."""
    known = system.book.sizes()
    own = _around(system, size, [each for each in known if each in {priced.size for priced in wire.sizes}])
    wanted = [size] if size in known else _around(system, size, known)
    ways = [f'{" or ".join(own)} of "{wire.id}"'] if own else []
    for each in wanted if size in known or not own else []:
        ids = [part.id for part in _of_that_strand(system, wire) if each in {p.size for p in part.sizes}]
        ways += [f"{each} of {', '.join(ids[:_MOST_WIRES])}"] if ids else []
    if not ways:
        return "Take another wire: `specc parts --kind wire` lists them with their sizes."
    return f"Take {', or '.join(ways)}."


def _around(system: System, size: str, sizes: Sequence[str]) -> list[str]:
    """The sizes just under and just over one, of a list from small to large."""
    area = wire_area_m2(system.book, size)
    under = [each for each in sizes if wire_area_m2(system.book, each) <= area]
    return [*under[-1:], *sizes[len(under) : len(under) + 1]]


def _of_that_strand(system: System, wire: Any) -> Iterator[Wire]:
    for part in system.description.catalog.parts("wire"):
        if isinstance(part, Wire) and part.strand == wire.strand:
            yield part


_MOST_WIRES = 4  # that are named

WIRE_SIZE = Rule(
    id="spec.wire-size",
    severity=Severity.WARNING,
    title="Wire in a size of another rulebook, or that is not sold",
    checks="Each conductor has a size of the job's rulebook, AWG or mm²: else an error; and its wire is sold "
    "in that size.",
    why="The tables of a rulebook know their own sizes alone: of another nothing is checked. And what no "
    "shop sells in that size is replaced at the counter by what is there.",
    clauses={"us-2023": "310.3(A), Chapter 9 Table 8 (sizes)", "iec": "IEC 60228, table 1 (sizes)"},
    acceptable=True,
    sees_not="A second rulebook of the same job, under which the sizes of the first are judged as they are.",
    look=_wires,
    examine=_sold,
    fires=(
        Case("a metric size in a US job", {"runs.R1.size": "6 mm2"}, severity=Severity.ERROR, subject="R1"),
        Case("a gauge that the tables do not reach", {"runs.R1.size": "24 AWG"}, severity=Severity.ERROR),
        Case("a size of the tables that the catalogue lacks", {"runs.R1.size": "2 AWG"}, subject="R1"),
        Case("one conductor in such a size", {"runs.R1.conductors[0].size": "2 AWG"}, subject="R1.1"),
    ),
    keeps_still=(
        Case("sizes of the tables, and sold", {}),
        Case("another size that is sold", {"runs.R1.size": "6 AWG"}),
    ),
)

RULES = (UNUSED_PART, MISSING_DATA, IMPLAUSIBLE, PLACE_NAME, WIRE_SIZE)
