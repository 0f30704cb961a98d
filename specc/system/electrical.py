"""What the electrical side computes to: voltages, currents and ampacities, each with its trace."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from specc.calculation import Calculation, Input
from specc.physics import panels, protection
from specc.physics.constants import ZERO_CELSIUS_K
from specc.rulebooks import NotInTable, Rulebook, Sourced
from specc.system.connect import Connected
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Conductor, Device, Pole, Port
from specc.system.once import once
from specc.system.walk import Branch, Source, Walk

# Strand classes of the catalogue, as the rulebooks name them.
STRANDS = {"solid": "solid", "stranded": "stranded", "fine": "flexible"}


@dataclass
class Electrical:
    """Figures of the electrical side, worked out on demand. Treat as frozen."""

    connected: Connected
    walked: Walk
    book: Rulebook
    _made: dict[Any, Any] = field(default_factory=dict)

    # -- site ------------------------------------------------------------------------------------

    @property
    def coldest_k(self) -> float:
        site = self.connected.description.site
        return float(need(site.coldest_air, "the site's coldest air", ("site",), "coldest_air"))

    def hottest_k(self, run_spec: Any = None) -> float:
        """Hottest air around a run (its own where stated, else the site's) [K]."""
        site = self.connected.description.site
        own = getattr(run_spec, "hottest", None)
        return float(own or need(site.hottest_air, "the site's hottest air", ("site",), "hottest_air"))

    # -- sources ---------------------------------------------------------------------------------

    @once
    def cold_voltage(self, device: Device) -> Calculation:
        """Open-circuit voltage of one array on the coldest morning [V]."""
        part, series = device.part, device.spec.series
        tag = device.tag
        inputs = [
            Input("Ns", series, "number", f"{tag}, series"),
            Input("Voc", part.voc, "voltage", f"{tag}, catalogue part {part.id}"),
            Input("Tmin", self.coldest_k, "temperature", "[site] coldest_air"),
        ]
        if part.voc_coefficient is not None:
            value = panels.cold_voltage_v(part.voc, series, part.voc_coefficient, self.coldest_k)
            inputs.append(
                Input("β", part.voc_coefficient, "voltage_coefficient", f"{tag}, catalogue part {part.id}")
            )
            formula = "Ns · Voc · [1 + β · (Tmin - 25 °C)]"
            source = "module label coefficient; definition of the temperature coefficient, IEC 60891"
        else:
            factor = self.book.cold_voltage_factor(self.coldest_k)
            value = panels.cold_voltage_by_factor_v(part.voc, series, factor.value)
            inputs.append(Input("k", factor.value, "number", factor.source))
            formula, source = "Ns · Voc · k", factor.source
        return Calculation(
            "open-circuit voltage, coldest morning",
            tag,
            "Vmax",
            value,
            "voltage",
            formula,
            tuple(inputs),
            source,
        )

    @once
    def hot_voltage(self, device: Device) -> Calculation:
        """Voltage at maximum power of one array in full sun on the hottest day [V]."""
        part, tag = device.part, device.tag
        noct_k = float(need_part(device, "noct", "nominal operating cell temperature"))
        coefficient = float(need_part(device, "vmp_coefficient", "temperature coefficient of Vmp"))
        air_k, cell_k = self._hot_air_k(device), self._hot_cell_k(device)
        return Calculation(
            "voltage at maximum power, hottest day",
            tag,
            "Vmp,hot",
            panels.string_voltage_v(part.vmp, device.spec.series, coefficient, cell_k),
            "voltage",
            "Ns · Vmp · [1 + γ · (Tcell - 25 °C)], Tcell = Tmax + (NOCT - 20 °C) · 1000 / 800",
            (
                Input("Ns", device.spec.series, "number", f"{tag}, series"),
                Input("Vmp", part.vmp, "voltage", f"{tag}, catalogue part {part.id}"),
                Input("γ", coefficient, "voltage_coefficient", f"{tag}, catalogue part {part.id}"),
                Input("Tmax", air_k, "temperature", "[site] hottest_air, or the location's own"),
                Input("NOCT", noct_k, "temperature", f"{tag}, catalogue part {part.id}"),
                Input("Tcell", cell_k, "temperature", "worked out here"),
            ),
            "IEC 61215 (NOCT), IEC 60891 (coefficients)",
        )

    def hot_open_v(self, device: Device) -> float:
        """Open-circuit voltage of one array in full sun on the hottest day [V]."""
        part = device.part
        coefficient = float(need_part(device, "voc_coefficient", "temperature coefficient of Voc"))
        cell_k = self._hot_cell_k(device)
        return panels.string_voltage_v(part.voc, device.spec.series, coefficient, cell_k)

    def _hot_cell_k(self, device: Device) -> float:
        noct_k = float(need_part(device, "noct", "nominal operating cell temperature"))
        return panels.cell_temperature_k(self._hot_air_k(device), noct_k)

    def _hot_air_k(self, device: Device) -> float:
        place = self.connected.places.locations.get(device.location or "")
        return float(getattr(place, "hottest_air", None) or self.hottest_k())

    @once
    def highest_voltage(self, source: Source) -> Calculation:
        """The highest voltage that a source can show [V]."""
        if source.kind == "array":
            members = [self.cold_voltage(device) for device in source.devices]
            if len(members) == 1:
                return members[0]
            return Calculation(
                "open-circuit voltage, coldest morning",
                source.tag,
                "Vmax",
                sum(m.value for m in members),
                "voltage",
                "sum over the arrays in series",
                tuple(Input(f"Vmax {m.subject}", m.value, "voltage", m.subject) for m in members),
                "series circuit",
            )
        if source.kind == "battery":
            total = sum(
                d.spec.series * float(need_part(d, "highest_charge_voltage", "highest charge voltage"))
                for d in source.devices
            )
            return Calculation(
                "highest charge voltage",
                source.tag,
                "Vmax",
                total,
                "voltage",
                "Ns · Vcharge",
                tuple(
                    Input("Vcharge", total, "voltage", f"{d.tag}, catalogue part {d.part.id}")
                    for d in source.devices
                ),
                "battery data sheet",
            )
        device = source.ports[0].device
        clamp = getattr(device.spec, "output_clamp", None) or device.part.max_output_voltage
        if device.part.type == "low-voltage disconnect" and self.feeding(device):
            return self._passed_on(device, clamp)
        if clamp is not None:
            return Calculation(
                "highest output voltage",
                device.tag,
                "Vmax",
                clamp,
                "voltage",
                "output clamp",
                (),
                "maker's data",
            )
        # Without a clamp a converter in full sun, unloaded, passes on nearly all that it gets.
        fed = [self.highest_voltage(s) for s in self.feeding(device)]
        if not fed:
            raise MissingDatum(
                f"{device.tag}: highest output voltage (catalogue part {device.part.id}, "
                "key max_output_voltage)",
                device.path + ("part",),
                "max_output_voltage",
            )
        worst = max(fed, key=lambda c: c.value)
        return Calculation(
            "highest output voltage, no clamp",
            device.tag,
            "Vmax",
            worst.value,
            "voltage",
            "as its input: the output has no clamp",
            (Input("Vin", worst.value, "voltage", worst.subject),),
            "maker's data",
        )

    def _passed_on(self, device: Device, limit_v: float | None) -> Calculation:
        """The highest voltage behind a low-voltage disconnect: what feeds it, at most what it stands [V]."""
        fed = max((self.highest_voltage(s) for s in self.feeding(device)), key=lambda c: c.value)
        inputs = [Input("Vin", fed.value, "voltage", fed.subject)]
        if limit_v is not None:
            told = f"{device.tag}, catalogue part {device.part.id}"
            inputs.append(Input("Vlimit", limit_v, "voltage", told))
        return Calculation(
            "highest output voltage",
            device.tag,
            "Vmax",
            min(i.value for i in inputs),
            "voltage",
            "as its input, at most its own limit",
            tuple(inputs),
            "it only switches what feeds it",
        )

    def feeding(self, device: Device) -> tuple[Source, ...]:
        """Sources on the input ports of a device."""
        ports = [p for p in self.connected.ports_of(device) if p.takes]
        found = [s for port in ports for s in self.walked.feeds(port) if device not in s.devices]
        return tuple(dict.fromkeys(found))

    @once
    def upstream(self, load: Port) -> tuple[Source, ...]:
        """Every source that a load's energy comes from, the nearest first, through all controllers."""
        found: dict[Source, None] = {}
        waiting = list(self.walked.feeds(load))
        while waiting:
            source = waiting.pop(0)
            if source in found:
                continue
            found[source] = None
            if source.kind == "converter":
                waiting += self.feeding(source.ports[0].device)
        return tuple(found)

    def fed_by(self, source: Source) -> tuple[Port, ...]:
        """Loads that hang on a source."""
        return tuple(pair.load for pair in self.walked.pairs if pair.source is source)

    def short_circuit_a(self, source: Source) -> float:
        """Rated short-circuit current of an array source: the weakest of those in series [A]."""
        return float(min(d.part.isc * d.spec.parallel for d in source.devices))

    def rated_current_a(self, source: Source) -> float:
        """Current of an array source at maximum power [A]."""
        return float(min(d.part.imp * d.spec.parallel for d in source.devices))

    @once
    def maximum_current(self, sources: tuple[Source, ...]) -> Calculation:
        """Maximum current of arrays together: factor times the sum of short-circuit currents [A]."""
        factor = self.book.factor("pv_maximum_current")
        total = sum(self.short_circuit_a(s) for s in sources)
        return Calculation(
            "maximum current of the array",
            ", ".join(s.tag for s in sources),
            "Imax",
            panels.maximum_current_a(total, factor.value),
            "current",
            f"{factor.value:g} · ΣIsc",
            (Input("ΣIsc", total, "current", ", ".join(f"{s.tag}, parallel × Isc" for s in sources)),),
            factor.source,
        )

    def strings(self, source: Source) -> int:
        """Strings in parallel inside one array source."""
        return int(min(d.spec.parallel for d in source.devices))

    # -- branches --------------------------------------------------------------------------------

    def branch(self, what: Conductor | Pole) -> Branch | None:
        return self.walked.branch(what)

    def crossing_sources(self, branch: Branch) -> tuple[Source, ...]:
        """Sources that feed something through the branch; else every source of its net."""
        found = [pair.source for pair in self.walked.crossings(branch)]
        if not found:
            found = [*self.walked.sources_on(branch, "start"), *self.walked.sources_on(branch, "end")]
        return tuple(dict.fromkeys(found))

    def voltage_of(self, branch: Branch) -> Calculation:
        """The highest voltage that a branch sees [V]; raises ``MissingDatum`` where a source has no data."""
        found = [self.highest_voltage(s) for s in self.crossing_sources(branch)]
        if not found:
            return Calculation(
                "highest voltage", branch.net, "Vmax", 0.0, "voltage", "on no source", (), "wiring"
            )
        return max(found, key=lambda c: c.value)

    def sources_at(self, *terminals: str) -> tuple[Source, ...]:
        """Sources that end on the nets of these terminals."""
        return self.walked.sources_at(*terminals)

    def sources_on(self, what: Conductor | Pole) -> tuple[Source, ...]:
        """Sources whose voltage a conductor or pole sees; an open pole sees those on either side."""
        branch = self.walked.branch(what)
        if branch is not None:
            return self.crossing_sources(branch)
        return self.sources_at(what.a, what.b) if isinstance(what, Pole) else ()

    def highest_of(self, sources: Iterable[Source]) -> Calculation:
        """The highest voltage that any of one or more sources can show [V]."""
        return max((self.highest_voltage(s) for s in sources), key=lambda c: c.value)

    def arrays_through(self, branch: Branch) -> tuple[Source, ...]:
        """Arrays whose current passes the branch on its way to a load."""
        pairs = self.walked.crossings(branch)
        return tuple(dict.fromkeys(p.source for p in pairs if p.source.kind == "array"))

    def converters_through(self, branch: Branch) -> tuple[Source, ...]:
        pairs = self.walked.crossings(branch)
        return tuple(dict.fromkeys(p.source for p in pairs if p.source.kind == "converter"))

    def batteries_through(self, branch: Branch) -> tuple[Source, ...]:
        pairs = self.walked.crossings(branch)
        return tuple(dict.fromkeys(p.source for p in pairs if p.source.kind == "battery"))

    def motors_through(self, branch: Branch) -> tuple[Device, ...]:
        """Pumps fed through the branch."""
        pairs = self.walked.crossings(branch)
        return tuple(dict.fromkeys(p.load.device for p in pairs if p.load.device.kind == "pump"))

    def circuit(self, branch: Branch) -> str:
        """ "pv", "converter output", "battery", "control" or "idle": what the branch belongs to."""
        if self.arrays_through(branch):
            return "pv"
        if self.converters_through(branch):
            return "converter output"
        if self.batteries_through(branch):
            return "battery"
        return "control" if self.is_control(branch.net) else "idle"

    def is_control(self, net: str) -> bool:
        """Does the net end on the remote terminals of a controller, and on no source?"""
        members = self.walked.members.get(net, ())
        terminals = self.connected.terminals
        return net not in self.walked.potentials and any(terminals[t].role == "control" for t in members)

    def output_current_a(self, device: Device) -> float:
        """Continuous output current of a controller [A]."""
        return float(need_part(device, "output_current", "continuous output current"))

    def motor_current_a(self, device: Device) -> float:
        """Rated current of a pump motor, from its label [A]."""
        return float(need_part(device, "rated_current", "rated motor current"))

    def only_switches(self, source: Source) -> bool:
        """Does an output only switch a battery through, and limit no current of its own?

        A low-voltage disconnect does, and so do the load terminals of a charge controller, beside its
        battery terminals that take and give.
        """
        port, device = source.ports[0], source.ports[0].device
        if source.kind != "converter" or device.part.type == "current booster":
            return False
        if device.part.type == "low-voltage disconnect":
            return True
        beside = (p for p in self.connected.ports_of(device) if p is not port)
        return not port.takes and any(p.takes and p.gives for p in beside)

    @once
    def given_current(self, source: Source) -> tuple[Input, ...]:
        """What a controller's output gives for hours: its rating, or its loads where it only switches [A]."""
        device = source.ports[0].device
        if self.only_switches(source):
            return self._drawn(self.fed_by(source))
        told = f"{device.tag}, catalogue part {device.part.id}"
        return (Input(f"Iout {device.tag}", self.output_current_a(device), "current", told),)

    def given_current_a(self, source: Source) -> float:
        """The sum of ``given_current`` [A]."""
        return sum(i.value for i in self.given_current(source))

    def _drawn(self, loads: Iterable[Port]) -> tuple[Input, ...]:
        """Currents that loads draw for hours, seen through what only switches them [A]."""
        found: dict[Input, None] = {}
        seen: set[Port] = set()
        waiting = list(loads)
        while waiting:
            load = waiting.pop(0)
            device = load.device
            if load in seen:
                continue
            seen.add(load)
            if device.kind == "pump":
                label = f"{device.tag}, catalogue part {device.part.id}"
                found[Input(f"Im {device.tag}", self.motor_current_a(device), "current", label)] = None
            elif device.kind == "controller" and device.part.type == "current booster":
                amperes = self.input_current_a(device, load)
                found[Input(f"Iin {device.tag}", amperes, "current", f"{device.tag}, at rated output")] = None
            elif device.kind == "controller":
                outputs = (s for s in self.walked.sources if s.ports[0].device is device)
                waiting += [p for s in outputs if self.only_switches(s) for p in self.fed_by(s)]
        return tuple(found)

    def input_current_a(self, device: Device, port: Port) -> float:
        """Current that a controller draws from a battery for its outputs [A].

        A booster at its rated output; what only switches draws what its loads draw, and a charge
        controller draws nothing from the battery that it charges but for its load terminals.
        """
        if device.part.type != "current booster":
            return sum(i.value for i in self._drawn((port,)))
        if not any(p.gives for p in self.connected.ports_of(device)):
            return 0.0
        out_v = float(need_part(device, "nominal_output", "nominal output voltage"))
        efficiency = float(need_part(device, "efficiency", "efficiency"))
        in_v = max(abs(self.walked.voltage(port.plus, port.minus) or 0.0), 1e-9)
        return self.output_current_a(device) * out_v / (in_v * efficiency)

    @once
    def continuous_current(self, what: Conductor | Pole) -> Calculation | None:
        """The largest current that flows for hours through a conductor or pole; None where none does [A].

        Arrays count with their maximum current, converters with their rated output, motors with
        their label current. Each source counts once; loads on both sides are taken in turn.
        """
        branch = self.walked.branch(what)
        if branch is None:
            return None
        options = []
        arrays = self.arrays_through(branch)
        if arrays:
            options.append(self.maximum_current(self._one_way(branch, arrays)))
        converters = self.converters_through(branch)
        if converters:
            given = tuple(i for s in converters for i in self.given_current(s))
            options.append(
                Calculation(
                    "output current of a controller",
                    ", ".join(s.tag for s in converters),
                    "Iout",
                    sum(i.value for i in given),
                    "current",
                    "continuous output of the controller, or what its loads draw where it only switches",
                    given,
                    self.book.factor("converter_output_conductor").source,
                )
            )
        if self.batteries_through(branch):
            options.append(self.load_current(branch))
        return max(options, key=lambda c: c.value) if options else None

    def _one_way(self, branch: Branch, sources: tuple[Source, ...]) -> tuple[Source, ...]:
        """Of sources on both sides of a branch, those of the side that sends more through it."""
        sides: dict[str, list[Source]] = {"start": [], "end": []}
        for side in sides:
            here = self.walked.sources_on(branch, side)
            sides[side] = [s for s in sources if s in here]
        if not branch.sole:
            return sources
        return tuple(max(sides.values(), key=lambda group: sum(self.short_circuit_a(s) for s in group)))

    def load_current(self, branch: Branch) -> Calculation:
        """What the loads draw from batteries through a branch [A]."""
        crossings = self.walked.crossings(branch)
        inputs = self._drawn(pair.load for pair in crossings if pair.source.kind == "battery")
        return Calculation(
            "load current from the battery",
            branch.net,
            "Iload",
            sum(i.value for i in inputs),
            "current",
            "sum of the loads",
            inputs,
            "makers' data",
        )

    @once
    def design_current(self, what: Conductor | Pole) -> Calculation | None:
        """The current for which drop is worked out: array at maximum power, motor at its label [A]."""
        branch = self.walked.branch(what)
        if branch is None:
            return None
        motors = self.motors_through(branch)
        if motors:
            return Calculation(
                "motor current",
                ", ".join(m.tag for m in motors),
                "Im",
                sum(self.motor_current_a(m) for m in motors),
                "current",
                "label current" if len(motors) == 1 else "sum of the label currents",
                tuple(Input("Im", self.motor_current_a(m), "current", f"{m.tag}, catalogue") for m in motors),
                self.book.factor("motor_conductor").source,
            )
        arrays = self.arrays_through(branch)
        if arrays:
            counted = self._one_way(branch, arrays)
            return Calculation(
                "array current at maximum power",
                ", ".join(s.tag for s in counted),
                "Imp",
                sum(self.rated_current_a(s) for s in counted),
                "current",
                "Np · Imp",
                tuple(
                    Input("Np · Imp", self.rated_current_a(s), "current", f"{s.tag}, catalogue")
                    for s in counted
                ),
                "module data sheet at standard test conditions",
            )
        return self.continuous_current(what)

    # -- conductors ------------------------------------------------------------------------------

    def insulation_c(self, conductor: Conductor) -> int:
        """Insulation temperature of a conductor [degC], for the ampacity column."""
        kelvin = conductor.wire.insulation_temperature
        if kelvin is None:
            raise MissingDatum(
                f"{conductor.tag}: insulation temperature (catalogue part {conductor.wire.id})",
                conductor.run.path + ("wire",),
                "insulation_temperature",
            )
        return round(float(kelvin) - ZERO_CELSIUS_K)

    def installation(self, conductor: Conductor) -> str:
        """How a conductor is laid, as the rulebook's ampacity tables name it."""
        run = conductor.run
        if run.raceway is not None:
            return "buried raceway" if run.raceway.spec.buried else "raceway"
        return {"direct buried": "direct buried", "in enclosure": "raceway"}.get(
            run.spec.laid or "", "free air"
        )

    def loaded_in_raceway(self, conductor: Conductor) -> int:
        """Current-carrying conductors that share the conductor's raceway (its run, where it has none)."""
        raceway = conductor.run.raceway
        runs = (conductor.run,) if raceway is None else self.connected.runs_in(raceway)
        return sum(1 for run in runs for c in run.conductors if self.carries_current(c))

    def carries_current(self, conductor: Conductor) -> bool:
        """Does a conductor count as current-carrying (grounding and control loops do not)?"""
        branch = self.walked.branch(conductor)
        return branch is not None and self.circuit(branch) not in ("control", "idle")

    @once
    def corrected_ampacity(self, conductor: Conductor) -> Calculation:
        """Ampacity after correction for ambient and grouping, from the insulation column [A]."""
        ambient_k = self.hottest_k(conductor.run.spec)
        if conductor.run.raceway is not None and conductor.run.raceway.spec.on_roof:
            ambient_k += self.book.rooftop_adder_k(0.0).value
        count = max(self.loaded_in_raceway(conductor), 1)
        column = self.insulation_c(conductor)
        found = self.book.corrected_ampacity_a(
            conductor.size,
            conductor.wire.material,
            column,
            ambient_k,
            count,
            self.installation(conductor),
            conductor.length_m,
        )
        return Calculation(
            "corrected ampacity",
            conductor.tag,
            "Iz",
            found.value,
            "current",
            f"Itable({column} °C column) · f(ambient) · f(grouping)",
            (
                Input("Itable", found.table_a, "current", f"{conductor.size}, {found.source}"),
                Input("Tambient", ambient_k, "temperature", "[site] hottest_air, or the run's own"),
                Input("f(ambient)", found.ambient_factor, "number", found.source),
                Input("loaded conductors", count, "number", "counted in the raceway"),
                Input("f(grouping)", found.grouping_factor, "number", found.source),
            ),
            found.source,
        )

    @once
    def terminal_temperature_k(self, conductor: Conductor) -> float:
        """The lowest marked temperature of the two terminals of a conductor; unmarked: the rulebook's [K]."""
        marks = []
        for end in (conductor.start, conductor.end):
            wire = self.connected.terminals[end].wire
            marked = getattr(wire, "temperature", None)
            marks.append(marked if marked is not None else self._unmarked_k(conductor))
        return float(min(marks))

    def _unmarked_k(self, conductor: Conductor) -> float:
        current = self.continuous_current(conductor)
        return self.book.default_terminal_c(current.value if current else 0.0).value + ZERO_CELSIUS_K

    @once
    def terminal_ampacity(self, conductor: Conductor) -> Calculation:
        """Ampacity that the terminals allow: the column of the lower of the two [A]."""
        terminal_k = self.terminal_temperature_k(conductor)
        column = min(round(terminal_k - ZERO_CELSIUS_K), self.insulation_c(conductor))
        found, formula = self._column_ampacity(conductor, column)
        return Calculation(
            "ampacity at the terminals",
            conductor.tag,
            "It",
            found.value,
            "current",
            formula,
            (Input("Tterminal", terminal_k, "rating_temperature", f"the lower end, {conductor.size}"),),
            found.source,
        )

    def _column_ampacity(self, conductor: Conductor, column: int) -> tuple[Sourced[float], str]:
        """Table ampacity for a terminal temperature, and how it was found.

        A size too small for the table takes the limit that the book sets on small conductors.
        """
        size, material = conductor.size, conductor.wire.material
        try:
            found = self.book.termination_ampacity_a(size, material, column)
        except NotInTable:
            limit = self.book.small_conductor_limit_a(size, material)
            if limit is None:
                raise
            return limit, "limit on small conductors (the size is not in the table)"
        if column < self.book.coolest_column_c(material):
            coolest, base = self.book.coolest_column_c(material), self.book.termination_base_c()
            return found, (
                f"worked out: table column for {coolest:g} °C · "
                f"√(({column} - {base:g}) / ({coolest:g} - {base:g}))"
            )
        return found, f"table column for {column} °C, the lower of terminals and insulation"

    @once
    def resistance_ohm(self, conductor: Conductor) -> float:
        """Resistance of one conductor, end to end, hot [ohm]."""
        found = self.book.drop_resistance_ohm_per_m(
            conductor.size, conductor.wire.material, STRANDS[conductor.wire.strand]
        )
        return float(found.value * conductor.length_m)

    # -- protection ------------------------------------------------------------------------------

    @once
    def protective_poles(self) -> tuple[Pole, ...]:
        """Poles of fuses and breakers."""
        return tuple(p for p in self.connected.poles if p.device.kind in ("fuse", "breaker"))

    def source_ends(self, source: Source, net: str) -> tuple[str, ...]:
        """Terminals by which a source ends on a net."""
        ends = [end for port in source.ports for end in (port.plus, port.minus)]
        return tuple(end for end in ends if self.walked.net(end) == net)

    @once
    def ahead(self, what: Conductor | Pole, source: Source) -> tuple[Pole, ...]:
        """Fuses and breakers between a source and a conductor (or pole), the nearest to the source first."""
        branch = self.walked.branch(what)
        if branch is None:
            return ()
        ways = []
        for end in self.source_ends(source, branch.net):
            for target in (branch.start, branch.end):
                way = self.walked.paths(end, target)
                if what not in way:
                    ways.append((end, way))
        if not ways:
            return ()
        _, shortest = min(ways, key=lambda item: len(item[1]))
        return tuple(p for p in shortest if isinstance(p, Pole) and p.device.kind in ("fuse", "breaker"))

    def guards(self, conductor: Conductor) -> Pole | None:
        """The overcurrent device that protects a conductor: the smallest on the way from any of its sources.

        None where a source reaches it unprotected.
        """
        branch = self.walked.branch(conductor)
        if branch is None:
            return None
        nearest = []
        for source in self.crossing_sources(branch):
            found = self.ahead(conductor, source)
            if not found:
                return None
            nearest.append(min(found, key=lambda p: p.device.part.rating))
        return max(nearest, key=lambda p: p.device.part.rating) if nearest else None

    # -- checks that several rules share -----------------------------------------------------------

    def devices_with_poles(self) -> tuple[Device, ...]:
        return tuple(dict.fromkeys(p.device for p in self.connected.poles))

    def battery_fault_current(self, source: Source, cable_ohm: float) -> Calculation:
        """Prospective current of a battery through a cable [A]."""
        nominal = sum(float(d.part.nominal) * d.spec.series for d in source.devices)
        inner = sum(
            float(need_part(d, "internal_resistance", "internal resistance"))
            * d.spec.series
            / d.spec.parallel
            for d in source.devices
        )
        return Calculation(
            "prospective fault current",
            source.tag,
            "Ik",
            protection.battery_fault_current_a(nominal, inner, cable_ohm),
            "current",
            "1.05 · Un / (Rb + Rc)",
            (
                Input("Un", nominal, "voltage", f"{source.tag}, catalogue"),
                Input("Rb", inner, "resistance", f"{source.tag}, catalogue"),
                Input("Rc", cable_ohm, "resistance", "cable to the device, both ways, cold"),
            ),
            "IEC 61660-1",
        )

    def all_calculations(self) -> Iterable[Calculation]:
        """Every figure that the calculation sheet prints; what lacks a datum is left to the findings."""
        for source in self.walked.sources:
            yield from _try(self.highest_voltage, source)
            if source.kind == "array":
                yield from _try(self.maximum_current, (source,))
        for conductor in self.connected.conductors:
            if self.carries_current(conductor):
                yield from _try(self.design_current, conductor)
                yield from _try(self.continuous_current, conductor)
                yield from _try(self.corrected_ampacity, conductor)
                yield from _try(self.terminal_ampacity, conductor)


def _try(work: Any, *arguments: Any) -> Iterable[Calculation]:
    try:
        made = work(*arguments)
    except (MissingDatum, LookupError):
        return ()
    return () if made is None else (made,)
