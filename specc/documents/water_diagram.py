"""The water diagram: source to tank with valves, filters and gauges, elevations, pipes, and float levels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from specc.documents.device_symbols import symbol_name, symbol_of_fitting
from specc.documents.diagram import Diagram, DiagramDevice, DiagramLink
from specc.documents.one_line import captions_of, size_words, title_block_of
from specc.system.missing import MissingDatum
from specc.system.model import Device, Pipe
from specc.system.system import System

_IN_LINE = ("pumps", "filters", "valves", "gauges", "source", "tank")
NOTES = (
    "Elevations count from the datum of the job; up is positive.",
    "A float's line of dashes shows which water it feels; its wiring is in the one-line diagram.",
)


def water_diagram(system: System, *, draft: bool = False) -> Diagram:
    """Every device that water passes or that feels its level, and every pipe with its size and fittings."""
    pieces = [d for d in system.devices.values() if d.table in _IN_LINE]
    floats = [(d, felt) for d in system.of_kind("switch") if (felt := _felt(system, d)) is not None]
    parts = [part for pipe in system.connected.pipes.values() for part in _in_pipe(pipe)]
    links = [link for pipe in system.connected.pipes.values() for link in _links(system, pipe)]
    joined = {tag for link in links for tag in (link.from_tag, link.to_tag)}
    links += [
        DiagramLink("", felt.tag, switch.tag, "signal", (), 0)
        for switch, felt in floats
        if felt.tag in joined
    ]
    devices = [
        *(DiagramDevice(d.tag, symbol_name(d), _captions(system, d), band="water") for d in pieces),
        *parts,
        *(DiagramDevice(d.tag, symbol_name(d), _float_captions(system, d), band="water") for d, _ in floats),
    ]
    used = {tag for link in links for tag in (link.from_tag, link.to_tag)}
    return Diagram(
        title_block=title_block_of(system, "Water diagram", draft),
        devices=tuple(d for d in devices if d.tag in used),
        links=tuple(links),
        notes=NOTES,
    )


def _in_pipe(pipe: Pipe) -> Iterator[DiagramDevice]:
    """The valves among a pipe's fittings, in the order of the spec."""
    valves = [
        (f.name, symbol) for f in pipe.spec.fittings if (symbol := symbol_of_fitting(f.name)) is not None
    ]
    for number, (name, symbol) in enumerate(valves, 1):
        tag = f"in {pipe.tag}" if len(valves) == 1 else f"in {pipe.tag}, {number}"
        yield DiagramDevice(tag, symbol, (name,), band="water")


def _links(system: System, pipe: Pipe) -> Iterator[DiagramLink]:
    """A pipe as one line, or as several where valves among its fittings part it; the last has the words."""
    start, end = _flow_ends(system, pipe)
    stations = [start, *(part.tag for part in _in_pipe(pipe)), end]
    for number, (a, b) in enumerate(pairwise(stations)):
        last = number == len(stations) - 2
        yield DiagramLink(pipe.tag if last else "", a, b, "water", _words(system, pipe) if last else (), 0)


def _flow_ends(system: System, pipe: Pipe) -> tuple[str, str]:
    """The tags at which water enters and leaves a pipe, whichever way round it is written."""
    water = system.water
    written = (pipe.start.split(".")[0], pipe.end.split(".")[0])
    for pump in water.pumps:
        for way in (*water.ways_in(pump), *water.ways_out(pump)):
            before = way.start.tag
            for step in way.steps:
                if step is pipe:
                    return written if written[0] == before else (written[1], written[0])
                if isinstance(step, Pipe):
                    ends = (step.start.split(".")[0], step.end.split(".")[0])
                    before = ends[1] if ends[0] == before else ends[0]
                else:
                    before = step.tag
    return written


def _words(system: System, pipe: Pipe) -> tuple[str, ...]:
    """Size and length, then cover, high and low point, and fittings that are no valves."""
    spec, show = pipe.spec, system.show
    lines = [f"{size_words(pipe.part.size)} {pipe.part.material}", show(spec.length, "length", 3)]
    if spec.buried is not None:
        lines.append(f"buried {show(spec.buried, 'short_length', 3)}")
    for word, point in (("high", spec.high_point), ("low", spec.low_point)):
        if point is not None:
            lines.append(f"{word} point {show(point, 'elevation', 3)}")
    fittings: Counter[str] = Counter()
    for fitting in spec.fittings:
        if symbol_of_fitting(fitting.name) is None:
            fittings[fitting.name] += fitting.count
    lines += [f"{count} × {name}" if count > 1 else name for name, count in fittings.items()]
    return tuple(lines)


def _captions(system: System, device: Device) -> tuple[str, ...]:
    """What the one-line says of a device, and its elevations and levels."""
    spec, show = device.spec, system.show
    if device.table == "source":
        stated = [
            ("rim", spec.rim),
            ("standing", spec.water_level),
            ("low", spec.low_water_level),
        ]
        stated += [("intake", spec.intake), ("bottom", spec.bottom)]
        return (spec.kind, *(f"{word} {show(z, 'elevation', 3)}" for word, z in stated if z is not None))
    if device.table == "tank":
        lines = [show(spec.capacity, "volume", 4)] if spec.capacity is not None else []
        levels = [("inlet", spec.inlet), ("overflow", spec.overflow)]
        lines += [f"{word} {show(z, 'elevation', 4)}" for word, z in levels if z is not None]
        return (*lines, *_into(system, device))
    elevation = getattr(spec, "elevation", None)
    where = (f"at {show(elevation, 'elevation', 3)}",) if elevation is not None else ()
    captions = tuple(c for c in captions_of(system, device) if c)
    if device.table == "pumps":
        return (*where, *_pumped(system, device))
    return (*captions, *where)


def _pumped(system: System, pump: Device) -> tuple[str, ...]:
    """Flow and head of a pump; nothing where a datum lacks (the findings say which)."""
    try:
        point = system.water.operating(pump, False)
        head = system.water.total_head(pump, False).value
    except (MissingDatum, LookupError):
        return ()
    volts = system.show(pump.part.nominal_voltage, "voltage", 3)
    return (
        system.show(point.flow_m3_s, "flow", 3),
        f"head {system.show(head, 'head', 3)}",
        f"with {volts}",
    )


def _into(system: System, tank: Device) -> tuple[str, ...]:
    """What each of several tanks gets while all are open."""
    if len([d for d in system.of_kind("tank") if d.table == "tank"]) < 2:
        return ()
    try:
        flow = system.water.into_tank_m3_s(tank)
    except (MissingDatum, LookupError):
        return ()
    return (f"{system.show(flow, 'flow', 3)}, all tanks open",)


# -- floats ------------------------------------------------------------------------------------------


def _felt(system: System, switch: Device) -> Device | None:
    """The source or tank whose level a switch feels; None for other switches."""
    if switch.part.senses != "level":
        return None
    table = "source" if switch.spec.guards == "source low" else "tank"
    places = [d for d in system.of_kind(table) if d.table == table]
    here = [d for d in places if d.location is not None and d.location == switch.location]
    return next(iter(here or places), None)


def _float_captions(system: System, switch: Device) -> tuple[str, ...]:
    """What a float does and the levels at which it does it, where the spec gives them."""
    show, felt = system.show, _felt(system, switch)
    lines = [f"stops on {switch.spec.guards}"]
    if switch.spec.acts_at is not None:
        lines.append(f"stops at {show(switch.spec.acts_at, 'elevation', 4)}")
    elif felt is not None and felt.table == "tank" and switch.spec.guards == "tank full":
        spec = felt.spec
        if spec.overflow is not None and spec.stop_below_overflow is not None:
            stop = spec.overflow - spec.stop_below_overflow
            lines.append(f"stops at {show(stop, 'elevation', 4)}")
            if spec.float_band is not None:
                lines.append(f"runs again at {show(stop - spec.float_band, 'elevation', 4)}")
    return tuple(lines)
