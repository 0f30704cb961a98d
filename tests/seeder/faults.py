"""Faults that somebody makes with a screwdriver, at the counter or in the spec: one function a kind.

Each takes a sound job and a random source, and gives the job with the fault in it, or None where the job
has no place for it. ``FAULTS`` says which rules must then speak, at least one of them; and whether as a
danger or an error (``grave``), or as less.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from tests.seeder import sizing
from tests.seeder.systems import Job

Row = dict[str, Any]
Make = Callable[[Job, random.Random], Job | None]


@dataclass(frozen=True)
class Fault:
    """A kind of fault and the rules of which at least one must find it."""

    name: str
    make: Make
    rules: tuple[str, ...]
    grave: bool = True

    def put_into(self, job: Job, rng: random.Random) -> tuple[Job, frozenset[str]] | None:
        """A copy of the job with the fault, and the rules that answer for it; None where it has no place."""
        faulty = self.make(copy.deepcopy(job), rng)
        return None if faulty is None else (faulty, frozenset(self.rules))


# -- finding one's way about in a job ------------------------------------------------------------------


def rows(job: Job, table: str) -> list[Row]:
    found = job.get(table, [])
    return found if isinstance(found, list) else [found]


def tagged(job: Job, tag: str) -> Row | None:
    for table in job.values():
        for row in table if isinstance(table, list) else []:
            if row.get("tag") == tag:
                found: Row = row
                return found
    return None


def the(job: Job, tag: str) -> Row:
    row = tagged(job, tag)
    assert row is not None, f"no {tag}"
    return row


def remove(job: Job, tag: str) -> None:
    """Takes out a device, also of the box that holds it."""
    for table in job.values():
        if isinstance(table, list):
            table[:] = [row for row in table if row.get("tag") != tag]
    for box in rows(job, "enclosures"):
        box["holds"] = [held for held in box["holds"] if held != tag]


def conductors(job: Job) -> Iterator[tuple[Row, Row]]:
    """Every conductor with its run."""
    for run in job["runs"]:
        for conductor in run["conductors"]:
            yield run, conductor


def at(job: Job, terminal: str) -> tuple[Row, Row] | None:
    """The first conductor that ends on a terminal, with its run."""
    return next((rc for rc in conductors(job) if terminal in (rc[1]["from"], rc[1]["to"])), None)


def far_end(conductor: Row, terminal: str) -> str:
    return str(conductor["to"] if conductor["from"] == terminal else conductor["from"])


def move(job: Job, old: str, new: str) -> bool:
    """Moves the first conductor on a terminal to another one."""
    found = at(job, old)
    if found is None:
        return False
    end = "from" if found[1]["from"] == old else "to"
    found[1][end] = new
    return True


def swap(job: Job, first: str, second: str) -> Job | None:
    """Crosses what ends on two terminals."""
    one, other = at(job, first), at(job, second)
    if one is None or other is None:
        return None
    for _, conductor in conductors(job):
        for end in ("from", "to"):
            conductor[end] = {first: second, second: first}.get(conductor[end], conductor[end])
    return job


def drop(job: Job, terminal: str) -> Job | None:
    """Takes out the first conductor on a terminal."""
    found = at(job, terminal)
    if found is None:
        return None
    run, conductor = found
    run["conductors"].remove(conductor)
    if not run["conductors"]:
        job["runs"].remove(run)
    return job


def bridge(job: Job, start: str, end: str, colour: str = "red") -> Job:
    """A short conductor more, in a run of its own, of the kind that is there."""
    like = job["runs"][0]
    row = {"from": start, "to": end, "color": colour}
    size = "14 AWG" if us(job) else "2.5 mm2"
    job["runs"].append(
        {"tag": "RX", "wire": like["wire"], "size": size, "length": "0.5 m", "laid": "in enclosure"}
        | {"conductors": [row]}
    )
    return job


def us(job: Job) -> bool:
    return bool(job["job"]["rulebook"] == "us-2023")


def floating(job: Job) -> bool:
    return bool(job["job"]["earthing"] == "floating")


def solid(job: Job) -> bool:
    return bool(job["job"]["earthing"] == "negative grounded")


def functional(job: Job) -> bool:
    return bool(job["job"]["earthing"] == "functionally grounded")


def inputs(job: Job) -> str | None:
    """The controller that the array feeds."""
    return next((tag for tag in ("CB1", "CC1") if tagged(job, tag)), None)


def output(job: Job) -> tuple[str, str] | None:
    """The two terminals that feed the first motor circuit."""
    if tagged(job, "CB1"):
        return "CB1.motor+", "CB1.motor-"
    if tagged(job, "LV1"):
        return "LV1.load+", "LV1.load-"
    return ("CC1.load+", "CC1.load-") if tagged(job, "CC1") else None


def array_isc_a(job: Job) -> float:
    return sum((int(p["parallel"]) * sizing.figure(p["part"], "isc") for p in job["panels"]), 0.0)


def array_volts(job: Job, coldest_c: float | None = None) -> float:
    """Open circuit in the cold, with the 0.28 %/K that every built-in panel has at least [V]."""
    panel = job["panels"][0]
    celsius = sizing.number(job["site"]["coldest_air"]) if coldest_c is None else coldest_c
    series = int(panel["series"])
    return sizing.figure(panel["part"], "voc") * series * (1.0 + 0.0028 * (25.0 - celsius))


def run_of(job: Job, terminal: str) -> Row | None:
    found = at(job, terminal)
    return found[0] if found else None


# -- polarity and paths --------------------------------------------------------------------------------


def crossed_at_the_array(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "PV1.+", "PV1.-") if len(job["panels"]) == 1 else None


def one_string_crossed(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "PV2.+", "PV2.-") if len(job["panels"]) > 1 else None


def crossed_at_the_input(job: Job, rng: random.Random) -> Job | None:
    tag = inputs(job)
    return swap(job, f"{tag}.pv+", f"{tag}.pv-") if tag else None


def crossed_at_the_output(job: Job, rng: random.Random) -> Job | None:
    ends = output(job)
    return swap(job, *ends) if ends else None


def crossed_at_the_motor(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "P1.+", "P1.-")


def crossed_at_the_battery(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "BAT1.+", "BAT1.-")


def crossed_at_the_charger(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "CC1.battery+", "CC1.battery-")


def crossed_at_the_disconnect(job: Job, rng: random.Random) -> Job | None:
    return swap(job, "LV1.battery+", "LV1.battery-")


def wire_across_the_array(job: Job, rng: random.Random) -> Job | None:
    tag = inputs(job)
    return bridge(job, f"{tag}.pv+", f"{tag}.pv-") if tag else bridge(job, "P1.+", "P1.-")


def conductor_on_the_wrong_screw(job: Job, rng: random.Random) -> Job | None:
    return job if move(job, "P1.-", "P1.+") else None


def conductor_left_out(job: Job, rng: random.Random) -> Job | None:
    return drop(job, rng.choice(["P1.+", "P1.-", "DM1.1"]))


def loop_left_open(job: Job, rng: random.Random) -> Job | None:
    return drop(job, "CB1.remote2")


def breaker_turned_round(job: Job, rng: random.Random) -> Job | None:
    breaker = tagged(job, "Q1")
    if breaker is None or not sizing.catalogue()[breaker["part"]]["polarised"]:
        return None
    return swap(job, "Q1.1", "Q1.2")


def run_shorter_than_its_raceway(job: Job, rng: random.Random) -> Job | None:
    run = run_of(job, "DS1.1") or run_of(job, "Q1.1")
    assert run is not None
    run["length"] = f"{0.5 * sizing.number(run['length']):g} m"
    return job


def run_shorter_than_the_distance(job: Job, rng: random.Random) -> Job | None:
    job["sightlines"][0]["distance"] = f"{2.0 * sizing.number(the(job, 'C1')['length']):g} m"
    return job


def place_misspelt(job: Job, rng: random.Random) -> Job | None:
    rng.choice(job["panels"])["location"] = "aray"
    return job


def place_misspelt_in_a_sightline(job: Job, rng: random.Random) -> Job | None:
    job["sightlines"][0]["between"] = ["array", "Shed"]
    return job


# -- conductors ----------------------------------------------------------------------------------------


def array_wire_too_thin(job: Job, rng: random.Random) -> Job | None:
    """14 AWG carries 15 A at 60 degC; 1.5 mm2 of 90 degC insulation 23 A at 30 degC."""
    run = run_of(job, "DS1.1") or run_of(job, "Q1.1")
    assert run is not None
    need = (1.5625 if us(job) else 1.25) * array_isc_a(job)
    if need <= (20.0 if us(job) else 23.0):
        return None
    run["size"] = "14 AWG" if us(job) else "1.5 mm2"
    return job


def output_wire_too_thin(job: Job, rng: random.Random) -> Job | None:
    booster = tagged(job, "CB1")
    if booster is None or 1.25 * sizing.figure(booster["part"], "output_current") <= 21.0:
        return None
    the(job, "R11")["size"] = "14 AWG" if us(job) else "1.5 mm2"
    return job


def bar_wire_too_thin_for_the_battery_fuse(job: Job, rng: random.Random) -> Job | None:
    run = tagged(job, "R7LV1")
    if run is None:
        return None
    run["size"] = "14 AWG" if us(job) else "1.5 mm2"
    return job


def outlet_wire_too_thin_for_the_battery_fuse(job: Job, rng: random.Random) -> Job | None:
    run = tagged(job, "R81")
    if run is None:
        return None
    run["size"] = "14 AWG" if us(job) else "1.5 mm2"
    return job


def run_too_long(job: Job, rng: random.Random) -> Job | None:
    """So long that the label current loses a tenth of the motor's volts."""
    run, pump = the(job, "R11"), the(job, "P1")["part"]
    ohm_m = 2.0 * 0.017e-6 / (sizing.area_mm2(run["size"]) * 1e-6)
    if tagged(job, "R11F"):
        ohm_m /= 2.0  # the float's thinner wire is in the way out
    metres = 0.1 * sizing.figure(pump, "nominal_voltage") / (ohm_m * sizing.figure(pump, "rated_current"))
    run["length"] = f"{metres:.0f} m"
    the(job, "C11")["length"] = f"{metres:.0f} m"
    return job


def loop_too_long(job: Job, rng: random.Random) -> Job | None:
    run = tagged(job, "R20")
    if run is None:
        return None
    run["length"] = "3500 m"
    return job


def run_on_a_hot_roof(job: Job, rng: random.Random) -> Job | None:
    """50 degC and 33 K of sun: 90 degC insulation keeps 0.29 (NFPA 70 Table 310.15(B)(1), from memory)."""
    at_30_c = {"14 AWG": 25.0, "12 AWG": 30.0, "10 AWG": 40.0, "8 AWG": 55.0, "6 AWG": 75.0}
    run = run_of(job, "DS1.1") or run_of(job, "Q1.1")
    assert run is not None
    if 1.25 * array_isc_a(job) <= 0.32 * at_30_c.get(run["size"], 1e9):
        return None
    del the(job, "C1")["buried"]
    the(job, "C1")["on_roof"] = True
    run["hottest"] = "50 degC"
    return job


def _box_run(job: Job) -> Row:
    """The run in the box to the motor's isolator."""
    return tagged(job, "R11B") or the(job, "R2")


def wire_too_thick_for_its_terminal(job: Job, rng: random.Random) -> Job | None:
    _box_run(job)["size"] = "1 AWG" if us(job) else "50 mm2"
    return job


def fine_strands_in_a_plain_terminal(job: Job, rng: random.Random) -> Job | None:
    if not us(job):
        return None
    _box_run(job).update(wire="battery-cable-cu", size="8 AWG")
    return job


def dry_wire_in_the_ground(job: Job, rng: random.Random) -> Job | None:
    run = run_of(job, "DS1.1") or run_of(job, "Q1.1")
    assert run is not None
    run["wire"] = "thhn-cu" if us(job) else "cu-pvc-70-stranded"
    return job


# -- fuses, breakers -----------------------------------------------------------------------------------

_GENERAL_FUSES = {"5a", "10a", "15a", "20a", "30a"}
"""Ratings of the midget fuses that are not listed for photovoltaic circuits."""


def motor_fuse_too_big(job: Job, rng: random.Random) -> Job | None:
    fuse = tagged(job, "F1")
    if fuse is None:
        return None
    amperes = sizing.figure(the(job, "P1")["part"], "rated_current")
    fuse["part"] = f"fuse-10x38-dc-{next(a for a in sizing.FUSES_A if a >= 2.5 * amperes)}a"
    return job


def motor_fuse_too_small(job: Job, rng: random.Random) -> Job | None:
    fuse = tagged(job, "F1")
    if fuse is None:
        return None
    amperes = sizing.figure(the(job, "P1")["part"], "rated_current")
    fuse["part"] = f"fuse-10x38-dc-{max(a for a in sizing.FUSES_A if a < amperes)}a"
    return job


def motor_fuse_left_out(job: Job, rng: random.Random) -> Job | None:
    """Behind a battery: the battery fuse is all that is left."""
    found = at(job, "F1.2")
    if found is None or tagged(job, "CB1"):
        return None
    onward = far_end(found[1], "F1.2")
    drop(job, "F1.2")
    move(job, "F1.1", onward)
    remove(job, "F1")
    return job


def string_fuse_too_big(job: Job, rng: random.Random) -> Job | None:
    fuse = tagged(job, "SF1")
    if fuse is None:
        return None
    limit = sizing.figure(job["panels"][0]["part"], "series_fuse")
    fuse["part"] = f"fuse-10x38-dc-{next(a for a in sizing.FUSES_A if a > limit)}a"
    return job


def string_fuse_of_a_general_kind(job: Job, rng: random.Random) -> Job | None:
    fuse = tagged(job, "SF1")
    rating = fuse["part"].rpartition("-")[2] if fuse else ""
    if fuse is None or rating not in _GENERAL_FUSES:
        return None
    fuse["part"] = f"fuse-midget-{rating}"
    return job


def array_fuse_of_a_general_kind(job: Job, rng: random.Random) -> Job | None:
    """In place of the breaker of an array, from the drawer."""
    breaker = tagged(job, "Q1")
    rating = breaker["part"].removesuffix("-polarised").rpartition("-")[2] if breaker else ""
    if breaker is None or rating not in _GENERAL_FUSES:
        return None
    job["breakers"].remove(breaker)
    job.setdefault("fuses", []).append(
        breaker | {"part": f"fuse-midget-{rating}", "holder": "fuse-holder-10x38"}
    )
    return job


def string_fuse_too_small(job: Job, rng: random.Random) -> Job | None:
    fuse = tagged(job, "SF1")
    if fuse is None:
        return None
    isc = sizing.figure(job["panels"][0]["part"], "isc")
    fuse["part"] = f"fuse-10x38-dc-{max(a for a in sizing.FUSES_A if a < 1.45 * isc)}a"
    return job


def strings_without_fuses(job: Job, rng: random.Random) -> Job | None:
    """More strings than the module stands, all on one pair."""
    if len(job["panels"]) > 1:
        return None
    panel = job["panels"][0]
    while not sizing.needs_string_fuses(panel["part"], panel["parallel"], "iec"):
        panel["parallel"] += 1
    return job


def string_fuses_taken_out(job: Job, rng: random.Random) -> Job | None:
    part, strings = job["panels"][0]["part"], len(job["panels"])
    if tagged(job, "SF1") is None or not sizing.needs_string_fuses(part, strings, job["job"]["rulebook"]):
        return None
    for number in range(1, strings + 1):
        drop(job, f"SF{number}.2")
        move(job, f"SF{number}.1", f"TBP.{number}")
        remove(job, f"SF{number}")
    return job


def fuse_in_the_grounded_conductor(job: Job, rng: random.Random) -> Job | None:
    ends = output(job)
    if not solid(job) or ends is None or tagged(job, "F1") is None:
        return None
    onward, back = at(job, "F1.2"), at(job, ends[1])
    assert onward is not None and back is not None
    move(job, "F1.1", onward[1]["to"])
    onward[1].update({"from": ends[1], "to": "F1.1", "color": back[1]["color"]})
    back[1]["from"] = "F1.2"
    return job


def battery_fuse_cannot_break(job: Job, rng: random.Random) -> Job | None:
    """A blade fuse breaks 1 kA; each of these banks gives more."""
    if tagged(job, "BF1") is None or sizing.figure(the(job, "P1")["part"], "nominal_voltage") > 24.0:
        return None
    for tag in ("BF1", "BF2"):
        if tagged(job, tag):
            the(job, tag)["part"] = "fuse-blade-30a"
    return job


def battery_fuse_far_from_the_post(job: Job, rng: random.Random) -> Job | None:
    run = tagged(job, "R5")
    if run is None:
        return None
    run["length"] = "3 m"
    return job


def battery_fuse_at_another_place(job: Job, rng: random.Random) -> Job | None:
    """Its wire is said to be short all the same."""
    if tagged(job, "BF1") is None:
        return None
    the(job, "BF1")["location"] = "array"
    return job


def battery_fuse_nobody_knows_how_far_away(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BF1") is None:
        return None
    the(job, "BF1")["location"] = "tank"
    return job


def battery_fuse_left_out(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BF1") is None:
        return None
    drop(job, "BF1.1")
    move(job, "BF1.2", "BAT1.+")
    remove(job, "BF1")
    return job


def battery_strings_behind_one_fuse(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BAT1") is None:
        return None
    the(job, "BAT1")["parallel"] = 2
    return job


def battery_fuse_too_big(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BF1") is None:
        return None
    for tag in ("BF1", "BF2"):
        if tagged(job, tag):
            the(job, tag)["part"] = "fuse-battery-100a"
    return job


def array_breaker_too_big(job: Job, rng: random.Random) -> Job | None:
    breaker, run = tagged(job, "Q1"), run_of(job, "Q1.1")
    if breaker is None or run is None or sizing.area_mm2(run["size"]) > 10.0:
        return None
    breaker["part"] = "dc-breaker-1p-60a"
    return job


def array_breaker_for_alternating_current(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "Q1") is None:
        return None
    the(job, "Q1")["part"] = "ac-breaker-1p-20a"
    return job


def fuse_volts_too_low(job: Job, rng: random.Random) -> Job | None:
    """Blade fuses are for 32 V; a 36 or 48 V pump's circuit sees more."""
    fuse = tagged(job, "F1")
    if fuse is None or sizing.figure(the(job, "P1")["part"], "nominal_voltage") < 36.0:
        return None
    fuse["part"] = "fuse-blade-10a"
    return job


def motor_fuse_bypassed(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "F1.1", "F1.2") if tagged(job, "F1") else None


def battery_fuse_bypassed(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "BF1.1", "BF1.2") if tagged(job, "BF1") else None


def string_fuse_bypassed(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "SF1.1", "SF1.2") if tagged(job, "SF1") else None


def fuse_in_another_kind_of_holder(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "F1") is None:
        return None
    the(job, "F1")["holder"] = "fuse-holder-bolt-down"
    return job


def fuse_on_a_stub(job: Job, rng: random.Random) -> Job | None:
    """A fuse more, from a live screw to a block from which nothing goes on."""
    ends = output(job)
    if ends is None:
        return None
    job.setdefault("fuses", []).append({"tag": "FX", "part": "fuse-10x38-dc-8a", "location": "shed"})
    block = {"tag": "TBX", "part": "bus-bar-4-100a", "location": "shed"}
    job.setdefault("terminal_blocks", []).append(block)
    bridge(job, ends[0], "FX.1")["runs"][-1]["conductors"].append(
        {"from": "FX.2", "to": "TBX.1", "color": "red"}
    )
    return job


def block_too_small(job: Job, rng: random.Random) -> Job | None:
    """A block of 30 A between the bar and a charge controller that gives 30 A for hours."""
    found = at(job, "CC1.battery+")
    if found is None or 1.25 * sizing.figure(the(job, "CC1")["part"], "output_current") <= 30.0:
        return None
    run, conductor = found
    job["terminal_blocks"].append({"tag": "TBX", "part": "terminal-block-2way-30a", "location": "shed"})
    run["conductors"].append({"from": "TBX.2", "to": "CC1.battery+", "color": conductor["color"]})
    conductor["to"] = "TBX.1"
    return job


# -- isolators -----------------------------------------------------------------------------------------


def motor_isolator_bypassed(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "DM1.1", "DM1.2")


def array_isolator_bypassed(job: Job, rng: random.Random) -> Job | None:
    tag = "DS1" if tagged(job, "DS1") else "Q1"
    return bridge(job, f"{tag}.1", f"{tag}.2")


def isolator_on_a_stub(job: Job, rng: random.Random) -> Job | None:
    """The motor's isolator moved to a stub; a wire takes its place."""
    found = at(job, "DM1.2")
    if found is None or floating(job):
        return None
    onward = far_end(found[1], "DM1.2")
    before = at(job, "DM1.1")
    assert before is not None
    found[1].update({"from": far_end(before[1], "DM1.1"), "to": onward})
    job["terminal_blocks"] = [
        *job.get("terminal_blocks", []),
        {"tag": "TBX", "part": "bus-bar-4-100a", "location": "shed"},
    ]
    return bridge(job, "DM1.2", "TBX.1")


def _without(job: Job, tag: str, poles: tuple[tuple[str, str], ...]) -> Job:
    for one, other in poles:
        found = at(job, other)
        if found is None:
            continue
        onward = far_end(found[1], other)
        drop(job, other)
        move(job, one, onward)
    remove(job, tag)
    return job


_ALL = (("1", "2"), ("3", "4"))


def _poles(tag: str, poles: tuple[tuple[str, str], ...] = _ALL) -> tuple[tuple[str, str], ...]:
    return tuple((f"{tag}.{a}", f"{tag}.{b}") for a, b in poles)


def array_isolator_left_out(job: Job, rng: random.Random) -> Job | None:
    tag = "DS1" if tagged(job, "DS1") else "Q1"
    return _without(job, tag, _poles(tag)) if inputs(job) else None


def battery_isolator_left_out(job: Job, rng: random.Random) -> Job | None:
    return _without(job, "DB", _poles("DB")) if tagged(job, "DB") else None


def every_isolator_left_out(job: Job, rng: random.Random) -> Job | None:
    for tag in ("DS1", "Q1", "DM1", "DM2", "DB"):
        if tagged(job, tag):
            _without(job, tag, _poles(tag))
    return job


def one_pole_in_a_floating_system(job: Job, rng: random.Random) -> Job | None:
    if not floating(job) or inputs(job) is None:
        return None  # straight on the motor, its own isolator cuts both
    _bypass_second_pole(job, "DS1")
    the(job, "DS1")["part"] = "dc-isolator-1p-40a"
    return job


def one_pole_at_a_floating_battery(job: Job, rng: random.Random) -> Job | None:
    if not floating(job) or tagged(job, "DB") is None:
        return None
    _bypass_second_pole(job, "DB")
    the(job, "DB")["part"] = "dc-isolator-1p-40a"
    return job


def _bypass_second_pole(job: Job, tag: str) -> None:
    found = at(job, f"{tag}.4")
    assert found is not None
    onward = far_end(found[1], f"{tag}.4")
    drop(job, f"{tag}.4")
    move(job, f"{tag}.3", onward)


def isolator_for_alternating_current(job: Job, rng: random.Random) -> Job | None:
    row = the(job, "DM1")
    if not solid(job):
        return None
    row["part"] = "toggle-switch-ac-20a"
    return job


def plug_for_an_isolator(job: Job, rng: random.Random) -> Job | None:
    """A plug that must not be parted under load, as the only thing that cuts the array."""
    if tagged(job, "DS1") is None or inputs(job) is None:
        return None
    row = the(job, "DS1")
    row["part"] = "plug-connector-2p-50a"
    if solid(job):
        row["spare"] = ["3", "4"]
    return job


def isolator_volts_too_low(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "DS1") is None or array_volts(job) < 62.0:
        return None
    the(job, "DS1")["part"] = "dc-isolator-1p-32a" if solid(job) else "dc-isolator-2p-25a"
    return job


def isolator_amperes_too_low(job: Job, rng: random.Random) -> Job | None:
    need = (1.5625 if us(job) else 1.25) * array_isc_a(job)
    if tagged(job, "DS1") is None or need <= 16.5 or array_volts(job) > 55.0:
        return None
    the(job, "DS1")["part"] = "dc-isolator-1p-16a" if solid(job) else "dc-isolator-2p-16a"
    return job


# -- array and controllers -----------------------------------------------------------------------------


def too_many_in_series(job: Job, rng: random.Random) -> Job | None:
    tag = inputs(job)
    if tag is None:
        return None
    limit = sizing.figure(the(job, tag)["part"], "max_input_voltage")
    while array_volts(job) <= 1.03 * limit:
        for panel in job["panels"]:
            panel["series"] += 1
    return job


def hold_point_far_below(job: Job, rng: random.Random) -> Job | None:
    """Set for fewer modules than there are."""
    return _held_at(job, rng.uniform(0.4, 0.68))


def hold_point_too_high(job: Job, rng: random.Random) -> Job | None:
    return _held_at(job, rng.uniform(1.02, 1.2))


def _held_at(job: Job, share: float) -> Job | None:
    """A booster that holds its panels at a share of their hot working voltage."""
    booster = tagged(job, "CB1")
    if booster is None:
        return None
    panel, hottest_c = the(job, "PV1"), sizing.number(job["site"]["hottest_air"])
    booster["hold_voltage"] = f"{share * sizing.hot_volts(panel['part'], panel['series'], hottest_c):.1f} V"
    return job


def too_cold_a_site(job: Job, rng: random.Random) -> Job | None:
    """-55 degC, where that brings the array above what its isolator or breaker stands."""
    row = tagged(job, "DS1") or the(job, "Q1")
    if array_volts(job, -55.0) <= sizing.figure(row["part"], "dc_voltage"):
        return None
    job["site"]["coldest_air"] = "-55 degC"
    return job


def too_many_in_parallel(job: Job, rng: random.Random) -> Job | None:
    """A charge controller that does not limit its input current."""
    if tagged(job, "CC1") is None or len(job["panels"]) > 1:
        return None
    limit = sizing.figure(the(job, "CC1")["part"], "max_input_current")
    while array_isc_a(job) <= 1.05 * limit:
        job["panels"][0]["parallel"] += 1
    return job


def unlike_strings(job: Job, rng: random.Random) -> Job | None:
    if len(job["panels"]) < 2:
        return None
    job["panels"][1]["series"] += 1
    return job


def pump_too_large_for_the_booster(job: Job, rng: random.Random) -> Job | None:
    booster = tagged(job, "CB1")
    if booster is None or not booster["part"].startswith("current-booster-24v-10a"):
        return None
    the(job, "P1")["part"] = "centrifugal-pump-24v-60lpm-self-priming"
    return job


def pump_of_too_few_volts(job: Job, rng: random.Random) -> Job | None:
    volts = sizing.figure(the(job, "P1")["part"], "nominal_voltage")
    if tagged(job, "CB1") is None or volts < 24.0:
        return None
    the(job, "P1")["part"] = "vane-pump-12v-100gph"
    return job


def pump_of_too_few_volts_on_a_battery(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BAT1") is None or sizing.figure(the(job, "P1")["part"], "nominal_voltage") < 24.0:
        return None
    the(job, "P1")["part"] = "vane-pump-12v-100gph"
    return job


def motor_without_overload(job: Job, rng: random.Random) -> Job | None:
    if the(job, "P1")["part"] != "vane-pump-24v-150gph":
        return None
    the(job, "P1")["part"] = "diaphragm-pump-24v-120gph"
    return job


def motor_for_short_duty(job: Job, rng: random.Random) -> Job | None:
    if not the(job, "P1")["part"].endswith(("12v-100gph", "12v-60gph")):
        return None
    the(job, "P1")["part"] = "diaphragm-pump-12v-180gph-transfer"
    return job


def no_charge_controller(job: Job, rng: random.Random) -> Job | None:
    """The array's plus on the battery side of the charge controller."""
    return job if move(job, "CC1.pv+", "CC1.battery+") else None


def charger_of_too_many_volts(job: Job, rng: random.Random) -> Job | None:
    charger = tagged(job, "CC1")
    if charger is None or not charger["part"].startswith("charge-controller-24v"):
        return None
    charger["part"] = "charge-controller-48v-30a"
    charger.pop("spare", None)
    return job if tagged(job, "LV1") else None


def charger_past_its_bank(job: Job, rng: random.Random) -> Job | None:
    """The charge controller led to the pump's side of the low-voltage disconnect."""
    found = at(job, "CC1.battery+")
    if found is None or len([r for r in rows(job, "controllers") if r["tag"].startswith("LV")]) != 1:
        return None
    _, conductor = found
    conductor["from" if conductor["to"] == "CC1.battery+" else "to"] = "LV1.load+"
    return job


def low_voltage_stop_bypassed(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "LV1") is None:
        return None
    return job if move(job, "LV1.load+", "LV1.battery+") else None


# -- floats and loops ----------------------------------------------------------------------------------


def well_float_above_the_water(job: Job, rng: random.Random) -> Job | None:
    """It hangs where the water never comes: the pump never runs."""
    top_m = max(sizing.number(source["water_level"]) for source in rows(job, "source"))
    the(job, "LS12")["acts_at"] = f"{top_m:g} m"
    return job


def batteries_of_two_kinds(job: Job, rng: random.Random) -> Job | None:
    """A lithium battery beside the lead-acid bank, or the reverse, each with its fuse."""
    bank, fuse = tagged(job, "BAT1"), tagged(job, "BF1")
    post = run_of(job, "BAT1.+")
    if bank is None or fuse is None or post is None:
        return None
    lithium = "lfp" in bank["part"]
    nominal = 24 if bank["part"] == "battery-lfp-24v-50ah" else 12 * bank["series"]
    other = "battery-agm-12v-100ah" if lithium else "battery-lfp-12v-100ah"
    job["batteries"].append(
        {"tag": "BAT2", "part": other, "series": nominal // 12, "location": bank["location"]}
    )
    job["fuses"].append({**fuse, "tag": "BF9"})
    color = next(c["color"] for c in post["conductors"] if "BAT1.+" in (c["from"], c["to"]))
    minus = next(c for r in job["runs"] for c in r["conductors"] if "BAT1.-" in (c["from"], c["to"]))
    post["conductors"] += [
        {"from": "BAT2.+", "to": "BF9.1", "color": color},
        {"from": "BF9.2", "to": "BF1.2", "color": color},
        {"from": "BAT2.-", "to": "BAT1.-", "color": minus["color"]},
    ]
    return job


def too_few_panels_for_the_bank(job: Job, rng: random.Random) -> Job | None:
    """Panels of half the bank's volts."""
    bank = tagged(job, "BAT1")
    if bank is None or len(job["panels"]) != 1:
        return None
    bank["series"] *= 2
    return job


def raceway_that_ends_half_way(job: Job, rng: random.Random) -> Job | None:
    """The wire goes on in the open ground."""
    in_raceways = [r for r in job["runs"] if "raceway" in r and "laid" not in r]
    long = [r for r in in_raceways if sizing.number(r["length"]) > 5.0]
    if not long:
        return None
    run = rng.choice(long)
    the(job, run["raceway"])["length"] = f"{sizing.number(run['length']) - 4.0:g} m"
    return job


def grounding_rod_too_short(job: Job, rng: random.Random) -> Job | None:
    if job["job"]["rulebook"] == "iec":
        return None
    rods = [r for r in rows(job, "grounding") if "rod" in r["part"] and "clamp" not in r["part"]]
    if not rods:
        return None
    for rod in rods:
        rod["part"] = "earth-rod-1.5m"
    return job


def tank_float_upside_down(job: Job, rng: random.Random) -> Job | None:
    the(job, "LS11")["closes_on"] = "rise"
    return job


def well_float_upside_down(job: Job, rng: random.Random) -> Job | None:
    the(job, "LS12")["closes_on"] = "fall"
    return job


def float_bypassed(job: Job, rng: random.Random) -> Job | None:
    tag = rng.choice(["LS11", "LS12"])
    return bridge(job, f"{tag}.1", f"{tag}.2")


def thermal_switch_bypassed(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "TS1.1", "TS1.2") if tagged(job, "TS1") else None


def taken_out(job: Job, switch: str) -> Job | None:
    """A switch left out, and its loop or line closed where it was."""
    onward = at(job, f"{switch}.2")
    if onward is None or at(job, f"{switch}.1") is None:
        return None
    end = far_end(onward[1], f"{switch}.2")
    drop(job, f"{switch}.2")
    move(job, f"{switch}.1", end)
    remove(job, switch)
    return job


def tank_float_left_out(job: Job, rng: random.Random) -> Job | None:
    return taken_out(job, "LS11")


def well_float_left_out_beside_a_slow_thermal_switch(job: Job, rng: random.Random) -> Job | None:
    """Ten minutes is the longest that a pump of these stands dry."""
    if tagged(job, "TS1") is None or taken_out(job, "LS12") is None:
        return None
    the(job, "TS1")["trip_time"] = "11 min"
    return job


def well_float_left_out_beside_a_thermal_switch_of_unknown_time(job: Job, rng: random.Random) -> Job | None:
    return taken_out(job, "LS12") if tagged(job, "TS1") else None


def float_for_alternating_current(job: Job, rng: random.Random) -> Job | None:
    """Only where it breaks the motor's current; in a dry loop it is merely blind."""
    if tagged(job, "R20"):
        return None
    the(job, rng.choice(["LS11", "LS12"]))["part"] = "float-switch-ac-10a"
    return job


def float_for_signals_in_the_motor_line(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "R20"):
        return None
    the(job, "LS11")["part"] = "float-switch-signal"
    return job


def power_on_the_remote_terminals(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "CB1.motor+", "CB1.remote1") if tagged(job, "R20") else None


def thermal_switch_too_hot(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "TS1") is None:
        return None
    the(job, "TS1")["part"] = "thermal-switch-90c-automatic"
    return job


# -- earthing and colours ------------------------------------------------------------------------------


def bond_lead_too_small(job: Job, rng: random.Random) -> Job | None:
    found = at(job, "GB1.system")
    if found is None:
        return None
    found[1]["size"] = "18 AWG" if us(job) else "0.75 mm2"
    return job


def second_bond(job: Job, rng: random.Random) -> Job | None:
    if not solid(job):
        return None
    the(job, "EB1")["spare"].pop(0)
    job["grounding"].append({"tag": "GB2", "part": "system-bond", "location": "shed"})
    bridge(job, "GB2.system", "P1.-", "white")
    size = "6 AWG" if us(job) else "10 mm2"
    screw = 15 - len(the(job, "EB1")["spare"]) - 1
    green = {"from": "GB2.ground", "to": f"EB1.{screw}", "color": "green" if us(job) else "green-yellow"}
    job["runs"][-1]["conductors"].append({**green, "size": size})
    return job


def bond_left_out(job: Job, rng: random.Random) -> Job | None:
    if not solid(job):
        return None
    drop(job, "GB1.system")
    drop(job, "GB1.ground")
    remove(job, "GB1")
    return job


def motor_comes_home_over_ground(job: Job, rng: random.Random) -> Job | None:
    """One wire saved: what should go back to the controller ends on the grounding screw of the box."""
    found = at(job, "P1.-")
    if found is None or not solid(job):
        return None
    end = "from" if found[1]["to"] == "P1.-" else "to"
    found[1][end] = "BOX1.ground"
    return job


def bond_in_a_floating_system(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "P1.-", "P1.case", "black") if floating(job) else None


def switch_in_the_grounding_conductor(job: Job, rng: random.Random) -> Job | None:
    found = at(job, "P1.case")
    if found is None:
        return None
    home = far_end(found[1], "P1.case")
    move(job, home, "DX.1")
    part = "dc-isolator-1p-40a"
    job["disconnects"].append({"tag": "DX", "part": part, "location": "shed"})
    bridge(job, "DX.2", home, found[1]["color"])
    return job


def pump_case_not_grounded(job: Job, rng: random.Random) -> Job | None:
    return drop(job, "P1.case") if us(job) or not floating(job) else None


def frames_not_grounded(job: Job, rng: random.Random) -> Job | None:
    return drop(job, "PV1.frame") if us(job) or not floating(job) else None


def grounding_conductor_too_small(job: Job, rng: random.Random) -> Job | None:
    found = at(job, "PV1.frame")
    assert found is not None
    if us(job) and (not tagged(job, "Q1") or tagged(job, "SF1")):
        return None
    if us(job) and sizing.figure(the(job, "Q1")["part"], "rating") <= 15.0:
        return None
    if us(job) and sizing.area_mm2(found[0]["size"]) < 3.0:
        return None  # never larger than the circuit's own
    found[1]["size"] = "14 AWG" if us(job) else "2.5 mm2"
    return job


def grounding_conductor_not_grown(job: Job, rng: random.Random) -> Job | None:
    run = the(job, "R11")
    if not us(job) or tagged(job, "CB1") or inputs(job) is None or sizing.area_mm2(run["size"]) < 5.0:
        return None
    found = at(job, "P1.case")
    assert found is not None
    found[1]["size"] = "14 AWG"
    return job


def live_conductor_in_green(job: Job, rng: random.Random) -> Job | None:
    found = at(job, rng.choice(["P1.+", "P1.-"]))
    assert found is not None
    found[1]["color"] = "green" if us(job) else "green-yellow"
    return job


def white_floating_conductor(job: Job, rng: random.Random) -> Job | None:
    if not us(job) or not floating(job):
        return None
    found = at(job, "P1.-")
    assert found is not None
    found[1]["color"] = "white"
    return job


def solid_bond_for_a_functional_one(job: Job, rng: random.Random) -> Job | None:
    """The joint as the spec has it, with nothing in it that opens."""
    if not functional(job) or tagged(job, "GF1") is None:
        return None
    _take_out_joint(job)
    return _bond(job, _on_the_bar(job), "GB1")


def fuse_of_the_joint_bridged(job: Job, rng: random.Random) -> Job | None:
    """Somebody twists a wire round the blown fuse."""
    if not functional(job) or tagged(job, "GF1") is None:
        return None
    fuse = any(f["tag"] == "GF1" for f in rows(job, "fuses"))
    if fuse:
        return bridge(job, "GF1.1", "GF1.2", "black")
    return bridge(job, "GF1.system", "EB1.14", "black") if _free_screw(job) else None


def functional_device_left_out(job: Job, rng: random.Random) -> Job | None:
    if not functional(job) or tagged(job, "GF1") is None:
        return None
    _take_out_joint(job)
    return job


def second_bond_beside_a_functional_one(job: Job, rng: random.Random) -> Job | None:
    return bridge(job, "P1.-", "P1.case", "black") if functional(job) else None


def second_functional_joint(job: Job, rng: random.Random) -> Job | None:
    """A device in the box, though the controller has one inside."""
    if not functional(job) or tagged(job, "GF1") is not None or not _free_screw(job):
        return None
    job.setdefault("grounding", []).append(
        {"tag": "GF2", "part": "functional-earth-fuse-1a", "location": "shed"}
    )
    bridge(job, "GF2.system", "P1.-", "black" if us(job) else "white")
    earth = {"from": "GF2.ground", "to": "EB1.14", "color": "green" if us(job) else "pink"}
    job["runs"][-1]["conductors"].append(earth)
    return job


def one_pole_in_a_functional_array(job: Job, rng: random.Random) -> Job | None:
    if not functional(job) or inputs(job) is None:
        return None
    _bypass_second_pole(job, "DS1")
    the(job, "DS1")["part"] = "dc-isolator-1p-40a"
    return job


def one_pole_at_a_functional_motor(job: Job, rng: random.Random) -> Job | None:
    if not functional(job) or inputs(job) is None:
        return None
    _bypass_second_pole(job, "DM1")
    the(job, "DM1")["part"] = "dc-isolator-1p-40a"
    return job


def one_battery_fuse_of_a_functional_system(job: Job, rng: random.Random) -> Job | None:
    """The negative post, which is earthed for operation only, without its fuse."""
    if not functional(job) or tagged(job, "BF2") is None:
        return None
    drop(job, "BF2.1")
    move(job, "BF2.2", "BAT1.-")
    remove(job, "BF2")
    return job


def white_functional_conductor(job: Job, rng: random.Random) -> Job | None:
    if not us(job) or not functional(job):
        return None
    found = at(job, "P1.-")
    assert found is not None
    found[1]["color"] = "white"
    return job


def functional_conductor_in_green_and_yellow(job: Job, rng: random.Random) -> Job | None:
    """It protects nobody, and IEC 60445 keeps green-and-yellow for what does."""
    found = at(job, "GF1.ground") or at(job, "GF1.2") if tagged(job, "GF1") else None
    if us(job) or not functional(job) or found is None or "EB1" not in str(found[1].values()):
        return None
    found[1]["color"] = "green-yellow"
    return job


def functional_fuse_too_big(job: Job, rng: random.Random) -> Job | None:
    row = tagged(job, "GF1")
    if row is None or not row["part"].startswith("fuse"):
        return None
    row["part"] = "fuse-10x38-dc-10a"
    return job


def functional_fuse_alone(job: Job, rng: random.Random) -> Job | None:
    """IEC: the motor fuse in the conductor that is earthed for operation."""
    ends = output(job)
    if us(job) or not functional(job) or ends is None or tagged(job, "F1") is None:
        return None
    onward, back = at(job, "F1.2"), at(job, ends[1])
    assert onward is not None and back is not None
    move(job, "F1.1", onward[1]["to"])
    onward[1].update({"from": ends[1], "to": "F1.1", "color": back[1]["color"]})
    back[1]["from"] = "F1.2"
    return job


def functional_fuse_cannot_break_the_bank(job: Job, rng: random.Random) -> Job | None:
    """A blade fuse breaks 1 kA; the bank drives more into a fault to earth."""
    row = tagged(job, "GF1")
    if row is None or not row["part"].startswith("fuse") or tagged(job, "BF1") is None:
        return None
    row["part"] = "fuse-blade-5a"
    return job


def earthing_word_wrong(job: Job, rng: random.Random) -> Job | None:
    """The drawing was changed, the word was not: functionally earthed, and the spec says floating."""
    if not functional(job):
        return None
    job["job"]["earthing"] = "floating"
    return job


def ground_fault_contact_passed_by(job: Job, rng: random.Random) -> Job | None:
    """US: the device opens its contact, and nothing hangs on it."""
    if not us(job) or not functional(job) or _runs(job, "GF1.1") != "R20":
        return None
    onward = at(job, "GF1.2")
    assert onward is not None
    target = far_end(onward[1], "GF1.2")
    drop(job, "GF1.2")
    move(job, "GF1.1", target)
    the(job, "GF1")["spare"] = ["1", "2"]
    return job


def functional_lead_too_thin(job: Job, rng: random.Random) -> Job | None:
    run = tagged(job, "R32")
    if run is None:
        return None
    run["size"] = "18 AWG" if us(job) else "1.5 mm2"
    return job


def _take_out_joint(job: Job) -> None:
    contact = [c for _, c in conductors(job) if "GF1.1" in c.values() and tagged(job, "R20")]
    looped = contact and at(job, "GF1.2") is not None and _runs(job, "GF1.1") == "R20"
    if looped:
        onward = at(job, "GF1.2")
        assert onward is not None
        target = far_end(onward[1], "GF1.2")
        drop(job, "GF1.2")
        move(job, "GF1.1", target)
    job["runs"] = [run for run in job["runs"] if run["tag"] != "R32"]
    remove(job, "GF1")


def _runs(job: Job, terminal: str) -> str:
    found = at(job, terminal)
    return str(found[0]["tag"]) if found else ""


def _free_screw(job: Job) -> bool:
    """Takes the last screw of the bonding bar, where it is free."""
    spare = the(job, "EB1")["spare"]
    if "14" not in spare:
        return False
    spare.remove("14")
    return True


def _on_the_bar(job: Job) -> str:
    return "P1.-" if tagged(job, "NB") is None else _negative(job)


def _negative(job: Job) -> str:
    """A terminal of the negative bar that the joint left free."""
    ends = {end for _, c in conductors(job) for end in (c["from"], c["to"])}
    spare = the(job, "NB").get("spare", [])
    return next(f"NB.{n}" for n in range(1, 7) if f"NB.{n}" not in ends and str(n) not in spare)


def _bond(job: Job, negative: str, tag: str) -> Job:
    assert _free_screw(job)
    job.setdefault("grounding", []).append({"tag": tag, "part": "system-bond", "location": "shed"})
    bridge(job, f"{tag}.system", negative, "black" if us(job) else "white")
    size = "6 AWG" if us(job) else "10 mm2"
    green = {"from": f"{tag}.ground", "to": "EB1.14", "color": "green" if us(job) else "green-yellow"}
    job["runs"][-1]["conductors"].append({**green, "size": size})
    return job


def grounding_conductor_in_red(job: Job, rng: random.Random) -> Job | None:
    found = at(job, "P1.case")
    assert found is not None
    found[1]["color"] = "red"
    return job


# -- raceways, boxes -----------------------------------------------------------------------------------


def raceway_too_small(job: Job, rng: random.Random) -> Job | None:
    """Every buried run in the smallest raceway; a 1/2 in one takes 73 mm2 of conductors at 40 %."""
    outer_mm2 = {"14 AWG": 6.3, "12 AWG": 8.6, "10 AWG": 13.6, "8 AWG": 23.6, "6 AWG": 32.7}
    inside = [run for run in job["runs"] if "raceway" in run]
    if us(job):
        taken = sum(
            outer_mm2.get(c.get("size", run["size"]), 40.0) for run in inside for c in run["conductors"]
        )
        if taken < 80.0:
            return None
    for run in inside:
        run["raceway"] = "C1"
    the(job, "C1")["part"] = "pvc-sch40-0.5" if us(job) else "pvc-rigid-20mm"
    remove(job, "C11")
    remove(job, "C12")
    return job


def raceway_too_shallow(job: Job, rng: random.Random) -> Job | None:
    the(job, "C1")["buried"] = "100 mm"
    return job


def loop_too_shallow(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "R20") is None:
        return None
    the(job, "R20")["buried"] = "50 mm"
    return job


def indoor_box_at_the_array(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "BOX2") is None:
        return None
    the(job, "BOX2")["part"] = "enclosure-nema1-12x12"
    return job


def controller_out_in_the_rain(job: Job, rng: random.Random) -> Job | None:
    tag = inputs(job)
    if tag is None:
        return None
    the(job, tag)["location"] = "array"
    return job


def motor_isolator_out_in_the_rain(job: Job, rng: random.Random) -> Job | None:
    for box in rows(job, "enclosures"):
        box["holds"] = [held for held in box["holds"] if held != "DM1"]
    the(job, "DM1")["location"] = "pump pit"
    return job


def battery_room_without_air(job: Job, rng: random.Random) -> Job | None:
    """Lead-acid gives off hydrogen; two openings of 0.5 cm2 are not enough for any of these banks."""
    if tagged(job, "BAT1") is None or "agm" not in the(job, "BAT1")["part"]:
        return None
    job["locations"][1]["openings"] = "0.5 cm2"
    return job


# -- water ---------------------------------------------------------------------------------------------


def relief_valve_left_out(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "RV") is None:
        return None
    the(job, "D12")["from"] = "P1.out"
    remove(job, "D11")
    remove(job, "RV")
    if the(job, "P1")["part"].startswith("diaphragm"):
        return None  # these have a relief inside
    return job


def relief_valve_set_too_high(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "RV") is None:
        return None
    the(job, "RV")["setting"] = "1100 kPa"
    return job


def relief_valve_too_small(job: Job, rng: random.Random) -> Job | None:
    """It passes 5.7 L/min; the small diaphragm pump gives less."""
    if tagged(job, "RV") is None or the(job, "P1")["part"] == "diaphragm-pump-12v-60gph":
        return None
    the(job, "RV").update(part="relief-valve-0.375-25-75psi", setting="400 kPa")
    return job


def joint_weaker_than_the_relief_valve(job: Job, rng: random.Random) -> Job | None:
    """No joint stands more than 16 bar cold; at 30 degC PE keeps 0.87 of it (ISO 4427, from memory)."""
    if tagged(job, "RV") is None or the(job, "P1")["part"].startswith("diaphragm"):
        return None  # these have a relief inside
    the(job, "RV")["setting"] = "1300 kPa"
    the(job, "D13")["fittings"] = ["union"]
    return job


def filter_too_small(job: Job, rng: random.Random) -> Job | None:
    """Made for 11.4 L/min."""
    if tagged(job, "FL") is None or the(job, "P1")["part"] != "vane-pump-48v-250gph":
        return None
    the(job, "FL")["part"] = "filter-inline-5in"
    return job


def suction_too_high(job: Job, rng: random.Random) -> Job | None:
    """The pump 8 m above where it was, and its valves and filter with it."""
    if tagged(job, "FL") is None:
        return None
    the(job, "P1")["elevation"] = "8 m"
    the(job, "FL")["elevation"] = "7.5 m"
    the(job, "PR")["elevation"] = "8.1 m"
    the(job, "S11")["high_point"] = "7.5 m"
    the(job, "S12")["high_point"] = "7.9 m"
    the(job, "S13")["high_point"] = "8 m"
    return job


def woven_hose_in_the_suction(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "S13") is None:
        return None
    the(job, "S13")["part"] = "garden-hose-1"
    return job


def pipe_above_the_frost(job: Job, rng: random.Random) -> Job | None:
    if sizing.number(job["site"]["coldest_air"]) >= 0.0:
        return None
    the(job, "D13")["buried"] = "200 mm"
    return job


def check_valve_beside_the_foot_valve(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "PR") is None:
        return None
    the(job, "S13")["fittings"] = ["check valve"]
    return job


def no_check_valve(job: Job, rng: random.Random) -> Job | None:
    if tagged(job, "RV") is None:
        return None
    the(job, "D13")["from"] = "RV.out"
    remove(job, "D12")
    remove(job, "CV")
    return job


def overflow_too_small(job: Job, rng: random.Random) -> Job | None:
    rows(job, "tank")[0]["overflow_size"] = "6 mm"
    return job


def tank_below_its_source(job: Job, rng: random.Random) -> Job | None:
    tank = rows(job, "tank")[0]
    level = sizing.number(rows(job, "source")[0]["water_level"])
    tank["inlet"], tank["overflow"] = f"{level - 1.0:.1f} m", f"{level - 1.1:.1f} m"
    return job


def drowned_inlet_that_nothing_holds(job: Job, rng: random.Random) -> Job | None:
    if no_check_valve(job, rng) is None:
        return None
    tank = rows(job, "tank")[0]
    tank["overflow"] = f"{sizing.number(tank['inlet']) + 0.5:.1f} m"
    the(job, "S11")["fittings"] = ["elbow 90"]
    return job


def float_below_the_intake(job: Job, rng: random.Random) -> Job | None:
    intake = sizing.number(rows(job, "source")[0]["intake"])
    the(job, "LS12")["acts_at"] = f"{intake - 0.2:.1f} m"
    return job


def well_too_slow(job: Job, rng: random.Random) -> Job | None:
    source = rows(job, "source")[0]
    source["inflow"], source["diameter"] = "0.2 L/min", "0.3 m"
    return job


# -- what was left unsaid ------------------------------------------------------------------------------


def datum_left_out(job: Job, rng: random.Random) -> Job | None:
    table, key = rng.choice(
        [
            ("site", "coldest_air"),
            ("site", "hottest_air"),
            ("source", "low_water_level"),
            ("source", "water_temperature"),
            ("tank", "inlet"),
            ("tank", "capacity"),
            ("job", "use"),
        ]
    )
    del rows(job, table)[0][key]
    return job


FAULTS = (
    Fault("pair crossed at the array", crossed_at_the_array, ("polarity.reversed",)),
    Fault("one string crossed", one_string_crossed, ("polarity.reversed", "polarity.short-in-some-state")),
    Fault("pair crossed at the controller's input", crossed_at_the_input, ("polarity.reversed",)),
    Fault("pair crossed at the controller's output", crossed_at_the_output, ("polarity.reversed",)),
    Fault("pair crossed at the motor", crossed_at_the_motor, ("polarity.reversed",)),
    Fault(
        "pair crossed at the battery",
        crossed_at_the_battery,
        ("polarity.reversed", "polarity.short-in-some-state"),
    ),
    Fault(
        "pair crossed at the charge controller",
        crossed_at_the_charger,
        ("polarity.reversed", "polarity.short-in-some-state"),
    ),
    Fault("pair crossed at the low-voltage disconnect", crossed_at_the_disconnect, ("polarity.reversed",)),
    Fault("wire across the array", wire_across_the_array, ("polarity.short-in-some-state",)),
    Fault("conductor on the wrong screw", conductor_on_the_wrong_screw, ("wiring.open-path",)),
    Fault("conductor left out", conductor_left_out, ("wiring.open-path",)),
    Fault("remote loop left open", loop_left_open, ("control.stop-logic", "wiring.open-path")),
    Fault("polarised breaker turned round", breaker_turned_round, ("polarity.breaker-direction",)),
    Fault("run shorter than its raceway", run_shorter_than_its_raceway, ("wiring.run-too-short",)),
    Fault("run shorter than the distance", run_shorter_than_the_distance, ("wiring.run-too-short",)),
    Fault("place misspelt", place_misspelt, ("spec.unknown-place",)),
    Fault("place misspelt in a sightline", place_misspelt_in_a_sightline, ("spec.unknown-place",)),
    Fault("array conductor too thin", array_wire_too_thin, ("ampacity.pv-circuit",)),
    Fault("controller output too thin", output_wire_too_thin, ("ampacity.booster-output",)),
    Fault(
        "bar wire too thin for the battery fuse", bar_wire_too_thin_for_the_battery_fuse, ("fuse.too-big",)
    ),
    Fault("outlet wire too thin for its fuse", outlet_wire_too_thin_for_the_battery_fuse, ("fuse.too-big",)),
    Fault("run too long", run_too_long, ("drop.power-run",), grave=False),
    Fault("remote loop too long", loop_too_long, ("drop.control-run",), grave=False),
    Fault("run on a hot roof", run_on_a_hot_roof, ("ampacity.corrected", "ampacity.pv-circuit")),
    Fault("wire too thick for its terminal", wire_too_thick_for_its_terminal, ("terminal.range",)),
    Fault("fine strands in a plain terminal", fine_strands_in_a_plain_terminal, ("terminal.range",)),
    Fault("dry wire in the ground", dry_wire_in_the_ground, ("outdoor.conductor-type",)),
    Fault("motor fuse too big", motor_fuse_too_big, ("fuse.motor-branch",)),
    Fault("motor fuse too small", motor_fuse_too_small, ("fuse.motor-branch",)),
    Fault("motor fuse left out", motor_fuse_left_out, ("fuse.motor-branch", "fuse.too-big")),
    Fault("string fuse too big", string_fuse_too_big, ("fuse.string-range",)),
    Fault("string fuse too small", string_fuse_too_small, ("fuse.string-range",)),
    Fault("string fuse of a general kind", string_fuse_of_a_general_kind, ("fuse.string-range",)),
    Fault("array fuse of a general kind", array_fuse_of_a_general_kind, ("fuse.not-for-pv",)),
    Fault("parallel strings without fuses", strings_without_fuses, ("fuse.string-needed",)),
    Fault("string fuses taken out", string_fuses_taken_out, ("fuse.string-needed",)),
    Fault("fuse in the grounded conductor", fuse_in_the_grounded_conductor, ("fuse.in-grounded-conductor",)),
    Fault("battery fuse cannot break", battery_fuse_cannot_break, ("fuse.breaking-capacity",)),
    Fault("battery fuse far from the post", battery_fuse_far_from_the_post, ("battery.fuse-at-post",)),
    Fault("battery fuse at another place", battery_fuse_at_another_place, ("battery.fuse-at-post",)),
    Fault(
        "battery fuse nobody knows how far away",
        battery_fuse_nobody_knows_how_far_away,
        ("spec.missing-data",),
    ),
    Fault("battery fuse left out", battery_fuse_left_out, ("battery.fuse-at-post",)),
    Fault(
        "battery strings behind one fuse", battery_strings_behind_one_fuse, ("battery.strings-share-fuse",)
    ),
    Fault("battery fuse too big", battery_fuse_too_big, ("fuse.too-big",)),
    Fault("array breaker too big", array_breaker_too_big, ("fuse.too-big",)),
    Fault("array breaker for AC", array_breaker_for_alternating_current, ("voltage.no-dc-rating",)),
    Fault("motor fuse bypassed", motor_fuse_bypassed, ("fuse.bypassed",)),
    Fault("battery fuse bypassed", battery_fuse_bypassed, ("fuse.bypassed",)),
    Fault("string fuse bypassed", string_fuse_bypassed, ("fuse.bypassed",)),
    Fault("fuse in another kind of holder", fuse_in_another_kind_of_holder, ("fuse.wrong-holder",)),
    Fault("fuse on a stub", fuse_on_a_stub, ("fuse.guards-nothing",), grave=False),
    Fault("block too small for its current", block_too_small, ("terminal.current",)),
    Fault("motor isolator bypassed", motor_isolator_bypassed, ("disconnect.bypassed",)),
    Fault("array isolator bypassed", array_isolator_bypassed, ("disconnect.bypassed", "fuse.bypassed")),
    Fault("isolator on a stub", isolator_on_a_stub, ("disconnect.cuts-nothing",), grave=False),
    Fault("fuse of too few volts", fuse_volts_too_low, ("voltage.device-rating",)),
    Fault("array isolator left out", array_isolator_left_out, ("disconnect.missing",)),
    Fault("battery isolator left out", battery_isolator_left_out, ("disconnect.missing",)),
    Fault("every isolator left out", every_isolator_left_out, ("disconnect.missing",)),
    Fault("one pole in a floating array", one_pole_in_a_floating_system, ("disconnect.poles",)),
    Fault("one pole at a floating battery", one_pole_at_a_floating_battery, ("disconnect.poles",)),
    Fault("isolator for AC", isolator_for_alternating_current, ("voltage.no-dc-rating",)),
    Fault("plug for an isolator", plug_for_an_isolator, ("disconnect.rating",)),
    Fault("isolator of too few volts", isolator_volts_too_low, ("voltage.device-rating",)),
    Fault("isolator of too few amperes", isolator_amperes_too_low, ("disconnect.rating",)),
    Fault("too many modules in series", too_many_in_series, ("booster.input-voltage",)),
    Fault("too cold a site", too_cold_a_site, ("voltage.device-rating",)),
    Fault("hold point far below the panels", hold_point_far_below, ("booster.hold-low",), grave=False),
    Fault("hold point above hot panels", hold_point_too_high, ("booster.hold-voltage",), grave=False),
    Fault("too many strings for the charger", too_many_in_parallel, ("booster.input-current",)),
    Fault("unlike strings", unlike_strings, ("array.unlike-strings",), grave=False),
    Fault("pump too large for the booster", pump_too_large_for_the_booster, ("booster.output-current",)),
    Fault("pump of too few volts", pump_of_too_few_volts, ("booster.output-voltage",)),
    Fault("such a pump on a battery", pump_of_too_few_volts_on_a_battery, ("voltage.nominal-mismatch",)),
    Fault("motor without overload protection", motor_without_overload, ("motor.overload",)),
    Fault("motor for short duty", motor_for_short_duty, ("motor.duty",), grave=False),
    Fault("no charge controller", no_charge_controller, ("battery.charge-control",)),
    Fault(
        "charger of too many volts",
        charger_of_too_many_volts,
        ("battery.top-voltage", "voltage.nominal-mismatch"),
    ),
    Fault("low-voltage stop bypassed", low_voltage_stop_bypassed, ("battery.low-voltage-stop",), grave=False),
    Fault("well float above the water", well_float_above_the_water, ("switch.cannot-feel",)),
    Fault("batteries of two kinds", batteries_of_two_kinds, ("battery.unlike",)),
    Fault("charger past its bank", charger_past_its_bank, ("battery.never-full",)),
    Fault("too few panels for the bank", too_few_panels_for_the_bank, ("battery.never-full",)),
    Fault("raceway that ends half way", raceway_that_ends_half_way, ("raceway.ends-early",)),
    Fault("grounding rod too short", grounding_rod_too_short, ("ground.rod-too-short",)),
    Fault("tank float upside down", tank_float_upside_down, ("float.wrong-way",)),
    Fault("well float upside down", well_float_upside_down, ("float.wrong-way",)),
    Fault("float bypassed", float_bypassed, ("control.stop-logic",)),
    Fault("thermal switch bypassed", thermal_switch_bypassed, ("control.stop-logic",)),
    Fault("tank float left out", tank_float_left_out, ("storage.no-full-stop",), grave=False),
    Fault(
        "well float left out beside a slow thermal switch",
        well_float_left_out_beside_a_slow_thermal_switch,
        ("source.run-dry",),
    ),
    Fault(
        "well float left out beside a thermal switch of unknown time",
        well_float_left_out_beside_a_thermal_switch_of_unknown_time,
        ("spec.missing-data",),
    ),
    Fault("float for AC in the motor line", float_for_alternating_current, ("float.contact-rating",)),
    Fault("signal float in the motor line", float_for_signals_in_the_motor_line, ("float.contact-rating",)),
    Fault("power on the remote terminals", power_on_the_remote_terminals, ("control.dry-contact-powered",)),
    Fault("thermal switch that trips too hot", thermal_switch_too_hot, ("thermal.trip-point",), grave=False),
    Fault("motor comes home over ground", motor_comes_home_over_ground, ("wiring.open-path",)),
    Fault("second bond", second_bond, ("ground.second-bond",)),
    Fault("lead of the bond too small", bond_lead_too_small, ("ground.bond-size",)),
    Fault("bond left out", bond_left_out, ("ground.bond-missing",)),
    Fault(
        "bond in a floating system", bond_in_a_floating_system, ("ground.second-bond", "ground.bond-missing")
    ),
    Fault("solid bond for a functional one", solid_bond_for_a_functional_one, ("ground.bond-missing",)),
    Fault(
        "functional joint bridged",
        fuse_of_the_joint_bridged,
        ("ground.bond-missing", "ground.second-bond"),
    ),
    Fault("functional device left out", functional_device_left_out, ("ground.bond-missing",)),
    Fault(
        "second bond beside a functional one", second_bond_beside_a_functional_one, ("ground.second-bond",)
    ),
    Fault("two functional joints", second_functional_joint, ("ground.second-bond",)),
    Fault("one pole in a functional array", one_pole_in_a_functional_array, ("disconnect.poles",)),
    Fault("one pole at a functional motor", one_pole_at_a_functional_motor, ("disconnect.poles",)),
    Fault(
        "one battery fuse in a functional system",
        one_battery_fuse_of_a_functional_system,
        ("battery.fuse-at-post",),
    ),
    Fault("white conductor of a functional system", white_functional_conductor, ("ground.colour-role",)),
    Fault(
        "functional conductor in green-yellow",
        functional_conductor_in_green_and_yellow,
        ("ground.colour-role",),
    ),
    Fault("functional fuse too big", functional_fuse_too_big, ("ground.functional-device",)),
    Fault("motor fuse in the functional conductor", functional_fuse_alone, ("fuse.in-grounded-conductor",)),
    Fault(
        "functional fuse cannot break the bank",
        functional_fuse_cannot_break_the_bank,
        ("ground.functional-device",),
    ),
    Fault("functional system called floating", earthing_word_wrong, ("ground.second-bond",)),
    Fault(
        "contact of the ground-fault device passed by",
        ground_fault_contact_passed_by,
        ("ground.fault-protection",),
        grave=False,
    ),
    Fault("functional lead too thin", functional_lead_too_thin, ("ground.functional-lead",)),
    Fault("switch in the grounding conductor", switch_in_the_grounding_conductor, ("ground.switched",)),
    Fault("pump case not grounded", pump_case_not_grounded, ("ground.egc-missing",)),
    Fault("frames not grounded", frames_not_grounded, ("ground.egc-missing",)),
    Fault("grounding conductor too small", grounding_conductor_too_small, ("ground.egc-size",)),
    Fault("grounding conductor not grown", grounding_conductor_not_grown, ("ground.egc-upsized",)),
    Fault("live conductor in green", live_conductor_in_green, ("ground.colour-role",)),
    Fault("white conductor of a floating system", white_floating_conductor, ("ground.colour-role",)),
    Fault("grounding conductor in red", grounding_conductor_in_red, ("ground.colour-role",)),
    Fault("raceway too small", raceway_too_small, ("raceway.fill",)),
    Fault("raceway too shallow", raceway_too_shallow, ("raceway.cover",)),
    Fault("remote loop too shallow", loop_too_shallow, ("raceway.cover",)),
    Fault("indoor box at the array", indoor_box_at_the_array, ("outdoor.enclosure-type",)),
    Fault("controller out in the rain", controller_out_in_the_rain, ("outdoor.enclosure-type",)),
    Fault("isolator out in the rain", motor_isolator_out_in_the_rain, ("outdoor.enclosure-type",)),
    Fault("battery room without air", battery_room_without_air, ("battery.gas",)),
    Fault("relief valve left out", relief_valve_left_out, ("delivery.relief-missing",)),
    Fault("relief valve set too high", relief_valve_set_too_high, ("delivery.relief-setting",)),
    Fault("relief valve too small", relief_valve_too_small, ("delivery.relief-capacity",)),
    Fault(
        "joint weaker than the relief valve", joint_weaker_than_the_relief_valve, ("delivery.fitting-class",)
    ),
    Fault("filter too small", filter_too_small, ("flow.over-capacity",), grave=False),
    Fault("suction too high", suction_too_high, ("suction.prime-height", "suction.npsh")),
    Fault("woven hose in the suction", woven_hose_in_the_suction, ("suction.permeable-hose",)),
    Fault("pipe above the frost", pipe_above_the_frost, ("freeze.standing-water",)),
    Fault(
        "check valve beside the foot valve",
        check_valve_beside_the_foot_valve,
        ("suction.foot-valve",),
        grave=False,
    ),
    Fault("no check valve", no_check_valve, ("delivery.check-valve",), grave=False),
    Fault("overflow too small", overflow_too_small, ("storage.overflow",), grave=False),
    Fault("tank below its source", tank_below_its_source, ("delivery.siphon",)),
    Fault("drowned inlet that nothing holds", drowned_inlet_that_nothing_holds, ("delivery.siphon",)),
    Fault(
        "float below the intake",
        float_below_the_intake,
        ("source.run-dry", "source.submergence"),
        grave=False,
    ),
    Fault("well too slow", well_too_slow, ("source.recovery",), grave=False),
    Fault("datum left out", datum_left_out, ("spec.missing-data",)),
)
