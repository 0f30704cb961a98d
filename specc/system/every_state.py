"""Faults that show in some state only: whether one is reached, and the state that shows it.

Closing a contact can only join more, so a fault of *joined* things that does not show with every pole
closed shows in no state. Only where it does are the positions of change-over devices tried, of those
devices alone that can come to lie on the nets in question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import networkx as nx

from specc.system.connect import Connected
from specc.system.model import Pole
from specc.system.states import positions
from specc.system.system import System
from specc.system.walk import State, Walk

Fault = Callable[[Walk], bool]

READY = "ready to run, every switch in the clear"


def everything_closed(system: System, part: Connected | None = None) -> Walk:
    """The installation, or a part of it, with every pole closed, change-over devices in all positions."""
    return system.in_state(lambda pole: True, part)


def change_overs_at(system: System, ends: Iterable[str]) -> frozenset[str]:
    """Tags of the devices whose poles can come to lie on the nets of these terminals."""
    part = system.around(ends := tuple(ends))
    walked = everything_closed(system, part)
    nets = {walked.net(end) for end in ends}
    return frozenset(
        pole.device.tag for pole in part.poles if {walked.net(pole.a), walked.net(pole.b)} & nets
    )


def states_at(system: System, ends: Iterable[str]) -> Iterator[State]:
    """Every combination of the change-over devices that matter to these terminals, all else closed.

    Raises ``TooManySwitches``.
    """
    part = system.around(ends := tuple(ends))
    return positions(part, only=change_overs_at(system, ends))


def first_fault(
    system: System,
    ends: Iterable[str],
    fault: Fault,
    barred: Callable[[Pole], bool] = lambda pole: False,
    *,
    grounding: bool = False,
) -> Walk | None:
    """The installation in the state nearest to the clear one in which a fault of joined things shows.

    Only the part of it that these terminals belong to is walked, or all of it where ``grounding`` counts,
    which no part holds. ``barred`` poles stay open throughout. None where no state shows the fault.
    Raises ``TooManySwitches``.
    """
    ends = tuple(ends)
    part = system.connected if grounding else system.around(ends)
    if not fault(system.in_state(lambda pole: not barred(pole), part)):
        return None
    for state in states_at(system, ends):
        walked = system.in_state(lambda pole, state=state: state(pole) and not barred(pole), part)  # type: ignore[misc]
        if fault(walked):
            return nearest_to_clear(system, walked, fault)
    return None


def nearest_to_clear(system: System, walked: Walk, fault: Fault) -> Walk:
    """Opens again, one by one, the contacts that the fault does not need."""
    part = walked.connected
    for pole in part.poles:
        if not walked.closed(pole) or pole.clear_closed:
            continue
        closed = walked.closed
        fewer = system.in_state(lambda p, closed=closed, pole=pole: closed(p) and p is not pole, part)  # type: ignore[misc]
        if fault(fewer):
            walked = fewer
    return walked


def lies_between(walked: Walk, pole: Pole, a: str, b: str) -> bool:
    """Does a closed pole lie on some way between two terminals of its net that passes nothing twice?

    So it is when, with one more edge from one terminal to the other, both edges are on one loop.
    """
    net = walked.net(pole.a)
    if walked.net(a) != net or walked.net(b) != net or a == b:
        return False
    graph = nx.Graph([(one, other) for one, other, _ in walked.net_edges[net]])
    if not {a, b} <= set(graph):
        return False
    graph.add_edge(a, b)
    extra, own = {a, b}, {pole.a, pole.b}
    for part in nx.biconnected_component_edges(graph):
        pairs = [set(edge) for edge in part]
        if extra in pairs:
            return own in pairs
    return False


def witness(connected: Connected, closed: State) -> str:
    """A state in words: the contacts that are not as they are with all in the clear."""
    changed = [pole for pole in connected.poles if closed(pole) != pole.clear_closed]
    if not changed:
        return READY
    several = {p.device for p in connected.poles if p.index > 0}
    words = (
        f"{f'{pole.a} to {pole.b}' if pole.device in several else pole.device.tag} "
        f"{'closed' if closed(pole) else 'open'}"
        for pole in changed
    )
    return ", ".join(dict.fromkeys(words))
