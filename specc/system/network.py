"""The DC network at the design point, by nodal analysis: volts at every terminal, amperes in every conductor.

Arrays are taken at maximum power under standard sun, linear there (dI/dV = -Imp/Vmp, which holds
exactly at the point of maximum power); motors draw their label current, controller inputs what
their arrays give, batteries and controller outputs hold their rated voltage. A controller that charges a
battery gives the current that its arrays suffice for: the battery holds the voltage, not the controller.
Conductors have their hot resistance; closed poles and inner joins have none.

By night arrays, and all that lives on them alone, give nothing: a battery then carries its loads alone,
and its conductors lose more than by day.

Source of the method: nodal analysis, any text on circuit theory.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from specc.system.electrical import Electrical
from specc.system.missing import MissingDatum
from specc.system.walk import Crossing, Source, rated_voltage

_SMALL_OHM = 1e-6  # a conductor of no length

Rows = list[dict[int, float]]


@dataclass(frozen=True)
class DesignPoint:
    """Volts at terminals, against the lowest of their island; amperes from start to end of conductors."""

    voltage_v: Mapping[str, float]
    current_a: Mapping[str, float]

    def drop_v(self, start: str, end: str) -> float | None:
        """Volts lost between two terminals [V]; None where one of them is on no source."""
        if start not in self.voltage_v or end not in self.voltage_v:
            return None
        return abs(self.voltage_v[start] - self.voltage_v[end])


def design_point(electrical: Electrical, *, night: bool = False) -> DesignPoint:
    """Solves every island of the network, in standard sun or by night.

    Raises ``MissingDatum`` where a label current or a controller's output voltage is not given.
    """
    walked = electrical.walked
    nodes = _nodes(electrical)
    size = len(set(nodes.values()))
    if not size:
        return DesignPoint({}, {})
    index = {name: number for number, name in enumerate(dict.fromkeys(nodes.values()))}
    at = {terminal: index[name] for terminal, name in nodes.items()}
    conductance: Rows = [{} for _ in range(size)]
    injected = [0.0] * size
    linked = _Islands(size)

    def resistor(a: int, b: int, siemens: float) -> None:
        linked.join(a, b)
        for row, column in ((a, b), (b, a)):
            conductance[row][row] = conductance[row].get(row, 0.0) + siemens
            conductance[row][column] = conductance[row].get(column, 0.0) - siemens

    def drive(plus: int, minus: int, amperes: float) -> None:
        injected[plus] += amperes
        injected[minus] -= amperes

    live = [c for c in electrical.connected.conductors if walked.branch(c) is not None]
    for conductor in live:
        ohm = max(electrical.resistance_ohm(conductor), _SMALL_OHM)
        resistor(at[conductor.start], at[conductor.end], 1.0 / ohm)

    given = [s for s in walked.sources if not night or _lives_by_night(electrical, s)]
    for source in given:
        for port in source.ports:
            plus, minus = at[port.plus], at[port.minus]
            part, spec = port.device.part, port.device.spec
            volts = rated_voltage(port)
            if source.kind == "array":
                imp = part.imp * spec.parallel
                resistor(plus, minus, imp / volts)
                drive(plus, minus, 2.0 * imp)
                continue
            if source.kind == "converter" and charges(electrical, source):
                linked.join(plus, minus)
                drive(plus, minus, _charging_a(electrical, source))
                continue
            inner = _SMALL_OHM
            if source.kind == "battery":
                inner = (part.internal_resistance or _SMALL_OHM) * spec.series / spec.parallel
            elif part.nominal_output is None and part.max_output_voltage is None:
                raise MissingDatum(
                    f"{port.device.tag}: nominal output voltage "
                    f"(catalogue part {part.id}, key nominal_output)",
                    port.device.path + ("part",),
                    "nominal_output",
                )
            resistor(plus, minus, 1.0 / inner)
            drive(plus, minus, volts / inner)

    for pair_load in dict.fromkeys(pair.load for pair in walked.pairs):
        feeds = [s for s in walked.feeds(pair_load) if s in given]
        if not feeds:
            continue
        arrays = [s for s in feeds if s.kind == "array"]
        if pair_load.device.kind == "pump":
            amperes = electrical.motor_current_a(pair_load.device)
            if arrays and len(arrays) == len(feeds):
                amperes = min(amperes, sum(electrical.rated_current_a(s) for s in arrays))
        elif pair_load.device.kind == "battery":
            continue
        elif arrays:
            amperes = sum(electrical.rated_current_a(s) for s in arrays)
        else:
            amperes = electrical.input_current_a(pair_load.device, pair_load)
        sign = 1.0 if (walked.voltage(pair_load.plus, pair_load.minus) or 0.0) >= 0.0 else -1.0
        drive(at[pair_load.plus], at[pair_load.minus], -amperes * sign)
        linked.join(at[pair_load.plus], at[pair_load.minus])

    volts_at: dict[int, float] = {}
    for group in linked.groups():
        solved = _solve(conductance, injected, group)
        lowest = min(solved.values(), default=0.0)
        volts_at |= {node: volts - lowest for node, volts in solved.items()}
    voltage = {t: volts_at[n] for t, n in at.items() if n in volts_at}
    current = {
        c.tag: (voltage[c.start] - voltage[c.end]) / max(electrical.resistance_ohm(c), _SMALL_OHM)
        for c in live
        if c.start in voltage and c.end in voltage
    }
    return DesignPoint(voltage, current)


def reference_v(pair: Crossing) -> float:
    """Rated volts that a drop from a source to a load is a share of: the motor's, else the source's [V]."""
    if pair.load.device.kind == "pump":
        return float(pair.load.device.part.nominal_voltage)
    return sum(rated_voltage(port) for port in pair.source.ports)


def charges(electrical: Electrical, source: Source) -> bool:
    """Has a controller's output a battery across it?"""
    return any(load.device.kind == "battery" for load in electrical.fed_by(source))


def _charging_a(electrical: Electrical, source: Source) -> float:
    """What a controller gives to its battery while its arrays work at maximum power [A].

    Power over volts, no more than the output current: P = Imp Vmp η / V.
    """
    port, part = source.ports[0], source.ports[0].device.part
    watts = sum(
        electrical.rated_current_a(array) * sum(rated_voltage(p) for p in array.ports)
        for array in electrical.feeding(port.device)
        if array.kind == "array"
    )
    amperes = watts * float(part.efficiency or 1.0) / rated_voltage(port)
    return amperes if part.output_current is None else min(amperes, float(part.output_current))


def _lives_by_night(electrical: Electrical, source: Source) -> bool:
    """A battery, or a controller that a battery feeds by another port than this output."""
    if source.kind != "converter":
        return source.kind == "battery"
    port = source.ports[0]
    inputs = (p for p in electrical.connected.ports_of(port.device) if p.takes and p is not port)
    return any(s.kind == "battery" for p in inputs for s in electrical.upstream(p))


def _solve(conductance: Rows, injected: list[float], group: list[int]) -> dict[int, float]:
    """Volts of the nodes of an island against its first; empty where they are not determined."""
    first, held = group[0], group[1:]
    number = {node: n for n, node in enumerate(held)}
    matrix = np.zeros((len(held), len(held)))
    for node, n in number.items():
        for other, siemens in conductance[node].items():
            if other in number:
                matrix[n, number[other]] = siemens
    try:
        solved = np.linalg.solve(matrix, np.array([injected[node] for node in held]))
    except np.linalg.LinAlgError:
        return {}
    if not np.isfinite(solved).all():
        return {}
    return {first: 0.0} | dict(zip(held, map(float, solved), strict=True))


def _nodes(electrical: Electrical) -> dict[str, str]:
    """Terminal -> name of its node: terminals joined inside or by a closed pole are one node."""
    walked = electrical.walked
    parent: dict[str, str] = {t: t for t in walked.net_of}

    def root(name: str) -> str:
        while parent[name] != name:
            parent[name] = parent[parent[name]]
            name = parent[name]
        return name

    for edges in walked.net_edges.values():
        for a, b, what in edges:
            if not hasattr(what, "run"):
                parent[root(a)] = root(b)
    return {t: root(t) for t in parent}


class _Islands:
    """Which nodes hang together, for choosing a reference node in each."""

    def __init__(self, size: int) -> None:
        self._parent = list(range(size))

    def _root(self, node: int) -> int:
        while self._parent[node] != node:
            self._parent[node] = self._parent[self._parent[node]]
            node = self._parent[node]
        return node

    def join(self, a: int, b: int) -> None:
        self._parent[self._root(a)] = self._root(b)

    def groups(self) -> list[list[int]]:
        found: dict[int, list[int]] = defaultdict(list)
        for node in range(len(self._parent)):
            found[self._root(node)].append(node)
        return [group for group in found.values() if len(group) > 1]
