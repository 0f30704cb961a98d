"""Larger changes to the reference job that several rules build their examples on."""

from __future__ import annotations

from typing import Any

# The negative of the reference job without its bond: nothing is earthed but cases and frames.
FLOATING: dict[str, Any] = {
    "job.earthing": "floating",
    "grounding.GB1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
    "runs.R1.conductors[1].color": "black",
    "runs.R3.conductors[1].color": "black",
    "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
}

# The negative referred to earth through a device that opens a contact in the remote loop on a ground fault.
FUNCTIONAL: dict[str, Any] = {
    "job.earthing": "functionally grounded",
    "grounding.GB1": None,
    "grounding.GF1": {"part": "functional-r", "location": "pump house"},
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1", "GF1"],
    "runs.R1.conductors[1].color": "black",
    "runs.R3.conductors[1].color": "black",
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "GF1.1", "color": "blue"},
        {"from": "GF1.2", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "LS2.1", "color": "yellow"},
        {"from": "LS2.2", "to": "TS1.1", "color": "orange"},
        {"from": "TS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
    "runs.R5.conductors": [
        {"from": "CB1.case", "to": "BOX1.ground", "color": "green"},
        {"from": "GF1.system", "to": "CB1.pv-", "color": "black"},
        {"from": "GF1.ground", "to": "BOX1.ground", "color": "green"},
    ],
}

# The same inside the booster.
FUNCTIONAL_INSIDE: dict[str, Any] = {
    **FLOATING,
    "job.earthing": "functionally grounded",
    "part:booster-r.ground_fault": True,
    "part:booster-r.functional_earth": {
        "terminal": "pv-",
        "through": "fuse",
        "rating": "1 A",
        "dc_voltage": "600 V",
        "breaking_capacity": "10 kA",
        "sees_both_poles": True,
    },
}

# The same through nothing but a fuse in the lead.
FUNCTIONAL_BY_FUSE: dict[str, Any] = {
    **FLOATING,
    "job.earthing": "functionally grounded",
    "fuses.F9": {"part": "fuse-r", "location": "pump house"},
    "runs.R5.conductors": [
        {"from": "CB1.case", "to": "BOX1.ground", "color": "green"},
        {"from": "CB1.pv-", "to": "F9.1", "color": "black"},
        {"from": "F9.2", "to": "BOX1.ground", "color": "green"},
    ],
}

# Metric sizes throughout, and terminals marked for the 70 degC column, for an IEC job.
METRIC: dict[str, Any] = {
    "job.rulebook": "iec",
    "runs.R1.size": "6 mm2",
    "runs.R1.conductors[2].size": "6 mm2",
    "runs.R2.size": "6 mm2",
    "runs.R3.size": "6 mm2",
    "runs.R4.size": "1 mm2",
    "runs.R5.size": "6 mm2",
    "runs.R6.size": "16 mm2",
    "part:panel-r.wire.temperature": "70 degC",
    "part:breaker-r.wire.temperature": "70 degC",
    "part:booster-r.wire.temperature": "70 degC",
}

# 24 V battery between a charge controller and a low-voltage disconnect, fused at its post.
BATTERY: dict[str, Any] = {
    "batteries.BT1": {"part": "battery-r", "series": 2, "location": "pump house"},
    "controllers.CB1.part": "low-voltage-r",
    "controllers.CC1": {"part": "charger-r", "location": "pump house"},
    "fuses.F0": {"part": "fuse-r", "location": "pump house"},
    "runs.R1.conductors[1].to": "CC1.pv-",
    "runs.R2.conductors[0].to": "CC1.pv+",
    "runs.R4": None,
    "runs.R5": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.5 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "GB1.system", "to": "CC1.pv-", "color": "white"},
            {"from": "GB1.ground", "to": "BOX1.ground", "color": "green"},
        ],
    },
    "runs.R7": {
        "wire": "thwn2-r",
        "size": "6 AWG",
        "length": "0.2 m",
        "laid": "in enclosure",
        "conductors": [{"from": "BT1.+", "to": "F0.1", "color": "red"}],
    },
    "runs.R8": {
        "wire": "thwn2-r",
        "size": "6 AWG",
        "length": "1 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "F0.2", "to": "CB1.battery+", "color": "red"},
            {"from": "BT1.-", "to": "CB1.battery-", "color": "white"},
            {"from": "CC1.battery+", "to": "CB1.battery+", "color": "red"},
            {"from": "CC1.battery-", "to": "CB1.battery-", "color": "white"},
        ],
    },
}


# The well of the reference job as a spring 60 m above its pump.
SPRING_ABOVE: dict[str, Any] = {
    "source.WELL.rim": "61 m",
    "source.WELL.water_level": "60 m",
    "source.WELL.low_water_level": "59.5 m",
    "source.WELL.intake": "59 m",
    "source.WELL.bottom": "58.5 m",
    "switches.LS2.acts_at": "59.3 m",
    "pipes.S1.length": "90 m",
    "pipes.S2.hottest_wall": "20 degC",
    "pipes.S3.hottest_wall": "20 degC",
}


def strings(count: int, *, parallel: int = 1, fuse: str | None = None) -> dict[str, Any]:
    """The array of the reference job as ``count`` panels entries, each with a fuse of its own if wanted.

    They meet at the breaker; the reference's own entry is the first of them.
    """
    edit: dict[str, Any] = {"panels.PV1.parallel": parallel}
    conductors = [{"from": "PV1.-", "to": "CB1.pv-", "color": "white"}]
    for number in range(1, count + 1):
        panel = f"PV{number}"
        if number > 1:
            edit[f"panels.{panel}"] = {
                "part": "panel-r",
                "series": 2,
                "parallel": parallel,
                "mounted": "ground",
                "location": "array",
            }
            conductors.append({"from": f"{panel}.-", "to": "PV1.-", "color": "white"})
            conductors.append({"from": f"{panel}.frame", "to": "PV1.frame", "color": "green"})
        if fuse is None:
            conductors.append({"from": f"{panel}.+", "to": "Q1.1", "color": "red"})
        else:
            edit[f"fuses.SF{number}"] = {"part": fuse, "location": "array"}
            conductors.append({"from": f"{panel}.+", "to": f"SF{number}.1", "color": "red"})
            conductors.append({"from": f"SF{number}.2", "to": "Q1.1", "color": "red"})
    conductors.append({"from": "PV1.frame", "to": "BOX1.ground", "color": "green"})
    edit["runs.R1.conductors"] = conductors
    return edit


# The array breaker as a fuse, and none before the motor.
ARRAY_FUSE: dict[str, object] = {
    "breakers.Q1": None,
    "fuses.Q1": {"part": "fuse-r", "location": "pump house"},
    "fuses.F1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "DS1", "GB1"],
    "runs.R2.conductors[1].to": "DS1.1",
    "runs.R2.conductors[2]": None,
}
