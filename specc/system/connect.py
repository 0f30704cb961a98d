"""Description in, one graph out: terminals, conductors, poles; water nodes, pipes, devices.

The graph is a networkx MultiGraph. Its electrical side has a node a terminal and edges of the kinds
``conductor``, ``pole``, ``join`` (joined inside for good) and ``port`` (through a source or a load);
its water side has a node a pipe end and edges of the kinds ``pipe`` and ``through`` (a device). The
attribute ``side`` of a node says which.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import Any, TypeVar

import networkx as nx

from specc.diagnostics import Finding, reading_error
from specc.reading.read import Description, Entry, unknown_reference
from specc.reading.suggest import nearest
from specc.rulebooks import load_handbook
from specc.system.model import Conductor, Device, Path, Pipe, Places, Pole, Port, Run, Sightline, Terminal
from specc.system.once import once
from specc.units import shortened

K = TypeVar("K", bound=Hashable)
T = TypeVar("T")

_ELECTRICAL = ("join", "pole", "conductor", "port")  # kinds of edges between terminals
# Water devices: the names of their two ends.
_IN_LINE = ("pumps", "filters", "valves", "gauges")


@dataclass(frozen=True, eq=False)
class Connected:
    """The installation as one graph, with everything by tag."""

    description: Description
    devices: dict[str, Device]
    terminals: dict[str, Terminal]
    poles: tuple[Pole, ...]
    ports: tuple[Port, ...]
    runs: dict[str, Run]
    pipes: dict[str, Pipe]
    places: Places
    graph: nx.MultiGraph
    _made: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def conductors(self) -> tuple[Conductor, ...]:
        return tuple(conductor for run in self.runs.values() for conductor in run.conductors)

    @cached_property
    def wired(self) -> frozenset[str]:
        """Terminals on which a conductor ends."""
        return frozenset(end for c in self.conductors for end in (c.start, c.end))

    @cached_property
    def _terminals_by_device(self) -> dict[Device, tuple[Terminal, ...]]:
        return _grouped((terminal.device, terminal) for terminal in self.terminals.values())

    @cached_property
    def terminal_order(self) -> dict[str, int]:
        """Terminal -> its place in the order of the spec."""
        return {terminal: number for number, terminal in enumerate(self.terminals)}

    def terminals_of(self, device: Device) -> tuple[Terminal, ...]:
        """The terminals of a device, in the order of its part."""
        return self._terminals_by_device.get(device, ())

    @cached_property
    def wiring(self) -> tuple[tuple[str, str, dict[str, Any]], ...]:
        """The edges between electrical terminals, with their data, listed once for the many walks."""
        return tuple(edge for edge in self.graph.edges(data=True) if edge[2]["kind"] in _ELECTRICAL)

    @cached_property
    def _held(self) -> dict[str, tuple[Device, ...]]:
        return _grouped((device.box, device) for device in self.devices.values() if device.box)

    def held_by(self, box: Device) -> tuple[Device, ...]:
        """What an enclosure holds, in the order of the spec."""
        return self._held.get(box.tag, ())

    @cached_property
    def _ports_of(self) -> dict[Device, tuple[Port, ...]]:
        return _grouped((port.device, port) for port in self.ports)

    def ports_of(self, device: Device) -> tuple[Port, ...]:
        """The ports of a device, in the order of its part."""
        return self._ports_of.get(device, ())

    @cached_property
    def _runs_in(self) -> dict[Device, tuple[Run, ...]]:
        return _grouped((run.raceway, run) for run in self.runs.values() if run.raceway is not None)

    def runs_in(self, raceway: Device) -> tuple[Run, ...]:
        """The runs that a raceway holds, in the order of the spec."""
        return self._runs_in.get(raceway, ())

    @cached_property
    def _conductors_at(self) -> dict[Device, tuple[Conductor, ...]]:
        return _grouped(
            (self.terminals[end].device, conductor)
            for conductor in self.conductors
            for end in dict.fromkeys((conductor.start, conductor.end))
        )

    def conductors_at(self, *devices: Device) -> tuple[Conductor, ...]:
        """Conductors that end on any of these devices, in the order of the spec."""
        return self.in_order(c for d in devices for c in self._conductors_at.get(d, ()))

    @cached_property
    def _order(self) -> dict[Conductor, int]:
        return {conductor: number for number, conductor in enumerate(self.conductors)}

    def in_order(self, conductors: Iterable[Conductor]) -> tuple[Conductor, ...]:
        """Conductors in the order of the spec, each once."""
        return tuple(sorted(dict.fromkeys(conductors), key=self._order.__getitem__))

    def part(self, terminals: frozenset[str]) -> Connected:
        """What hangs on these terminals: their devices, and the poles, ports and conductors between them."""

        def within(a: str, b: str) -> bool:
            return a in terminals and b in terminals

        graph = nx.MultiGraph()
        graph.add_nodes_from((t, self.graph.nodes[t]) for t in self.terminals if t in terminals)
        graph.add_edges_from(
            edge for edge in self.graph.edges(terminals, keys=True, data=True) if within(*edge[:2])
        )
        runs = {
            tag: replace(run, conductors=[c for c in run.conductors if within(c.start, c.end)])
            for tag, run in self.runs.items()
            if any(within(c.start, c.end) for c in run.conductors)
        }
        held = {t: terminal for t, terminal in self.terminals.items() if t in terminals}
        devices = {terminal.device.tag: terminal.device for terminal in held.values()}
        return Connected(
            self.description,
            devices,
            held,
            tuple(pole for pole in self.poles if within(pole.a, pole.b)),
            tuple(port for port in self.ports if within(port.plus, port.minus)),
            runs,
            {},
            self.places,
            graph,
        )

    @once
    def of_kind(self, *kinds: str) -> tuple[Device, ...]:
        """Devices of these kinds of part (or of these tables), in the order of the spec."""
        return tuple(d for d in self.devices.values() if d.kind in kinds or d.table in kinds)


def _grouped(pairs: Iterable[tuple[K, T]]) -> dict[K, tuple[T, ...]]:
    found: dict[K, list[T]] = {}
    for key, thing in pairs:
        found.setdefault(key, []).append(thing)
    return {key: tuple(things) for key, things in found.items()}


def connect(description: Description) -> tuple[Connected | None, tuple[Finding, ...]]:
    """The graph, or None with every reference that leads nowhere.

    Raises ``ValueError`` where something is still "auto": no rule may ever see it.
    """
    if left := description.autos():
        raise ValueError(f'still "auto": {left}')
    return _Builder(description).build()


class _Builder:
    """Gathers the pieces; thrown away when the frozen result is made."""

    def __init__(self, description: Description) -> None:
        self.description = description
        self.devices: dict[str, Device] = {}
        self.terminals: dict[str, Terminal] = {}
        self.poles: list[Pole] = []
        self.ports: list[Port] = []
        self.runs: dict[str, Run] = {}
        self.pipes: dict[str, Pipe] = {}
        self.graph = nx.MultiGraph()
        self.findings: list[Finding] = []

    def build(self) -> tuple[Connected | None, tuple[Finding, ...]]:
        held = self._held()
        for table, entries in self.description.entries.items():
            for entry in entries:
                if hasattr(entry.model, "tag") and table not in ("runs", "pipes"):
                    self._add_device(entry, held)
        for entry in self.description.all("terminal_blocks"):
            self._link(entry)
        for entry in self.description.all("switches"):
            self._check_stops(entry)
        for entry in self.description.all("runs"):
            self._add_run(entry)
        self._add_water()
        places = self._places()
        if self.findings:
            return None, tuple(self.findings)
        return (
            Connected(
                self.description,
                self.devices,
                self.terminals,
                tuple(self.poles),
                tuple(self.ports),
                self.runs,
                self.pipes,
                places,
                self.graph,
            ),
            (),
        )

    # -- devices ---------------------------------------------------------------------------------

    def _held(self) -> dict[str, str]:
        tags = [
            e.model.tag
            for group in self.description.entries.values()
            for e in group
            if hasattr(e.model, "tag")
        ]
        held: dict[str, str] = {}
        for entry in self.description.all("enclosures"):
            for index, tag in enumerate(entry.model.holds):
                if tag not in tags:
                    self._wrong(
                        "spec.unknown-tag", unknown_reference(tag, tags, "tag"), entry.path + ("holds", index)
                    )
                held[tag] = entry.model.tag
        return held

    def _add_device(self, entry: Entry, held: dict[str, str]) -> None:
        model, part = entry.model, entry.part
        box = held.get(model.tag)
        location = getattr(model, "location", None)
        if location is None and box is not None:
            location = next(
                (e.model.location for e in self.description.all("enclosures") if e.model.tag == box), None
            )
        kind = getattr(part, "kind", entry.table)
        device = Device(model.tag, entry.table, kind, model, part, entry.path, location, box)
        self.devices[model.tag] = device
        if part is None:
            return
        electrical = part
        if entry.table == "fuses":
            electrical = self._holder(entry) or part
        self._add_terminals(device, electrical)
        for index, name in enumerate(getattr(model, "spare", ())):
            self._terminal(f"{model.tag}.{name}", (*entry.path, "spare", index))
        self._add_ports(device)

    def _holder(self, entry: Entry) -> Any:
        holder = entry.model.holder or getattr(entry.part, "holder", None)
        return self.description.catalog.find(holder) if holder else None

    def _add_terminals(self, device: Device, part: Any) -> None:
        for terminal in part.terminals:
            node = f"{device.tag}.{terminal.name}"
            wire = terminal.wire or part.wire
            self.terminals[node] = Terminal(node, terminal.name, device, terminal.marked, terminal.role, wire)
            self.graph.add_node(node, side="electrical")
        for group in part.joined:
            for a, b in pairwise(group):
                self.graph.add_edge(f"{device.tag}.{a}", f"{device.tag}.{b}", kind="join", device=device)
        for index, pole in enumerate(getattr(part, "poles", ())):
            a, b = (f"{device.tag}.{name}" for name in pole.between)
            sensor = pole.closes != "by hand"
            earlier = {name for other in part.poles[:index] for name in other.between}
            closed = _closed_in_the_clear(device, pole.closes) if sensor else not earlier & set(pole.between)
            made = Pole(device, index, a, b, closed, sensor)
            self.poles.append(made)
            self.graph.add_edge(a, b, kind="pole", pole=made, device=device)

    def _add_ports(self, device: Device) -> None:
        made: list[Port] = []
        if device.kind == "panel":
            made = [Port(device, "output", f"{device.tag}.+", f"{device.tag}.-", "gives")]
        elif device.kind == "battery":
            made = [Port(device, "posts", f"{device.tag}.+", f"{device.tag}.-", "both")]
        elif device.kind == "pump":
            made = [Port(device, "motor", f"{device.tag}.+", f"{device.tag}.-", "takes")]
        elif device.kind == "controller":
            made = [
                Port(device, p.name, f"{device.tag}.{p.plus}", f"{device.tag}.{p.minus}", p.does)
                for p in device.part.ports
            ]
        for port in made:
            self.ports.append(port)
            self.graph.add_edge(port.plus, port.minus, kind="port", port=port, device=device)

    def _link(self, entry: Entry) -> None:
        for index, (a, b) in enumerate(entry.model.links):
            ends = [f"{entry.model.tag}.{name}" for name in (a, b)]
            if all(self._terminal(end, entry.path + ("links", index, n)) for n, end in enumerate(ends)):
                self.graph.add_edge(*ends, kind="join", device=self.devices[entry.model.tag])

    def _check_stops(self, entry: Entry) -> None:
        pumps = [e.model.tag for e in self.description.all("pumps")]
        for index, tag in enumerate(entry.model.stops):
            if tag not in pumps:
                self._wrong(
                    "spec.unknown-tag", unknown_reference(tag, pumps, "pump"), entry.path + ("stops", index)
                )

    # -- wiring ----------------------------------------------------------------------------------

    def _add_run(self, entry: Entry) -> None:
        raceway = None
        if entry.model.raceway is not None:
            raceway = self.devices.get(entry.model.raceway)
            if raceway is None or raceway.table != "raceways":
                known = [d.tag for d in self.devices.values() if d.table == "raceways"]
                self._wrong(
                    "spec.unknown-tag",
                    unknown_reference(entry.model.raceway, known, "raceway"),
                    entry.path + ("raceway",),
                )
        run = Run(entry.model.tag, entry.model, entry.part, raceway, entry.path)
        self.runs[run.tag] = run
        for index, spec in enumerate(entry.model.conductors):
            path = (*entry.path, "conductors", index)
            found = [self._terminal(spec.start, path + ("from",)), self._terminal(spec.end, path + ("to",))]
            if not all(found):
                continue
            wire = self.description.catalog.find(spec.wire) if spec.wire else entry.part
            tag = spec.tag or f"{run.tag}.{index + 1}"
            size = spec.size or entry.model.size
            made = Conductor(tag, run, spec.start, spec.end, size, wire, spec.color, spec.joint_note, path)
            run.conductors.append(made)
            self.graph.add_edge(spec.start, spec.end, kind="conductor", conductor=made)

    def _terminal(self, name: str, path: Path) -> bool:
        if name in self.terminals:
            return True
        tag, _, terminal = name.partition(".")
        device = self.devices.get(tag)
        if device is None:
            known = sorted({t.device.tag for t in self.terminals.values()})
            self._wrong("spec.unknown-tag", unknown_reference(tag, known, "tag"), path)
        else:
            known = [t.name for t in self.terminals.values() if t.device is device]
            listed = f" {tag} has: {', '.join(known)}." if known else f" {tag} has no terminals."
            self._wrong(
                "spec.unknown-terminal",
                unknown_reference(terminal, known, f"terminal on {tag}:") + listed,
                path,
            )
        return False

    # -- water -----------------------------------------------------------------------------------

    def _add_water(self) -> None:
        nodes: dict[str, Device] = {}
        for device in self.devices.values():
            if device.table in ("source", "tank"):
                nodes[device.tag] = device
                self.graph.add_node(device.tag, side="water", device=device)
            elif device.table in _IN_LINE:
                ends = [f"{device.tag}.in", f"{device.tag}.out"]
                for end in ends:
                    nodes[end] = device
                    self.graph.add_node(end, side="water", device=device)
                self.graph.add_edge(*ends, kind="through", device=device)
        for entry in self.description.all("pipes"):
            ends = []
            for key, name in (("from", entry.model.start), ("to", entry.model.end)):
                node = name if name in nodes else f"{name}.inlet" if f"{name}.inlet" in nodes else name
                node = node.removesuffix(".inlet") if node.removesuffix(".inlet") in nodes else node
                if node not in nodes:
                    self._unknown_end(name, key, sorted(nodes), entry.path + (key,))
                ends.append(node)
            self._check_fittings(entry)
            pipe = Pipe(entry.model.tag, entry.model, entry.part, ends[0], ends[1], entry.path)
            self.pipes[pipe.tag] = pipe
            self.graph.add_edge(*ends, kind="pipe", pipe=pipe)

    def _unknown_end(self, name: str, key: str, nodes: list[str], path: Path) -> None:
        """An end of a pipe that is no place where water comes in or goes out."""
        tag = name.partition(".")[0]
        end = next((node for node in nodes if node in (tag, f"{tag}.{_SIDE[key]}")), "")
        device = self.devices.get(tag)
        if end:
            fix = f'Write {key} = "{end}".'
        elif device is not None:
            fix = f"{tag} stands in [[{device.table}]] and carries no water. {_ends_listed(nodes)}"
        else:
            near = nearest(name, nodes)
            fix = f'Did you mean "{near[0]}"? ' if near else ""
            fix += _ends_listed(nodes)
        message = f'There is no water connection "{shortened(name)}".'
        self._wrong("spec.unknown-tag", message, path, fix)

    def _check_fittings(self, entry: Entry) -> None:
        known = load_handbook().fitting_names()
        for index, fitting in enumerate(entry.model.fittings):
            if fitting.name in known:
                continue
            words = sorted(fitting.name.casefold().split())
            same = [name for name in known if sorted(name.split()) == words]  # "90 elbow" for "elbow 90"
            near = same or nearest(fitting.name, known, 3) or known
            listed = ", ".join(f'"{name}"' for name in near)
            self.findings.append(
                reading_error(
                    "spec.unknown-fitting",
                    f'The table of fittings has no "{shortened(fitting.name)}": its loss is not known, '
                    "nor whether it holds water back.",
                    self.description.span((*entry.path, "fittings", index)),
                    fix=f"Write one of: {listed}.",
                    actual=shortened(fitting.name),
                )
            )

    # -- places ----------------------------------------------------------------------------------

    def _places(self) -> Places:
        self._check_places()
        sightlines = {
            frozenset(entry.model.between): Sightline(entry.model.distance, entry.model.visible)
            for entry in self.description.all("sightlines")
        }
        return Places({e.model.name: e.model for e in self.description.all("locations")}, sightlines)

    def _check_places(self) -> None:
        """Every place that is named is among those listed, and none is described twice.

        Where the job lists none, any name will do (``spec.place-name`` looks at the spelling).
        """
        listed: list[str] = []
        for entry in self.description.all("locations"):
            if entry.model.name in listed:
                message = f'The place "{entry.model.name}" is described twice: which of the two holds?'
                self._wrong("spec.duplicate-place", message, entry.path + ("name",))
            listed.append(entry.model.name)
        if not listed:
            return
        for name, path in places_named(self.description):
            if name not in listed:
                there_are = f" [[locations]] lists: {', '.join(listed)}."
                fix = f'Write one of these, or add a table [[locations]] with name = "{shortened(name)}".'
                message = unknown_reference(name, listed, "place") + there_are
                self._wrong("spec.unknown-place", message, path, fix)

    def _wrong(self, rule: str, message: str, path: Path, fix: str = "") -> None:
        self.findings.append(reading_error(rule, message, self.description.span(path), fix=fix))


_SIDE = {"from": "out", "to": "in"}  # of a device, by the key of a pipe's end


def _ends_listed(nodes: list[str]) -> str:
    return f"Ends to choose from: {', '.join(nodes) or 'none'}."


def places_named(description: Description) -> Iterator[tuple[str, Path]]:
    """Every mention of a place outside of [[locations]], with where it stands."""
    for table, entries in description.entries.items():
        for entry in entries:
            if table == "sightlines":
                for index, name in enumerate(entry.model.between):
                    yield name, (*entry.path, "between", index)
            elif getattr(entry.model, "location", None):
                yield entry.model.location, entry.path + ("location",)


def _closed_in_the_clear(device: Device, closes: str) -> bool:
    """Is a sensor's contact closed while what it guards is in the clear?"""
    clear = "rise" if device.spec.guards == "source low" else "fall"
    closed = device.spec.closes_on == clear
    return closed if closes == "as mounted" else not closed
