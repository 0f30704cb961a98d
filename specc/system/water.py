"""What the water side computes to: paths, heads, flows and pressures, each with its trace."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import networkx as nx

from specc.calculation import Calculation, Input
from specc.physics import hydraulics, pumps, water
from specc.physics.constants import G_M_S2
from specc.rulebooks import Handbook
from specc.system.connect import Connected
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device, Path, Pipe
from specc.system.once import once

# What a point of a way is: a pipe, or a device that water passes through.
Step = Pipe | Device


@dataclass(frozen=True)
class Way:
    """Water's way from a source to a pump (suction) or from a pump to a tank (delivery), in flow order."""

    start: Device
    end: Device
    steps: tuple[Step, ...]

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
        return water.atmosphere_pa(need(site.elevation, "the site's elevation", ("site",), "elevation"))

    def water_k(self, source: Device) -> float:
        return need(
            source.spec.water_temperature, f"{source.tag}: water temperature", source.path, "water_temperature"
        )

    def density_kg_m3(self, source: Device) -> float:
        return water.density_kg_m3(self.water_k(source))

    # -- ways ------------------------------------------------------------------------------------

    @once
    def _side(self) -> Any:
        graph = self.connected.graph
        nodes = [n for n, data in graph.nodes(data=True) if data["side"] == "water"]
        return graph.subgraph(nodes)

    @once
    def suction(self, pump: Device) -> Way:
        """The way from the source to the pump; raises ``MissingDatum`` where there is none."""
        return self._way(pump, "in", "source")

    @once
    def deliveries(self, pump: Device) -> tuple[Way, ...]:
        """The ways from the pump to each tank that it can fill."""
        found = self._ways(pump, "out", "tank")
        if not found:
            raise MissingDatum(
                f"{pump.tag}: a pipe from its outlet to a tank ([[pipes]] from {pump.tag}.out)", pump.path, "pipes"
            )
        return found

    def delivery(self, pump: Device) -> Way:
        """The way from the pump to its highest tank."""
        return max(self.deliveries(pump), key=lambda way: self.inlet_m(way.end))

    def _way(self, pump: Device, port: str, table: str) -> Way:
        found = self._ways(pump, port, table)
        if not found:
            raise MissingDatum(
                f"{pump.tag}: a pipe from a source to its inlet ([[pipes]] to {pump.tag}.in)", pump.path, "pipes"
            )
        return found[0]

    def _ways(self, pump: Device, port: str, table: str) -> tuple[Way, ...]:
        graph = self._side()
        start = f"{pump.tag}.{port}"
        barred = {f"{p.tag}.{end}" for p in self.pumps for end in ("in", "out")} - {start}
        reach = graph.subgraph([n for n in graph.nodes if n not in barred])
        ways = []
        for device in self.connected.of_kind(table):
            if device.table != table or device.tag not in reach or not nx.has_path(reach, start, device.tag):
                continue
            nodes = nx.shortest_path(reach, start, device.tag)
            steps: list[Step] = []
            for a, b in zip(nodes, nodes[1:], strict=False):
                data = min(reach[a][b].values(), key=lambda d: d["kind"])
                steps.append(data["pipe"] if data["kind"] == "pipe" else data["device"])
            if port == "in":
                ways.append(Way(device, pump, tuple(reversed(steps))))
            else:
                ways.append(Way(pump, device, tuple(steps)))
        return tuple(ways)

    # -- elevations ------------------------------------------------------------------------------

    def pumping_level_m(self, source: Device) -> float:
        """The drawn-down water level, the lowest that is pumped from [m]."""
        return need(source.spec.low_water_level, f"{source.tag}: low water level", source.path, "low_water_level")

    def standing_level_m(self, source: Device) -> float:
        return need(source.spec.water_level, f"{source.tag}: water level", source.path, "water_level")

    def inlet_m(self, tank: Device) -> float:
        return need(tank.spec.inlet, f"{tank.tag}: inlet elevation", tank.path, "inlet")

    # -- losses ----------------------------------------------------------------------------------

    def roughness_m(self, pipe: Pipe) -> float:
        return float(self.handbook.roughness_m(pipe.part.material.lower()).value)

    def friction_m(self, pipe: Pipe, flow_m3_s: float, source: Device) -> float:
        """Friction head of a pipe, Darcy-Weisbach [m]."""
        kelvin = self.water_k(source)
        return hydraulics.friction_head_m(
            flow_m3_s,
            pipe.part.bore,
            pipe.spec.length,
            self.roughness_m(pipe),
            water.density_kg_m3(kelvin),
            water.dynamic_viscosity_pa_s(kelvin),
        )

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
        total = sum(
            f.count * self.handbook.fitting_k(f.name, pipe.part.bore).value for f in spec.fittings
        )
        return hydraulics.minor_head_m(total, velocity)

    def device_loss_m(self, device: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """Head lost in a device that water passes through [m]. A filter counts clean or dirty."""
        part = device.part
        if device.kind == "filter":
            key, word = ("dirty_drop", "dirty") if dirty else ("clean_drop", "clean")
            drop = float(need_part(device, key, f"pressure drop when {word}"))  # type: ignore[arg-type]
            at = part.at_flow
            return drop * (flow_m3_s / at) ** 2 if at else drop
        if device.kind == "valve" and part.loss_fitting:
            bore = self._nearest_bore(device)
            if bore is None:
                return 0.0
            k = self.handbook.fitting_k(part.loss_fitting, bore).value
            return hydraulics.minor_head_m(k, hydraulics.velocity_m_s(flow_m3_s, bore))
        return 0.0

    def _nearest_bore(self, device: Device) -> float | None:
        for pipe in self.connected.pipes.values():
            if device.tag in (pipe.start.split(".")[0], pipe.end.split(".")[0]):
                return float(pipe.part.bore)
        return None

    def loss_m(self, way: Way, flow_m3_s: float, *, dirty: bool) -> float:
        """All losses of a way: pipes, fittings, devices [m]."""
        source = way.start if way.start.table == "source" else self.suction(way.start).start
        pipes = sum(self.friction_m(p, flow_m3_s, source) + self.fittings_m(p, flow_m3_s) for p in way.pipes)
        return pipes + sum(self.device_loss_m(d, flow_m3_s, dirty=dirty) for d in way.devices)

    # -- operating point -------------------------------------------------------------------------

    def static_m(self, pump: Device) -> float:
        """Tank inlet over the drawn-down water [m]."""
        return self.inlet_m(self.delivery(pump).end) - self.pumping_level_m(self.suction(pump).start)

    def total_head_m(self, pump: Device, flow_m3_s: float, *, dirty: bool) -> float:
        """Static head and all losses at a flow [m]."""
        losses = self.loss_m(self.suction(pump), flow_m3_s, dirty=dirty)
        return self.static_m(pump) + losses + self.loss_m(self.delivery(pump), flow_m3_s, dirty=dirty)

    @once
    def table(self, pump: Device) -> tuple[pumps.CurvePoint, ...]:
        """The pump's datasheet rows."""
        if not pump.part.table:
            need_part(pump, "no table", "datasheet table of voltage, head, flow and current")
        return tuple(pumps.CurvePoint(r.voltage, r.head, r.flow, r.current) for r in pump.part.table)

    @once
    def operating(self, pump: Device, dirty: bool) -> pumps.PumpPoint:
        """Flow and current at the motor's nominal voltage, where pump curve and pipe meet.

        By bisection on the flow: the pump gives less as head grows, the pipe asks more as flow grows.
        """
        table, volts = self.table(pump), pump.part.nominal_voltage
        displacement = pump.part.type == "positive displacement"

        def at(flow: float) -> pumps.PumpPoint:
            head = max(0.0, self.total_head_m(pump, flow, dirty=dirty))
            return pumps.pump_point(table, volts, head, displacement=displacement)

        low, high = 0.0, max(p.flow_m3_s for p in table) * 2.0
        if at(low).flow_m3_s <= 0.0:
            return at(low)
        for _ in range(60):
            middle = (low + high) / 2.0
            if at(middle).flow_m3_s > middle:
                low = middle
            else:
                high = middle
            if high - low < 1e-12:
                break
        return at(low)

    def highest_head_m(self, pump: Device) -> float:
        """Head that the pump can make: pressure limit of a displacement pump, else the top of its curve [m]."""
        limits = []
        displacement = pump.part.type == "positive displacement"
        if displacement and pump.part.max_pressure is not None:
            density = self.density_kg_m3(self.suction(pump).start)
            limits.append(hydraulics.head_from_pressure_m(pump.part.max_pressure, density))
        if not displacement and pump.part.shut_off_head is not None:
            limits.append(float(pump.part.shut_off_head))
        if not limits:
            limits.append(
                pumps.highest_tabled_head_m(
                    self.table(pump), pump.part.nominal_voltage, displacement=displacement
                )
            )
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
                Input("zinlet", self.inlet_m(delivery.end), "elevation", f"{delivery.end.tag}, inlet"),
                Input("zpumping level", self.pumping_level_m(suction.start), "elevation", f"{suction.start.tag}, low_water_level"),
                Input("suction losses", self.loss_m(suction, flow, dirty=dirty), "head", "pipes, fittings, filter"),
                Input("delivery losses", self.loss_m(delivery, flow, dirty=dirty), "head", "pipes, fittings, valves"),
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
                Input("V", pump.part.nominal_voltage, "voltage", f"{pump.tag}, catalogue part {pump.part.id}"),
                Input("H", self.total_head_m(pump, point.flow_m3_s, dirty=False), "head", "total head at this flow"),
            ),
            "pump data sheet, linear between its rows" + (" (beyond its rows)" if point.beyond_table else ""),
        )

    @once
    def vacuum(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.suction(pump), self.operating(pump, dirty).flow_m3_s
        lift = pump.spec.elevation - self.pumping_level_m(way.start)
        losses, density = self.loss_m(way, flow, dirty=dirty), self.density_kg_m3(way.start)
        return Calculation(
            "vacuum at the pump inlet, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "pvac",
            density * G_M_S2 * (lift + losses),
            "pressure",
            "ρ · g · (lift + losses)",
            (
                Input("lift", lift, "head", f"{pump.tag} elevation over {way.start.tag} low water level"),
                Input("losses", losses, "head", "pipes, foot valve, fittings, filter"),
                Input("ρ", density, "number", "water density, Kell 1975"),
            ),
            "hydrostatics",
        )

    @once
    def npsh_available(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.suction(pump), self.operating(pump, dirty).flow_m3_s
        kelvin = self.water_k(way.start)
        lift = pump.spec.elevation - self.pumping_level_m(way.start)
        losses, density = self.loss_m(way, flow, dirty=dirty), self.density_kg_m3(way.start)
        vapour = water.vapour_pressure_pa(kelvin)
        value = (self.atmosphere_pa - vapour) / (density * G_M_S2) - lift - losses
        return Calculation(
            "NPSH available, filter " + ("dirty" if dirty else "clean"),
            pump.tag,
            "NPSHa",
            value,
            "head",
            "(patm - pv) / (ρ · g) - lift - losses",
            (
                Input("patm", self.atmosphere_pa, "pressure", "[site] elevation, standard atmosphere ISO 2533"),
                Input("pv", vapour, "pressure", f"{way.start.tag} water_temperature, IAPWS saturation equation"),
                Input("lift", lift, "head", f"{pump.tag} elevation over {way.start.tag} low water level"),
                Input("losses", losses, "head", "pipes, foot valve, fittings, filter"),
            ),
            "definition of NPSH, ISO 9906 / ANSI/HI 9.6.1",
        )

    @once
    def discharge(self, pump: Device, dirty: bool) -> Calculation:
        way, flow = self.delivery(pump), self.operating(pump, dirty).flow_m3_s
        density = self.density_kg_m3(self.suction(pump).start)
        lift, losses = self.inlet_m(way.end) - pump.spec.elevation, self.loss_m(way, flow, dirty=dirty)
        return Calculation(
            "pressure at the pump outlet",
            pump.tag,
            "p",
            density * G_M_S2 * (lift + losses),
            "pressure",
            "ρ · g · (lift + losses)",
            (
                Input("lift", lift, "head", f"{way.end.tag} inlet over {pump.tag} elevation"),
                Input("losses", losses, "head", "pipes, fittings, valves"),
            ),
            "hydrostatics; friction by Darcy-Weisbach",
        )

    def all_calculations(self) -> tuple[Calculation, ...]:
        """Every figure that the calculation sheet prints; what lacks a datum is left to the findings."""
        made: list[Calculation] = []
        for pump in self.pumps:
            for work in (
                lambda p: self.flow(p),
                lambda p: self.total_head(p, False),
                lambda p: self.total_head(p, True),
                lambda p: self.vacuum(p, False),
                lambda p: self.vacuum(p, True),
                lambda p: self.npsh_available(p, False),
                lambda p: self.npsh_available(p, True),
                lambda p: self.discharge(p, True),
            ):
                try:
                    made.append(work(pump))
                except (MissingDatum, LookupError, ValueError):
                    continue
        return tuple(made)


__all__ = ["Path", "Step", "Water", "Way"]
