"""The label schedule: what is printed on each label with its computed values, where it hangs, and why."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from specc.documents.earthing_words import joint_words, system_earthing, volts_to_earth
from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system import guarding, raceways
from specc.system.charging import bereft, opened_first
from specc.system.earthing import bonds
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device
from specc.system.roles import role_of
from specc.system.system import System
from specc.system.walk import Crossing, Source, Walk

NOT_KNOWN = "not known"
MARKING_DISTANCE_M = 3.0  # of array circuits on or in a building: common practice, 10 ft in the US

COLUMNS = (
    Column("label", "Label"),
    Column("where", "Where"),
    Column("text", "Text"),
    Column("clause", "Clause"),
    Column("count", "Count", "count", "right"),
)

# Clause of each label by rulebook: from memory, unverified.
CLAUSES = {
    "array disconnect": {"us-2023": "690.13(B), 690.7(D)", "iec": "62446-1; 60364-7-712 712.514"},
    "both sides live": {"us-2023": "690.13(B)", "iec": "60364-7-712 712.514"},
    "array circuit": {"us-2023": "690.31(D)", "iec": "60364-7-712 712.514"},
    "not load-break": {"us-2023": "690.33(D)", "iec": "62852"},
    "fuse replacement": {"us-2023": "110.3(B)", "iec": "60269"},
    "controller data": {"us-2023": "110.22", "iec": "62109-1"},
    "system earthing": {"us-2023": "250.167", "iec": "60364-1"},
    "functional earth": {"us-2023": "690.41(B), 690.42", "iec": "62548-1"},
    "motor disconnect": {"us-2023": "110.22, 430.102", "iec": "60204-1"},
    "starts by itself": {"us-2023": "430.43", "iec": "60204-1"},
    "battery disconnect": {"us-2023": "480.7, 706.15", "iec": "62485-2"},
    "building supply": {"us-2023": "710.10", "iec": "60364-7-712 712.514"},
    "conductor tag": {"us-2023": "690.31(B)", "iec": "60445, 62491"},
    "confined space": {"us-2023": "29 CFR 1910.146", "iec": "local law"},
    "not for drinking": {"us-2023": "plumbing code", "iec": "EN 806"},
    "relief valve": {"us-2023": "common practice", "iec": "ISO 4126"},
}
PRACTICE = "common practice"
# Words that a rulebook fixes for conductors, raceways and boxes of the array; from memory, unverified:
# NEC 2023 690.31(D)(2) "PHOTOVOLTAIC POWER SOURCE" or "SOLAR PV DC CIRCUIT".
CIRCUIT_WORDS = {"us-2023": "SOLAR PV DC CIRCUIT"}
OPEN_WATER = ("pond", "stream")  # air blows over it, and a bank is no opening


@dataclass(frozen=True)
class Label:
    """One label, or ``count`` alike. ``name`` is what the catalogue's labels suit."""

    name: str
    tag: str
    text: str
    count: int = 1


def label_schedule(system: System) -> Table:
    """Every label of the job, with its words and the clause that asks for it."""
    labels = labels_of(system)
    rows: tuple[dict[str, Cell], ...] = tuple(
        {
            "label": label.name,
            "where": label.tag,
            "text": label.text,
            "clause": CLAUSES.get(label.name, {}).get(system.book.id, PRACTICE),
            "count": label.count,
        }
        for label in labels
    )
    return Table(
        "label-schedule",
        "Label schedule",
        COLUMNS,
        rows,
        (
            "Where the adopted code fixes the words of a label, use its words with the values given here.",
            "Letters that outlast sun and water; no handwriting where the code says so.",
            f'"{NOT_KNOWN}": a datum is missing, see the findings. Do not hang the label without it.',
        ),
        totals={"label": "Total", "count": sum(label.count for label in labels)},
    )


def labels_of(system: System) -> tuple[Label, ...]:
    """The labels that a job must carry: electrical ones by device, then water, place and conductors."""
    return tuple(_Labels(system).all())


class _Labels:
    """Works the labels out one kind after the other."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.electrical = system.electrical

    def all(self) -> Iterator[Label]:
        disconnects = list(self._disconnects())
        yield from disconnects
        if disconnects:
            yield Label("system earthing", disconnects[0].tag, self._earthing_text())
        yield from self._joints()
        for device in self.system.devices.values():
            yield from self._of(device)
        yield from self._circuit_marks()
        yield from self._levels()
        yield from self._places()
        yield from self._conductors()

    def _earthing_text(self) -> str:
        said = str(self.system.job.earthing)
        words = system_earthing(self.system)
        return f"DC SYSTEM {said.upper()}{words.removeprefix(said)}."

    def _joints(self) -> Iterator[Label]:
        """At each device of a functional earth: what it means that it has opened."""
        volts = volts_to_earth(self.system)
        most = self.system.show(volts, "voltage", 3) if volts is not None else NOT_KNOWN
        for bond in bonds(self.system):
            if bond.functional and bond.through is not None:
                yield Label(
                    "functional earth",
                    bond.through.device.tag,
                    f"{bond.tag}: EARTH OF THE DC SYSTEM, {joint_words(self.system, bond.through)}. If a "
                    "ground fault is shown or this has opened, conductors at earth in normal work may be live"
                    f" to it: up to {most} DC.",
                )

    # -- words for values --------------------------------------------------------------------------

    def say(self, work: Callable[[], float], dimension: str, digits: int = 3) -> str:
        """A value with its unit, or that it is not known."""
        try:
            return self.system.show(float(work()), dimension, digits)
        except (MissingDatum, NotInTable):
            return NOT_KNOWN

    def part(self, device: Device, key: str, dimension: str, digits: int = 3) -> str:
        """A value of a device's catalogue part."""
        return self.say(lambda: need_part(device, key, key), dimension, digits)

    def spec(self, device: Device, key: str, dimension: str, digits: int = 3) -> str:
        """A value that the spec gives of a device."""
        return self.say(lambda: need(getattr(device.spec, key), key, device.path, key), dimension, digits)

    def volts(self, sources: Iterable[Source]) -> str:
        """The highest voltage of these sources."""
        return self.say(lambda: self.electrical.highest_of(sources).value, "voltage")

    # -- electrical --------------------------------------------------------------------------------

    def _pairs(self, device: Device) -> tuple[Crossing, ...]:
        found = {p for pole in self.system.poles_of(device) for p in guarding.feeds(self.system, pole)}
        return tuple(pair for pair in self.system.walked.pairs if pair in found)

    def _disconnects(self) -> Iterator[Label]:
        for device in self.system.of_kind("isolator", "breaker"):
            pairs = self._pairs(device)
            arrays, batteries = (
                tuple(dict.fromkeys(p.source for p in pairs if p.source.kind == kind))
                for kind in ("array", "battery")
            )
            if arrays:
                amperes = self.say(lambda a=arrays: self.electrical.maximum_current(a).value, "current")  # type: ignore[misc]
                yield Label(
                    "array disconnect",
                    device.tag,
                    f"PV DISCONNECT {device.tag}. Highest voltage {self.volts(arrays)} DC, "
                    f"highest current {amperes} DC.",
                )
            for battery in batteries:
                yield Label("battery disconnect", device.tag, self._battery_text(device, battery))
            for motor in dict.fromkeys(p.load.device for p in pairs if p.load.device.kind == "pump"):
                yield Label(
                    "motor disconnect",
                    device.tag,
                    f"DISCONNECT OF {motor.tag}. {self.part(motor, 'nominal_voltage', 'voltage')} DC, "
                    f"{self.part(motor, 'rated_current', 'current')}. Lock it open before work on the pump.",
                )
            if self._both_sides_live(device):
                yield Label(
                    "both sides live", device.tag, "WARNING. BOTH SIDES MAY BE LIVE WHEN THIS IS OPEN."
                )

    def _both_sides_live(self, device: Device) -> bool:
        """With the device open, does a source still stand with its positive on either side of it?

        Of a device in the negative alone, with its negative.
        """
        poles = self.system.poles_of(device)
        left_open = self.system.in_state(lambda pole: pole.device is not device and pole.clear_closed)
        feeding = [s for s in left_open.sources if s.kind != "converter" or self._fed(left_open, s)]
        sides = [{left_open.net(pole.a) for pole in poles}, {left_open.net(pole.b) for pole in poles}]
        by_plus = [any(source.plus in nets for source in feeding) for nets in sides]
        by_minus = [any(source.minus in nets for source in feeding) for nets in sides]
        return all(by_plus) or (not any(by_plus) and all(by_minus))

    def _fed(self, walked: Walk, converter: Source) -> bool:
        """Does anything feed the controller whose output this is?"""
        device = converter.ports[0].device
        takes = (port for port in self.system.connected.ports if port.device is device and port.takes)
        return any(walked.feeds(port) for port in takes)

    def _battery_text(self, device: Device, battery: Source) -> str:
        nominal = self.say(
            lambda: sum(float(d.part.nominal) * d.spec.series for d in battery.devices), "voltage"
        )
        fault = self.say(lambda: self.electrical.battery_fault_current(battery, 0.0).value, "current")
        return (
            f"BATTERY DISCONNECT {device.tag}. {battery.tag}: {nominal} nominal, "
            f"{self.volts((battery,))} highest, prospective fault current {fault} at its posts. "
            f"Worked out {self.system.job.date.isoformat()}.{self._array_before(device)}"
        )

    def _array_before(self, device: Device) -> str:
        """What is opened before the battery, so that its charge controller is not left on the array alone."""
        if not bereft(self.system, (device,)):
            return ""
        before = " and ".join(d.tag for d in opened_first(self.system, device))
        return f" OPEN {before} FIRST, close it last." if before else " Cover the array first."

    def _of(self, device: Device) -> Iterator[Label]:
        match device.kind:
            case "fuse":
                yield from self._fuse(device)
            case "controller":
                yield Label("controller data", device.tag, self._controller_text(device))
            case "pump":
                yield Label(
                    "starts by itself", device.tag, "THIS PUMP STARTS BY ITSELF. Lock out before work."
                )
                yield Label("pump data", device.tag, self._pump_text(device))
            case "filter":
                yield Label(
                    "starts by itself", device.tag, "THE PUMP STARTS BY ITSELF. Stop it before opening."
                )
            case "valve" if device.part.type == "relief valve":
                setting = self.spec(device, "setting", "pressure")
                yield Label(
                    "relief valve",
                    device.tag,
                    f"RELIEF VALVE. Set at {setting}. Never shut, plug or reset it. "
                    f"Discharges to {device.spec.discharges_to or NOT_KNOWN}.",
                )

    def _fuse(self, device: Device) -> Iterator[Label]:
        part = device.part
        yield Label(
            "fuse replacement",
            device.tag,
            f"{device.tag}. Replace only by class {part.fuse_class}, form {part.form}, "
            f"{self.part(device, 'rating', 'current')}, "
            f"at least {self.part(device, 'dc_voltage', 'voltage')} DC.",
        )
        daylight = any(pair.source.kind == "array" for pair in self._pairs(device))
        yield Label(
            "not load-break",
            device.tag,
            "DO NOT OPEN UNDER LOAD." + (" Live whenever there is daylight." if daylight else ""),
        )
        for battery in dict.fromkeys(p.source for p in self._pairs(device) if p.source.kind == "battery"):
            if not any(
                p.source is battery
                for d in self.system.of_kind("isolator", "breaker")
                for p in self._pairs(d)
            ):
                yield Label("battery disconnect", device.tag, self._battery_text(device, battery))

    def _controller_text(self, device: Device) -> str:
        clamp = getattr(device.spec, "output_clamp", None)
        highest = (
            self.system.show(clamp, "voltage", 3)
            if clamp is not None
            else self.part(device, "max_output_voltage", "voltage")
        )
        return (
            f"{device.tag}, {device.part.type}. "
            f"Input at most {self.part(device, 'max_input_voltage', 'voltage')}, "
            f"{self.part(device, 'max_input_current', 'current')}. Output at most {highest}, "
            f"{self.part(device, 'output_current', 'current')}. {self._wait(device)}"
        )

    def _wait(self, device: Device) -> str:
        if device.part.wait_time == 0.0:
            return "Dead as soon as it is switched off."
        return f"After switching off wait {self.part(device, 'wait_time', 'short_time')} before touching it."

    def _circuit_marks(self) -> Iterator[Label]:
        """Raceways and boxes with conductors of an array; along a raceway on a building every few metres."""
        array = {
            c.tag
            for c in self.system.conductors
            if role_of(self.system.connected, self.system.walked, c).kind == "array"
        }
        text = f"{CIRCUIT_WORDS.get(self.system.book.id, 'PV CIRCUIT')}. LIVE WHENEVER THERE IS DAYLIGHT."
        for raceway in self.system.of_kind("raceways"):
            if any(c.tag in array for c in raceways.inside(self.system, raceway)):
                place = self.system.place_of(raceway)
                on_building = raceway.spec.on_roof or bool(place is not None and place.on_building)
                count = math.ceil(raceway.spec.length / MARKING_DISTANCE_M) if on_building else 1
                yield Label("array circuit", raceway.tag, text, max(1, count))
        for box in self.system.of_kind("enclosure"):
            held = {*box.spec.holds, box.tag}
            ends = (
                self.system.terminal(end).device.tag
                for c in self.system.conductors
                if c.tag in array
                for end in (c.start, c.end)
            )
            if any(tag in held for tag in ends):
                yield Label("array circuit", box.tag, text)

    # -- water and places --------------------------------------------------------------------------

    def _pump_text(self, pump: Device) -> str:
        water, system = self.system.water, self.system
        return (
            f"{pump.tag}. Flow {self.say(lambda: water.flow(pump).value, 'flow')} at a head of "
            f"{self.say(lambda: water.total_head(pump, False).value, 'head')}, with "
            f"{system.show(pump.part.nominal_voltage, 'voltage', 3)} at the motor. "
            f"{self._suction_text(pump)}. "
            "Discharge pressure "
            f"{self.say(lambda: water.discharge(pump, False).value, 'pressure')}. "
            f"{system.show(pump.part.nominal_voltage, 'voltage', 3)} DC, "
            f"{self.part(pump, 'rated_current', 'current')}."
        )

    def _suction_text(self, pump: Device) -> str:
        """The vacuum that a gauge at the inlet shows, or the pressure where the water runs to the pump."""
        words = []
        for value in (self._vacuum_pa(pump, False), self._vacuum_pa(pump, True)):
            if value is not None:
                kind = "pressure" if value < 0.0 else "vacuum"
                words.append(f"{kind} {self.system.show(abs(value), kind, 3)}")
        if not words:
            return f"Suction vacuum {NOT_KNOWN}"
        if len(words) == 1 or words[0] == words[1]:
            return f"Suction {words[0]}"
        return f"Suction {words[0]} clean, {words[1].removeprefix('vacuum ')} with a dirty filter"

    def _vacuum_pa(self, pump: Device, dirty: bool) -> float | None:
        try:
            return float(self.system.water.vacuum(pump, dirty).value)
        except (MissingDatum, NotInTable):
            return None

    def _levels(self) -> Iterator[Label]:
        switches = [d for d in self.system.of_kind("switch") if d.part.senses == "level"]
        full = [d.tag for d in switches if d.spec.guards == "tank full"]
        for tank in (d for d in self.system.devices.values() if d.table == "tank" and full):
            yield Label(
                "tank levels",
                tank.tag,
                f"{', '.join(full)} stops the pump "
                f"{self.spec(tank, 'stop_below_overflow', 'short_length')} below the overflow; "
                f"it starts again {self.spec(tank, 'float_band', 'short_length')} lower.",
            )
        for device in switches:
            if device.spec.guards == "source low":
                yield Label(
                    "well level", device.tag, f"{device.tag} stops the pump {self._where_it_stops(device)}."
                )

    def _sources_of(self, pump: Device) -> tuple[Device, ...]:
        try:
            return tuple(way.start for way in self.system.water.suctions(pump))
        except MissingDatum:
            return ()

    def _is_confined(self, device: Device) -> bool:
        """A well, spring box, cistern or tank that a person can get into and air does not get through."""
        if device.table == "source":
            return device.spec.kind not in OPEN_WATER
        return device.table == "tank" and not getattr(device.part, "open_top", False)

    def _where_it_stops(self, switch: Device) -> str:
        """Measured from the rim, as with a tape, where the job tells; else by its elevation alone."""
        level = f"at level {self.spec(switch, 'acts_at', 'elevation')}"
        wells = [d for d in self.system.devices.values() if d.table == "source"]
        near = [d for d in wells if d.location == switch.location] if len(wells) > 1 else wells
        rim = near[0].spec.rim if len(near) == 1 else None
        if rim is None or switch.spec.acts_at is None or rim <= switch.spec.acts_at:
            return level
        depth = self.system.show(float(rim) - float(switch.spec.acts_at), "elevation", 3)
        return f"{depth} below the rim ({level})"

    def _places(self) -> Iterator[Label]:
        for device in self.system.devices.values():
            if device.table == "source" and device.spec.kind in ("dug well", "bored well", "cistern"):
                below = any(
                    pump.location == device.location
                    for pump in self.system.of_kind("pump")
                    if device in self._sources_of(pump)
                )
                which = "PUMP BELOW" if below else "THE PUMP"
                yield Label(
                    "starts by itself", device.tag, f"{which} STARTS BY ITSELF. Lock out before work."
                )
            if self._is_confined(device):
                yield Label(
                    "confined space", device.tag, "CONFINED SPACE. DO NOT ENTER. Bad air kills unseen."
                )
            if device.table == "tank" and self.system.job.use != "drinking":
                use = self.system.job.use or NOT_KNOWN
                yield Label("not for drinking", device.tag, f"NOT DRINKING WATER. Use: {use}.")
        places = self.system.connected.places.locations.values()
        if any(place.on_building for place in places):
            places_of = ", ".join(
                f"{d.tag} ({d.location or 'place not given'})"
                for d in self.system.of_kind("panel", "battery", "isolator", "breaker")
            )
            yield Label(
                "building supply",
                "entry of the building",
                f"OFF-GRID DC SUPPLY. Sources and disconnects: {places_of}.",
            )

    # -- conductors --------------------------------------------------------------------------------

    def _conductors(self) -> Iterator[Label]:
        """Tags for both ends of each conductor, a row a run."""
        for run in self.system.connected.runs.values():
            tags = [
                f"{c.tag} {c.start} \N{RIGHTWARDS ARROW} {c.end}, {c.size}, {c.color}"
                + (f" {pole}" if (pole := self._pole(c.tag)) in ("+", "-") else "")
                for c in run.conductors
            ]
            if tags:
                yield Label("conductor tag", run.tag, "; ".join(tags) + ".", 2 * len(tags))

    def _pole(self, tag: str) -> str:
        conductor = next(c for c in self.system.conductors if c.tag == tag)
        return role_of(self.system.connected, self.system.walked, conductor).pole
