"""The installation in other states of its switches: which pumps then run, and what is then joined.

A pump *runs* when its motor port lies on a closed circuit with an array or a battery, or with the
output of a controller that is switched on at its remote terminals and is itself fed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product

import networkx as nx

from specc.system import bonding
from specc.system.connect import Connected
from specc.system.model import Device, Pole, Port, Terminal
from specc.system.once import once
from specc.system.walk import Groups, State, Walk, walk

MOST_SWITCHES = 12  # 2^12 states at most; more are not decided

Situation = frozenset[str]  # tags of the switches whose guarded event has happened


class TooManySwitches(Exception):
    """So many switches act together that not every state of them can be looked at."""

    def __init__(self, count: int) -> None:
        super().__init__(
            f"{count} switches act together; at most {MOST_SWITCHES} can be looked at in every state."
        )


# -- closed circuits ---------------------------------------------------------------------------------


def companions(ends: Iterable[tuple[Port, str, str]]) -> dict[Port, frozenset[Port]]:
    """For each port, the ports that share a closed circuit with it.

    ``ends`` gives each port with its two nets. A closed circuit is a loop from net to net through
    ports that passes nothing twice: ports share one exactly when they are in one biconnected part.
    """
    graph = nx.Graph()
    found: dict[Port, frozenset[Port]] = {}
    for port, plus, minus in ends:
        found[port] = frozenset()
        graph.add_edges_from([(port, plus), (port, minus)])
    for part in nx.biconnected_components(graph):
        together = frozenset(node for node in part if isinstance(node, Port))
        if len(part) > 2:
            for port in together:
                found[port] |= together - {port}
    return found


@once
def circuits(walked: Walk) -> dict[Port, frozenset[Port]]:
    """For each port of a walked installation, the ports that share a closed circuit with it."""
    return companions((port, *walked.port_nets(port)) for port in walked.connected.ports)


def fed_from(port: Port, shared: Mapping[Port, frozenset[Port]]) -> tuple[Port, ...]:
    """Ports that give energy to a port round a closed circuit, in no controller's own way back."""
    found = (other for other in shared.get(port, ()) if other.gives and other.device is not port.device)
    return tuple(sorted(found, key=lambda other: other.plus))  # a set has no order


@dataclass(frozen=True)
class _Supply:
    """Which ports get energy, with some controllers switched on."""

    ports: tuple[Port, ...]
    shared: Mapping[Port, frozenset[Port]]
    on: frozenset[str]  # tags of the controllers that are switched on

    def fed(self, port: Port, without: frozenset[str] = frozenset()) -> bool:
        barred = without | {port.device.tag}
        return any(self._gives(other, barred) for other in fed_from(port, self.shared))

    def _gives(self, port: Port, without: frozenset[str]) -> bool:
        device = port.device
        if device.tag in without:
            return False
        if device.kind != "controller":
            return True
        takers = (p for p in self.ports if p.device is device and p.takes and p is not port)
        return device.tag in self.on and any(self.fed(taker, without) for taker in takers)


# -- states of the sensing switches --------------------------------------------------------------------


@dataclass
class Logic:
    """Which pumps run in which situation, with the hand-worked poles held in one state.

    Only the nets that sensing switches join change from one situation to the next, so the wiring is
    walked once.
    """

    connected: Connected
    by_hand: State
    _memo: dict[object, frozenset[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        base = walk(self.connected, lambda pole: not pole.sensor and self.by_hand(pole))
        self._contacts = [(p, base.net(p.a), base.net(p.b)) for p in self.connected.poles if p.sensor]
        self._ports = [(port, *base.port_nets(port)) for port in self.connected.ports]
        self._remotes: list[tuple[Device, str, str]] = []
        for device in self.connected.of_kind("controller"):
            if device.part.remote is not None:
                first, second = remote_ends(device)
                self._remotes.append((device, base.net(first), base.net(second)))

    def running(self, situation: Situation) -> frozenset[str]:
        """Tags of the pumps that run when the guarded events of these switches have happened."""
        groups = Groups()
        for pole, a, b in self._contacts:
            if pole.clear_closed != (pole.device.tag in situation):
                groups.join(a, b)
        ends = tuple((port, groups.root(plus), groups.root(minus)) for port, plus, minus in self._ports)
        off = {
            device.tag
            for device, a, b in self._remotes
            if (groups.root(a) == groups.root(b)) != (device.part.remote.runs_when == "closed")
        }
        on = frozenset(d.tag for d in self.connected.of_kind("controller")) - off
        key = (ends, on)
        if key not in self._memo:
            supply = _Supply(tuple(port for port, _, _ in ends), companions(ends), on)
            pumps = (port for port, _, _ in ends if port.device.kind == "pump")
            self._memo[key] = frozenset(port.device.tag for port in pumps if supply.fed(port))
        return self._memo[key]


@dataclass(frozen=True)
class Action:
    """What the guarded event of one switch does to one pump.

    ``does``: "stops" it in every situation of the others; "sometimes stops"; "starts" it, the wrong
    way round; "does nothing"; or "never runs", the pump whatever the switches do. ``runs_on`` is the
    smallest situation of the other switches in which the pump runs in spite of the event.
    """

    does: str
    runs_on: Situation | None


@dataclass
class Situations:
    """The pumps in every situation of the switches, whatever the hand-worked poles of a control loop do."""

    connected: Connected

    def __post_init__(self) -> None:
        self._logics = [Logic(self.connected, state) for state in _hand_states(self.connected)]
        self._running: dict[Situation, frozenset[str]] = {}
        self._actions: dict[tuple[str, str, tuple[Device, ...]], Action] = {}

    def runs(self, pump: Device, situation: Situation) -> bool:
        """Does the pump run in this situation, in some state of what is worked by hand?"""
        if situation not in self._running:
            self._running[situation] = frozenset().union(
                *(logic.running(situation) for logic in self._logics)
            )
        return pump.tag in self._running[situation]

    def action(self, pump: Device, switch: Device, others: Iterable[Device]) -> Action:
        """What a switch does to a pump, in every situation of the other switches."""
        acting = tuple(other for other in others if other is not switch)
        key = (pump.tag, switch.tag, acting)
        if key not in self._actions:
            self._actions[key] = self._work_out(pump, switch, acting)
        return self._actions[key]

    def _work_out(self, pump: Device, switch: Device, others: Iterable[Device]) -> Action:
        works = inverted = False
        runs_on: Situation | None = None
        for situation in self.of(others):
            clear = self.runs(pump, situation)
            guarded = self.runs(pump, situation | {switch.tag})
            works |= clear and not guarded
            inverted |= guarded and not clear
            if guarded and runs_on is None:
                runs_on = situation
        if runs_on is None:
            return Action("stops" if works else "never runs", None)
        if works:
            return Action("sometimes stops", runs_on)
        return Action("starts" if inverted else "does nothing", runs_on)

    def of(self, switches: Iterable[Device]) -> Iterator[Situation]:
        """Every situation of these switches, the fewest events first. Raises ``TooManySwitches``."""
        tags = sorted(switch.tag for switch in switches)
        if len(tags) > MOST_SWITCHES:
            raise TooManySwitches(len(tags))
        picks = product((False, True), repeat=len(tags))
        found = (frozenset(t for t, happened in zip(tags, pick, strict=True) if happened) for pick in picks)
        yield from sorted(found, key=lambda situation: (len(situation), sorted(situation)))


def remote_ends(controller: Device) -> tuple[str, ...]:
    """The two remote terminals of a controller; none where it has no remote input."""
    remote = controller.part.remote
    return tuple(f"{controller.tag}.{name}" for name in remote.terminals) if remote is not None else ()


def _hand_states(connected: Connected) -> Iterator[State]:
    """Ready to run; where a remote input runs when open, also with control loops opened by hand."""
    for state in positions(connected, sensors=False):
        yield state
    if any(d.part.remote and d.part.remote.runs_when == "open" for d in connected.of_kind("controller")):
        every = walk(connected, lambda pole: True)
        powered = {net for port in connected.ports for net in every.port_nets(port)}
        for state in positions(connected, sensors=False):
            yield lambda pole, state=state: state(pole) and every.net(pole.a) in powered  # type: ignore[misc]


# -- change-over devices -------------------------------------------------------------------------------


def positions(
    connected: Connected, *, sensors: bool = True, only: Collection[str] | None = None
) -> Iterator[State]:
    """Every combination of the positions of change-over devices, with all other poles closed.

    Closing a contact can only join more, so for what is *joined* no other states count. ``only``
    names the devices that are tried; of the others every pole is closed. Raises ``TooManySwitches``.
    """
    by_tag = _throws(connected)
    throws = {
        tag: sorted(set(by_pole.values()))
        for tag, by_pole in by_tag.items()
        if len(set(by_pole.values())) > 1
        and (sensors or not _is_sensor(connected.devices[tag]))
        and (only is None or tag in only)
    }
    if len(throws) > MOST_SWITCHES:
        raise TooManySwitches(len(throws))
    for combination in product(*throws.values()):
        chosen = dict(zip(throws, combination, strict=True))

        def closed(pole: Pole, chosen: Mapping[str, int] = chosen) -> bool:
            tag = pole.device.tag
            return tag not in chosen or by_tag[tag][pole.index] == chosen[tag]

        yield closed


def _is_sensor(device: Device) -> bool:
    return device.kind == "switch"


@once
def _throws(connected: Connected) -> dict[str, dict[int, int]]:
    """Tag -> pole index -> the position of the device in which the pole is closed.

    A sensing contact is closed in one of two positions; poles worked by hand that share a terminal
    take turns.
    """
    found: dict[str, dict[int, int]] = {}
    before: dict[str, list[Pole]] = {}
    for pole in connected.poles:
        earlier = before.setdefault(pole.device.tag, [])
        here = found.setdefault(pole.device.tag, {})
        if pole.sensor:
            here[pole.index] = int(pole.clear_closed)
        else:
            here[pole.index] = sum(1 for p in earlier if {p.a, p.b} & {pole.a, pole.b})
        earlier.append(pole)
    return found


# -- grounding -----------------------------------------------------------------------------------------


def bonded_nets(walked: Walk) -> dict[str, frozenset[str]]:
    """Grounding net -> the live nets that are solidly bonded to it; empty where no two could be."""
    found: dict[str, set[str]] = {}
    inside = sum(bool(d.part.bond_inside) for d in walked.connected.of_kind("controller"))
    if len(walked.bonds) + inside < 2:
        return {}
    for bond in bonding.bonds(walked):
        if bond.solid and bond.ground in walked.ground_of:
            found.setdefault(walked.ground_of[bond.ground], set()).add(bond.net)
    return {ground: frozenset(nets) for ground, nets in found.items()}


# -- what hangs together -------------------------------------------------------------------------------


def wiring_of(connected: Connected) -> dict[str, int]:
    """Tag of each electrical device -> number of the wiring that it belongs to.

    Devices belong together that conductors, closed or open poles, and the devices themselves link;
    equipment grounding and the bond of the system link nothing.
    """
    groups = _together(connected)
    numbers: dict[str, int] = {}
    return {
        tag: numbers.setdefault(groups.root(tag), len(numbers))
        for tag in dict.fromkeys(t.device.tag for t in connected.terminals.values())
    }


@once
def _together(connected: Connected) -> Groups:
    """Sets of what no state of any pole takes apart: devices by tag, ways of terminal blocks by terminal."""
    groups = Groups()
    terminals = connected.terminals
    for a, b in connected.graph.edges():
        if a not in terminals or b not in terminals:
            continue
        ends = (terminals[a], terminals[b])
        if any(_at_earth(end) for end in ends):
            continue
        groups.join(_node(ends[0]), _node(ends[1]))
    return groups


def _at_earth(terminal: Terminal) -> bool:
    """Is a terminal on the earth side, or the live end of a joint with earth? Contacts beside it are not."""
    if terminal.role == "ground" or terminal.device.kind != "grounding":
        return terminal.role == "ground"
    return not any(terminal.name in pole.between for pole in terminal.device.part.poles)


def _node(terminal: Terminal) -> str:
    # Ways of a terminal block are apart unless they are joined; all else is one thing.
    return terminal.id if terminal.device.kind == "terminal_block" else terminal.device.tag


@once
def part_around(connected: Connected, ends: frozenset[str]) -> Connected:
    """The part of an installation that any state of its poles can join to these terminals.

    The whole of it where that is one part; what is asked of one part then costs no more in a large job.
    """
    roots = {_together(connected).root(_node(connected.terminals[end])) for end in ends}
    held = frozenset().union(*(_terminals_by_part(connected).get(root, ()) for root in roots))
    return connected if len(held) == len(connected.terminals) else _part(connected, held)


@once
def _part(connected: Connected, terminals: frozenset[str]) -> Connected:
    return connected.part(terminals)


@once
def _terminals_by_part(connected: Connected) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    groups = _together(connected)
    for terminal in connected.terminals.values():
        found.setdefault(groups.root(_node(terminal)), set()).add(terminal.id)
    return {root: frozenset(terminals) for root, terminals in found.items()}
