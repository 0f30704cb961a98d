"""The one-line diagram of an installation: what it says, before anything is placed."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

from specc.documents.diagram import Diagram, DiagramBox, DiagramDevice, DiagramLink, TitleBlock
from specc.documents.diagram import Kind as LinkKind
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Device
from specc.system.roles import role_of
from specc.system.system import System

_SYMBOLS = {
    "panel": "pv-array",
    "battery": "battery",
    "isolator": "isolator",
    "breaker": "circuit-breaker",
    "fuse": "fuse",
    "terminal_block": "terminal-block",
    "pump": "dc-motor-pump",
    "filter": "filter",
    "tank": "tank",
    "grounding": "ground-rod",
    "enclosure": "bus-bar",
}
_SENSORS = {"level": "float-switch", "temperature": "temperature-switch", "pressure": "pressure-switch"}
_VALVES = {
    "ball valve": "ball-valve",
    "gate valve": "gate-valve",
    "check valve": "check-valve",
    "relief valve": "relief-valve",
    "priming tee": "priming-tee",
}
_SOURCES = {"dug well": "well", "bored well": "well"}
_HOLDS_BACK = "foot valve"


def one_line(system: System, *, draft: bool = False) -> Diagram:
    """The diagram: devices with their ratings, one line a run between two devices, then the water path."""
    shown = {d.tag: d for d in system.devices.values() if _is_drawn(d)}
    devices = [_device(system, device) for device in shown.values()]
    links = [
        link
        for link in (*_wires(system, shown), *_pipes(system, shown))
        if not _goes_without_saying(link, shown)
    ]
    used = {tag for link in links for tag in (link.from_tag, link.to_tag)}
    boxes = [
        DiagramBox(d.tag, _box_title(d), tuple(t for t in (*d.spec.holds, d.tag) if t in shown and t in used))
        for d in system.of_kind("enclosure")
    ]
    return Diagram(
        title_block=_title_block(system, draft),
        devices=tuple(d for d in devices if d.tag in used),
        links=tuple(links),
        boxes=tuple(box for box in boxes if box.holds),
        notes=_notes(system),
    )


def _title_block(system: System, draft: bool) -> TitleBlock:
    job = system.job
    return TitleBlock(
        title=job.title,
        number=job.number,
        prepared_for=job.prepared_for,
        prepared_by=job.prepared_by,
        date=job.date.isoformat(),
        revision=job.revision,
        rulebook=system.book.title,
        draft=draft,
    )


def _is_drawn(device: Device) -> bool:
    return device.table != "raceways"


def _device(system: System, device: Device) -> DiagramDevice:
    band = "energy"
    if device.table in ("pumps", "filters", "valves", "gauges", "source", "tank"):
        band = "water"
    elif device.kind in ("grounding", "enclosure"):
        band = "ground"
    return DiagramDevice(device.tag, _symbol(device), _captions(system, device), device.location or "", band)  # type: ignore[arg-type]


def _goes_without_saying(link: DiagramLink, shown: dict[str, Device]) -> bool:
    """Grounding of frames and cases is counted in the captions of their runs; rods and bonds are drawn."""
    ends = (shown[link.from_tag], shown[link.to_tag])
    return link.kind == "ground" and not any(device.kind == "grounding" for device in ends)


def _symbol(device: Device) -> str:
    if device.table == "source":
        return _SOURCES.get(device.spec.kind, "pond")
    if device.table == "tank":
        return "tank"
    match device.kind:
        case "controller":
            return "charge-controller" if device.part.type == "charge controller" else "dc-dc-converter"
        case "switch":
            return _SENSORS[device.part.senses]
        case "valve":
            return _VALVES.get(device.part.type, "equipment")
        case "gauge":
            return "pressure-gauge" if device.part.measures in ("pressure", "vacuum") else "meter"
        case _:
            return _SYMBOLS.get(device.kind, "equipment")


def _captions(system: System, device: Device) -> tuple[str, ...]:
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
            return tuple(
                line
                for line in (
                    f"{spec.series} in series",
                    f"{spec.parallel} strings" if spec.parallel > 1 else "1 string",
                    power,
                    f"Voc {cold} coldest" if cold else "",
                )
                if line
            )
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
                f"in max {show(part.max_input_voltage, 'voltage', 3)}" if part.max_input_voltage else "",
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
            return (part.type,)
        case "enclosure":
            return ("ground bar",)
        case "terminal_block":
            return ()
        case _:
            return (part.name,) if part is not None else ()


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


def _wires(system: System, shown: dict[str, Device]) -> list[DiagramLink]:
    """One line for all conductors of a run between the same two devices, grounding counted with its circuit."""
    groups: dict[_Line, list[Conductor]] = defaultdict(list)
    for conductor in system.conductors:
        a, b = (system.terminal(end).device for end in (conductor.start, conductor.end))
        if a.tag in shown and b.tag in shown and a is not b:
            start, end = _in_order_of_energy(system, conductor, a, b)
            groups[_Line(start.tag, end.tag, conductor.run.tag, _kind(system, conductor))].append(conductor)
    _fold_returns(groups)
    return [
        DiagramLink(line.run, line.start, line.end, line.kind, _wire_captions(system, group), len(group))
        for line, group in groups.items()
    ]


@dataclass(frozen=True)
class _Line:
    """What one line of the drawing stands for: a run between two devices."""

    start: str
    end: str
    run: str
    kind: LinkKind


def _fold_returns(groups: dict[_Line, list[Conductor]]) -> None:
    """Draws a conductor that runs past a switch or fuse with its run, not as a line of its own.

    Where a single pole stands in the positive only, the negative of the same run joins the devices
    on either side of it: on a one-line both belong to the one line that shows the device.
    """
    power = [line for line in groups if line.kind == "power"]
    ahead: dict[str, set[str]] = defaultdict(set)
    for line in power:
        ahead[line.start].add(line.end)
    for line in power:
        for other in power:
            if other == line or other.run != line.run or other not in groups or line not in groups:
                continue
            passes_end = other.start == line.start and _reaches(ahead, other.end, line.end)
            passes_start = other.end == line.end and _reaches(ahead, line.start, other.start)
            if passes_end or passes_start:
                groups[other] += groups.pop(line)
                break


def _reaches(ahead: dict[str, set[str]], start: str, end: str) -> bool:
    seen, waiting = {start}, [start]
    while waiting:
        for following in ahead[waiting.pop()]:
            if following == end:
                return True
            if following not in seen:
                seen.add(following)
                waiting.append(following)
    return False


def _kind(system: System, conductor: Conductor) -> LinkKind:
    role = role_of(system.connected, system.walked, conductor).kind
    if role in ("equipment ground", "electrode", "system bond"):
        return "ground"
    return "control" if role in ("control", "idle") else "power"


def _in_order_of_energy(system: System, conductor: Conductor, a: Device, b: Device) -> tuple[Device, Device]:
    """The end nearer to a source first."""
    branch = system.electrical.branch(conductor)
    if branch is None:
        return a, b
    for pair in system.walked.crossings(branch):
        givers = set(pair.source.devices)
        sides = {side: {s for s in system.walked.sources_on(branch, side)} for side in ("start", "end")}
        if branch.sole and pair.source in sides["end"] and pair.source not in sides["start"]:
            return b, a
        if givers:
            return a, b
    return a, b


def _wire_captions(system: System, group: list[Conductor]) -> tuple[str, ...]:
    """Number and size of the conductors, with the run's grounding conductor, then length and raceway."""
    run = group[0].run
    sizes = [f"{n} × {size}" if n > 1 else size for size, n in Counter(c.size for c in group).items()]
    if _kind(system, group[0]) == "power":
        ground = [
            c
            for c in run.conductors
            if role_of(system.connected, system.walked, c).kind == "equipment ground"
        ]
        sizes += [f"ground {size}" for size in dict.fromkeys(c.size for c in ground)]
    laid = run.raceway.tag if run.raceway is not None else ""
    length = system.show(run.spec.length, "length", 3)
    return (*sizes, f"{length}, {laid}" if laid else length)


def _pipes(system: System, shown: dict[str, Device]) -> list[DiagramLink]:
    links = []
    for pipe in system.connected.pipes.values():
        start, end = pipe.start.split(".")[0], pipe.end.split(".")[0]
        if start in shown and end in shown:
            fittings = [f.name for f in pipe.spec.fittings if f.name == _HOLDS_BACK]
            captions = (
                f"{pipe.part.size}, {system.show(pipe.spec.length, 'length', 3)}",
                *dict.fromkeys(fittings),
            )
            links.append(DiagramLink(pipe.tag, start, end, "water", captions, 0))
    return links


def _box_title(device: Device) -> str:
    return f"type {device.part.type}" if device.part.type else device.part.ip or device.part.name


def _notes(system: System) -> tuple[str, ...]:
    notes = [
        "One line stands for all conductors of a run; their ends are in the conductor schedule.",
        f"DC system {system.job.earthing}.",
        "Equipment grounding conductors to boxes: see the conductor schedule.",
    ]
    return tuple(notes)
