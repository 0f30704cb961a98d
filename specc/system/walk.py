"""Walks the electrical side from the sources: nets, what each is fed by, what each branch carries.

A *net* is what conductors, inner joins and closed poles hold at one potential. Which net is
positive follows from the sources alone, never from a colour or a name. Conductors that end on a
grounding terminal are kept apart, so that the bond of a grounded system does not make one net of its
negative and its equipment grounding.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

from specc.system.connect import Connected
from specc.system.model import Conductor, Device, Pole, Port
from specc.system.once import once

State = Callable[[Pole], bool]
T = TypeVar("T")
K = TypeVar("K", bound=Hashable)


class Groups:
    """Disjoint sets of names (union-find with path halving)."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def copy(self) -> Groups:
        """The same sets, to be joined further."""
        other = Groups()
        other._parent = {name: self.root(name) for name in self._parent}
        return other

    def root(self, name: str) -> str:
        parent = self._parent
        if name not in parent:
            parent[name] = name
            return name
        while parent[name] != name:
            parent[name] = parent[parent[name]]
            name = parent[name]
        return name

    def join(self, a: str, b: str) -> None:
        first, second = self.root(a), self.root(b)
        if first != second:
            self._parent[max(first, second)] = min(first, second)


@dataclass(frozen=True, eq=False)
class Source:
    """One or more arrays or batteries in series, or the output of a controller.

    ``plus`` and ``minus`` are nets. ``links`` are the nets between its members.
    """

    ports: tuple[Port, ...]
    plus: str
    minus: str
    links: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        """ "array", "battery" or "converter"."""
        return {"panel": "array", "battery": "battery"}.get(self.ports[0].device.kind, "converter")

    @property
    def devices(self) -> tuple[Device, ...]:
        return tuple(port.device for port in self.ports)

    @property
    def tag(self) -> str:
        return "+".join(port.device.tag for port in self.ports)

    def __repr__(self) -> str:
        return f"Source({self.tag})"


@dataclass(frozen=True, eq=False)
class Branch:
    """A conductor, a closed pole or an inner join, and what hangs on either side of it within its net.

    ``what`` is None for a join. ``start`` and ``end`` are its terminals; ``on_start`` and ``on_end``
    hold the port ends on each side. ``sole`` is False where another path of the same net runs round
    it: then both sides hold every port end of the net, since no part of the current can be counted on
    to take the other path.
    """

    what: Conductor | Pole | None
    net: str
    start: str
    end: str
    on_start: frozenset[str]
    on_end: frozenset[str]
    sole: bool


@dataclass(frozen=True)
class Crossing:
    """A source that feeds a load through a branch."""

    source: Source
    load: Port


@dataclass
class Walk:
    """The electrical side in one state of all poles. Treat as frozen; the rest is worked out on demand."""

    connected: Connected
    closed: State
    net_of: Mapping[str, str] = field(default_factory=dict)  # terminal -> net
    ground_of: Mapping[str, str] = field(default_factory=dict)  # terminal -> grounding net
    bonds: tuple[Conductor | Device, ...] = ()  # what joins a live net to a grounding net
    ground_conductors: frozenset[str] = frozenset()  # tags of equipment grounding conductors
    _made: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def net(self, terminal: str) -> str:
        """The net of a terminal (its own name when nothing is connected)."""
        return self.net_of.get(terminal, terminal)

    def port_nets(self, port: Port) -> tuple[str, str]:
        return self.net(port.plus), self.net(port.minus)

    @cached_property
    def members(self) -> Mapping[str, tuple[str, ...]]:
        """Terminals of each net, in the order of the spec."""
        found: dict[str, list[str]] = defaultdict(list)
        for terminal in self.connected.terminals:
            found[self.net(terminal)].append(terminal)
        return {net: tuple(terminals) for net, terminals in found.items()}

    @cached_property
    def sources(self) -> tuple[Source, ...]:
        """Sources, with arrays (or batteries) in series taken as one."""
        return tuple(_in_series(self))

    @cached_property
    def loads(self) -> tuple[Port, ...]:
        """Ports that take energy and are no battery."""
        return tuple(p for p in self.connected.ports if p.takes and not p.gives)

    @cached_property
    def potentials(self) -> Mapping[str, tuple[int, float]]:
        """Net -> (island, rank in volts), walked from source to source by their rated voltages.

        Two nets of one island can be compared: the higher rank is the more positive.
        """
        edges: dict[str, list[tuple[str, float]]] = defaultdict(list)
        for source in self.sources:
            for port in source.ports:
                plus, minus = self.port_nets(port)
                volts = rated_voltage(port)
                edges[minus].append((plus, volts))
                edges[plus].append((minus, -volts))
        ranks: dict[str, tuple[int, float]] = {}
        for island, start in enumerate(edges):
            if start in ranks:
                continue
            ranks[start] = (island, 0.0)
            waiting = [start]
            while waiting:
                net = waiting.pop(0)
                for other, volts in edges[net]:
                    if other not in ranks:
                        ranks[other] = (island, ranks[net][1] + volts)
                        waiting.append(other)
        return ranks

    def voltage(self, plus: str, minus: str) -> float | None:
        """Rated voltage between two terminals, signed; None when no source ties their nets together."""
        a, b = self.potentials.get(self.net(plus)), self.potentials.get(self.net(minus))
        if a is None or b is None or a[0] != b[0]:
            return None
        return a[1] - b[1]

    def feeds(self, load: Port) -> tuple[Source, ...]:
        """Sources across whose two nets the load hangs, either way round."""
        across = self._sources_across.get(frozenset(self.port_nets(load)), ())
        return tuple(s for s in across if load not in s.ports)

    @cached_property
    def _sources_across(self) -> Mapping[frozenset[str], list[Source]]:
        """Sources by the two nets between which they stand."""
        return _by(self.sources, lambda s: [frozenset((s.plus, s.minus))])

    @cached_property
    def _sources_at(self) -> Mapping[str, list[Source]]:
        """Sources by each net on which they end."""
        return _by(self.sources, lambda s: [net for port in s.ports for net in self.port_nets(port)])

    def sources_at(self, *terminals: str) -> tuple[Source, ...]:
        """Sources that end on the nets of these terminals."""
        nets = dict.fromkeys(self.net(terminal) for terminal in terminals)
        return tuple(dict.fromkeys(s for net in nets for s in self._sources_at.get(net, ())))

    @cached_property
    def _loads_at(self) -> Mapping[str, list[Port]]:
        """Loads by each net on which they end."""
        return _by(self.loads, self.port_nets)

    @cached_property
    def _pairs_at(self) -> Mapping[str, list[Crossing]]:
        """Pairs of source and load by each net on which the load ends, or in which the source is linked."""
        return _by(self.pairs, lambda pair: (*self.port_nets(pair.load), *pair.source.links))

    @cached_property
    def pairs(self) -> tuple[Crossing, ...]:
        """Every load with each source that feeds it; a battery counts as a load of arrays and converters."""
        takers = [port for port in self.connected.ports if port.takes]
        return tuple(Crossing(source, load) for load in takers for source in self.feeds(load))

    @cached_property
    def net_edges(self) -> Mapping[str, list[tuple[str, str, Conductor | Pole | None]]]:
        """Edges of each live net: conductors, closed poles, and inner joins (None)."""
        return _net_edges(self)

    @cached_property
    def branches(self) -> Mapping[Hashable, Branch]:
        """Every live conductor (by tag), closed pole (by key) and inner join (by its two terminals)."""
        return _branches(self)

    def branch(self, what: Conductor | Pole) -> Branch | None:
        """The branch of a conductor or pole; None for grounding conductors and open poles."""
        return self.branches.get(what.tag if isinstance(what, Conductor) else what.key)

    def joint(self, a: str, b: str) -> Branch | None:
        """The branch of an inner join between two neighbouring terminals; None for grounding ones."""
        return self.branches.get(frozenset((a, b)))

    @once
    def crossings(self, branch: Branch) -> tuple[Crossing, ...]:
        """What feeds what through this branch."""
        ends = (branch.on_start, branch.on_end)
        found = []
        for pair in self._pairs_at.get(branch.net, ()):
            if branch.net in pair.source.links:
                if all(_touches(pair.source, side, self, branch.net) for side in ends):
                    found.append(pair)
                continue
            for one, other in (ends, ends[::-1]):
                if _touches(pair.source, one, self, branch.net) and _end_of(
                    pair.load, other, self, branch.net
                ):
                    found.append(pair)
                    break
        return tuple(found)

    def sources_on(self, branch: Branch, side: str) -> tuple[Source, ...]:
        """Sources with an end of this net on the side "start" or "end" of a branch."""
        ends = branch.on_start if side == "start" else branch.on_end
        here = self._sources_at.get(branch.net, ())
        return tuple(s for s in here if _touches(s, ends, self, branch.net))

    def loads_on(self, branch: Branch, side: str) -> tuple[Port, ...]:
        """Loads with an end of this net on the side "start" or "end" of a branch."""
        ends = branch.on_start if side == "start" else branch.on_end
        here = self._loads_at.get(branch.net, ())
        return tuple(p for p in here if _end_of(p, ends, self, branch.net))

    def paths(self, terminal_a: str, terminal_b: str) -> tuple[Conductor | Pole, ...]:
        """Conductors and poles on the shortest way between two terminals of one net; empty when none."""
        return _shortest(self, terminal_a, terminal_b)

    def hanging(self, what: Conductor | Pole, end: str) -> frozenset[str]:
        """Terminals that hang on one end of a conductor or pole of their net when it is taken out."""
        near: dict[str, list[str]] = defaultdict(list)
        for a, b, other in self.net_edges.get(self.net(end), ()):
            if other is not what:
                near[a].append(b)
                near[b].append(a)
        seen, waiting = {end}, [end]
        while waiting:
            for other_end in near[waiting.pop()]:
                if other_end not in seen:
                    seen.add(other_end)
                    waiting.append(other_end)
        return frozenset(seen)

    def is_ground(self, terminal: str) -> bool:
        """Is the terminal on an equipment grounding net?"""
        return terminal in self.ground_of


def _by(things: Iterable[T], keys: Callable[[T], Iterable[K]]) -> dict[K, list[T]]:
    """Things by each of their keys, once a key, in the order of the things."""
    found: dict[K, list[T]] = defaultdict(list)
    for thing in things:
        for key in dict.fromkeys(keys(thing)):
            found[key].append(thing)
    return found


def rated_voltage(port: Port) -> float:
    """Rated volts of a source port, for telling plus from minus [V]."""
    part, spec = port.device.part, port.device.spec
    if port.device.kind == "panel":
        return float(part.vmp) * int(spec.series)
    if port.device.kind == "battery":
        return float(part.nominal) * int(spec.series)
    return float(part.nominal_output or part.max_output_voltage or 12.0)


@dataclass(frozen=True)
class _Fixed:
    """What no state of the poles changes: what joins and conductors hold together, and what grounds."""

    grounding: frozenset[str]  # grounding terminals
    apart: tuple[Conductor, ...]  # conductors that end on one of them
    live: Groups
    ground: Groups


@once
def _fixed(connected: Connected) -> _Fixed:
    grounding = frozenset(t.id for t in connected.terminals.values() if t.role == "ground")
    live, ground = Groups(), Groups()
    apart: list[Conductor] = []
    for a, b, data in connected.wiring:
        if data["kind"] == "join":
            (ground if a in grounding else live).join(a, b)
        elif data["kind"] == "conductor":
            if a in grounding or b in grounding:
                apart.append(data["conductor"])
            else:
                live.join(a, b)
    return _Fixed(grounding, tuple(apart), live, ground)


def walk(connected: Connected, closed: State | None = None) -> Walk:
    """The electrical side in one state; by default ready to run, every sensor in the clear."""
    state: State = closed or (lambda pole: pole.clear_closed)
    fixed = _fixed(connected)
    grounding, apart, live, ground = fixed.grounding, fixed.apart, fixed.live.copy(), fixed.ground.copy()
    system_bonds: list[Device] = []
    for pole in connected.poles:
        if state(pole):
            live.join(pole.a, pole.b)
    for device in connected.of_kind("grounding", "breaker"):
        if getattr(device.part, "type", "") == "system bond" or device.part.functional_earth is not None:
            system_bonds.append(device)
    net_of = {terminal: live.root(terminal) for terminal in connected.terminals if terminal not in grounding}
    powered = {net_of[end] for port in connected.ports for end in (port.plus, port.minus) if end in net_of}
    bonds: list[Conductor | Device] = []
    grounded: set[str] = set()
    for conductor in apart:
        ends = (conductor.start, conductor.end)
        if any(end in net_of and net_of[end] in powered for end in ends):
            bonds.append(conductor)
        else:
            ground.join(*ends)
            grounded.add(conductor.tag)
    # A terminal block that carries nothing but grounding belongs to the grounding net.
    on_ground = set(grounding)
    for conductor in apart:
        if conductor.tag in grounded:
            on_ground |= {conductor.start, conductor.end}
    loose = {net_of[t] for t in on_ground if t in net_of}
    for terminal, net in net_of.items():
        if net in loose:
            on_ground.add(terminal)
            ground.join(terminal, net)
    for conductor in connected.conductors:
        if net_of.get(conductor.start) in loose:
            grounded.add(conductor.tag)
    for device in system_bonds:
        bonds.append(device)
    ground_of = {terminal: ground.root(terminal) for terminal in sorted(on_ground)}
    return Walk(connected, state, net_of, ground_of, tuple(bonds), frozenset(grounded))


def _in_series(walked: Walk) -> Iterator[Source]:
    """Sources; arrays (batteries) that meet plus to minus on a net of their own are one source."""
    ports = [p for p in walked.connected.ports if p.gives]
    ends: dict[str, list[tuple[Port, str]]] = defaultdict(list)
    for port in ports:
        plus, minus = walked.port_nets(port)
        ends[plus].append((port, "+"))
        ends[minus].append((port, "-"))
    loads: set[str] = set()
    for port in walked.connected.ports:
        if port.takes and not port.gives:
            loads.update(walked.port_nets(port))
    after: dict[Port, tuple[Port, str]] = {}
    for net, meeting in ends.items():
        if net in loads or len(meeting) != 2 or {sign for _, sign in meeting} != {"+", "-"}:
            continue
        lower = next(port for port, sign in meeting if sign == "+")
        upper = next(port for port, sign in meeting if sign == "-")
        if (
            lower is not upper
            and lower.device.kind == upper.device.kind
            and lower.device.kind in ("panel", "battery")
        ):
            after[lower] = (upper, net)
    uppers = {upper for upper, _ in after.values()}
    for port in ports:
        if port in uppers:
            continue
        chain, links = [port], []
        while chain[-1] in after and after[chain[-1]][0] not in chain:
            upper, net = after[chain[-1]]
            chain.append(upper)
            links.append(net)
        yield Source(tuple(chain), walked.net(chain[-1].plus), walked.net(chain[0].minus), tuple(links))


def _touches(source: Source, ends: frozenset[str], walked: Walk, net: str) -> bool:
    """Does the source end on this net within ``ends``?"""
    return any(
        end in ends and walked.net(end) == net for port in source.ports for end in (port.plus, port.minus)
    )


def _end_of(port: Port, ends: frozenset[str], walked: Walk, net: str) -> bool:
    return any(end in ends and walked.net(end) == net for end in (port.plus, port.minus))


def _net_edges(walked: Walk) -> dict[str, list[tuple[str, str, Conductor | Pole | None]]]:
    edges: dict[str, list[tuple[str, str, Conductor | Pole | None]]] = defaultdict(list)
    for a, b, data in walked.connected.wiring:
        what: Conductor | Pole | None
        match data["kind"]:
            case "join":
                what = None
            case "pole":
                what = data["pole"]
                if not walked.closed(data["pole"]):
                    continue
            case "conductor":
                what = data["conductor"]
                if data["conductor"].tag in walked.ground_conductors or data["conductor"] in walked.bonds:
                    continue
            case _:
                continue
        if a in walked.net_of and b in walked.net_of:
            edges[walked.net_of[a]].append((a, b, what))
    return edges


def _branches(walked: Walk) -> dict[Hashable, Branch]:
    """Splits each net at each of its edges: one depth-first walk a net finds the bridges and their sides."""
    port_ends = {end for port in walked.connected.ports for end in (port.plus, port.minus)}
    found: dict[Hashable, Branch] = {}
    for net, edges in walked.net_edges.items():
        near: dict[str, list[tuple[str, int]]] = defaultdict(list)
        for number, (a, b, _) in enumerate(edges):
            near[a].append((b, number))
            near[b].append((a, number))
        everything = frozenset(t for t in near if t in port_ends)
        below, bridges = _bridges(near, port_ends)
        for number, (a, b, what) in enumerate(edges):
            if number in bridges:
                child = bridges[number]
                far = below[child]
                rest = everything - far
                on_start, on_end = (far, rest) if child == a else (rest, far)
            else:
                on_start = on_end = everything
            # A terminal pair may be walked in either direction: keep the edge's own.
            start, end, key = _ends_and_key(a, b, what)
            if (start, end) != (a, b):
                on_start, on_end = on_end, on_start
            found[key] = Branch(what, net, start, end, on_start, on_end, number in bridges)
    return found


def _ends_and_key(a: str, b: str, what: Conductor | Pole | None) -> tuple[str, str, Hashable]:
    if what is None:
        return a, b, frozenset((a, b))
    return (what.start, what.end, what.tag) if isinstance(what, Conductor) else (what.a, what.b, what.key)


def _bridges(
    near: Mapping[str, Iterable[tuple[str, int]]], port_ends: set[str]
) -> tuple[dict[str, frozenset[str]], dict[int, str]]:
    """Port ends below each node of a depth-first tree, and each bridge edge with its lower node."""
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    below: dict[str, frozenset[str]] = {}
    bridges: dict[int, str] = {}
    for root in near:
        if root in order:
            continue
        order[root] = low[root] = len(order)
        stack: list[tuple[str, int, Iterator[tuple[str, int]]]] = [(root, -1, iter(near[root]))]
        gathered: dict[str, set[str]] = {root: {root} & port_ends}
        while stack:
            node, by, others = stack[-1]
            step = next(others, None)
            if step is not None:
                other, edge = step
                if edge == by:
                    continue
                if other in order:
                    low[node] = min(low[node], order[other])
                else:
                    order[other] = low[other] = len(order)
                    gathered[other] = {other} & port_ends
                    stack.append((other, edge, iter(near[other])))
                continue
            stack.pop()
            below[node] = frozenset(gathered[node])
            if stack:
                parent = stack[-1][0]
                low[parent] = min(low[parent], low[node])
                gathered[parent] |= gathered[node]
                if low[node] > order[parent]:
                    bridges[by] = node
    return below, bridges


def _shortest(walked: Walk, a: str, b: str) -> tuple[Conductor | Pole, ...]:
    if walked.net(a) != walked.net(b):
        return ()
    near: dict[str, list[tuple[str, Conductor | Pole | None]]] = defaultdict(list)
    for one, other, what in walked.net_edges[walked.net(a)]:
        near[one].append((other, what))
        near[other].append((one, what))
    came: dict[str, tuple[str, Conductor | Pole | None] | None] = {a: None}
    waiting = [a]
    while waiting and b not in came:
        node = waiting.pop(0)
        for other, what in near[node]:
            if other not in came:
                came[other] = (node, what)
                waiting.append(other)
    way: list[Conductor | Pole] = []
    step = came.get(b)
    while step is not None:
        if step[1] is not None:
            way.append(step[1])
        step = came[step[0]]
    return tuple(reversed(way))
