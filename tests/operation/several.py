"""The reference job with more pumps, wells, tanks and arrays, as changes to it."""

from __future__ import annotations

from typing import Any

from specc.rules._edits import PV_DIRECT
from specc.rules._variants import BATTERY

Edit = dict[str, Any]

# A second pump, pumping from the same well into the same line before the check valve.
PUMP_2: Edit = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "freeze_safe": True, "location": "well"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m", "high_point": "0 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
}
# Side by side with the first on whatever feeds it, so that its floats stop both.
BESIDE: Edit = {
    **PUMP_2,
    "runs.R3.conductors[3]": {"from": "DS1.2", "to": "P2.+", "color": "red"},
    "runs.R3.conductors[4]": {"from": "P1.-", "to": "P2.-", "color": "white"},
}
_FLOATS_2: Edit = {
    "switches.LS3": {"part": "float-r", "location": "tank", "closes_on": "fall", "guards": "tank full"},
    "switches.LS4": {
        "part": "float-r", "location": "well", "closes_on": "rise", "guards": "source low",
        "acts_at": "-4.2 m",
    },
    "runs.R4.conductors[4]": {"from": "CB2.remote1", "to": "LS3.1", "color": "blue"},
    "runs.R4.conductors[5]": {"from": "LS3.2", "to": "LS4.1", "color": "yellow"},
    "runs.R4.conductors[6]": {"from": "LS4.2", "to": "CB2.remote2", "color": "brown"},
}  # fmt: skip
_BEHIND_CB2: Edit = {
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "runs.R3.conductors[3]": {"from": "CB2.motor+", "to": "P2.+", "color": "red"},
    "runs.R3.conductors[4]": {"from": "CB2.motor-", "to": "P2.-", "color": "white"},
}
# Each pump behind a booster of its own, both on the one array.
TWO_BOOSTERS: Edit = {
    **PUMP_2,
    **_FLOATS_2,
    **_BEHIND_CB2,
    "runs.R2.conductors[3]": {"from": "Q1.2", "to": "CB2.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "CB1.pv-", "to": "CB2.pv-", "color": "white"},
}
# Each pump with an array of its own, the pipes meeting.
TWO_ARRAYS: Edit = {
    **PUMP_2,
    **_FLOATS_2,
    **_BEHIND_CB2,
    "panels.PV2": {
        "part": "panel-r", "series": 2, "parallel": 1, "tilt": "20 deg", "azimuth": "200 deg",
        "location": "array",
    },
    "runs.R1.conductors[3]": {"from": "PV2.+", "to": "CB2.pv+", "color": "red"},
    "runs.R1.conductors[4]": {"from": "PV2.-", "to": "CB2.pv-", "color": "white"},
}  # fmt: skip
# A second well, the second pump in it.
WELL_2: Edit = {
    "source.WELL2": {
        "kind": "dug well", "rim": "0.5 m", "water_level": "-2.0 m", "low_water_level": "-2.4 m",
        "bottom": "-4.0 m", "intake": "-3.5 m", "diameter": "1.0 m", "inflow": "6 L/min",
        "water_temperature": "18 degC", "location": "well 2",
    },
    "locations.well 2": {"wet": True, "sunlit": False},
    "pipes.S9.from": "WELL2",
    "pumps.P2.location": "well 2",
    "switches.LS4.location": "well 2",
    "switches.LS4.acts_at": "-3.2 m",
}  # fmt: skip
TWO_WELLS: Edit = {**TWO_BOOSTERS, **WELL_2}
# A branch to a second, higher tank, which a float valve shuts.
TANK_2: Edit = {
    "tank.TK2": {
        "inlet": "24.0 m", "overflow": "23.95 m", "capacity": "3000 L", "plan_area": "1.5 m2",
        "demand": "900 L/day", "float_band": "100 mm", "location": "tank 2",
    },
    "locations.tank 2": {"wet": True},
    "pipes.D8": {"part": "pipe-r", "from": "CV1.out", "to": "FV2.in", "length": "60 m"},
    "valves.FV2": {"part": "float-valve-1", "freeze_safe": True},
    "pipes.D7": {"part": "pipe-r", "from": "FV2.out", "to": "TK2.inlet", "length": "1 m"},
}  # fmt: skip
# Both pumps straight on the panels.
DIRECT_TWO: Edit = {**PV_DIRECT, **BESIDE}
# A bank and its disconnect, the floats in the motor's own current, their contacts taken as rated for it.
BANK: Edit = {
    **BATTERY,
    "runs.R3.conductors[0].to": "LS1.1",
    "runs.R3.conductors[3]": {"from": "LS1.2", "to": "LS2.1", "color": "red"},
    "runs.R3.conductors[4]": {"from": "LS2.2", "to": "P1.+", "color": "red"},
}
BANK_TWO: Edit = {
    **BANK,
    **PUMP_2,
    "runs.R3.conductors[5]": {"from": "LS2.2", "to": "P2.+", "color": "red"},
    "runs.R3.conductors[6]": {"from": "P1.-", "to": "P2.-", "color": "white"},
}
