"""Edges of the delivery rules. Figures: worked reference job (own arithmetic)."""

from __future__ import annotations

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._variants import SPRING_ABOVE
from specc.rules.delivery import (
    AIR_VALVE,
    CHECK_VALVE,
    PIPE_CLASS,
    RELIEF_MISSING,
    RELIEF_SETTING,
    TOTAL_HEAD,
    VELOCITY,
)
from tests.reference import read_edited
from tests.rules.answers import found, missing
from tests.rules.verdicts import answers, verdicts

CENTRIFUGAL = {
    "part:pump-r.type": "centrifugal",
    "part:pump-r.table": [
        {"voltage": "24 V", "head": "10 m", "flow": "20 L/min", "current": "5 A"},
        {"voltage": "24 V", "head": "40 m", "flow": "5 L/min", "current": "6 A"},
    ],
    "part:pump-r.max_pressure": None,
}
NO_RELIEF = {"valves.RV1": None, "pipes.D1": None, "pipes.D2.from": "P1.out"}


# -- delivery.total-head -------------------------------------------------------------------------


@pytest.mark.parametrize(("inlet", "fires"), [("35.29 m", False), ("35.30 m", True)])
def test_head_just_under_and_over(inlet: str, fires: bool) -> None:
    # 410 kPa are 41.87 m; 6.575 m of it are lift from -3.4 m and losses.
    assert bool(found(TOTAL_HEAD, {"tank.TK1.inlet": inlet})) is fires


def test_a_hill_before_the_tank_counts() -> None:
    assert found(TOTAL_HEAD, {"pipes.D3.high_point": "36 m"})


@pytest.mark.parametrize(("rise", "fires"), [("35.29 m", False), ("35.30 m", True)])
def test_a_valve_on_a_rise_before_the_tank_counts(rise: str, fires: bool) -> None:
    # The same figures as for the tank's inlet.
    edit = {"valves.CV1.elevation": rise, "part:check-r.pressure": "1000 kPa"}

    assert bool(found(TOTAL_HEAD, edit)) is fires


def test_a_centrifugal_pump_is_held_to_its_curve_not_to_its_shut_off_head() -> None:
    high = {**CENTRIFUGAL, "part:pump-r.shut_off_head": "60 m", "tank.TK1.inlet": "38 m"}

    assert not found(TOTAL_HEAD, {**CENTRIFUGAL, "part:pump-r.shut_off_head": "60 m"})
    assert found(TOTAL_HEAD, high)


def test_a_pump_that_gives_no_water_is_told() -> None:
    (finding,) = found(TOTAL_HEAD, {**CENTRIFUGAL, "tank.TK1.inlet": "80 m"})

    assert "before any water flows" in finding.message


def test_a_pump_without_a_data_sheet_is_missing_a_datum() -> None:
    assert missing(TOTAL_HEAD, {"part:pump-r.table": []})


# -- delivery.pipe-class -------------------------------------------------------------------------


@pytest.mark.parametrize(("rating", "fires"), [("520.2 kPa", True), ("520.3 kPa", False)])
def test_rating_just_under_and_over(rating: str, fires: bool) -> None:
    # 1.1 · 350 kPa = 385 kPa; PE at 40 °C keeps 0.74 (ISO 4427-1 Annex A, unverified): 520.27 kPa
    fired = found(PIPE_CLASS, {"part:pipe-r.pressure": rating})

    assert {f.subject for f in fired} == ({"D1", "D2", "D3"} if fires else set())


def test_the_lowest_point_rules() -> None:
    # 10 m lower adds 97.9 kPa to the 385 kPa of the open relief valve; 444 kPa are allowed.
    fired = found(PIPE_CLASS, {"pipes.D3.low_point": "-10 m"})

    assert [f.subject for f in fired] == ["D3"]


def test_an_unknown_low_point_is_asked_for_only_where_it_decides() -> None:
    (assumed,) = found(PIPE_CLASS, {"pipes.D3.low_point": None})
    assert (assumed.severity, assumed.required) == (Severity.WARNING, "low_point")
    assert "is assumed" in assumed.message
    assert not found(PIPE_CLASS, {"pipes.D1.low_point": None})
    strong = {"pipes.D3.low_point": None, "part:pipe-r.pressure": "40 bar"}
    assert not found(PIPE_CLASS, strong)  # it would stand hanging down its whole length


def test_a_pipe_too_weak_at_its_lower_end_fails_whatever_its_low_point() -> None:
    # 385 kPa at the pump; PN 4 keeps 296 kPa at 40 degC
    fired = found(PIPE_CLASS, {"pipes.D3.low_point": None, "part:pipe-r.pressure": "4 bar"})

    assert {f.subject: f.severity for f in fired}["D3"] is Severity.DANGER


def test_a_sunlit_pipe_of_unknown_temperature_is_missing_a_datum() -> None:
    assert missing(PIPE_CLASS, {"pipes.D1.hottest_wall": None}) == ["hottest_wall"]


@pytest.mark.parametrize("key", ["pressure", "wall"])
def test_pipe_data_that_are_missing(key: str) -> None:
    assert set(missing(PIPE_CLASS, {f"part:pipe-r.{key}": None})) == {key}


def test_hotter_than_the_table_is_not_checked() -> None:
    assert verdicts(PIPE_CLASS, {"pipes.D3.hottest_wall": "55 degC"})["D3"] is Verdict.NOT_CHECKED


def test_the_shut_off_head_of_a_centrifugal_pump_bounds_the_pressure() -> None:
    # No relief valve: H0 - 3 m of standing lift is what a shut outlet shows, at the motor's rated 24 V.
    pump = {**CENTRIFUGAL, **NO_RELIEF, "controllers.CB1.output_clamp": "24 V"}

    assert not found(PIPE_CLASS, {**pump, "part:pump-r.shut_off_head": "48 m"})  # 440.7 kPa of 444
    assert found(PIPE_CLASS, {**pump, "part:pump-r.shut_off_head": "49 m"})  # 450.5 kPa
    assert set(missing(PIPE_CLASS, pump)) == {"shut_off_head"}


@pytest.mark.parametrize(("shut_off", "fires"), [("35 m", False), ("36 m", True)])
def test_a_centrifugal_pump_driven_faster_shuts_off_higher(shut_off: str, fires: bool) -> None:
    # Affinity laws (ISO 9906, any pump handbook): head with the square of speed, speed with the volts; the
    # booster gives 28 V to a motor of 24 V. Own arithmetic: 35 m · (28/24)² - 3 m = 44.64 m, 437.1 kPa of
    # 444; 36 m: 46.00 m, 450.5 kPa.
    pump = {**CENTRIFUGAL, **NO_RELIEF, "part:pump-r.shut_off_head": shut_off}

    assert bool(found(PIPE_CLASS, pump)) is fires


def test_a_source_above_the_tank_presses_on_a_shut_line() -> None:
    # Float valve shut: the water of a spring 60 m above the pump stands on the line, not that of the tank at
    # 22 m. Hydrostatics: 998.6 · 9.80665 · 60 m = 587.6 kPa, and the surge of 10 L/min.
    (finding,) = [f for f in found(PIPE_CLASS, SPRING_ABOVE) if f.subject == "D3"]
    system = read_edited(SPRING_ABOVE)
    surge = system.water.surge(system.connected.pipes["D3"], system.devices["P1"])

    assert finding.severity is Severity.DANGER
    assert float(finding.required.removesuffix(" kPa")) == pytest.approx(587.6 + surge.value / 1e3, abs=0.2)


def test_the_relief_valve_of_one_pump_is_not_that_of_another() -> None:
    second = {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
        "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
        "pipes.D9": {
            "part": "pipe-r",
            "from": "P2.out",
            "to": "CV1.in",
            "length": "1 m",
            "fittings": ["check valve"],
            "freeze_safe": True,
            "hottest_wall": "20 degC",
        },
    }

    assert [f.subject for f in found(RELIEF_MISSING, second)] == ["P2"]


# -- delivery.relief-missing ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "obstruction",
    [
        {"pipes.D3.fittings": ["gate valve"]},
        {"pipes.D3.fittings": ["globe valve"]},
        {"valves.CV1.part": "ball-valve-r"},
        {"valves.CV1.part": "float-valve-1"},
    ],
)
def test_anything_that_shuts_calls_for_relief(obstruction: dict[str, object]) -> None:
    assert found(RELIEF_MISSING, {**NO_RELIEF, **obstruction})


def test_an_open_pipe_needs_no_relief() -> None:
    open_pipe = {**NO_RELIEF, "valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "P1.out"}

    assert verdicts(RELIEF_MISSING, open_pipe) == {"P1": Verdict.SATISFIED}


def test_no_relief_on_a_centrifugal_pump_is_no_fault() -> None:
    assert answers(RELIEF_MISSING, {**NO_RELIEF, **CENTRIFUGAL}) == []


def test_a_relief_valve_on_a_branch_counts_and_one_behind_the_check_valve_does_not() -> None:
    branch = {
        "pipes.D1": None,
        "pipes.D2.from": "P1.out",
        "pipes.B1": {"part": "pipe-r", "from": "P1.out", "to": "RV1.in", "length": "0.3 m"},
    }
    behind = {
        "pipes.D1.to": "CV1.in",
        "pipes.D2.from": "CV1.out",
        "pipes.D2.to": "RV1.in",
        "pipes.D3.from": "RV1.out",
    }

    assert not found(RELIEF_MISSING, branch)
    assert found(RELIEF_MISSING, behind)


def test_a_relief_valve_that_discharges_nowhere_is_missing_a_datum() -> None:
    branch = {
        "valves.RV1.discharges_to": "",
        "pipes.D1": None,
        "pipes.D2.from": "P1.out",
        "pipes.B1": {"part": "pipe-r", "from": "P1.out", "to": "RV1.in", "length": "0.3 m"},
    }
    piped = {**branch, "pipes.B2": {"part": "pipe-r", "from": "RV1.out", "to": "WELL", "length": "3 m"}}

    assert missing(RELIEF_MISSING, branch) == ["discharges_to"]
    assert not found(RELIEF_MISSING, piped)
    assert missing(RELIEF_MISSING, piped) == []


# -- delivery.relief-setting ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setting", "fires"), [("272 kPa", True), ("274 kPa", False), ("369 kPa", False), ("370 kPa", True)]
)
def test_setting_at_both_ends_of_its_band(setting: str, fires: bool) -> None:
    # 1.2 · 227.4 = 272.9 kPa; 0.9 · 410 = 369 kPa
    assert bool(found(RELIEF_SETTING, {"valves.RV1.setting": setting})) is fires


def test_the_weakest_may_be_the_pipe() -> None:
    # 0.9 · 0.74 · 500 kPa = 333 kPa
    (finding,) = found(RELIEF_SETTING, {"part:pipe-r.pressure": "5 bar"})

    assert "D1" in finding.message


def test_the_valves_own_range_counts() -> None:
    assert found(RELIEF_SETTING, {"part:relief-r.highest_setting": "340 kPa"})
    assert found(RELIEF_SETTING, {"part:relief-r.lowest_setting": "360 kPa"})


def test_a_band_without_room_is_said_so() -> None:
    (finding,) = found(RELIEF_SETTING, {"part:pipe-r.pressure": "4 bar"})  # 0.9 · 296 = 266 < 273 kPa

    assert "no setting will do" in finding.message
    assert finding.fix.startswith("Take D1 for 303.")  # 272.9 / 0.9 kPa
    assert " to " not in finding.required


def test_a_valve_whose_own_range_misses_the_band_is_to_be_replaced() -> None:
    # 272.9 to 369 kPa would do; the valve goes no higher than 250 kPa.
    (finding,) = found(
        RELIEF_SETTING, {"part:relief-r.highest_setting": "250 kPa", "valves.RV1.setting": "250 kPa"}
    )

    assert "no setting will do" in finding.message
    assert finding.fix == "Take a relief valve that can be set within 272.9 kPa to 369 kPa."


def _branch(**outlet: object) -> dict[str, object]:
    """The relief valve on a branch at the pump, its outlet piped to the well."""
    return {
        "pipes.D1": None,
        "pipes.D2.from": "P1.out",
        "pipes.B1": {"part": "pipe-r", "from": "P1.out", "to": "RV1.in", "length": "0.3 m"},
        "pipes.B2": {"part": "pipe-r", "from": "RV1.out", "to": "WELL", "length": "3 m", **outlet},
    }


def test_a_relief_valve_whose_discharge_can_be_shut_is_none() -> None:
    # ASME B31.1 and ISO 4126 (idea; from memory, unverified): no stop valve on either side of a relief valve.
    (finding,) = found(RELIEF_MISSING, _branch(fittings=["ball valve"]))

    assert finding.severity is Severity.DANGER
    assert "The discharge of RV1 can be shut by B2." in finding.message
    assert not found(RELIEF_MISSING, _branch())
    assert not found(RELIEF_MISSING, _branch(fittings=["elbow 90"]))


def test_a_second_free_outlet_of_a_relief_valve_serves() -> None:
    tee = {"pipes.B3": {"part": "pipe-r", "from": "RV1.out", "to": "TK1.inlet", "length": "3 m"}}

    assert not found(RELIEF_MISSING, {**_branch(fittings=["ball valve"]), **tee})


def test_a_drain_cock_at_the_end_of_the_discharge_shuts_it() -> None:
    cock = {"valves.DC9": {"part": "drain-cock-0.5", "freeze_safe": True}}

    (finding,) = found(RELIEF_MISSING, {**cock, **_branch(to="DC9.in")})
    assert "DC9" in finding.message


def test_a_relief_valve_the_wrong_way_round_is_none() -> None:
    turned = {**_branch(), "pipes.B1.to": "RV1.out", "pipes.B2.from": "RV1.in"}

    (finding,) = found(RELIEF_MISSING, turned)
    assert "wrong way round" in finding.message
    assert not found(RELIEF_SETTING, turned)  # it is no relief valve of this pump


def test_an_unset_relief_valve_is_missing_a_datum() -> None:
    assert missing(RELIEF_SETTING, {"valves.RV1.setting": None}) == ["setting"]


# -- delivery.check-valve ------------------------------------------------------------------------


def test_a_check_valve_among_the_fittings_counts() -> None:
    bare = {"valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "RV1.out"}

    assert found(CHECK_VALVE, bare)
    assert not found(CHECK_VALVE, {**bare, "pipes.D3.fittings": ["swing check"]})


def test_no_lift_nothing_falls_back() -> None:
    bare = {"valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "RV1.out"}

    assert not found(CHECK_VALVE, {**bare, "tank.TK1.inlet": "-0.5 m", "tank.TK1.overflow": "-0.55 m"})


def test_a_check_valve_against_the_flow_is_an_error() -> None:
    fired = found(CHECK_VALVE, {"pipes.D2.to": "CV1.out", "pipes.D3.from": "CV1.in"})

    assert [(f.subject, f.severity) for f in fired] == [("CV1", Severity.ERROR)]


SECOND_PUMP = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
}


def test_two_pumps_behind_one_check_valve_press_water_back_through_each_other() -> None:
    # P1 has its foot valve; P2 has none.
    (finding,) = found(CHECK_VALVE, SECOND_PUMP)

    assert (finding.subject, finding.severity) == ("P2", Severity.WARNING)
    assert "shared" in finding.actual


@pytest.mark.parametrize(
    "own",
    [
        {"pipes.D9.fittings": ["swing check"]},
        {"pipes.S9.fittings": ["foot valve"]},
        {"pipes.D9.to": "TK1.inlet", "pipes.D9.fittings": ["swing check"]},
    ],
)
def test_two_pumps_with_a_valve_each_are_sound(own: dict[str, object]) -> None:
    assert not found(CHECK_VALVE, {**SECOND_PUMP, **own})


# -- delivery.air-valve --------------------------------------------------------------------------

HILL = {"pipes.D3.high_point": "24 m"}
PARTED = {
    "pipes.D3.to": "AV1.in",
    "pipes.D3.high_point": "24 m",
    "pipes.D4": {"part": "pipe-r", "from": "AV1.in", "to": "TK1.inlet", "length": "20 m"},
}


@pytest.mark.parametrize(("top", "fires"), [("22.30 m", False), ("22.31 m", True)])
def test_a_hill_just_under_and_over(top: str, fires: bool) -> None:
    assert bool(found(AIR_VALVE, {"pipes.D3.high_point": top})) is fires


def test_a_valve_below_the_top_of_the_hill_lets_no_air_out() -> None:
    low = {"valves.AV1": {"part": "air-valve-0.5", "elevation": "20 m"}, **PARTED}

    assert found(AIR_VALVE, low)
    assert not found(AIR_VALVE, {**low, "valves.AV1.elevation": "23.9 m"})


def test_an_air_valve_of_unknown_height_is_missing_a_datum() -> None:
    assert missing(AIR_VALVE, {"valves.AV1": {"part": "air-valve-0.5"}, **PARTED})


def test_a_hump_before_a_dip_is_a_hill_too() -> None:
    dip = {
        "valves.BV1": {"part": "check-r", "elevation": "10 m", "freeze_safe": True},
        "pipes.D3.to": "BV1.in",
        "pipes.D3.high_point": "10 m",
        "pipes.D4": {
            "part": "pipe-r",
            "from": "BV1.out",
            "to": "TK1.inlet",
            "length": "20 m",
            "low_point": "8 m",
        },
    }

    assert found(AIR_VALVE, dip)
    assert not found(AIR_VALVE, {**dip, "pipes.D4.low_point": "10 m"})


# -- delivery.velocity ---------------------------------------------------------------------------


@pytest.mark.parametrize(("bore", "fires"), [("11.88 mm", True), ("11.90 mm", False)])
def test_velocity_just_over_and_under(bore: str, fires: bool) -> None:
    # 10 L/min at 1.5 m/s ask for a bore of 11.894 mm: own arithmetic
    assert bool(found(VELOCITY, {"part:pipe-r.bore": bore})) is fires


def test_a_second_pump_on_the_line_makes_its_water_faster() -> None:
    both = {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "freeze_safe": True, "location": "well"},
        "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m", "high_point": "0 m"},
        "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
    }
    # 10 L/min in 14 mm are 1.08 m/s, 20 L/min are 2.17 m/s
    fired = {finding.subject for finding in found(VELOCITY, {**both, "part:pipe-r.bore": "14 mm"})}

    assert "D3" in fired
    assert "D9" not in fired
