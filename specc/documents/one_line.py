"""The one-line diagram of an installation: what it says, before anything is placed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from specc.documents.conductor_schedule import wire_type
from specc.documents.device_symbols import symbol_name
from specc.documents.diagram import Band, Diagram, DiagramBox, DiagramDevice, DiagramLink, TitleBlock
from specc.documents.diagram import Kind as LinkKind
from specc.documents.earthing_words import joint_words, system_earthing
from specc.documents.strands import GROUNDING, Lines, Strand, block_groups, lines_of
from specc.system.earthing import bonds, earth_poles
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Device, Run
from specc.system.roles import Role, role_of
from specc.system.system import System
from specc.system.worst import continuous_current, voltage_on

_HOLDS_BACK = "foot valve"


def one_line(system: System, *, draft: bool = False) -> Diagram:
    """The diagram: devices with their ratings, one line a run between two devices, then the water path."""
    shown = {d.tag: d for d in system.devices.values() if _is_drawn(d)}
    wiring = lines_of(system)
    joints = {b.through.device.tag for b in bonds(system) if b.through is not None}
    devices = [_device(system, device, wiring.twins.get(device.tag, ())) for device in shown.values()]
    links = _needed((*_wires(system, wiring, shown), *_pipes(system, shown)), shown, joints)
    used = {tag for link in links for tag in (link.from_tag, link.to_tag)}
    boxes = [
        DiagramBox(d.tag, box_title(d), tuple(t for t in (*d.spec.holds, d.tag) if t in shown and t in used))
        for d in system.of_kind("enclosure")
    ]
    boxes = [box for box in boxes if box.holds]
    drawn = used | {box.tag for box in boxes} | {t for d in devices if d.tag in used for t in d.twins}
    return Diagram(
        title_block=title_block_of(system, "One-line diagram", draft),
        devices=tuple(d for d in devices if d.tag in used),
        links=tuple(links),
        boxes=tuple(boxes),
        notes=_notes(system, drawn, links),
    )


def _needed(
    links: Sequence[DiagramLink], shown: Mapping[str, Device], joints: Collection[str]
) -> list[DiagramLink]:
    """The links without those that go without saying, unless nothing else would show their run."""
    drawn = [link for link in links if not _goes_without_saying(link, shown, joints)]
    spoken = {tag for link in drawn for tag in link.tags.split(", ")}
    return [link for link in links if link in drawn or not spoken.issuperset(link.tags.split(", "))]


def title_block_of(system: System, drawing: str, draft: bool) -> TitleBlock:
    """The title block of a drawing of this job."""
    job = system.job
    return TitleBlock(
        title=job.title,
        drawing=drawing,
        number=job.number,
        prepared_for=job.prepared_for,
        prepared_by=job.prepared_by,
        date=job.date.isoformat(),
        revision=job.revision,
        rulebook=system.book.short,
        draft=draft,
        firm=firm_lines(system),
        logo=system.description.logo,
    )


def firm_lines(system: System) -> tuple[str, ...]:
    """The name of the firm, then its address, telephone and licence, each on a line; nothing without one."""
    firms = system.description.all("firm")
    if not firms:
        return ()
    firm = firms[0].model
    last = (firm.phone, f"licence {firm.licence}" if firm.licence else "")
    return (firm.name, *firm.address, *(line for line in last if line))


def _is_drawn(device: Device) -> bool:
    return device.table != "raceways"


def _device(system: System, device: Device, twins: tuple[str, ...]) -> DiagramDevice:
    band: Band = "energy"
    if device.table in ("pumps", "filters", "valves", "gauges", "source", "tank"):
        band = "water"
    elif device.kind in ("grounding", "enclosure"):
        band = "ground"
    symbol = symbol_name(device)
    in_lead = _in_the_lead(system, device)
    if in_lead:
        symbol, band = f"functional-earth-{in_lead}", "ground"
    captions = (*captions_of(system, device), *(f"and {tag} in the negative" for tag in twins))
    if any(b.functional and b.tag == device.tag for b in bonds(system)) and device.kind != "grounding":
        captions = (*captions, "functional earth")
    return DiagramDevice(device.tag, symbol, captions, device.location or "", band, twins=twins)


def _in_the_lead(system: System, device: Device) -> str:
    """What a fuse or breaker is in the lead of a functional earth, where it does nothing else; else ""."""
    poles = set(system.poles_of(device))
    bond = next((b for b in bonds(system) if b.through is not None and b.through.device is device), None)
    if bond is None or bond.through is None or not poles or not poles <= earth_poles(system):
        return ""
    return bond.through.through if bond.functional else ""


def _goes_without_saying(link: DiagramLink, shown: Mapping[str, Device], joints: Collection[str]) -> bool:
    """Grounding of frames and cases is counted in the captions of their runs; rods and bonds are drawn.

    ``joints``: tags of what stands in a joint of the system with earth.
    """
    ends = (shown[link.from_tag], shown[link.to_tag])
    drawn = any(device.kind == "grounding" or device.tag in joints for device in ends)
    return link.kind == "ground" and not drawn


def captions_of(system: System, device: Device) -> tuple[str, ...]:
    """Key ratings beside the symbol, two or three short lines."""
    part, spec, show = device.part, device.spec, system.show
    match device.table:
        case "source":
            levels = [
                f"water {show(level, 'elevation', 3)}"
                if word == ""
                else f"{word} {show(level, 'elevation', 3)}"
                for word, level in (("", spec.water_level), ("low", spec.low_water_level))
                if level is not None
            ]
            return (spec.kind, *levels)
        case "tank":
            inlet = (f"inlet {show(spec.inlet, 'elevation', 3)}",) if spec.inlet is not None else ()
            size = (show(spec.capacity, "volume", 4),) if spec.capacity is not None else ()
            return (*size, *inlet)
    match device.kind:
        case "panel":
            power = f"{spec.series * spec.parallel} × {show(part.power, 'power', 3)}" if part.power else ""
            cold = _try_voltage(system, device)
            strings = f", {spec.parallel} strings" if spec.parallel > 1 else ""
            lines = (f"{spec.series} in series{strings}", power, f"Voc {cold}" if cold else "")
            return tuple(line for line in lines if line)
        case "battery":
            capacity = (show(part.capacity, "charge", 3),) if part.capacity else ()
            return (f"{spec.series} × {show(part.nominal, 'voltage', 3)}", *capacity)
        case "isolator":
            return (f"{len(part.poles)}-pole", _rating(system, part.dc_current, part.dc_voltage))
        case "breaker":
            return (f"{len(part.poles)}-pole", _rating(system, part.rating, part.dc_voltage))
        case "fuse":
            return (_rating(system, part.rating, part.dc_voltage), part.fuse_class)
        case "controller":
            limits = (
                *_inputs(system, part),
                f"out {show(part.output_current, 'current', 3)}" if part.output_current else "",
            )
            return (part.type, *(line for line in limits if line))
        case "switch":
            return (f"closes on {spec.closes_on}", f"stops on {spec.guards}")
        case "pump":
            return tuple(
                line
                for line in (
                    f"{show(part.nominal_voltage, 'voltage', 3)} DC",
                    f"{show(part.rated_current, 'current', 3)}" if part.rated_current else "",
                )
                if line
            )
        case "valve":
            setting = (f"set {show(spec.setting, 'pressure', 3)}",) if spec.setting is not None else ()
            return (part.type, *setting)
        case "filter":
            return ("filter",)
        case "grounding":
            joint = next((b.through for b in bonds(system) if b.tag == device.tag and b.through), None)
            return (part.type, joint_words(system, joint)) if joint is not None else (part.type,)
        case "enclosure":
            return ("ground bar",)
        case "terminal_block":
            return ()
        case _:
            return (part.name,) if part is not None else ()


def _inputs(system: System, part: Any) -> Iterator[str]:
    """The highest voltage that a controller takes; of a low-voltage disconnect, where it opens and closes."""
    stated: tuple[tuple[str, float | None], ...] = (("in max", part.max_input_voltage),)
    if part.type == "low-voltage disconnect":
        stated = (("opens at", part.stops_below), ("closes at", part.restarts_above))
    yield from (f"{word} {system.show(volts, 'voltage', 3)}" for word, volts in stated if volts is not None)


def _rating(system: System, current: float | None, voltage: float | None) -> str:
    words = [
        system.show(value, dimension, 3)
        for value, dimension in ((current, "current"), (voltage, "voltage"))
        if value is not None
    ]
    return " ".join(words) + (" DC" if voltage is not None else "")


def _try_voltage(system: System, device: Device) -> str:
    try:
        return system.show(system.electrical.cold_voltage(device).value, "voltage", 3)
    except (MissingDatum, LookupError):
        return ""


def _wires(system: System, wiring: Lines, shown: dict[str, Device]) -> list[DiagramLink]:
    """One line for all conductors of a run between the same two devices."""
    groups: dict[tuple[str, str, tuple[str, ...], LinkKind], list[Conductor]] = defaultdict(list)
    beside: dict[tuple[str, str, tuple[str, ...], LinkKind], list[Conductor]] = defaultdict(list)
    joined = block_groups(system)
    for line in wiring.lines:
        strand = line.strand
        ends = [_anchor(system, device, strand, shown) for device in (strand.start, strand.end)]
        if ends[0] is not None and ends[1] is not None and ends[0] is not ends[1]:
            key = ends[0].tag, ends[1].tag, strand.runs, _kind(strand.role)
            groups[key].extend(_abreast(line.conductors, joined))
            beside[key].extend(line.beside)
    return [
        DiagramLink(
            ", ".join(runs),
            start,
            end,
            kind,
            _captions_of_wire(system, kind, group),
            len(_fullest(group)),
            _poles(system, group),
            (*_said_once(system, kind, group), *_said_beside(system, beside[start, end, runs, kind])),
            tuple(dict.fromkeys(c.run.tag for c in beside[start, end, runs, kind])),
        )
        for (start, end, runs, kind), group in groups.items()
    ]


def _kind(role: Role) -> LinkKind:
    if role.kind in GROUNDING:
        return "ground"
    return "control" if role.kind in ("control", "idle") else "power"


def _anchor(system: System, device: Device, strand: Strand, shown: dict[str, Device]) -> Device | None:
    """The device itself; for the bond's end on an undrawn block, the nearest drawn on that net."""
    if device.tag in shown and not (device.kind == "terminal_block" and strand.role.kind in GROUNDING):
        return device
    ends = {end for c in strand.conductors for end in (c.start, c.end)}
    net = next((system.walked.net(end) for end in ends if system.terminal(end).device is device), None)
    others = [system.terminal(name).device for name in system.walked.members.get(net or "", ())]
    drawn = [d for d in others if d.tag in shown and d.kind in _ANCHORS]
    return min(
        drawn,
        key=lambda d: (d.box != device.box, d.location != device.location, _ANCHORS.index(d.kind)),
        default=device if device.tag in shown else None,
    )


_ANCHORS = ("controller", "battery", "panel", "isolator", "breaker", "pump")


def _abreast(conductors: Iterable[Conductor], joined: Mapping[str, str]) -> list[Conductor]:
    """Conductors side by side: of those of one run that follow one another through a block, the first."""
    kept: list[Conductor] = []
    for conductor in conductors:
        if not any(_follow(conductor, other, joined) for other in kept):
            kept.append(conductor)
    return kept


def _follow(one: Conductor, other: Conductor, joined: Mapping[str, str]) -> bool:
    """Do two conductors of a run meet at a block, and lead from it to different devices?"""
    if one.run is not other.run:
        return False
    ends = [{joined.get(end, end.split(".")[0]) for end in (c.start, c.end)} for c in (one, other)]
    return len(ends[0] & ends[1]) == 1 and bool(ends[0] & ends[1] & set(joined.values()))


def _fullest(group: list[Conductor]) -> list[Conductor]:
    """The conductors that lie side by side: those of the fullest run."""
    run = Counter(c.run.tag for c in group).most_common(1)[0][0]
    return [c for c in group if c.run.tag == run]


def _poles(system: System, group: list[Conductor]) -> str:
    """The polarity of the conductors side by side: "+", "+ −", "2+ 2−"; "" where they have none."""
    poles = Counter(role_of(system.connected, system.walked, c).pole for c in _fullest(group))
    signs = {"+": "+", "-": "\N{MINUS SIGN}"}
    found = [(poles[pole], sign) for pole, sign in signs.items() if poles[pole]]
    return " ".join(sign if all(n == 1 for n, _ in found) else f"{n}{sign}" for n, sign in found)


def _captions_of_wire(system: System, kind: LinkKind, group: list[Conductor]) -> tuple[str, ...]:
    """What holds for this stretch alone: number and size of its conductors, highest voltage and current."""
    runs = dict.fromkeys(c.run.tag for c in group)
    sizes = _sizes(group) if len(runs) == 1 else []
    loads = _loads(system, group) if kind != "ground" else ""
    return (*sizes, *([loads] if loads else []))


def _sizes(conductors: Iterable[Conductor]) -> list[str]:
    counted = Counter(c.size for c in conductors)
    return [f"{n} × {size}" if n > 1 else size for size, n in counted.items()]


def _loads(system: System, group: list[Conductor]) -> str:
    """Highest voltage in any state and the highest current that flows for hours: "77.7 V, 7.5 A"."""
    volts, amperes = [], []
    for conductor in group:
        try:
            worst = voltage_on(system, conductor)
            current = continuous_current(system, conductor)
        except (MissingDatum, LookupError):
            continue
        volts += [worst.value] if worst is not None else []
        amperes += [current.value] if current is not None else []
    words = [system.show(max(volts), "voltage", 3)] if volts else []
    words += [system.show(max(amperes), "current", 3)] if amperes else []
    return ", ".join(words)


def _said_once(system: System, kind: LinkKind, group: list[Conductor]) -> Iterator[tuple[str, str]]:
    """What holds for a whole run, wherever it shows: wire, length, raceway, and its grounding conductor."""
    runs = list(dict.fromkeys(c.run for c in group))
    for run in runs:
        conductors = [c for c in group if c.run is run]
        words = _words_of_run(system, run, conductors, grounds=kind == "power")
        texts = [f"{run.tag}: {', '.join([*_sizes(conductors), *words])}"] if len(runs) > 1 else words
        yield from ((f"{run.tag} {text}", text) for text in texts)


def _said_beside(system: System, conductors: Sequence[Conductor]) -> Iterator[tuple[str, str]]:
    """A run that holds the return alone: all that would stand at its line."""
    for run in dict.fromkeys(c.run for c in conductors):
        mine = [c for c in conductors if c.run is run]
        loads = _loads(system, mine)
        words = (*_sizes(mine), *([loads] if loads else []), *_words_of_run(system, run, mine, grounds=True))
        yield f"{run.tag} beside", f"return {run.tag}: {', '.join(words)}"


def _words_of_run(
    system: System, run: Run, conductors: Iterable[Conductor], *, grounds: bool
) -> tuple[str, ...]:
    """Kind of wire, length with raceway, and sizes of the grounding conductors that are not drawn."""
    wires = dict.fromkeys(wire_type(c) for c in conductors)
    where = run.raceway.tag if run.raceway is not None else ""
    length = ", ".join(word for word in (system.show(run.spec.length, "length", 3), where) if word)
    undrawn = [
        c.size if wire_type(c) in wires else f"{c.size} {wire_type(c)}"
        for c in run.conductors
        if grounds
        and role_of(system.connected, system.walked, c).kind in GROUNDING
        and not any(system.terminal(end).device.kind == "grounding" for end in (c.start, c.end))
    ]
    return (*wires, length, *(f"ground {size}" for size in dict.fromkeys(undrawn)))


def _pipes(system: System, shown: dict[str, Device]) -> list[DiagramLink]:
    links = []
    for pipe in system.connected.pipes.values():
        start, end = pipe.start.split(".")[0], pipe.end.split(".")[0]
        if start in shown and end in shown:
            fittings = [f.name for f in pipe.spec.fittings if f.name.startswith(_HOLDS_BACK)]
            captions = (
                f"{size_words(pipe.part.size)}, {system.show(pipe.spec.length, 'length', 3)}",
                *dict.fromkeys(fittings),
            )
            links.append(DiagramLink(pipe.tag, start, end, "water", captions, 0))
    return links


def size_words(size: str) -> str:
    """A trade size as it is asked for over the counter: "3/4 in", "32 mm"."""
    return size if size[-1].isalpha() else f"{size} in"


def box_title(device: Device) -> str:
    """What kind of box an enclosure is."""
    return f"type {device.part.type}" if device.part.type else device.part.ip or device.part.name


def _notes(system: System, drawn: Collection[str], links: Sequence[DiagramLink]) -> tuple[str, ...]:
    return (
        "One line stands for a whole run, its stroke for number and poles; ends: conductor schedule."
        f"{_undrawn(system, drawn, links)}",
        "At a run: highest voltage in any state, and the highest current that flows for hours.",
        f"DC system {system_earthing(system)}. "
        "Grounding conductors of boxes and frames are counted at their runs.",
    )


def _undrawn(system: System, drawn: Collection[str], links: Sequence[DiagramLink]) -> str:
    """Every tag that has no place in the drawing: blocks within lines, runs within devices, the unused."""
    left = [d for d in system.devices.values() if d.tag not in drawn and d.kind != "raceway"]
    blocks = [d.tag for d in left if d.kind == "terminal_block"]
    spoken = {tag for link in links for tag in link.tags.split(", ")}
    runs = [run for tag, run in system.connected.runs.items() if tag not in spoken]
    within = []
    for run in runs:
        words = (*_sizes(run.conductors), *_words_of_run(system, run, run.conductors, grounds=False))
        within.append(f"{run.tag} ({', '.join(words)})")
    pipes = [tag for tag in system.connected.pipes if tag not in spoken]
    laid = {run.raceway.tag for run in system.connected.runs.values() if run.raceway is not None}
    ducts = [d.tag for d in system.of_kind("raceway") if d.tag not in laid]
    lists = (
        ("Within lines, not drawn", blocks),
        ("Runs without a line", within),
        ("Holding or joining nothing that is drawn", [d.tag for d in left if d.tag not in blocks]),
        ("Pipes without a line", pipes),
        ("Raceways without a run", ducts),
    )
    return "".join(f" {words}: {', '.join(sorted(tags))}." for words, tags in lists if tags)
