"""Random valid jobs by construction, as plain TOML data with parts of the built-in catalogue.

``build(seed)`` always gives the same job for a seed. Three kinds: an array that drives a pump through a
booster, one that drives it straight, and batteries with one or two pumps. Everything is chosen by the
arithmetic of ``sizing``, never by asking the package.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

from tests.seeder import sizing
from tests.seeder.sizing import AWG, MM2, Size

Job = dict[str, Any]


@dataclass(frozen=True)
class Kit:
    """What one rulebook builds with."""

    book: str
    units: str
    sizes: tuple[Size, ...]
    wire: str
    lead: str  # stands sunlight
    bare: str
    rod_size: str
    control: str  # may be buried, and lie in water
    control_size: str
    control_colours: tuple[str, ...]
    ground: str
    duct: str
    large_duct: str
    pipe: str
    filter: str
    tee: str
    check: str
    relief: str


US = Kit(
    "us-2023",
    "us",
    AWG,
    "thwn2-cu",
    "use2-rhw2-cu",
    "bare-cu",
    "6 AWG",
    "pump-cable-cu",
    "14 AWG",
    ("yellow", "black", "yellow", "black", "yellow", "black", "yellow"),
    "green",
    "pvc-sch40-1",
    "pvc-sch40-1.5",
    "pe-sidr-1.25",
    "filter-screen-1.5",
    "priming-tee-1.25",
    "check-valve-1.25",
    "relief-valve-0.75-50-150psi",
)
IEC = Kit(
    "iec",
    "si",
    MM2,
    "cu-xlpe-90",
    "cu-xlpe-90",
    "cu-bare-mm2",
    "16 mm2",
    "cu-xlpe-90",
    "1.5 mm2",
    ("black", "black", "black", "black", "black", "black", "black"),
    "green-yellow",
    "pe-duct-50mm",
    "pe-duct-63mm",
    "pe100-32-sdr11",
    "filter-screen-1.5",
    "priming-tee-32mm",
    "check-valve-32mm",
    "relief-valve-25mm-150-600kpa",
)


@dataclass
class Draft:
    """A job being written."""

    rng: random.Random
    kit: Kit
    earthing: str  # as the spec says it
    coldest_c: float
    hottest_c: float
    job: Job = field(default_factory=dict)
    box: list[str] = field(default_factory=list)  # what BOX1 holds
    grounds: int = 0  # screws taken on the bonding bar
    bond: str = "NB.3"  # where the joint with earth meets the negative
    device: str = ""  # part of a functional earth, empty where it is inside a controller

    @property
    def floating(self) -> bool:
        """Is no conductor joined to earth?"""
        return self.earthing == "floating"

    @property
    def solid(self) -> bool:
        """Is the negative joined to earth with nothing between? Only then may it stay closed."""
        return self.earthing == "negative grounded"

    @property
    def joined_outside(self) -> bool:
        """Is the negative joined to earth by something of its own?"""
        return self.solid or bool(self.device)

    def add(self, table: str, tag: str, part: str, **more: Any) -> str:
        self.job.setdefault(table, []).append({"tag": tag, "part": part, **more})
        return tag

    def in_box(self, table: str, tag: str, part: str, **more: Any) -> str:
        self.box.append(self.add(table, tag, part, **more))
        return tag

    def run(
        self, tag: str, size: str, length_m: float, conductors: list[dict[str, str]], **more: Any
    ) -> None:
        wire = more.pop("wire", self.kit.wire)
        row = {"tag": tag, "wire": wire, "size": size, "length": f"{length_m:g} m", **more}
        self.job.setdefault("runs", []).append({**row, "conductors": conductors})

    def raceway(self, tag: str, length_m: float, *, large: bool = False) -> str:
        part = self.kit.large_duct if large else self.kit.duct
        return self.add("raceways", tag, part, length=f"{length_m:g} m", buried="600 mm", bends=2)

    def plus(self, start: str, end: str) -> dict[str, str]:
        return {"from": start, "to": end, "color": "red"}

    def minus(self, start: str, end: str) -> dict[str, str]:
        black = not self.solid and self.kit is US
        return {"from": start, "to": end, "color": "black" if black else "white"}

    def ground(self, terminal: str, size: str | None = None) -> dict[str, str]:
        """A grounding conductor from a case to the next screw of the bonding bar."""
        self.grounds += 1
        row = {"from": terminal, "to": f"EB1.{self.grounds}", "color": self.kit.ground}
        return row if size is None else {**row, "size": size}

    def isolator(self, tag: str, volts: float) -> str:
        """A load-break isolator in the box, of as many poles as must open."""
        one_pole = "dc-isolator-1p-32a" if volts <= 58.0 else "dc-isolator-1p-40a"
        return self.in_box("disconnects", tag, one_pole if self.solid else "dc-isolator-2p-32a")

    def larger(self, a: Size, b: str) -> str:
        """The larger of two sizes, by name."""
        return a.name if a.area_mm2 >= sizing.area_mm2(b) else b


EARTHINGS = ("negative grounded", "floating", "functionally grounded")


def build(seed: int) -> Job:
    """The job of a seed: sound in every respect that the package looks at."""
    rng = random.Random(f"specc-{seed}")
    kit = rng.choice((US, IEC))
    earthing = rng.choices(EARTHINGS, (4, 3, 3))[0]
    draft = Draft(rng, kit, earthing, float(rng.randint(-25, 2)), float(rng.randint(28, 41)))
    kind = rng.choices(("booster", "battery", "direct"), (5, 4, 2))[0]
    if kind == "direct":
        draft.earthing = rng.choices(EARTHINGS, (5, 3, 2))[0]
    _head(draft, seed, kind)
    {"booster": _booster, "battery": _battery, "direct": _direct}[kind](draft)
    _ends(draft)
    _distances(draft)
    return draft.job


def _distances(draft: Draft) -> None:
    """How far apart the places are: somewhat less than the raceways between them."""
    metres = {row["tag"]: sizing.number(row["length"]) for row in draft.job["raceways"]}
    pumps = min(length for tag, length in metres.items() if tag.startswith("C1") and tag != "C1")
    draft.job["sightlines"] = [
        {"between": ["array", "shed"], "distance": f"{0.9 * metres['C1']:.1f} m", "visible": True},
        {"between": ["shed", "pump pit"], "distance": f"{min(0.9 * pumps, 11.0):.1f} m", "visible": True},
    ]


def _head(draft: Draft, seed: int, kind: str) -> None:
    rng, kit = draft.rng, draft.kit
    draft.job |= {
        "job": {
            "title": f"Seeded job {seed}, {kind}",
            "number": f"S-{seed}",
            "prepared_for": "the tests",
            "prepared_by": "the seeder",
            "date": "2026-01-15",
            "rulebook": kit.book,
            "units": kit.units,
            "earthing": draft.earthing,
            "use": "irrigation",
        },
        "site": {
            "latitude": 44.0,
            "longitude": -91.0,
            "elevation": f"{rng.randint(0, 900)} m",
            "coldest_air": f"{draft.coldest_c:g} degC",
            "hottest_air": f"{draft.hottest_c:g} degC",
            "frost_depth": "0.8 m" if draft.coldest_c < 0.0 else "0 m",
            "lightning_density": 1.0,
            "sun": [4.0, 4.5, 5.0, 5.2, 5.5, 5.8, 6.0, 5.8, 5.2, 4.8, 4.2, 4.0],
        },
        "locations": [
            {"name": "array"},
            {"name": "shed", "outdoors": False, "sunlit": False, "openings": "300 cm2"},
            {"name": "pump pit", "wet": True, "sunlit": False},
            {"name": "well", "wet": True, "sunlit": False},
            {"name": "tank", "wet": True, "sunlit": False},
        ],
    }


# -- array -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Array:
    """What was chosen for the array, and where its two poles are to be had."""

    panel: str
    series: int
    strings: int
    plus: str
    minus: str
    volts: float

    @property
    def isc_a(self) -> float:
        return self.strings * sizing.figure(self.panel, "isc")

    @property
    def imp_a(self) -> float:
        return self.strings * sizing.figure(self.panel, "imp")


def _array(
    draft: Draft, choices: list[tuple[str, int]], device: str, least_v: float, pumps: tuple[str, ...]
) -> Array:
    """Panels whose current and cold voltage the device takes, with volts when hot and power enough."""
    rng, book = draft.rng, draft.kit.book
    most_a = sizing.figure(device, "max_input_current")
    most_v = 0.98 * sizing.figure(device, "max_input_voltage")
    wide = min(31.0, max(s.carries_a for s in draft.kit.sizes if s.area_mm2 <= sizing.largest_mm2(device)))
    watts = sum(_watts(pump) for pump in pumps)
    fit = []
    for panel, series in choices:
        if sizing.cold_volts(panel, series, draft.coldest_c) > most_v:
            continue
        if sizing.hot_volts(panel, series, draft.hottest_c) < least_v:
            continue
        for strings in (1, 2, 3, 4):
            isc = strings * sizing.figure(panel, "isc")
            if 1.25 * isc <= most_a and sizing.array_circuit_a(book, isc) <= wide:
                fused = sizing.needs_string_fuses(panel, strings, book)
                if not fused or sizing.string_fuse_a(panel) is not None:
                    fit.append((panel, series, strings, fused))
    assert fit, f"no array for {most_a} A, {least_v} to {most_v} V"
    strong = [f for f in fit if sizing.figure(f[0], "power") * f[1] * f[2] >= watts]
    fit = strong or [max(fit, key=lambda f: sizing.figure(f[0], "power") * f[1] * f[2])]
    strings = rng.choice(sorted({f[2] for f in fit}))
    panel, series, strings, fused = rng.choice([f for f in fit if f[2] == strings])
    volts = sizing.cold_volts(panel, series, draft.coldest_c)
    apart = fused or (strings > 1 and rng.random() < 0.4)
    place = {"tilt": "40 deg", "azimuth": "180 deg", "mounted": "ground", "location": "array"}
    if not apart:
        draft.add("panels", "PV1", panel, series=series, parallel=strings, **place)
        return Array(panel, series, strings, "PV1.+", "PV1.-", volts)
    for number in range(1, strings + 1):
        draft.add("panels", f"PV{number}", panel, series=series, parallel=1, **place)
    guard = sizing.string_fuse_a(panel) if fused or rng.random() < 0.5 else None
    _combiner(draft, panel, strings, guard)
    return Array(panel, series, strings, f"TBP.{strings + 1}", f"TBN.{strings + 1}", volts)


def _combiner(draft: Draft, panel: str, strings: int, fuse_a: int | None) -> None:
    """A box at the array in which the strings meet on two bars, each through its fuse where it has one."""
    amperes = 1.5625 * sizing.figure(panel, "isc")
    parts = (
        (panel, "bus-bar-6-100a") if fuse_a is None else (panel, "bus-bar-6-100a", f"fuse-10x38-dc-{fuse_a}a")
    )
    needed = max(
        amperes, fuse_a or 0.0, 1.25 * (strings - 1) * sizing.figure(panel, "isc") if not fuse_a else 0.0
    )
    size, _ = sizing.size_for(draft.kit.sizes, needed, parts=parts)
    held, outside, inside = ["TBP", "TBN"], [], []
    for number in range(1, strings + 1):
        if fuse_a is None:
            outside.append(draft.plus(f"PV{number}.+", f"TBP.{number}"))
        else:
            held.append(draft.add("fuses", f"SF{number}", f"fuse-10x38-dc-{fuse_a}a"))
            outside.append(draft.plus(f"PV{number}.+", f"SF{number}.1"))
            inside.append(draft.plus(f"SF{number}.2", f"TBP.{number}"))
        outside.append(draft.minus(f"PV{number}.-", f"TBN.{number}"))
        frame = {"from": f"PV{number}.frame", "to": "BOX2.ground", "color": draft.kit.ground}
        outside.append({**frame, "size": draft.larger(size, "6 mm2" if draft.kit is IEC else size.name)})
    spare = [str(n) for n in range(strings + 2, 7)]
    for bar in ("TBP", "TBN"):
        draft.add("terminal_blocks", bar, "bus-bar-6-100a", spare=spare)
    draft.run("R0", size.name, 1.2, outside, wire=draft.kit.lead, laid="out of reach")
    if inside:
        draft.run("R0B", size.name, 0.4, inside, laid="in enclosure")
    draft.add("enclosures", "BOX2", "enclosure-nema4x-12x10", location="array", holds=held)


def _array_run(draft: Draft, array: Array, device: str, plus: str, minus: str) -> None:
    """Array (or combiner) to the box, through isolator or breaker, to the input of a controller or a fuse.

    ``plus`` and ``minus`` are the terminals that the array ends on.
    """
    rng, kit = draft.rng, draft.kit
    needed = sizing.array_circuit_a(kit.book, array.isc_a)
    rating = next((a for a in sizing.BREAKERS_A if a >= needed), None)
    breaker = (
        draft.solid and rating is not None and array.volts <= 78.0 and rng.random() < 0.5 and rating <= 30
    )
    if breaker:
        polarised = next((a for a in (10, 16, 20) if needed <= a <= 1.4 * needed), None)
        if polarised is not None and rng.random() < 0.5:
            tag = draft.in_box("breakers", "Q1", f"dc-breaker-1p-{polarised}a-polarised")
            needed = float(polarised)
        else:
            tag = draft.in_box("breakers", "Q1", f"dc-breaker-1p-{rating}a")
            needed = float(rating or 0)
    else:
        tag = draft.isolator("DS1", array.volts)
    part = draft.job["breakers" if breaker else "disconnects"][-1]["part"]
    source = "bus-bar-6-100a" if array.plus.startswith("TB") else array.panel
    length = float(rng.randint(6, 40))
    size, length = sizing.size_for(
        tuple(s for s in kit.sizes if s.area_mm2 <= 13.3),  # its grounding conductor must fit BOX2
        needed,
        parts=(source, part, device),
        drop_a=array.imp_a,
        volts=sizing.figure(array.panel, "vmp") * array.series,
        length_m=length,
    )
    draft.raceway("C1", length)
    conductors = [draft.plus(array.plus, f"{tag}.1")]
    inside = [draft.plus(f"{tag}.2", plus)]
    if not draft.solid:
        conductors.append(draft.minus(array.minus, f"{tag}.3"))
        inside.append(draft.minus(f"{tag}.4", minus))
    else:
        conductors.append(draft.minus(array.minus, minus))
    frame = "BOX2.ground" if array.plus.startswith("TB") else f"{array.plus.split('.')[0]}.frame"
    conductors.append(draft.ground(frame, draft.larger(size, "6 mm2" if kit is IEC else size.name)))
    draft.run("R1", size.name, length, conductors, raceway="C1")
    draft.run("R2", size.name, 0.6, inside, laid="in enclosure")


# -- pump, its floats, its water ---------------------------------------------------------------------

# Pump -> litres a minute, and the least and most lift from the pump to the tank [m].
PUMPS = {
    "vane-pump-12v-100gph": (6.5, 7.0, 14.0),
    "diaphragm-pump-12v-60gph": (4.0, 7.0, 20.0),
    "vane-pump-24v-150gph": (9.5, 7.0, 20.0),
    "diaphragm-pump-36v-600lph": (10.0, 8.0, 25.0),
    "vane-pump-48v-250gph": (16.5, 10.0, 30.0),
}
BY_VOLTS = {
    12: ("vane-pump-12v-100gph", "diaphragm-pump-12v-60gph"),
    24: ("vane-pump-24v-150gph",),
    36: ("diaphragm-pump-36v-600lph",),
    48: ("vane-pump-48v-250gph",),
}


def _watts(pump: str) -> float:
    """Array power that runs a pump at its highest lift in half of full sun, hot and dusty [W]."""
    flow, _, most = PUMPS[pump]
    shaft = 9.81 * flow / 60.0 * (most + 6.0) / float(sizing.catalogue()[pump]["efficiency"])
    return shaft / (0.5 * 0.75 * 0.9)


def _water(draft: Draft, number: int, pump: str) -> None:
    """Well, suction, pump, delivery and tank number ``number``: every pump has its own."""
    rng, kit = draft.rng, draft.kit
    flow, least, most = PUMPS[pump]
    up = round(rng.uniform(least, most), 1)
    water = round(rng.uniform(-2.4, -1.4), 1)
    low = round(water - rng.uniform(0.3, 0.7), 1)
    n = "" if number == 1 else str(number)
    tag = {name: f"{name}{n}" for name in ("WELL", "FL", "PR", "RV", "CV", "TK")}
    draft.job.setdefault("source", []).append(
        {
            "tag": tag["WELL"],
            "kind": "dug well",
            "rim": "0.4 m",
            "water_level": f"{water:g} m",
            "low_water_level": f"{low:g} m",
            "intake": f"{low - 0.7:.1f} m",
            "bottom": f"{low - 1.3:.1f} m",
            "diameter": "1.2 m",
            "inflow": f"{2.0 * flow:g} L/min",
            "water_temperature": f"{rng.randint(8, 16)} degC",
            "location": "well",
        }
    )
    draft.job.setdefault("tank", []).append(
        {
            "tag": tag["TK"],
            "inlet": f"{up:g} m",
            "overflow": f"{up - 0.1:.1f} m",
            "overflow_size": "50 mm",
            "capacity": "5000 L",
            "plan_area": "4 m2",
            "demand": f"{round(flow * 60 * 1.5):g} L/day",
            "float_band": "200 mm",
            "stop_below_overflow": "100 mm",
            "location": "tank" if number == 1 else f"tank {number}",
        }
    )
    if number > 1:
        draft.job["locations"].append({"name": f"tank {number}", "wet": True, "sunlit": False})
    draft.add("pumps", f"P{number}", pump, elevation="0 m", freeze_safe=True, location="pump pit")
    draft.add("filters", tag["FL"], kit.filter, elevation="-0.4 m", freeze_safe=True)
    draft.add("valves", tag["PR"], kit.tee, elevation="0.1 m", freeze_safe=True)
    kpa = max(345.0 if kit is US else 150.0, round(9.81 * up * 1.35 + 45.0))
    relief = kit.relief
    if kit is US and 9.81 * up * 1.35 + 45.0 < 340.0:
        relief, kpa = "relief-valve-0.5-25-75psi", max(180.0, round(9.81 * up * 1.35 + 45.0))
    where = {"setting": f"{kpa:g} kPa", "discharges_to": "the well, in sight", "freeze_safe": True}
    draft.add("valves", tag["RV"], relief, **where)
    draft.add("valves", tag["CV"], kit.check, freeze_safe=True)
    safe = {"freeze_safe": True}
    warm = {"hottest_wall": "30 degC"}
    far = round(up + rng.uniform(5.0, 60.0), 0)
    elbows = {"name": "elbow 90", "count": 3}
    pipes = (
        (
            "S",
            1,
            tag["WELL"],
            f"{tag['FL']}.in",
            5.0,
            {"fittings": ["foot valve", "elbow 90"], "buried": "1.2 m"},
        ),
        ("S", 2, f"{tag['FL']}.out", f"{tag['PR']}.in", 0.5, safe),
        ("S", 3, f"{tag['PR']}.out", f"P{number}.in", 0.5, safe),
        ("D", 1, f"P{number}.out", f"{tag['RV']}.in", 0.5, {**safe, **warm, "low_point": "-0.1 m"}),
        ("D", 2, f"{tag['RV']}.out", f"{tag['CV']}.in", 0.5, {**safe, **warm, "low_point": "-0.1 m"}),
        (
            "D",
            3,
            f"{tag['CV']}.out",
            f"{tag['TK']}.inlet",
            far,
            {"fittings": [elbows], "buried": "1.2 m", "low_point": "-1.2 m", **warm},
        ),
    )
    highs = {1: "-0.4 m", 2: "-0.1 m", 3: "0 m"}
    for side, step, start, end, length, more in pipes:
        row = {"from": start, "to": end, "length": f"{length:g} m", **more}
        if side == "S":
            row["high_point"] = highs[step]
        draft.add("pipes", f"{side}{number}{step}", kit.pipe, **row)


def _switches(draft: Draft, number: int, level: str, *, extra: bool, only: bool) -> list[str]:
    """The sensing switches of a pump, in the order in which they are wired; their tags."""
    rng = draft.rng
    stops = {} if only else {"stops": [f"P{number}"]}
    low = draft.job["source"][number - 1]["low_water_level"]
    tank = draft.job["tank"][number - 1]["location"]
    tags = [
        draft.add(
            "switches", f"LS{number}1", level, closes_on="fall", guards="tank full", location=tank, **stops
        ),
        draft.add(
            "switches",
            f"LS{number}2",
            level,
            closes_on="rise",
            guards="source low",
            acts_at=low,
            location="well",
            **stops,
        ),
    ]
    if extra:
        hot = {"closes_on": "fall", "guards": "pump hot", "mounted_on": f"P{number}", "location": "pump pit"}
        tags.append(draft.add("switches", f"TS{number}", "thermal-switch-55c-manual", **hot, **stops))
    if extra and rng.random() < 0.3 and level == "float-switch-signal":
        high = {"closes_on": "fall", "guards": "pressure high", "location": "pump pit"}
        tags.append(draft.add("switches", f"PS{number}", "pressure-switch-signal-90psi", **high, **stops))
    rng.shuffle(tags)
    return tags


def _motor_run(
    draft: Draft,
    number: int,
    fuse: str,
    plus: str,
    minus: str,
    switches: list[str],
    volts: float,
    device: str,
) -> None:
    """Fuse, isolator, the switches that lie in the motor line, and the motor.

    ``plus`` and ``minus`` are the terminals that feed it, on a part ``device``.
    """
    rng, kit = draft.rng, draft.kit
    pump = draft.job["pumps"][number - 1]["part"]
    amperes = sizing.figure(pump, "rated_current")
    isolator = draft.isolator(f"DM{number}", volts)
    part = draft.job["disconnects"][-1]["part"]
    inner = 1.25 * max(amperes, _limit_a(device))
    if switches:
        inner = max(1.25 * amperes, sizing.motor_fuse_a(pump))
    size, length = sizing.size_for(
        kit.sizes,
        inner,
        parts=(part, pump, device),
        drop_a=amperes,
        volts=sizing.figure(pump, "nominal_voltage"),
        share=0.017 if sizing.figure(pump, "nominal_voltage") > 12.0 else 0.006,
        length_m=float(rng.randint(4, 18)),
    )
    raceway = f"C{10 + number}"
    draft.raceway(raceway, length, large=True)
    out = f"{isolator}.2"
    back = minus
    box = [draft.plus(fuse, f"{isolator}.1")]
    if not draft.solid:
        box.append(draft.minus(minus, f"{isolator}.3"))
        back = f"{isolator}.4"
    main = [draft.minus(back, f"P{number}.-"), draft.ground(f"P{number}.case")]
    if switches:
        thin, _ = sizing.size_for(kit.sizes, inner, parts=("float-switch-dc-16a",))
        reach = 0.7 if volts < 20.0 else 2.0
        switches = sorted(switches, key=lambda tag: tag.startswith("TS"))  # the last stands at the pump
        chain = [out, *(end for tag in switches for end in (f"{tag}.1", f"{tag}.2")), f"P{number}.+"]
        line = [draft.plus(a, b) for a, b in zip(chain[::2], chain[1::2], strict=True)]
        own = f"C{20 + number}"  # to the floats, which stand beside the box
        draft.raceway(own, reach, large=True)
        draft.run(f"R{10 + number}F", thin.name, reach, line, raceway=own)
    else:
        main.insert(0, draft.plus(out, f"P{number}.+"))
    draft.run(f"R{10 + number}", size.name, length, main, raceway=raceway)
    draft.run(f"R{10 + number}B", size.name, 0.6, box, laid="in enclosure")


def _limit_a(device: str) -> float:
    """What a booster can give for hours; nothing for what only switches [A]."""
    part = sizing.catalogue()[device]
    return sizing.number(part["output_current"]) if part.get("type") == "current booster" else 0.0


# -- the three kinds -----------------------------------------------------------------------------------

BOOSTERS = {
    "current-booster-12v-10a": (
        12,
        [("pv-mono-50w-36c", 1), ("pv-mono-100w-36c", 1), ("pv-mono-160w-36c", 1)],
    ),
    "current-booster-12v-20a": (
        12,
        [("pv-mono-50w-36c", 1), ("pv-mono-100w-36c", 1), ("pv-mono-160w-36c", 1)],
    ),
    "current-booster-24v-10a": (
        24,
        [("pv-mono-50w-36c", 2), ("pv-mono-100w-36c", 2), ("pv-mono-160w-36c", 2)],
    ),
    "current-booster-24v-10a-plain": (24, [("pv-mono-100w-36c", 2), ("pv-mono-50w-36c", 2)]),
    "current-booster-24v-12a": (
        24,
        [("pv-mono-50w-36c", 2), ("pv-mono-100w-36c", 2), ("pv-mono-160w-36c", 2)],
    ),
    "current-booster-24v-20a": (
        24,
        [("pv-mono-100w-36c", 2), ("pv-mono-100w-36c", 3), ("pv-mono-50w-36c", 3)],
    ),
    "current-booster-36v-15a": (
        36,
        [("pv-mono-100w-36c", 3), ("pv-mono-50w-36c", 3), ("pv-mono-160w-36c", 3)],
    ),
    "current-booster-48v-15a": (48, [("pv-mono-120w-72c", 2), ("pv-mono-180w-72c", 2)]),
}


def _booster(draft: Draft) -> None:
    rng, kit = draft.rng, draft.kit
    booster = rng.choice(list(BOOSTERS))
    volts, choices = BOOSTERS[booster]
    booster = _functional_device(draft, booster)
    part = sizing.catalogue()[booster]
    pumps = [p for p in BY_VOLTS[volts] if sizing.figure(p, "start_current") <= _peak_a(booster)]
    pump = rng.choice([p for p in pumps if sizing.figure(p, "rated_current") <= _limit_a(booster)])
    array = _array(draft, choices, booster, 1.02 * sizing.figure(booster, "hold_voltage"), (pump,))
    hot_v = sizing.hot_volts(array.panel, array.series, draft.hottest_c)
    set_to = (
        {}
        if sizing.figure(booster, "hold_voltage") >= 0.8 * hot_v
        else {"hold_voltage": f"{0.9 * hot_v:.0f} V"}
    )
    draft.add("controllers", "CB1", booster, location="shed", **set_to)
    barred = draft.joined_outside
    if barred:
        draft.in_box("terminal_blocks", "NB", "bus-bar-4-100a", spare=["4"])
    _array_run(draft, array, booster, "CB1.pv+", "NB.1" if barred else "CB1.pv-")
    _water(draft, 1, pump)
    remote = "remote" in part
    level = (
        "float-switch-signal" if remote else ("float-switch-dc-16a" if volts > 24 else "float-switch-dc-10a")
    )
    tags = _switches(draft, 1, level, extra=remote or volts <= 24, only=True)
    rating = sizing.motor_fuse_a(pump)
    fuse = draft.in_box("fuses", "F1", f"fuse-10x38-dc-{rating}a")
    size, _ = sizing.size_for(
        kit.sizes, 1.25 * _limit_a(booster), parts=(booster, f"fuse-10x38-dc-{rating}a")
    )
    draft.run("R4", size.name, 0.8, [draft.plus("CB1.motor+", "F1.1")], laid="in enclosure")
    _motor_run(draft, 1, f"{fuse}.2", "", "CB1.motor-", [] if remote else tags, volts * 1.2, booster)
    inside = [draft.minus("NB.2", "CB1.pv-")] if barred else []
    on_it = {r["tag"]: r["size"] for r in draft.job["runs"] if r["tag"] in ("R2", "R4", "R11B")}
    if "case" in {t["name"] for t in part["terminals"]}:
        inside.append(draft.ground("CB1.case", max(on_it.values(), key=sizing.area_mm2)))
    if inside:
        draft.run("R3", on_it["R2"], 0.8, inside, laid="in enclosure")
    if remote:
        contact = ["GF1"] if _has_contact(draft.device) else []
        ends = ["CB1.remote1", *(e for t in [*contact, *tags] for e in (f"{t}.1", f"{t}.2")), "CB1.remote2"]
        colours = kit.control_colours
        loop = [
            {"from": a, "to": b, "color": colours[i]}
            for i, (a, b) in enumerate(zip(ends[::2], ends[1::2], strict=True))
        ]
        draft.run(
            "R20",
            kit.control_size,
            float(rng.randint(10, 60)),
            loop,
            wire=kit.control,
            laid="direct buried",
            buried="700 mm",
        )


def _peak_a(booster: str) -> float:
    return sizing.figure(booster, "peak_output_current")


def _direct(draft: Draft) -> None:
    """One 12 V class string on a 24 V centrifugal pump, as a spring on a slope allows."""
    rng, kit = draft.rng, draft.kit
    panel = "pv-mono-200w-36c"
    place = {"tilt": "40 deg", "azimuth": "180 deg", "mounted": "ground", "location": "array"}
    draft.add("panels", "PV1", panel, series=1, parallel=1, **place)
    volts = sizing.cold_volts(panel, 1, draft.coldest_c)
    array = Array(panel, 1, 1, "PV1.+", "PV1.-", volts)
    _functional_device(draft, "")
    if not draft.floating:
        draft.in_box("terminal_blocks", "NB", "bus-bar-4-100a", spare=["4"])
    _spring(draft)
    tags = _switches(draft, 1, "float-switch-dc-16a", extra=False, only=True)
    isolator = draft.isolator("DS1", volts)
    second = draft.isolator("DM1", volts)
    disconnect = draft.job["disconnects"][-1]["part"]
    needed = sizing.array_circuit_a(kit.book, array.isc_a)
    parts = (panel, disconnect, "centrifugal-pump-24v-15gpm")
    size, length = sizing.size_for(
        kit.sizes, needed, parts=parts, drop_a=array.imp_a, volts=19.0, length_m=float(rng.randint(3, 14))
    )
    draft.raceway("C1", length)
    draft.raceway("C11", length, large=True)
    frame = draft.ground("PV1.frame", draft.larger(size, "6 mm2" if kit is IEC else size.name))
    line = [draft.plus("PV1.+", f"{isolator}.1")]
    inside = [draft.plus(f"{isolator}.2", f"{second}.1")]
    if not draft.solid:
        line.append(draft.minus("PV1.-", f"{isolator}.3"))
        back = f"{second}.4"
        if draft.floating:
            inside.append(draft.minus(f"{isolator}.4", f"{second}.3"))
        else:
            inside += [draft.minus(f"{isolator}.4", "NB.1"), draft.minus("NB.2", f"{second}.3")]
    else:
        line.append(draft.minus("PV1.-", "NB.1"))
        back = "NB.2"
    draft.run("R1", size.name, length, [*line, frame], raceway="C1")
    draft.run("R2", size.name, 0.6, inside, laid="in enclosure")
    thin, _ = sizing.size_for(kit.sizes, needed, parts=("float-switch-dc-16a",))
    chain = [f"{second}.2", *(e for t in tags for e in (f"{t}.1", f"{t}.2")), "P1.+"]
    floats = [draft.plus(a, b) for a, b in zip(chain[::2], chain[1::2], strict=True)]
    draft.raceway("C21", 2.0, large=True)
    draft.run("R11F", thin.name, 2.0, floats, raceway="C21")
    draft.run("R11", size.name, length, [draft.minus(back, "P1.-"), draft.ground("P1.case")], raceway="C11")
    draft.job["accepted"] = [
        {
            "rule": "motor.power-balance",
            "on": "P1",
            "reason": "Without a controller the pump slows with the light; an hour of sun a day is enough.",
            "by": "the seeder",
        }
    ]


def _spring(draft: Draft) -> None:
    """A spring box above a flooded centrifugal pump, and a trough above both."""
    rng = draft.rng
    up = round(rng.uniform(3.2, 4.4), 1)
    draft.job["source"] = [
        {
            "tag": "WELL",
            "kind": "spring box",
            "rim": "0.3 m",
            "water_level": "0 m",
            "low_water_level": "-0.3 m",
            "intake": "-0.7 m",
            "bottom": "-1.2 m",
            "diameter": "1.3 m",
            "inflow": "85 L/min",
            "water_temperature": "11 degC",
            "location": "well",
        }
    ]
    draft.job["tank"] = [
        {
            "tag": "TK",
            "inlet": f"{up:g} m",
            "overflow": f"{up - 0.15:.2f} m",
            "overflow_size": "80 mm",
            "capacity": "1200 L",
            "plan_area": "2.4 m2",
            "demand": "350 L/day",
            "float_band": "250 mm",
            "stop_below_overflow": "100 mm",
            "location": "tank",
        }
    ]
    draft.add(
        "pumps", "P1", "centrifugal-pump-24v-15gpm", elevation="-1.4 m", freeze_safe=True, location="pump pit"
    )
    draft.add("valves", "CV", "check-valve-1.5", freeze_safe=True)
    pipe = "pe-sidr-1.5" if draft.kit is US else "pe100-50-sdr11"
    elbows = {"name": "elbow 90", "count": 3}
    draft.add(
        "pipes",
        "S11",
        pipe,
        **{"from": "WELL", "to": "P1.in"},
        length="2.5 m",
        fittings=["entrance", "elbow 90"],
        high_point="-0.7 m",
        buried="1.2 m",
    )
    out = {"from": "P1.out", "to": "CV.in"}
    draft.add("pipes", "D11", pipe, **out, length="0.3 m", freeze_safe=True, hottest_wall="30 degC")
    draft.add(
        "pipes",
        "D13",
        pipe,
        **{"from": "CV.out", "to": "TK.inlet"},
        length=f"{rng.randint(10, 18)} m",
        fittings=[elbows, "exit"],
        low_point="-1.6 m",
        buried="1.2 m",
        hottest_wall="23 degC",
    )


CHARGERS = {
    12: ("charge-controller-12v-10a",),
    24: ("charge-controller-24v-20a", "charge-controller-24v-30a"),
    48: ("charge-controller-48v-30a",),
}
BANKS = {
    12: (("battery-agm-12v-100ah", 1), ("battery-lfp-12v-100ah", 1)),
    24: (("battery-agm-12v-100ah", 2), ("battery-lfp-24v-50ah", 1), ("battery-agm-12v-55ah", 2)),
    48: (("battery-agm-12v-100ah", 4),),
}
LOW_VOLTAGE = {
    12: "low-voltage-disconnect-12v-20a",
    24: "low-voltage-disconnect-24v-20a",
    48: "low-voltage-disconnect-48v-30a",
}
CHARGED = {
    12: [("pv-mono-100w-36c", 1), ("pv-mono-50w-36c", 1)],
    24: [("pv-mono-120w-72c", 1), ("pv-mono-180w-72c", 1), ("pv-mono-100w-36c", 2)],
    48: [("pv-mono-120w-72c", 2), ("pv-mono-180w-72c", 2)],
}


def _battery(draft: Draft) -> None:
    rng, kit = draft.rng, draft.kit
    volts = rng.choice((12, 24, 24, 48) if kit is US else (24, 24, 48))
    charger = _functional_device(draft, rng.choice(CHARGERS[volts]))
    bank, series = rng.choice(BANKS[volts])
    part = sizing.catalogue()[charger]
    pumps = rng.choice((1, 1, 2))
    named = tuple(rng.choice(BY_VOLTS[volts]) for _ in range(pumps))
    array = _array(draft, CHARGED[volts], charger, 1.01 * sizing.figure(charger, "max_output_voltage"), named)
    load = "load+" in {t["name"] for t in part["terminals"]}
    own_load = load and pumps == 1 and (volts == 12 or rng.random() < 0.5)
    spare = {"spare": ["load+", "load-"]} if load and not own_load else {}
    draft.add("controllers", "CC1", charger, location="shed", **spare)
    draft.add("batteries", "BAT1", bank, series=series, location="shed")
    outlets = [("CC1", charger)] if own_load else []
    if not own_load:
        for number in range(1, pumps + 1):
            tag = draft.add("controllers", f"LV{number}", LOW_VOLTAGE[volts], location="shed")
            outlets.append((tag, LOW_VOLTAGE[volts]))
    _array_run(draft, array, charger, "CC1.pv+", "CC1.pv-")
    _bank_side(draft, charger, outlets if not own_load else [])
    for number, (tag, device) in enumerate(outlets, 1):
        _outlet(draft, number, tag, device, named[number - 1], only=pumps == 1)


def _bank_side(draft: Draft, charger: str, outlets: list[tuple[str, str]]) -> None:
    """Battery, its fuses at the posts, its isolator, and the two bars that everything hangs on."""
    kit, both = draft.kit, not draft.solid
    charging = sizing.figure(charger, "output_current")
    margin = 1.25 if kit is US else 1.0
    rating = next(a for a in sizing.BATTERY_FUSES_A if a >= margin * max(charging, 20.0))
    fuse = f"fuse-battery-{rating}a"
    draft.add("fuses", "BF1", fuse, location="shed")
    if both:
        draft.add("fuses", "BF2", fuse, location="shed")
    isolator = draft.in_box("disconnects", "DB", "dc-isolator-2p-32a" if both else "dc-isolator-1p-40a")
    iso_part = draft.job["disconnects"][-1]["part"]
    # battery, charger and each outlet on both bars, and the bond on the negative one
    screws = 2 + len(outlets)
    draft.in_box("terminal_blocks", "PB", "bus-bar-6-100a", spare=[str(n) for n in range(screws + 1, 7)])
    used = screws + (1 if draft.joined_outside else 0)
    draft.in_box("terminal_blocks", "NB", "bus-bar-6-100a", spare=[str(n) for n in range(used + 1, 7)])
    posts = max(13.3, sizing.smallest_mm2("battery-agm-12v-100ah"))
    tail = next(s for s in kit.sizes if s.area_mm2 >= posts and s.carries_a >= rating)
    feed, _ = sizing.size_for(kit.sizes, float(rating), parts=(iso_part, "bus-bar-6-100a", fuse), alone=True)
    bar = {
        device: sizing.size_for(kit.sizes, float(rating), parts=(device, "bus-bar-6-100a"), alone=True)[0]
        for device in (charger, *(device for _, device in outlets))
    }
    tails = [draft.plus("BAT1.+", "BF1.1")]
    cables = [draft.plus("BF1.2", f"{isolator}.1")]
    inside = [draft.plus(f"{isolator}.2", "PB.1")]
    if both:
        tails.append(draft.minus("BAT1.-", "BF2.1"))
        cables.append(draft.minus("BF2.2", f"{isolator}.3"))
        inside.append(draft.minus(f"{isolator}.4", "NB.1"))
    else:
        tails.append(draft.minus("BAT1.-", "NB.1"))
    draft.run("R5", tail.name, 0.25, tails if both else tails[:1], laid="out of reach")
    draft.run("R6", feed.name, 1.0, cables, laid="out of reach")
    if not both:
        draft.run("R6N", tail.name, 1.0, tails[1:], laid="out of reach")
    draft.run("R7", feed.name, 0.3, inside, laid="in enclosure")
    for place, (tag, device) in enumerate((("CC1", charger), *outlets), 2):
        wires = [
            draft.plus(f"PB.{place}", f"{tag}.battery+"),
            draft.minus(f"NB.{place}", f"{tag}.battery-"),
        ]
        if place == 2 and "case" in {t["name"] for t in sizing.catalogue()[charger]["terminals"]}:
            array_size = next(r["size"] for r in draft.job["runs"] if r["tag"] == "R2")
            wires.append(draft.ground("CC1.case", draft.larger(bar[device], array_size)))
        draft.run(f"R7{tag}", bar[device].name, 0.4, wires, laid="in enclosure")
    draft.bond = f"NB.{used}"


def _outlet(draft: Draft, number: int, tag: str, device: str, pump: str, *, only: bool) -> None:
    """One pump behind load terminals or a low-voltage disconnect, its floats in the motor line."""
    rng, kit = draft.rng, draft.kit
    volts = sizing.figure(pump, "nominal_voltage")
    _water(draft, number, pump)
    level = "float-switch-dc-16a" if volts > 24 else "float-switch-dc-10a"
    tags = _switches(draft, number, level, extra=volts <= 24 and rng.random() < 0.6, only=only)
    rating = sizing.motor_fuse_a(pump)
    part = f"fuse-10x38-dc-{rating}a"
    fuse = draft.in_box("fuses", f"F{number}", part)
    ahead = next(sizing.figure(f["part"], "rating") for f in draft.job["fuses"] if f["tag"] == "BF1")
    size, _ = sizing.size_for(kit.sizes, ahead, parts=(device, part), alone=True)
    draft.run(f"R8{number}", size.name, 0.5, [draft.plus(f"{tag}.load+", f"{fuse}.1")], laid="in enclosure")
    _motor_run(draft, number, f"{fuse}.2", "", f"{tag}.load-", tags, volts * 1.2, device)


# -- functional earthing -------------------------------------------------------------------------------

# Controllers that come with the device inside, too.
WITH_DEVICE = ("current-booster-24v-12a", "charge-controller-24v-30a")
JOINTS = (
    "ground-fault-device-1a",
    "ground-fault-detector",
    "functional-earth-fuse-1a",
    "functional-earth-resistor-5k",
    "fuse-10x38-dc-1a",  # nothing but a fuse in the lead
)


def _functional_device(draft: Draft, controller: str) -> str:
    """Chooses what joins the negative to earth; the controller, or the like one with the device inside."""
    if draft.solid or draft.floating:
        return controller
    if controller in WITH_DEVICE and draft.rng.random() < 0.5:
        return f"{controller}-ground-fault"
    draft.device = draft.rng.choice(JOINTS)
    return controller


def _has_contact(device: str) -> bool:
    return bool(device) and "poles" in sizing.catalogue()[device]


def _functional_joint(draft: Draft) -> None:
    """The device between the negative and the bar; its contact is in a remote loop, or free."""
    if draft.device.startswith("fuse"):
        draft.in_box("fuses", "GF1", draft.device)
        ends = ("GF1.1", "GF1.2")
    else:
        looped = any("GF1.1" in c.values() for run in draft.job["runs"] for c in run["conductors"])
        free = {} if looped or not _has_contact(draft.device) else {"spare": ["1", "2"]}
        draft.in_box("grounding", "GF1", draft.device, **free)
        ends = ("GF1.system", "GF1.ground")
    earthed = draft.ground(ends[1])
    if draft.kit is IEC:
        earthed["color"] = "pink"
    size = "12 AWG" if draft.kit is US else "4 mm2"
    draft.run("R32", size, 0.5, [draft.minus(draft.bond, ends[0]), earthed], laid="in enclosure")


# -- boxes and earth -----------------------------------------------------------------------------------


def _ends(draft: Draft) -> None:
    """The box, the bonding bar, the rod, and in a grounded system its one bond."""
    kit = draft.kit
    bond: list[dict[str, str]] = []
    draft.grounds += 1
    rod = {"from": "GR1.rod", "to": f"EB1.{draft.grounds}", "color": "bare"}
    shell = draft.ground("BOX1.ground")
    if draft.solid:
        bond = [
            {"from": "GB1.system", "to": draft.bond, "color": "white"},
            draft.ground("GB1.ground"),
        ]
        draft.in_box("grounding", "GB1", "system-bond")
    elif draft.device:
        _functional_joint(draft)
    draft.add("grounding", "GR1", "ground-rod-8ft" if kit is US else "earth-rod-2.5m", location="shed")
    spare = [str(n) for n in range(draft.grounds + 1, 15)]
    draft.in_box("grounding", "EB1", "bonding-bar-14", spare=spare)
    shell_size = "10 mm2" if kit is IEC else "6 AWG"
    draft.run("R30", shell_size, 0.5, [shell, *bond], laid="in enclosure")
    buried = {"laid": "direct buried", "buried": "600 mm"} if kit is US else {"laid": "out of reach"}
    draft.run("R31", kit.rod_size, 3.0, [rod], wire=kit.bare, **buried)
    draft.job.setdefault("enclosures", []).append(
        {"tag": "BOX1", "part": "enclosure-nema4x-16x14", "location": "shed", "holds": draft.box}
    )
