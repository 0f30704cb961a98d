"""Ways of the water, what stands in them, and their losses, on whole systems."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from specc.physics import hydraulics, water
from specc.reading.catalog import Catalog
from specc.reading.read import read_spec
from specc.rulebooks import NotInTable, load_handbook
from specc.system.connect import connect
from specc.system.missing import MissingDatum
from specc.system.system import System
from tests.reference import edited, read_edited

LITRE_A_MINUTE_M3_S = 1e-3 / 60.0
GALLON_A_MINUTE_M3_S = 231 * 0.0254**3 / 60.0

# A second pump beside the first, from the same well into the same delivery.
SECOND_PUMP: Mapping[str, Any] = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "freeze_safe": True, "location": "well"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m", "high_point": "0 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
}


def tags(steps: tuple[Any, ...]) -> list[str]:
    return [step.tag for step in steps]


# -- ways ----------------------------------------------------------------------------------------


def test_ways_run_in_flow_order() -> None:
    system = read_edited({})
    pump = system.devices["P1"]

    assert tags(system.water.suction(pump).steps) == ["S1", "FL1", "S2", "PR1", "S3"]
    assert tags(system.water.delivery(pump).steps) == ["D1", "RV1", "D2", "CV1", "D3"]
    assert system.water.delivery(pump).pump is system.water.suction(pump).pump is pump


def test_a_pipe_may_be_written_from_either_end() -> None:
    system = read_edited({"pipes.S1.from": "FL1.in", "pipes.S1.to": "WELL"})

    assert tags(system.water.suction(system.devices["P1"]).steps)[:2] == ["S1", "FL1"]


def test_a_relief_valve_on_a_branch_is_no_way() -> None:
    system = read_edited(
        {
            "pipes.D1": None,
            "pipes.D2.from": "P1.out",
            "pipes.B1": {"part": "pipe-r", "from": "P1.out", "to": "RV1.in", "length": "0.3 m"},
            "pipes.B2": {"part": "pipe-r", "from": "RV1.out", "to": "TK1.inlet", "length": "0.3 m"},
        }
    )

    assert tags(system.water.delivery(system.devices["P1"]).steps) == ["D2", "CV1", "D3"]


def test_no_way_leads_through_another_pump_or_tank() -> None:
    system = read_edited(
        {
            "tank.TK2": {"inlet": "5 m"},
            "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
            "pipes.X1": {"part": "pipe-r", "from": "TK1.inlet", "to": "P2.in", "length": "1 m"},
            "pipes.X2": {"part": "pipe-r", "from": "P2.out", "to": "TK2.inlet", "length": "1 m"},
        }
    )

    assert [way.end.tag for way in system.water.deliveries(system.devices["P1"])] == ["TK1"]
    assert [way.end.tag for way in system.water.deliveries(system.devices["P2"])] == ["TK2"]
    with pytest.raises(MissingDatum, match="P2: a pipe from a source"):
        system.water.suction(system.devices["P2"])


def test_devices_entered_by_their_outlet_are_told() -> None:
    turned = read_edited({"pipes.D2.to": "CV1.out", "pipes.D3.from": "CV1.in"})

    assert tags(turned.water.delivery(turned.devices["P1"]).backwards) == ["CV1"]
    assert read_edited({}).water.delivery(turned.devices["P1"]).backwards == ()


def test_of_two_tanks_the_hardest_counts() -> None:
    hill = {
        "tank.TK2": {"inlet": "30 m"},
        "pipes.D4": {"part": "pipe-r", "from": "CV1.out", "to": "TK2.inlet", "length": "60 m"},
    }
    system = read_edited(hill)
    pump = system.devices["P1"]

    assert {way.end.tag for way in system.water.deliveries(pump)} == {"TK1", "TK2"}
    assert system.water.delivery(pump).end.tag == "TK2"
    # A long flat pipe may be harder than a short high one.
    long = read_edited({**hill, "tank.TK2.inlet": "23 m", "pipes.D3.length": "400 m"})
    assert long.water.delivery(long.devices["P1"]).end.tag == "TK1"


def test_of_two_sources_the_lowest_water_counts() -> None:
    system = read_edited(
        {
            "source.SPRING": {
                "kind": "spring box",
                "low_water_level": "-5 m",
                "water_temperature": "12 degC",
            },
            "pipes.S9": {"part": "pipe-r", "from": "SPRING", "to": "FL1.in", "length": "8 m"},
        }
    )
    pump = system.devices["P1"]

    assert {way.start.tag for way in system.water.suctions(pump)} == {"WELL", "SPRING"}
    assert system.water.suction(pump).start.tag == "SPRING"
    assert system.water.lift_m(pump) == pytest.approx(5.0)


def test_a_hill_before_the_tank_is_lifted_over() -> None:
    system = read_edited({"pipes.D3.high_point": "30 m"})

    assert system.water.static_m(system.devices["P1"]) == pytest.approx(33.4)


# -- losses --------------------------------------------------------------------------------------


def test_pumps_that_share_a_pipe_are_counted_together() -> None:
    alone, both = read_edited({}), read_edited(SECOND_PUMP)
    one = alone.water.loss_m(alone.water.delivery(alone.devices["P1"]), 10 * LITRE_A_MINUTE_M3_S, dirty=True)
    two = both.water.loss_m(both.water.delivery(both.devices["P1"]), 10 * LITRE_A_MINUTE_M3_S, dirty=True)
    shared = both.connected.pipes["D3"]
    source = both.devices["WELL"]

    def in_d3(litres_a_minute: float) -> float:
        flow = litres_a_minute * LITRE_A_MINUTE_M3_S
        return both.water.friction_m(shared, flow, source) + both.water.fittings_m(shared, flow)

    # Both give 10 L/min whatever the head: only D3 and the check valve (no loss of its own) are shared.
    assert two - one == pytest.approx(in_d3(20.0) - in_d3(10.0), rel=1e-6)
    assert [p.tag for p in both.water.drawn_by(source)] == ["P1", "P2"]


def test_friction_of_a_system_pipe_agrees_with_a_printed_table() -> None:
    # Illinois Administrative Code, Title 77, Part 906, Appendix A, Exhibit I: feet lost in 100 ft of
    # schedule 40 plastic pipe, C = 150; compared where Hazen-Williams holds (Re above 20 000).
    path = Path(__file__).parents[1] / "data" / "friction_table.toml"
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    compared = 0
    for size in ("in_1", "in_1_1_4", "in_2"):
        bore_in = data["schedule_40_id_in"][size]
        system = read_edited(
            {
                "part:pipe-r.bore": f"{bore_in} in",
                "part:pipe-r.material": "PVC",
                "pipes.D3.length": "100 ft",
                "source.WELL.water_temperature": "20 degC",
            }
        )
        pipe, source = system.connected.pipes["D3"], system.devices["WELL"]
        for row in data["table"]["rows"]:
            flow = row["gpm"] * GALLON_A_MINUTE_M3_S
            reynolds = hydraulics.reynolds_number(
                system.water.velocity_m_s(pipe, flow),
                pipe.part.bore,
                system.water.density_kg_m3(source),
                water.dynamic_viscosity_pa_s(293.15),
            )
            if row.get(size, 0.0) < 0.20 or reynolds < 2e4:
                continue
            ours_ft = system.water.friction_m(pipe, flow, source) / 0.3048
            assert ours_ft == pytest.approx(row[size], rel=0.08), (size, row)
            compared += 1

    assert compared > 20


def test_losses_of_a_whole_way_agree_with_fluids() -> None:
    # Library fluids: Colebrook solved exactly; Crane TP-410 fT with the published n of each fitting.
    friction = pytest.importorskip("fluids.friction")
    fittings = pytest.importorskip("fluids.fittings")
    system = read_edited(
        {
            "pipes.D3.fittings": ["elbow 90", {"name": "elbow 45", "count": 3}, "ball valve"],
            "pipes.D3.fittings_loss": None,
            "pipes.D3.fittings_loss_flow": None,
            "part:check-r.loss_fitting": "swing check",
        }
    )
    flow, bore, length = 10 * LITRE_A_MINUTE_M3_S, 0.025, 120.0
    density, viscosity = water.density_kg_m3(291.15), water.dynamic_viscosity_pa_s(291.15)
    velocity = flow / (3.141592653589793 * bore**2 / 4)
    factor = friction.friction_factor(
        Re=density * velocity * bore / viscosity, eD=1.5e-6 / bore, Method="Colebrook"
    )
    n = 30 + 3 * 16 + 3 + 100
    lost_m = (factor * length / bore + n * fittings.ft_Crane(bore)) * velocity**2 / (2 * 9.80665)

    ours_m = system.water.loss_m(system.water.delivery(system.devices["P1"]), flow, dirty=True)
    assert ours_m == pytest.approx(lost_m, rel=0.02)  # fT is read from a table of sizes


def test_npsh_as_handbooks_work_it_out() -> None:
    # Handbook arithmetic (from memory, unverified): at sea level and 20 °C the air holds up 10.35 m of
    # water and the vapour takes 0.24 m, so 10.11 m less lift and losses is left.
    system = read_edited(
        {
            "site.elevation": "0 m",
            "source.WELL.water_temperature": "20 degC",
            "source.WELL.low_water_level": "-3 m",
            "pipes.S1.fittings_loss": "1.0 m",
            "part:filter-r.dirty_drop": "0 m",
        }
    )
    pump = system.devices["P1"]

    # 3 m of lift, 1.0 m of fittings, 0.05 m of friction
    assert system.water.npsh_available(pump, True).value == pytest.approx(10.11 - 3.0 - 1.05, abs=0.01)


def test_a_filter_without_the_flow_of_its_drop_is_missing_a_datum() -> None:
    system = read_edited({"part:filter-r.at_flow": None})

    with pytest.raises(MissingDatum, match="FL1: flow at which its drop is given"):
        system.water.total_head(system.devices["P1"], True)


def test_pulses_of_a_piston_pump_count() -> None:
    piston = {
        "part:pump-r.action": "piston",
        "part:pump-r.crank_speed": "60 rpm",
        "part:pump-r.acceleration_factor": 0.2,
    }
    plain, pulsed = read_edited({}), read_edited(piston)
    lost = (
        plain.water.npsh_available(plain.devices["P1"], True).value
        - pulsed.water.npsh_available(pulsed.devices["P1"], True).value
    )

    # ANSI/HI 6.1-6.5 (from memory, unverified): 6 m, 0.34 m/s, 60 rev/min, C 0.200, K 1.4: 1.78 m
    assert lost == pytest.approx(6.0 * 0.3395 * 60.0 * 0.2 / (1.4 * 9.80665), rel=1e-3)


def test_a_fast_piston_pump_is_not_decided() -> None:
    system = read_edited(
        {
            "part:pump-r.action": "piston",
            "part:pump-r.crank_speed": "1500 rpm",
            "part:pump-r.acceleration_factor": 0.2,
        }
    )

    with pytest.raises(NotInTable, match="use the maker's lift"):
        system.water.npsh_available(system.devices["P1"], True)


def test_a_displacement_pump_must_say_how_it_acts() -> None:
    system = read_edited({"part:pump-r.action": None})

    with pytest.raises(MissingDatum, match="key action"):
        system.water.npsh_available(system.devices["P1"], True)


def test_a_site_out_of_this_air_is_not_decided() -> None:
    with pytest.raises(NotInTable, match="elevation"):
        read_edited({"site.elevation": "-900 m"}).water.atmosphere_pa  # noqa: B018


def test_a_data_sheet_with_one_row_is_not_decided() -> None:
    row = {"voltage": "24 V", "head": "10 m", "flow": "10 L/min", "current": "2 A"}
    system = read_edited({"part:pump-r.table": [row]})

    with pytest.raises(NotInTable, match="two heads"):
        system.water.operating(system.devices["P1"], True)


def test_surge_of_a_polyethylene_pipe() -> None:
    system = read_edited({"part:pipe-r.modulus": "800 MPa", "part:pipe-r.wall": "2.5 mm"})
    surge = system.water.surge(system.connected.pipes["D3"], system.devices["P1"])
    speed = next(i.value for i in surge.inputs if i.symbol == "c")

    # Surge chapters of plastic pipe handbooks: SDR 11 to 12, 0.8 GPa: 280 to 290 m/s.
    assert 275.0 < speed < 295.0
    assert surge.value == pytest.approx(998.6 * speed * 0.3395, rel=1e-3)


def test_a_buried_pipe_is_no_hotter_than_the_air() -> None:
    buried = read_edited({"pipes.D3.hottest_wall": None})
    bare = read_edited({"pipes.D3.hottest_wall": None, "pipes.D3.buried": None})

    assert buried.water.wall_k(buried.connected.pipes["D3"]) == pytest.approx(311.15)
    with pytest.raises(MissingDatum, match="hottest wall"):
        bare.water.wall_k(bare.connected.pipes["D3"])


def test_a_pipe_hangs_no_lower_than_its_length_lets_it() -> None:
    system = read_edited(
        {"pipes.D1.low_point": None, "pipes.D3.low_point": None, "valves.CV1.elevation": "1 m"}
    )
    way = system.water.delivery(system.devices["P1"])
    pipes = system.connected.pipes

    assert system.water.lowest_m(pipes["D1"], way) == pytest.approx(-0.5)
    # Own arithmetic: 119 m between +1 and +22 m has 98 m to spare, half of it down and half up again.
    assert system.water.lowest_m(pipes["D3"], way) == pytest.approx(1.0 - 49.0)
    assert system.water.lowest_m(pipes["D2"], way) == 0.0


@pytest.mark.parametrize("written", ["from the pump", "from its far end"])
def test_a_line_to_a_tank_sags_by_half_of_what_it_is_longer(written: str) -> None:
    """Own arithmetic: what the way is longer than the height between its ends goes down and up again.

    It cannot hang by all its length and reach the tank as well.
    """
    edit: dict[str, Any] = {"pipes.D3.low_point": None}
    if written == "from its far end":
        edit |= {"pipes.D3.from": "TK1.inlet", "pipes.D3.to": "CV1.out"}
    system = read_edited(edit)
    way = system.water.delivery(system.devices["P1"])
    lengths = sum(p.spec.length for p in way.pipes)
    pump_m, inlet_m = way.pump.spec.elevation, system.water.elevation_m("TK1")
    assert inlet_m is not None

    low_m = system.water.lowest_m(system.connected.pipes["D3"], way)

    # Down from the pump and up to the tank is just as long as the pipe.
    assert (pump_m - low_m) + (inlet_m - low_m) == pytest.approx(lengths)


def test_a_pipe_from_a_known_start_to_an_unknown_end_hangs_free() -> None:
    system = read_edited({"pipes.D2.low_point": None, "valves.RV1.elevation": "1 m"})
    way = system.water.delivery(system.devices["P1"])
    pipe = system.connected.pipes["D2"]

    assert system.water.lowest_m(pipe, way) == pytest.approx(1.0 - pipe.spec.length)


# -- fittings ------------------------------------------------------------------------------------


def test_the_catalogue_and_the_table_agree_on_what_holds_water_back() -> None:
    handbook = load_handbook()
    fittings = [Catalog().find(part_id) for part_id in Catalog().ids("fitting")]

    assert len(fittings) > 50
    for part in fittings:
        assert part is not None
        holds = handbook.fitting_duty(part.fitting) in ("check valve", "foot valve")  # type: ignore[attr-defined]
        assert holds == part.holds_back, part.id  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("name", "duty"),
    [
        ("foot valve hinged", "foot valve"),
        ("swing check", "check valve"),
        ("gate valve", "stop valve"),
        ("exit", "no part"),
    ],
)
def test_duties_of_fittings(name: str, duty: str) -> None:
    assert load_handbook().fitting_duty(name) == duty


def test_the_duty_of_an_unknown_fitting_is_refused() -> None:
    with pytest.raises(NotInTable, match="elbow 33"):
        load_handbook().fitting_duty("elbow 33")


def test_an_unknown_fitting_is_a_finding_with_the_nearest_names() -> None:
    job, parts = edited({"pipes.S1.fittings": ["foot valve", "elbo 90"]})
    reading = read_spec(job, "job.toml", lambda name: parts)
    assert reading.description is not None
    connected, findings = connect(reading.description)

    assert connected is None
    assert [f.rule for f in findings] == ["spec.unknown-fitting"]
    assert findings[0].actual == "elbo 90"
    assert '"elbow 90"' in findings[0].fix
    line = job.decode().splitlines()[findings[0].places[0].line - 1]
    assert "elbo 90" in line


def test_every_known_fitting_is_accepted() -> None:
    names = list(load_handbook().fitting_names())

    assert isinstance(read_edited({"pipes.D3.fittings": names}), System)


def test_a_low_switch_guards_only_what_the_pumps_that_it_stops_draw_from() -> None:
    second = {
        **SECOND_PUMP,
        "source.W2": {
            "kind": "dug well",
            "low_water_level": "-3.4 m",
            "intake": "-4.5 m",
            "location": "well",
        },
        "pipes.S9.from": "W2",
        "switches.LS2.stops": ["P1"],
        "switches.LS9": {
            "part": "float-r",
            "location": "well",
            "closes_on": "rise",
            "guards": "source low",
            "acts_at": "-4.0 m",
            "stops": ["P2"],
        },
    }
    system = read_edited(second)

    stops = {d.tag: system.water.stop_level_m(d) for d in system.of_kind("source")}
    assert stops == {"WELL": pytest.approx(-4.2), "W2": pytest.approx(-4.0)}
