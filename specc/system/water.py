"""What the water side computes to: paths, heads, flows and pressures, each with its trace."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count, pairwise
from typing import Any

import networkx as nx

from specc.calculation import Calculation, Input
from specc.physics import hydraulics, water
from specc.physics._range import require_positive
from specc.physics.pumps import CurvePoint, PumpPoint, highest_tabled_head_m, input_power_w, pump_point
from specc.rulebooks import Handbook, NotInTable, Sourced
from specc.system.connect import Connected
from specc.system.hydraulic_network import Balance, Link, NoBalance, balance, pump_loss
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device, Path, Pipe
from specc.system.once import once

# What a point of a way is: a pipe, or a device that water passes through.
Step = Pipe | Device

# What valves do to the flow, in the words that the table of fittings has for its own.
_DUTIES = {
    "ball valve": "stop valve",
    "gate valve": "stop valve",
    "float valve": "stop valve",
    "priming tee": "fill point",
}
_BESIDE_THE_FLOW = ("relief valve", "drain cock", "air valve")
_DETOUR = 1000.0  # longer than any way: water goes out by a relief valve only where nothing else leads on


@dataclass(frozen=True)
class Way:
    """Water's way from a source to a pump (suction) or from a pump to a tank (delivery), in flow order.

    ``backwards`` are the devices on it that the water enters by their outlet.
    """

    start: Device
    end: Device
    steps: tuple[Step, ...]
    backwards: tuple[Device, ...] = ()

    @property
    def pump(self) -> Device:
        """The pump at one of its ends."""
        return self.end if self.end.table == "pumps" else self.start

    @property
    def pipes(self) -> tuple[Pipe, ...]:
        return tuple(s for s in self.steps if isinstance(s, Pipe))

    @property
    def devices(self) -> tuple[Device, ...]:
        return tuple(s for s in self.steps if isinstance(s, Device))

    def fittings(self) -> tuple[tuple[str, int, Pipe], ...]:
        """Fitting name, count and pipe, in flow order."""
        return tuple((f.name, f.count, pipe) for pipe in self.pipes for f in pipe.spec.fittings)


@dataclass
class Water:
    """Figures of the water side, worked out on demand. Treat as frozen."""

    connected: Connected
    handbook: Handbook
    _made: dict[Any, Any] = field(default_factory=dict)

    @property
    def pumps(self) -> tuple[Device, ...]:
        return self.connected.of_kind("pump")

    # -- site and water --------------------------------------------------------------------------

    @property
    def atmosphere_pa(self) -> float:
        site = self.connected.description.site
        elevation = need(site.elevation, "the site's elevation", ("site",), "elevation")
        with _within_range("the site's elevation"):
            return water.atmosphere_pa(elevation)

    def water_k(self, source: Device) -> float:
        return float(
            need(
                source.spec.water_temperature,
                f"{source.tag}: water temperature",
                source.path,
                "water_temperature",
            )
        )

    def density_kg_m3(self, source: Device) -> float:
        return water.density_kg_m3(self.water_k(source))

    # -- ways ------------------------------------------------------------------------------------

    @once
    def _side(self) -> Any:
        """The water side, pumps taken out: what stands before a pump is apart from what stands after it."""
        graph, side = self.connected.graph, nx.MultiGraph()
        # A graph of its own, in the order of the spec: views ask their filters again for every edge.
        side.add_nodes_from((n, data) for n, data in graph.nodes(data=True) if data["side"] == "water")
        for a, b, data in graph.edges(data=True):
            if a in side and not _is_pump(data.get("device")):
                side.add_edge(a, b, **data)
        return side

    @once
    def _islands(self) -> dict[str, int]:
        """Node of the water side -> number of the part, hanging together, that it belongs to."""
        parts = enumerate(nx.connected_components(self._side()))
        return {node: number for number, part in parts for node in part}

    @once
    def _pipes_at(self) -> dict[str, list[Pipe]]:
        """Tag of a device -> pipes that end on it."""
        found: dict[str, list[Pipe]] = {}
        for pipe in self.connected.pipes.values():
            for tag in dict.fromkeys(_tags(pipe)):
                found.setdefault(tag, []).append(pipe)
        return found

    def ways_in(self, pump: Device) -> tuple[Way, ...]:
        """The ways to the pump from each source; empty where no pipe leads to it."""
        return self._ways(pump, "in", "source")

    def ways_out(self, pump: Device) -> tuple[Way, ...]:
        """The ways from the pump to each tank; empty where no pipe leads on."""
        return self._ways(pump, "out", "tank")

    @once
    def suctions(self, pump: Device) -> tuple[Way, ...]:
        """The ways to the pump from each source it can draw from; ``MissingDatum`` where there is none."""
        found = self.ways_in(pump)
        if not found:
            raise MissingDatum(
                f"{pump.tag}: a pipe from a source to its inlet ([[pipes]] to {pump.tag}.in)",
                pump.path,
                "pipes",
            )
        return found

    @once
    def suction(self, pump: Device) -> Way:
        """The way to the pump; of several the hardest, by lift and losses at the pump's greatest flow."""
        ways = self.suctions(pump)
        if len(ways) == 1:
            return ways[0]
        flow = self.greatest_flow_m3_s(pump)
        return max(ways, key=lambda w: self._loss_alone_m(w, flow, True) - self.pumping_level_m(w.start))

    @once
    def deliveries(self, pump: Device) -> tuple[Way, ...]:
        """The ways from the pump to each tank that it can fill."""
        found = self.ways_out(pump)
        if not found:
            raise MissingDatum(
                f"{pump.tag}: a pipe from its outlet to a tank ([[pipes]] from {pump.tag}.out)",
                pump.path,
                "pipes",
            )
        return found

    @once
    def delivery(self, pump: Device) -> Way:
        """The way from the pump; of several the hardest, by height and losses at the pump's greatest flow."""
        ways = self.deliveries(pump)
        if len(ways) == 1:
            return ways[0]
        flow = self.greatest_flow_m3_s(pump)
        return max(ways, key=lambda w: self.top_m(w) + self._loss_alone_m(w, flow, True))

    @once
    def _ways(self, pump: Device, port: str, table: str) -> tuple[Way, ...]:
        """The way with the fewest pieces to each source or tank; never through another source or tank."""
        start = f"{pump.tag}.{port}"
        waters = {d.tag for d in self.connected.of_kind("source", "tank") if d.table in ("source", "tank")}
        islands = self._islands()
        ways = []
        for device in self.connected.of_kind(table):
            if device.table != table or islands[start] != islands[device.tag]:
                continue
            barred = waters - {device.tag}
            reach = nx.subgraph_view(self._side(), filter_node=lambda n, barred=barred: n not in barred)
            try:
                nodes = nx.dijkstra_path(reach, start, device.tag, weight=_detour)
            except nx.NetworkXNoPath:
                continue
            nodes = nodes[::-1] if port == "in" else nodes
            ends = (device, pump) if port == "in" else (pump, device)
            ways.append(_way(reach, ends, nodes))
        return tuple(ways)

    def downstream(self, pump: Device, stops: Callable[[Step], bool]) -> tuple[Step, ...]:
        """Everything that water from the pump's outlet reaches, in any branch, nearest first.

        Steps that ``stops`` says yes to are listed, but nothing beyond them.
        """
        return tuple(dict.fromkeys(step for step, _, _ in self.reached(f"{pump.tag}.out", stops)))

    def reached(self, start: str, stops: Callable[[Step], bool]) -> tuple[tuple[Step, str, str], ...]:
        """As ``downstream``, from any node: each piece with the node by which water comes, and its other."""
        side = self._side()
        waiting, seen, found = [start], {start}, dict[tuple[Step, str, str], None]()
        while waiting:
            node = waiting.pop(0)
            for _, other, data in side.edges(node, data=True):
                step = _step(data)
                found[step, node, other] = None
                if other in seen or stops(step):
                    continue
                seen.add(other)
                if side.nodes[other]["device"].table not in ("source", "tank"):
                    waiting.append(other)
        return tuple(found)

    def piped(self, device: Device) -> bool:
        """Is a pipe joined to the device?"""
        return device.tag in self._pipes_at()

    # -- what stands in the way ------------------------------------------------------------------

    def duties(self, step: Step) -> tuple[str, ...]:
        """What a pipe's fittings, or a valve, do to the flow: "stop valve", "check valve" ..."""
        if isinstance(step, Pipe):
            return tuple(filter(None, (self.handbook.fitting_duty(f.name) for f in step.spec.fittings)))
        if step.kind != "valve":
            return ()
        return (_DUTIES.get(step.part.type, str(step.part.type)),)

    def holds_back(self, step: Step) -> bool:
        """Does a check or foot valve here keep water from falling back?"""
        return any(duty in ("check valve", "foot valve") for duty in self.duties(step))

    def can_shut(self, step: Step) -> bool:
        """Can a valve here be shut, by hand or by its float?"""
        return "stop valve" in self.duties(step)

    def foot_valve(self, way: Way) -> Pipe | None:
        """The pipe of a suction whose foot valve is at the intake; None without one."""
        first = way.steps[0]
        return first if isinstance(first, Pipe) and "foot valve" in self.duties(first) else None

    def low_switches(self, source: Device) -> tuple[Device, ...]:
        """Level switches that guard a source against running low: at its place, or of the only source.

        One that says which pumps it stops guards only what these draw from.
        """
        sources = [d for d in self.connected.of_kind("source") if d.table == "source"]
        pumps = {pump.tag for pump in self.drawn_by(source)}
        return tuple(
            d
            for d in self.connected.of_kind("switch")
            if d.spec.guards == "source low"
            and d.part.senses == "level"
            and (len(sources) == 1 or (d.location is not None and d.location == source.location))
            and (not d.spec.stops or pumps & set(d.spec.stops))
        )

    def stop_level_m(self, source: Device) -> float:
        """The level at which pumping stops: the highest low switch; without one the drawn-down level [m]."""
        switches = self.low_switches(source)
        if not switches:
            return self.pumping_level_m(source)
        acts = [
            need(d.spec.acts_at, f"{d.tag}: the level at which it acts", d.path, "acts_at") for d in switches
        ]
        return float(max(acts))

    def drawn_by(self, source: Device) -> tuple[Device, ...]:
        """Pumps that draw from a source."""
        return tuple(p for p in self.pumps if any(way.start is source for way in self.ways_in(p)))

    # -- elevations ------------------------------------------------------------------------------

    def pumping_level_m(self, source: Device) -> float:
        """The drawn-down water level, the lowest that is pumped from [m]."""
        return float(
            need(
                source.spec.low_water_level, f"{source.tag}: low water level", source.path, "low_water_level"
            )
        )

    def standing_level_m(self, source: Device) -> float:
        return float(need(source.spec.water_level, f"{source.tag}: water level", source.path, "water_level"))

    def inlet_m(self, tank: Device) -> float:
        return float(need(tank.spec.inlet, f"{tank.tag}: inlet elevation", tank.path, "inlet"))

    def outfall_m(self, tank: Device) -> float:
        """Where a delivery lets go of the water: the tank's inlet; drowned, the full tank's level [m]."""
        inlet = self.inlet_m(tank)
        return inlet if tank.spec.overflow is None else max(inlet, float(tank.spec.overflow))

    def top_m(self, way: Way) -> float:
        """The highest place that a delivery must lift water to: its outfall, or a hill before it [m]."""
        heights = [p.spec.high_point for p in way.pipes if p.spec.high_point is not None]
        stated = (self.elevation_m(f"{device.tag}.in") for device in way.devices)
        heights += [elevation for elevation in stated if elevation is not None]
        return float(max([self.outfall_m(way.end), *heights]))

    def elevation_m(self, node: str) -> float | None:
        """Elevation of the end of a pipe; None where the spec does not say [m]."""
        device = self._side().nodes[node]["device"]
        if device.table == "tank":
            return self.inlet_m(device)
        if device.table == "source":
            return None if device.spec.intake is None else float(device.spec.intake)
        beside = device.kind == "valve" and device.part.type == "priming tee"  # its elevation is its plug's
        elevation = None if beside else device.spec.elevation
        return None if elevation is None else float(elevation)

    def lift_m(self, pump: Device) -> float:
        """Pump over the drawn-down water; negative where the water floods it [m]."""
        return float(pump.spec.elevation) - self.pumping_level_m(self.suction(pump).start)

    @once
    def dry_lift(self, pump: Device) -> Calculation:
        """Height from which the pump draws water up a line full of air, at the site's air pressure."""
        dry = float(
            need_part(pump, "self_priming_lift", "dry suction lift (0 m where it cannot prime itself)")
        )
        with _within_range(f"{pump.tag}: its dry lift"):
            value = hydraulics.self_priming_lift_m(dry, self.atmosphere_pa)
        return Calculation(
            "dry lift at the site",
            pump.tag,
            "zdry",
            value,
            "head",
            "z0 · patm / 101.325 kPa",
            (
                Input("z0", dry, "head", f"{pump.tag}, catalogue part {pump.part.id}"),
                Input(
                    "patm", self.atmosphere_pa, "pressure", "[site] elevation, standard atmosphere ISO 2533"
                ),
            ),
            "common practice, no source",
        )

    # -- losses ----------------------------------------------------------------------------------

    @once
    def roughness_m(self, pipe: Pipe) -> float:
        return float(self.handbook.roughness_m(pipe.part.material.lower()).value)

    def friction_m(self, pipe: Pipe, flow_m3_s: float, source: Device) -> float:
        """Friction head of a pipe, Darcy-Weisbach [m]."""
        density, viscosity = self._of_water(source)
        return hydraulics.friction_head_m(
            flow_m3_s, pipe.part.bore, pipe.spec.length, self.roughness_m(pipe), density, viscosity
        )

    @once
    def _of_water(self, source: Device) -> tuple[float, float]:
        """Density [kg/m³] and dynamic viscosity [Pa·s]."""
        kelvin = self.water_k(source)
        return water.density_kg_m3(kelvin), water.dynamic_viscosity_pa_s(kelvin)

    def velocity_m_s(self, pipe: Pipe, flow_m3_s: float) -> float:
        return hydraulics.velocity_m_s(flow_m3_s, pipe.part.bore)

    def fittings_m(self, pipe: Pipe, flow_m3_s: float) -> float:
        """Head lost in the fittings of a pipe [m]: as stated in the spec, else by the fittings table."""
        spec = pipe.spec
        if spec.fittings_loss is not None:
            if spec.fittings_loss_flow:
                return float(spec.fittings_loss * (flow_m3_s / spec.fittings_loss_flow) ** 2)
            return float(spec.fittings_loss)
        velocity = self.velocity_m_s(pipe, flow_m3_s)
        return hydraulics.minor_head_m(self._fittings_k(pipe), velocity)

    @once
    def _fittings_k(self, pipe: Pipe) -> float:
        """Loss coefficient of all fittings of a pipe together."""
        fittings = pipe.spec.fittings
        return float(sum(f.count * self.handbook.fitting_k(f.name, pipe.part.bore).value for f in fittings))

    def device_loss_m(self, device: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """Head lost in a device that water passes through [m]. A filter counts clean or dirty."""
        part = device.part
        if device.kind == "filter":
            key, word = ("dirty_drop", "dirty") if dirty else ("clean_drop", "clean")
            drop = float(need_part(device, key, f"pressure drop when {word}"))
            at = float(need_part(device, "at_flow", "flow at which its drop is given"))
            require_positive(flow_of_its_drop_m3_s=at)
            return drop * (flow_m3_s / at) ** 2
        if device.kind == "valve" and part.loss_fitting:
            bore = self._nearest_bore(device)
            if bore is None:
                return 0.0
            k = self._valve_k(device, bore)
            return hydraulics.minor_head_m(k, hydraulics.velocity_m_s(flow_m3_s, bore))
        return 0.0

    @once
    def _valve_k(self, valve: Device, bore_m: float) -> float:
        return self.handbook.fitting_k(valve.part.loss_fitting, bore_m).value

    @once
    def _nearest_bore(self, device: Device) -> float | None:
        pipes = self._pipes_at().get(device.tag)
        return float(pipes[0].part.bore) if pipes else None

    @once
    def loss_m(self, way: Way, flow_m3_s: float, *, dirty: bool) -> float:
        """All losses of a way, with every pump that shares a piece of it running [m]."""
        return self._losses_m(way, lambda step: flow_m3_s + self._others_m3_s(step, way.pump), dirty)

    def _loss_alone_m(self, way: Way, flow_m3_s: float, dirty: bool) -> float:
        return self._losses_m(way, lambda step: flow_m3_s, dirty)

    def _losses_m(self, way: Way, flow_in: Callable[[Step], float], dirty: bool) -> float:
        return sum(at + along for _, at, along in self._each_loss_m(way, flow_in, dirty))

    def each_loss_m(
        self, way: Way, flow_m3_s: float, *, dirty: bool
    ) -> tuple[tuple[Step, float, float], ...]:
        """As ``loss_m``, piece by piece: what it loses at its start (device, fittings) and along it."""
        return self._each_loss_m(way, lambda step: flow_m3_s + self._others_m3_s(step, way.pump), dirty)

    def _each_loss_m(
        self, way: Way, flow_in: Callable[[Step], float], dirty: bool
    ) -> tuple[tuple[Step, float, float], ...]:
        source = way.start if way.start.table == "source" else self.suction(way.start).start
        found: list[tuple[Step, float, float]] = []
        for step in way.steps:
            flow = flow_in(step)
            if isinstance(step, Pipe):
                found.append((step, self.fittings_m(step, flow), self.friction_m(step, flow, source)))
            else:
                found.append((step, self.device_loss_m(step, flow, dirty=dirty), 0.0))
        return tuple(found)

    def _others_m3_s(self, step: Step, pump: Device) -> float:
        """What other pumps send through a piece of pipe at the same time, all running together [m³/s]."""
        others = (other for other in self._sharing(step.tag) if other is not pump)
        return math.fsum(self._operating_together(other, False).flow_m3_s for other in others)

    def flow_through_m3_s(self, step: Step, pump: Device) -> float:
        """What runs through a piece of a pump's way, filter clean, other pumps' water counted [m³/s]."""
        return self.operating(pump, False).flow_m3_s + self._others_m3_s(step, pump)

    def _sharing(self, tag: str) -> tuple[Device, ...]:
        """Pumps whose water passes through a piece of this tag."""
        return tuple(self._pumps_through().get(tag, ()))

    @once
    def _pumps_through(self) -> dict[str, dict[Device, None]]:
        """Tag of a piece -> the pumps whose water passes through it."""
        found: dict[str, dict[Device, None]] = {}
        for pump in self.pumps:
            for way in (*self.ways_in(pump), *self.ways_out(pump)):
                for step in way.steps:
                    found.setdefault(step.tag, {})[pump] = None
        return found

    def _shares(self, pump: Device) -> bool:
        """Does the water of another pump pass where this pump's passes?"""
        ways = (self.suction(pump), self.delivery(pump))
        return any(len(self._sharing(step.tag)) > 1 for way in ways for step in way.steps)

    # -- several pumps, several tanks ------------------------------------------------------------

    @once
    def together(self, dirty: bool) -> Balance:
        """Flows and heads with every pump at its rated voltage, each to the hardest of its tanks.

        Flows by the tag of a pipe or device, heads by node. Raises ``NotInTable`` where they do not balance.
        """
        return self._balanced([(self.suction(p), self.delivery(p)) for p in self.pumps], dirty)

    @once
    def spread(self, dirty: bool) -> Balance:
        """As ``together``, with every tank open at once: the low tanks take most."""
        return self._balanced([(self.suction(p), *self.deliveries(p)) for p in self.pumps], dirty)

    def into_tank_m3_s(self, tank: Device, *, dirty: bool = False) -> float:
        """What runs into a tank while every pump runs and every tank is open [m³/s]."""
        flows = self.spread(dirty).flow_m3_s
        pipes = self.connected.pipes.values()
        return math.fsum(flows.get(pipe.tag, 0.0) for pipe in pipes if tank.tag in _tags(pipe))

    def _balanced(self, ways_by_pump: Iterable[tuple[Way, ...]], dirty: bool) -> Balance:
        links: dict[str, Link] = {}
        levels: dict[str, float] = {}
        most = 2.0 * math.fsum(self.greatest_flow_m3_s(pump) for pump in self.pumps)
        for ways in ways_by_pump:
            suction, pump = ways[0], ways[0].pump
            levels[suction.start.tag] = self.pumping_level_m(suction.start)
            curve = pump_loss(
                self.table(pump),
                pump.part.nominal_voltage,
                displacement=pump.part.type == "positive displacement",
            )
            links[pump.tag] = Link(pump.tag, f"{pump.tag}.in", f"{pump.tag}.out", curve, one_way=True)
            for way in ways[1:]:
                levels[way.end.tag] = max(levels.get(way.end.tag, -math.inf), self.top_m(way))
            for link in self.pieces(ways, dirty=dirty):
                links[link.name] = replace(link, lost_m=_ramped(link.lost_m, most))
        try:
            return balance(tuple(links.values()), levels)
        except NoBalance as lack:
            raise NotInTable(f"the pumps together: {lack}") from None

    def pieces(self, ways: tuple[Way, ...], *, dirty: bool) -> tuple[Link, ...]:
        """Every pipe and device on the ways of one pump, its suction first, with what it loses by its flow.

        Nodes are those of the pipes: a source or tank by its tag, a port as ``TAG.in`` or ``TAG.out``.
        """
        source = ways[0].start
        tanks = {way.end.tag for way in ways[1:]}
        # Water that has left a pipe into a tank never comes back.
        return tuple(
            Link(step.tag, a, b, self._lost(step, source, dirty), self.holds_back(step) or b in tanks)
            for way in ways
            for step, a, b in _directed(way)
        )

    def _lost(self, step: Step, source: Device, dirty: bool) -> Callable[[float], float]:
        """Head lost in one piece, by its flow."""
        if isinstance(step, Pipe):
            return lambda flow: self.friction_m(step, flow, source) + self.fittings_m(step, flow)
        return lambda flow: self.device_loss_m(step, flow, dirty=dirty)

    def with_parts(self, way: Way, parts: Mapping[str, Any]) -> Way:
        """The way with other catalogue parts for some of its pipes, by tag: for trying sizes.

        What it loses then is ``loss_m`` of it, the velocity in a pipe of it ``velocity_m_s``.
        """
        steps = (
            replace(step, part=parts[step.tag]) if isinstance(step, Pipe) and step.tag in parts else step
            for step in way.steps
        )
        return replace(way, steps=tuple(steps))

    def acceleration_m(self, pump: Device, flow_m3_s: float) -> float:
        """Head that a piston pump's pulses take from its suction; 0 for steady flow [m].

        Raises ``NotInTable`` where the rule of thumb does not hold.
        """
        if pump.part.type != "positive displacement":
            return 0.0
        action = need_part(pump, "action", "its action (rotary, diaphragm or piston)")
        if action != "piston":
            return 0.0
        speed = float(need_part(pump, "crank_speed", "crank speed"))
        factor = float(need_part(pump, "acceleration_factor", "factor C of its pulses"))
        with _within_range(f"{pump.tag}: the head that its pulses take (use the maker's lift)"):
            return math.fsum(
                hydraulics.acceleration_head_m(
                    pipe.spec.length, self.velocity_m_s(pipe, flow_m3_s), speed / math.tau, factor
                )
                for pipe in self.suction(pump).pipes
            )

    # -- pressures in a delivery -----------------------------------------------------------------

    def of_pipe(self, pipe: Pipe, key: str, what: str) -> Any:
        """A datum of a pipe's catalogue part, or ``MissingDatum`` that names part and key."""
        named = f"{pipe.tag}: {what} (catalogue part {pipe.part.id}, key {key})"
        return need(getattr(pipe.part, key), named, (*pipe.path, "part"), key)

    def lowest_m(self, pipe: Pipe, way: Way) -> float:
        """The lowest that a pipe of a delivery can lie: as stated, else as far down as it reaches [m].

        Between two known elevations a pipe sags by half of what it is longer than their difference; where
        the elevation of its start is not known, all the pipe from the pump on sags so. Without a known end
        it hangs no lower than that pipe is long.
        """
        if pipe.spec.low_point is not None:
            return float(pipe.spec.low_point)
        place = way.steps.index(pipe)
        pump_m = float(way.pump.spec.elevation)
        length_m = math.fsum(s.spec.length for s in way.steps[: place + 1] if isinstance(s, Pipe))
        reached = pump_m - length_m
        before = way.steps[place - 1] if place else way.start
        ends = (pipe.start, pipe.end)
        if pipe.end.split(".")[0] == before.tag:  # written from its far end
            ends = (pipe.end, pipe.start)
        start_m, end_m = (self.elevation_m(node) for node in ends)
        if start_m is not None and end_m is not None:
            return max(reached, _sag_m(start_m, end_m, pipe.spec.length))
        if end_m is not None:
            return max(reached, _sag_m(pump_m, end_m, length_m))
        return reached if start_m is None else max(reached, start_m - pipe.spec.length)

    def lower_end_m(self, pipe: Pipe, way: Way) -> float:
        """Elevation of the lower end of a pipe of a delivery; the pump's counts for an end of none [m]."""
        ends = (self.elevation_m(pipe.start), self.elevation_m(pipe.end))
        return min(float(way.pump.spec.elevation if z is None else z) for z in ends)

    def wall_k(self, pipe: Pipe) -> float:
        """Hottest wall: as stated; of a buried pipe never above the site's hottest air; else missing [K]."""
        if pipe.spec.hottest_wall is None and pipe.spec.buried:
            site = self.connected.description.site
            return float(need(site.hottest_air, "the site's hottest air", ("site",), "hottest_air"))
        what = (
            f"{pipe.tag}: its hottest wall temperature (black pipe in the sun gets far hotter than the air)"
        )
        return float(need(pipe.spec.hottest_wall, what, pipe.path, "hottest_wall"))

    def hot_share(self, pipe: Pipe) -> Sourced[float]:
        """Share of its pressure rating that is left to a pipe at its hottest wall.

        The hottest air that stands for the wall of a buried pipe may lie above the table: then the wall is
        missing after all. Raises ``MissingDatum`` so, and ``NotInTable`` where a stated wall is too hot.
        """
        try:
            return self.handbook.pressure_derating(pipe.part.material.lower(), self.wall_k(pipe))
        except NotInTable as outside:
            if pipe.spec.hottest_wall is not None:
                raise
            what = f"{pipe.tag}: its hottest wall temperature, in the ground as deep as it lies"
            why = f"(the hottest air of the site may stand for it, but {outside})"
            raise MissingDatum(f"{what} {why}", pipe.path, "hottest_wall") from None

    @once
    def allowed_pressure(self, pipe: Pipe) -> Calculation:
        """Pressure rating of a pipe at its hottest wall."""
        rated = float(self.of_pipe(pipe, "pressure", "pressure rating"))
        wall_k = self.wall_k(pipe)
        factor = self.hot_share(pipe)
        return Calculation(
            "pressure allowed, hot",
            pipe.tag,
            "pallowed",
            rated * factor.value,
            "pressure",
            "PN · f(T)",
            (
                Input("PN", rated, "pressure", f"{pipe.tag}, catalogue part {pipe.part.id}"),
                Input(
                    "Twall", wall_k, "temperature", "hottest_wall, else the hottest air over a buried pipe"
                ),
                Input("f", factor.value, "number", factor.source),
            ),
            factor.source,
        )

    @once
    def surge(self, pipe: Pipe, pump: Device) -> Calculation:
        """Pressure rise where the flow in a pipe is stopped at once."""
        bore, wall = pipe.part.bore, float(self.of_pipe(pipe, "wall", "wall thickness"))
        modulus, source = pipe.part.modulus, f"{pipe.tag}, catalogue part {pipe.part.id}"
        if modulus is None:
            modulus, source = self.handbook.elasticity_pa(pipe.part.material.lower())
        density = self.density_kg_m3(self.suction(pump).start)
        velocity = self.velocity_m_s(pipe, self.flow_through_m3_s(pipe, pump))
        with _within_range(f"{pipe.tag}: its wall, for the speed of a pressure wave"):
            celerity = hydraulics.wave_celerity_m_s(density, modulus, (bore + 2.0 * wall) / wall)
        return Calculation(
            "surge on sudden closing",
            pipe.tag,
            "Δp",
            hydraulics.surge_pressure_pa(density, celerity, velocity),
            "pressure",
            "ρ · c · v, c = 1 / √(ρ · (1/K + (SDR - 2)/E))",
            (
                Input("v", velocity, "velocity", f"{pump.tag}, where pump curve and pipe meet"),
                Input("E", modulus, "modulus", source),
                Input("SDR", (bore + 2.0 * wall) / wall, "number", f"{pipe.tag}, bore and wall"),
                Input("c", celerity, "velocity", "Korteweg"),
            ),
            "N. Joukowsky, 1898",
        )

    def weep_m3_s(self, pump: Device) -> float:
        """What runs away through the weep holes of a delivery, taken at the pump's outlet pressure [m³/s]."""
        pressure = self.discharge(pump, False).value
        head = hydraulics.head_from_pressure_m(pressure, self.density_kg_m3(self.suction(pump).start))
        holes = [p.spec.weep_hole for p in self.delivery(pump).pipes if p.spec.weep_hole]
        return math.fsum(hydraulics.orifice_flow_m3_s(hole, max(0.0, head)) for hole in holes)

    # -- operating point -------------------------------------------------------------------------

    def static_m(self, pump: Device) -> float:
        """The highest place of the delivery over the drawn-down water [m]."""
        return self.top_m(self.delivery(pump)) - self.pumping_level_m(self.suction(pump).start)

    def total_head_m(self, pump: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """Static head and all losses at a flow [m]."""
        losses = self.loss_m(self.suction(pump), flow_m3_s, dirty=dirty)
        return self.static_m(pump) + losses + self.loss_m(self.delivery(pump), flow_m3_s, dirty=dirty)

    @once
    def table(self, pump: Device) -> tuple[CurvePoint, ...]:
        """The pump's datasheet rows."""
        if not pump.part.table:
            need_part(pump, "no table", "datasheet table of voltage, head, flow and current")
        rows = tuple(CurvePoint(r.voltage, r.head, r.flow, r.current) for r in pump.part.table)
        with _within_range(f"{pump.tag}: its datasheet table"):
            pump_point(rows, pump.part.nominal_voltage, 0.0, displacement=True)
        return rows

    def greatest_flow_m3_s(self, pump: Device) -> float:
        """The largest flow of the pump's data sheet [m³/s]."""
        return max(point.flow_m3_s for point in self.table(pump))

    @once
    def operating(self, pump: Device, dirty: bool) -> PumpPoint:
        """Flow and current at the motor's nominal voltage, where pump curve and pipe meet.

        Pumps on one line are worked out together.
        """
        if self._shares(pump):
            return self._operating_together(pump, dirty)
        return self._meeting(
            pump, pump.part.nominal_voltage, lambda flow: self.total_head_m(pump, flow, dirty=dirty)
        )

    @once
    def operating_at(self, pump: Device, voltage_v: float, dirty: bool) -> PumpPoint:
        """The same at any voltage of the motor, by the affinity of its speed; filter clean or dirty.

        A pump that shares its line keeps the head that they make together at their nominal voltage.
        """
        if self._shares(pump):
            head, displacement = self.total_head(pump, dirty).value, pump.part.type == "positive displacement"
            return pump_point(self.table(pump), voltage_v, head, displacement=displacement)
        return self._meeting(pump, voltage_v, lambda flow: self.total_head_m(pump, flow, dirty=dirty))

    @once
    def _operating_together(self, pump: Device, dirty: bool) -> PumpPoint:
        heads = self.together(dirty).head_m
        head = heads[f"{pump.tag}.out"] - heads[f"{pump.tag}.in"]
        displacement = pump.part.type == "positive displacement"
        return pump_point(
            self.table(pump), pump.part.nominal_voltage, max(0.0, head), displacement=displacement
        )

    def _meeting(self, pump: Device, volts: float, head_at: Callable[[float], float]) -> PumpPoint:
        """By false position on the flow: the pump gives less as head grows, the pipe asks more as flow grows.

        An end that stays twice counts half (Illinois); every fourth step halves, so a jump in the curve
        costs little.
        The excess of the pump over the flow falls by more than the flow grows: it bounds the error.
        """
        table = self.table(pump)
        displacement = pump.part.type == "positive displacement"

        def at(flow: float) -> PumpPoint:
            return pump_point(table, volts, max(0.0, head_at(flow)), displacement=displacement)

        low, high = 0.0, self.greatest_flow_m3_s(pump) * 2.0 * max(1.0, volts / pump.part.nominal_voltage)
        point, most = at(low), at(high)
        over, under = point.flow_m3_s, most.flow_m3_s - high
        if over <= 0.0 or under > 0.0:
            return point if over <= 0.0 else most
        moved = ""
        for step in count():
            if high - low <= 1e-9 * high:
                break
            middle = (low + high) / 2.0 if step % 4 == 3 else low + (high - low) * over / (over - under)
            point = at(middle)
            excess = point.flow_m3_s - middle
            if abs(excess) <= 1e-9 * high:
                return point
            if excess > 0.0:
                low, over, under = middle, excess, under / 2.0 if moved == "low" else under
                moved = "low"
            else:
                high, under, over = middle, excess, over / 2.0 if moved == "high" else over
                moved = "high"
        return at(low)

    def highest_head_m(self, pump: Device) -> float:
        """Head that the pump can make, flow or not: its shut-off head, or as far as its maker vouches [m]."""
        if pump.part.type == "centrifugal" and pump.part.shut_off_head is not None:
            return float(pump.part.shut_off_head)
        return self.vouched_head_m(pump)

    def vouched_head_m(self, pump: Device) -> float:
        """Head up to which the maker vouches for flow: last row of its data, or pressure limit [m]."""
        displacement = pump.part.type == "positive displacement"
        volts = pump.part.nominal_voltage
        limits = [highest_tabled_head_m(self.table(pump), volts, displacement=displacement)]
        if pump.part.max_pressure is not None:
            density = self.density_kg_m3(self.suction(pump).start)
            limits.append(hydraulics.head_from_pressure_m(pump.part.max_pressure, density))
        return min(limits)

    # -- figures with their trace ----------------------------------------------------------------

    @once
    def total_head(self, pump: Device, dirty: bool) -> Calculation:
        point = self.operating(pump, dirty)
        flow = point.flow_m3_s
        suction, delivery = self.suction(pump), self.delivery(pump)
        word = "filter dirty" if dirty else "filter clean"
        return Calculation(
            f"total head, {word}",
            pump.tag,
            "H",
            self.total_head_m(pump, flow, dirty=dirty),
            "head",
            "(zinlet - zpumping level) + Σhf + Σfittings + filter",
            (
                Input(
                    "zinlet",
                    self.top_m(delivery),
                    "elevation",
                    f"{delivery.end.tag}, inlet (drowned: overflow) or high point",
                ),
                Input(
                    "zpumping level",
                    self.pumping_level_m(suction.start),
                    "elevation",
                    f"{suction.start.tag}, low_water_level",
                ),
                Input(
                    "suction losses",
                    self.loss_m(suction, flow, dirty=dirty),
                    "head",
                    "pipes, fittings, filter",
                ),
                Input(
                    "delivery losses",
                    self.loss_m(delivery, flow, dirty=dirty),
                    "head",
                    "pipes, fittings, valves",
                ),
                Input("Q", flow, "flow", f"{pump.tag}, where pump curve and pipe meet at the rated voltage"),
            ),
            "energy equation; friction by Darcy-Weisbach and Colebrook, fittings by Crane TP-410",
        )

    @once
    def flow(self, pump: Device) -> Calculation:
        point = self.operating(pump, False)
        return Calculation(
            "flow at rated voltage, filter clean",
            pump.tag,
            "Q",
            point.flow_m3_s,
            "flow",
            "pump curve = pipe curve",
            (
                Input(
                    "V", pump.part.nominal_voltage, "voltage", f"{pump.tag}, catalogue part {pump.part.id}"
                ),
                Input(
                    "H",
                    self.total_head_m(pump, point.flow_m3_s, dirty=False),
                    "head",
                    "total head at this flow",
                ),
            ),
            "pump data sheet, linear between its rows" + (" (beyond its rows)" if point.beyond_table else ""),
        )

    @once
    def vacuum(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.suction(pump), self.operating(pump, dirty).flow_m3_s
        lift = self.lift_m(pump)
        losses, density = self.loss_m(way, flow, dirty=dirty), self.density_kg_m3(way.start)
        return Calculation(
            "vacuum at the pump inlet, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "pvac",
            hydraulics.suction_vacuum_pa(lift, losses, density),
            "pressure",
            "ρ · g · (lift + losses)",
            (
                Input("lift", lift, "head", f"{pump.tag} elevation over {way.start.tag} low water level"),
                Input("losses", losses, "head", "pipes, foot valve, fittings, filter"),
                Input("ρ", density, "density", "water density, Kell 1975"),
            ),
            "hydrostatics",
        )

    @once
    def npsh_available(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.suction(pump), self.operating(pump, dirty).flow_m3_s
        kelvin = self.water_k(way.start)
        lift = self.lift_m(pump)
        losses, density = self.loss_m(way, flow, dirty=dirty), self.density_kg_m3(way.start)
        vapour = water.vapour_pressure_pa(kelvin)
        pulses = self.acceleration_m(pump, flow)
        value = hydraulics.npsh_available_m(self.atmosphere_pa, vapour, density, lift, losses + pulses)
        return Calculation(
            "NPSH available, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "NPSHa",
            value,
            "head",
            "(patm - pv) / (ρ · g) - lift - losses - pulses",
            (
                Input(
                    "patm", self.atmosphere_pa, "pressure", "[site] elevation, standard atmosphere ISO 2533"
                ),
                Input(
                    "pv", vapour, "pressure", f"{way.start.tag} water_temperature, IAPWS saturation equation"
                ),
                Input("lift", lift, "head", f"{pump.tag} elevation over {way.start.tag} low water level"),
                Input("losses", losses, "head", "pipes, foot valve, fittings, filter"),
                Input(
                    "pulses", pulses, "head", "acceleration head of a piston pump, ANSI/HI 6.1-6.5; else 0"
                ),
            ),
            "definition of NPSH, ISO 9906 / ANSI/HI 9.6.1",
        )

    @once
    def discharge(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.delivery(pump), self.operating(pump, dirty).flow_m3_s
        density = self.density_kg_m3(self.suction(pump).start)
        lift, losses = self.top_m(way) - pump.spec.elevation, self.loss_m(way, flow, dirty=dirty)
        return Calculation(
            "pressure at the pump outlet",
            pump.tag,
            "p",
            hydraulics.pressure_from_head_pa(lift + losses, density),
            "pressure",
            "ρ · g · (lift + losses)",
            (
                Input("lift", lift, "head", f"{way.end.tag} inlet (or high point) over {pump.tag} elevation"),
                Input("losses", losses, "head", "pipes, fittings, valves"),
            ),
            "hydrostatics; friction by Darcy-Weisbach",
        )

    def inlet_vacuum_pa(self, pump: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """What a gauge at the inlet shows under air pressure at this flow; negative over it [Pa]."""
        way = self.suction(pump)
        losses = self.loss_m(way, flow_m3_s, dirty=dirty)
        return hydraulics.suction_vacuum_pa(self.lift_m(pump), losses, self.density_kg_m3(way.start))

    def outlet_pa(self, pump: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """What a gauge at the outlet shows at this flow [Pa]."""
        way = self.delivery(pump)
        head = self.top_m(way) - float(pump.spec.elevation) + self.loss_m(way, flow_m3_s, dirty=dirty)
        return hydraulics.pressure_from_head_pa(head, self.density_kg_m3(self.suction(pump).start))

    @once
    def hydraulic_power(self, pump: Device, dirty: bool) -> Calculation:
        # Water that runs downhill by itself takes up no power.
        head, flow = max(0.0, self.total_head(pump, dirty).value), self.operating(pump, dirty).flow_m3_s
        density = self.density_kg_m3(self.suction(pump).start)
        return Calculation(
            "hydraulic power, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "Ph",
            hydraulics.hydraulic_power_w(flow, head, density),
            "power",
            "ρ · g · Q · H",
            (
                Input("ρ", density, "density", "water density, Kell 1975"),
                Input("Q", flow, "flow", f"{pump.tag}, where pump curve and pipe meet at the rated voltage"),
                Input("H", head, "head", "total head"),
            ),
            "definition; ISO 9906",
        )

    @once
    def motor_power(self, pump: Device, dirty: bool) -> Calculation:
        hydraulic = self.hydraulic_power(pump, dirty).value
        efficiency = float(need_part(pump, "efficiency", "wire-to-water efficiency"))
        return Calculation(
            "motor power, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "Pm",
            input_power_w(hydraulic, efficiency),
            "power",
            "Ph / η",
            (
                Input("Ph", hydraulic, "power", "hydraulic power"),
                Input("η", efficiency, "number", f"{pump.tag}, catalogue part {pump.part.id}"),
            ),
            "definition of efficiency",
        )

    def all_calculations(self) -> tuple[Calculation, ...]:
        """Every figure that the calculation sheet prints; what lacks a datum is left to the findings."""
        made: list[Calculation] = []
        for pump in self.pumps:
            by_filter = (self.total_head, self.vacuum, self.npsh_available)
            works = (
                partial(self.flow, pump),
                *(partial(work, pump, dirty) for work in by_filter for dirty in (False, True)),
                *(
                    partial(work, pump, True)
                    for work in (self.discharge, self.hydraulic_power, self.motor_power)
                ),
            )
            for work in works:
                try:
                    made.append(work())
                except (MissingDatum, LookupError, ValueError):
                    continue
        return tuple(made)


def _sag_m(one_m: float, other_m: float, length_m: float) -> float:
    """The lowest that a line of a length can lie between two elevations: straight down and up [m]."""
    slack = max(0.0, length_m - abs(other_m - one_m))
    return min(one_m, other_m) - slack / 2.0


@contextmanager
def _within_range(what: str) -> Iterator[None]:
    """Turns a value outside of a formula's range into ``NotInTable``: not decided, rather than a crash."""
    try:
        yield
    except ValueError as outside:
        raise NotInTable(f"{what}: {getattr(outside, 'told', outside)}") from None


def _is_pump(device: Device | None) -> bool:
    return device is not None and device.table == "pumps"


def _step(data: Mapping[str, Any]) -> Step:
    step: Step = data["pipe"] if data["kind"] == "pipe" else data["device"]
    return step


def _detour(_a: str, _b: str, edges: Mapping[Any, Mapping[str, Any]]) -> float:
    """Length of an edge for the search: 1, and far more through a valve that leads out of the system."""
    device = next(iter(edges.values())).get("device")
    beside = device is not None and device.kind == "valve" and device.part.type in _BESIDE_THE_FLOW
    return _DETOUR if beside else 1.0


def _way(graph: Any, ends: tuple[Device, Device], nodes: list[str]) -> Way:
    """The way along these nodes; of two parallel pipes the first, so that losses come out high."""
    steps: list[Step] = []
    backwards: list[Device] = []
    for a, b in pairwise(nodes):
        step = _step(min(graph[a][b].values(), key=lambda data: data["kind"]))
        steps.append(step)
        if isinstance(step, Device) and a.endswith(".out"):
            backwards.append(step)
    return Way(*ends, tuple(steps), tuple(backwards))


def _directed(way: Way) -> Iterator[tuple[Step, str, str]]:
    """Every piece of a way with the nodes at which water enters and leaves it."""
    node = way.start.tag if way.start.table == "source" else f"{way.start.tag}.out"
    for step in way.steps:
        ends = (step.start, step.end) if isinstance(step, Pipe) else (f"{step.tag}.in", f"{step.tag}.out")
        after = ends[1] if node == ends[0] else ends[0]
        yield step, node, after
        node = after


def _ramped(lost: Callable[[float], float], most_m3_s: float) -> Callable[[float], float]:
    """A loss that never jumps: where laminar flow ends it climbs a ramp one hundredth wide.

    Above ``most_m3_s``, which is only met while flows are searched for, it grows by the square.
    """

    def ramped(flow: float) -> float:
        inside = min(flow, most_m3_s)
        around = (lost(inside * 0.995) + lost(inside * 1.005)) / 2.0
        return around * max(1.0, flow / most_m3_s) ** 2

    return ramped


def _tags(pipe: Pipe) -> tuple[str, str]:
    return pipe.start.split(".")[0], pipe.end.split(".")[0]


__all__ = ["Path", "Step", "Water", "Way"]
