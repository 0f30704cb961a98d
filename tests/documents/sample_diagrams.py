"""Diagrams to lay out in tests: one like a real job, and random ones from a seed."""

from __future__ import annotations

import itertools
from random import Random
from typing import get_args

from specc.documents.diagram import Band, Diagram, DiagramBox, DiagramDevice, DiagramLink, Kind, TitleBlock

TITLE = TitleBlock(
    title="Ridge meadow: dug well to stock cistern",
    number="RM-03",
    prepared_for="Ridge meadow growers",
    prepared_by="A. Fitter",
    date="2026-04-18",
    revision="A",
    rulebook="us-2023",
)


def realistic(draft: bool = False) -> Diagram:
    """A small job: array, booster, pump, floats in the remote loop, earth, and the way of the water."""
    house, well, array = "pump house", "well", "array"
    devices = (
        DiagramDevice("PV1", "pv-array", ("2 in series × 1", "160 W modules"), array),
        DiagramDevice("DS1", "isolator", ("2 pole, 32 A DC",), array),
        DiagramDevice("TB1", "terminal-block", ("6 way",), house),
        DiagramDevice("CB1", "dc-dc-converter", ("current booster", "24 V, 10 A"), house),
        DiagramDevice("F1", "fuse", ("10 × 38, 8 A DC",), house),
        DiagramDevice("LS1", "float-switch", ("opens on low water",), well),
        DiagramDevice("TS1", "temperature-switch", ("opens at 80 °C",), well),
        DiagramDevice("WELL", "well", ("dug well", "water at -2.7 m"), well, "water"),
        DiagramDevice("FV1", "foot-valve", ("1 1/4 in",), well, "water"),
        DiagramDevice("FL1", "filter", ("10 in, 60 mesh",), well, "water"),
        DiagramDevice("PR1", "priming-tee", ("with plug",), well, "water"),
        DiagramDevice("P1", "dc-motor-pump", ("vane pump", "24 V, 150 gal/h"), well, "water"),
        DiagramDevice("CV1", "check-valve", (), well, "water"),
        DiagramDevice("TK1", "tank", ("1500 gal", "inlet at 22.6 m"), "hilltop", "water"),
        DiagramDevice("GR1", "ground-rod", ("8 ft, 5/8 in",), house, "ground"),
    )
    links = (
        DiagramLink("R1", "PV1", "DS1", "power", ("10 AWG Cu", "12 ft")),
        DiagramLink("R2", "DS1", "TB1", "power", ("8 AWG Cu", "190 ft in C1")),
        DiagramLink("R3", "TB1", "CB1", "power", ("10 AWG Cu",)),
        DiagramLink("R4", "CB1", "F1", "power", ("10 AWG Cu",)),
        DiagramLink("R5", "F1", "P1", "power", ("10 AWG Cu", "28 ft")),
        DiagramLink("K1", "CB1", "LS1", "control", ("16 AWG",)),
        DiagramLink("K2", "LS1", "TS1", "control", ("16 AWG",)),
        DiagramLink("K3", "TS1", "CB1", "control", ("16 AWG",)),
        DiagramLink("E1", "PV1", "GR1", "ground", ("8 AWG",), 1),
        DiagramLink("E2", "CB1", "GR1", "ground", ("10 AWG",), 1),
        DiagramLink("S1", "WELL", "FV1", "water", ("PE 1 1/4 in",), 0),
        DiagramLink("S2", "FV1", "FL1", "water", ("16 ft",), 0),
        DiagramLink("S3", "FL1", "PR1", "water", (), 0),
        DiagramLink("S4", "PR1", "P1", "water", (), 0),
        DiagramLink("D1", "P1", "CV1", "water", (), 0),
        DiagramLink("D2", "CV1", "TK1", "water", ("PE 1 in", "640 ft"), 0),
    )
    title = TitleBlock(**{**TITLE.__dict__, "draft": draft})
    boxes = (DiagramBox("BOX1", "weatherproof enclosure", ("TB1", "CB1", "F1")),)
    notes = (
        "Floating system: neither pole is earthed.",
        "Buried conductors in 3/4 in conduit, 24 in below grade; see the conductor schedule.",
    )
    return Diagram(title, devices, links, boxes, notes)


def random_system(seed: int, size: int) -> Diagram:
    """Devices as a job has them: arrays, boxes, batteries, pumps, floats and water in places of their own,
    some installations tied together by a ground bar, a battery or a pipe."""
    rng = Random(seed)
    made = _System(rng)
    while len(made.devices) < size:
        made.add_installation()
    tags = [device.tag for device in made.devices[:size]]
    kept = set(tags)
    boxes = [DiagramBox(b.tag, b.title, tuple(t for t in b.holds if t in kept)) for b in made.boxes]
    return Diagram(
        TITLE,
        tuple(made.devices[:size]),
        tuple(link for link in made.links if {link.from_tag, link.to_tag} <= kept),
        tuple(box for box in boxes if box.holds),
        ("One line stands for all conductors of a run.", "DC system floating."),
    )


class _System:
    """Builds one installation after the other."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.devices: list[DiagramDevice] = []
        self.links: list[DiagramLink] = []
        self.boxes: list[DiagramBox] = []
        self.runs = 0

    def add_installation(self) -> None:
        rng, number = self.rng, len(self.boxes) // 2 + 1
        array, house, well, hill = (f"{place} {number}" for place in ("array", "pump house", "well", "hill"))
        start = self._device("PV", "pv-array", array, "3 in series, 2 strings", "Voc 77.7 V")
        start = self._chain(start, [("DS", "isolator")] * rng.randint(0, 2), array)
        first = len(self.devices)
        start = self._chain(start, [("DS", "isolator"), ("F", "fuse")][: rng.randint(0, 2)], house)
        control = self._device("CB", rng.choice(("dc-dc-converter", "charge-controller")), house, "out 20 A")
        self._run(start, control)
        if rng.random() < 0.4:
            battery = self._chain(control, [("F", "fuse"), ("BAT", "battery")], house)
            if number > 1 and rng.random() < 0.3:
                self._run(battery, rng.choice([d.tag for d in self.devices if d.tag.startswith("CB")][:-1]))
        loads = []
        for _ in range(rng.choice((1, 1, 1, 2))):
            loads.append(
                self._chain(control, [("F", "fuse"), ("DS", "isolator")][: rng.randint(0, 2)], house)
            )
        held = tuple(device.tag for device in self.devices[first:])
        self.boxes.append(DiagramBox(f"BOX{2 * number}", "type 4X", held))
        bar = self._device("GB", "bus-bar", house, "bonding bar", band="ground")
        self.boxes.append(DiagramBox(f"BOX{2 * number + 1}", "IP65", (bar,)))
        self._link("ground", control, bar)
        bars = [device.tag for device in self.devices if device.symbol == "bus-bar"]
        if len(bars) > 1 and rng.random() < 0.5:
            self._link("ground", bar, rng.choice(bars[:-1]))
        else:
            self._link("ground", bar, self._device("GR", "ground-rod", house, "rod", band="ground"))
        self._loop(control, [f"{place} {number}" for place in ("well", "hill", "pump house")])
        for load in loads:
            self._water(load, well, hill)

    def _loop(self, control: str, places: list[str]) -> None:
        """Floats and thermal switches in a control loop."""
        tags = [
            self._device(
                "LS", self.rng.choice(("float-switch", "temperature-switch")), place, "closes on rise"
            )
            for place in places[: self.rng.randint(0, 3)]
        ]
        stations = [control, *tags, control] if tags else []
        for one, other in itertools.pairwise(stations):
            self._link("control", one, other, "18 AWG", "14 ft, C3")

    def _water(self, load: str, well: str, hill: str) -> None:
        wet = {"band": "water"}
        source = self._device(
            "W", self.rng.choice(("well", "pond")), well, "water -9 ft", "low -12 ft", **wet
        )
        pump = self._device("P", "dc-motor-pump", well, "24 V DC", "5 A", **wet)
        self._run(load, pump)
        at = source
        for name in ("filter", "priming-tee", "pressure-gauge")[: self.rng.randint(0, 3)]:
            at = self._pipe(at, self._device("FL", name, "", name, **wet))
        self._pipe(at, pump)
        at = pump
        for name in ("relief-valve", "check-valve", "ball-valve", "water-meter")[: self.rng.randint(0, 4)]:
            at = self._pipe(at, self._device("V", name, "", name, **wet))
        tanks = [device.tag for device in self.devices if device.symbol == "tank"]
        if tanks and self.rng.random() < 0.3:
            self._pipe(at, self.rng.choice(tanks))
        else:
            self._pipe(at, self._device("TK", "tank", hill, "1500 gal", "inlet 74 ft", **wet))

    def _chain(self, start: str, kinds: list[tuple[str, str]], place: str) -> str:
        for letters, symbol in kinds:
            onward = self._device(
                letters, symbol, place, self.rng.choice(("40 A 120 V DC", "32 A", "2-pole"))
            )
            self._run(start, onward)
            start = onward
        return start

    def _device(self, letters: str, symbol: str, place: str, *captions: str, band: Band = "energy") -> str:
        tag = f"{letters}{len(self.devices) + 1}"
        self.devices.append(DiagramDevice(tag, symbol, captions, place, band))
        return tag

    def _run(self, start: str, end: str) -> None:
        self._link("power", start, end, "2 × 10 AWG", "29 V, 5 A", poles="+ −")

    def _pipe(self, start: str, end: str) -> str:
        self._link("water", start, end, "1 in, 12 ft", count=0)
        return end

    def _link(
        self, kind: Kind, start: str, end: str, *captions: str, poles: str = "", count: int = 2
    ) -> None:
        self.runs += 1
        tag = f"R{self.runs}"
        once = ((tag, "THWN-2 Cu"), (tag, "190 ft, C1")) if kind == "power" else ()
        self.links.append(DiagramLink(tag, start, end, kind, captions, count, poles, once))


def random_water(seed: int, size: int) -> Diagram:
    """The way of the water alone: sources, valves, pumps, branches to tanks, and floats that feel a level."""
    rng = Random(seed)
    devices: list[DiagramDevice] = []
    links: list[DiagramLink] = []

    def add(letters: str, symbol: str, *captions: str) -> str:
        tag = f"{letters}{len(devices) + 1}"
        devices.append(DiagramDevice(tag, symbol, captions, band="water"))
        return tag

    def join(start: str, end: str, kind: Kind = "water") -> str:
        words = ("1 in PE", "420 ft", "buried 60 in", "low point -5.5 ft")[: rng.randint(0, 4)]
        links.append(DiagramLink(f"D{len(links) + 1}", start, end, kind, words, 0))
        return end

    def line(at: str) -> str:
        for name in rng.choices(
            ("filter", "check-valve", "ball-valve", "pressure-gauge"), k=rng.randint(0, 4)
        ):
            at = join(at, add("V", name, name, "at -4.8 ft"))
        return at

    while len(devices) < size:
        source = add("W", rng.choice(("well", "pond")), "rim 0 ft", "standing -9 ft", "low -12 ft")
        pump = join(line(source), add("P", "dc-motor-pump", "at -5 ft", "2.25 gal/min", "head 88.9 ft"))
        levels = [source]
        ends = [line(pump)] + ([line(pump)] if rng.random() < 0.3 else [])
        for end in ends:
            tanks = [device.tag for device in devices if device.symbol == "tank"]
            again = tanks and rng.random() < 0.2
            levels.append(join(end, rng.choice(tanks) if again else add("TK", "tank", "1500 gal")))
        for level in levels:
            if rng.random() < 0.7:
                links.append(
                    DiagramLink("", level, add("LS", "float-switch", "stops at -12 ft"), "signal", (), 0)
                )
    return Diagram(
        TITLE, tuple(devices), tuple(links), notes=("Elevations count from the datum of the job.",)
    )


def random_diagram(seed: int, size: int) -> Diagram:
    """Devices in chains with extra links, loops, several earths, enclosures and places."""
    rng = Random(seed)
    energy = [
        "pv-array",
        "isolator",
        "fuse",
        "terminal-block",
        "dc-dc-converter",
        "bus-bar",
        "battery",
        "relay",
    ]
    water = [
        "well",
        "foot-valve",
        "filter",
        "dc-motor-pump",
        "check-valve",
        "tank",
        "ball-valve",
        "relief-valve",
    ]
    control = ["float-switch", "temperature-switch", "pressure-switch", "equipment"]
    devices, links = [], []
    for number in range(size):
        group = rng.choices((energy, water, control, ["ground-rod"]), (5, 4, 2, 1))[0]
        band: Band = "water" if group is water else "ground" if group == ["ground-rod"] else "energy"
        captions = tuple(_words(rng) for _ in range(rng.randint(0, 3)))
        place = rng.choice(("", "array", "pump house", "well", "a place with a rather long name"))
        devices.append(DiagramDevice(f"D{number}", rng.choice(group), captions, place, band))
    kinds: tuple[Kind, ...] = get_args(Kind)
    for number in range(round(size * 1.3)):
        kind = rng.choices(kinds, (5, 2, 1, 4, 1))[0]
        wanted = "water" if kind == "water" else "energy"
        near = [device.tag for device in devices if device.band == wanted] or [devices[0].tag]
        first = rng.choice(near)
        last = rng.choice([device.tag for device in devices] if rng.random() < 0.2 else near)
        captions = tuple(_words(rng) for _ in range(rng.randint(0, 2)))
        links.append(DiagramLink(f"R{number}", first, last, kind, captions, rng.randint(0, 4)))
    tags = [device.tag for device in devices]
    rng.shuffle(tags)
    boxes = tuple(
        DiagramBox(f"BOX{number}", _words(rng), tuple(sorted(tags[4 * number : 4 * number + 4])))
        for number in range(size // 8)
    )
    return Diagram(
        TITLE, tuple(devices), tuple(links), boxes, tuple(_words(rng) for _ in range(rng.randint(0, 6)))
    )


def _words(rng: Random) -> str:
    words = (
        "10 A",
        "weatherproof",
        "DC",
        "copper",
        "24 V",
        "<b>&",
        "Größe",
        "two pole",
        "x" * 40,
        "Ω",
        "of",
        "190 ft",
    )
    return " ".join(rng.choice(words) for _ in range(rng.randint(1, 5)))
