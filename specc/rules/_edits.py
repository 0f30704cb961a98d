"""Changes to the reference job that the examples of several rules start from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# The array drives the motor without a booster; the negatives meet in a terminal block.
PV_DIRECT: Mapping[str, Any] = {
    "controllers.CB1": None,
    "runs.R4": None,
    "terminal_blocks.TB1": {"part": "block-r", "links": [["1", "3"]]},
    "enclosures.BOX1.holds": ["Q1", "F1", "DS1", "GB1", "TB1"],
    "runs.R1.conductors[1].to": "TB1.1",
    "runs.R2.conductors": [
        {"from": "Q1.2", "to": "F1.1", "color": "red"},
        {"from": "F1.2", "to": "DS1.1", "color": "red"},
    ],
    "runs.R3.conductors[1].from": "TB1.2",
    "runs.R5.conductors": [
        {"from": "GB1.system", "to": "TB1.3", "color": "white"},
        {"from": "GB1.ground", "to": "BOX1.ground", "color": "green"},
    ],
}

# Two 12 V batteries in series drive the motor through fuse and switch; no array.
BATTERY: Mapping[str, Any] = {
    "panels.PV1": None,
    "breakers.Q1": None,
    "controllers.CB1": None,
    "runs.R1": None,
    "runs.R4": None,
    "enclosures.BOX1.holds": ["F1", "DS1", "GB1"],
    "batteries.BT1": {"part": "battery-r", "series": 2, "location": "pump house"},
    "runs.R2.conductors": [
        {"from": "BT1.+", "to": "F1.1", "color": "red"},
        {"from": "F1.2", "to": "DS1.1", "color": "red"},
    ],
    "runs.R3.conductors[1].from": "BT1.-",
    "runs.R5.conductors": [
        {"from": "GB1.system", "to": "BT1.-", "color": "white"},
        {"from": "GB1.ground", "to": "BOX1.ground", "color": "green"},
    ],
}

# The reference job by the metric rulebook: metric sizes, terminals for 70 °C conductors.
METRIC: Mapping[str, Any] = {
    "job.rulebook": "iec",
    "runs.R1.size": "6 mm2",
    "runs.R1.conductors[2].size": "6 mm2",
    "runs.R2.size": "6 mm2",
    "runs.R3.size": "6 mm2",
    "runs.R4.size": "0.75 mm2",
    "runs.R5.size": "6 mm2",
    "runs.R6.size": "16 mm2",
    **{
        f"part:{part}.wire.temperature": "70 degC"
        for part in (
            "panel-r",
            "breaker-r",
            "booster-r",
            "holder-r",
            "isolator-r",
            "pump-r",
            "bond-r",
            "block-r",
        )
    },
}
