from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import NamedTuple

import pytest

from specc.physics.hydraulics import (
    acceleration_head_m,
    fitting_resistance,
    float_band_m,
    float_band_time_s,
    friction_factor,
    friction_head_m,
    full_turbulence_friction_factor,
    hazen_williams_head_m,
    head_from_pressure_m,
    minor_head_m,
    npsh_available_m,
    orifice_flow_m3_s,
    pressure_from_head_pa,
    reynolds_number,
    round_well_volume_m3,
    self_priming_lift_m,
    storage_time_s,
    submergence_m,
    suction_vacuum_pa,
    surge_pressure_pa,
    velocity_m_s,
    wave_celerity_m_s,
)
from specc.physics.water import atmosphere_pa, density_kg_m3, dynamic_viscosity_pa_s, vapour_pressure_pa

GALLON_A_MINUTE_M3_S = 231 * 0.0254**3 / 60.0
LITRE_A_MINUTE_M3_S = 1e-3 / 60.0
INCH_M = 0.0254
ROOM_K = 293.15
PLASTIC_M = 1.5e-6


class Printed(NamedTuple):
    """A cell of the printed friction table: flow, bore, feet of head lost in 100 ft."""

    flow_m3_s: float
    bore_m: float
    loss: float


def printed_cells() -> tuple[Printed, ...]:
    """Cells of 0.20 and more; smaller ones are printed with too few digits to check against.

    Source: Illinois Administrative Code, Title 77, Part 906, Appendix A, Exhibit I: schedule 40
    plastic pipe, C = 150. Bores by ASTM D1785.
    """
    path = Path(__file__).parents[1] / "data" / "friction_table.toml"
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    bores_in = data["schedule_40_id_in"]
    return tuple(
        Printed(row["gpm"] * GALLON_A_MINUTE_M3_S, bores_in[size] * INCH_M, loss)
        for row in data["table"]["rows"]
        for size, loss in row.items()
        if size != "gpm" and loss >= 0.20
    )


def darcy_loss(cell: Printed) -> float:
    """Our friction head for the cell, per 100 of length, drawn plastic, water at 20 °C."""
    return friction_head_m(
        cell.flow_m3_s,
        cell.bore_m,
        100.0,
        PLASTIC_M,
        density_kg_m3(ROOM_K),
        dynamic_viscosity_pa_s(ROOM_K),
    )


def reynolds_of(cell: Printed) -> float:
    velocity = velocity_m_s(cell.flow_m3_s, cell.bore_m)
    return reynolds_number(velocity, cell.bore_m, density_kg_m3(ROOM_K), dynamic_viscosity_pa_s(ROOM_K))


def test_the_printed_table_is_there() -> None:
    cells = printed_cells()

    assert len(cells) > 80
    assert sum(reynolds_of(cell) > 2e4 for cell in cells) > 50


def test_hazen_williams_gives_the_printed_table() -> None:
    for cell in printed_cells():
        ours = hazen_williams_head_m(cell.flow_m3_s, cell.bore_m, 100.0, 150.0)
        assert ours == pytest.approx(cell.loss, rel=0.065), cell


def test_darcy_gives_the_printed_table_where_hazen_williams_holds() -> None:
    for cell in printed_cells():
        if reynolds_of(cell) > 2e4:
            assert darcy_loss(cell) == pytest.approx(cell.loss, rel=0.08), cell


def test_darcy_is_above_the_printed_table_at_small_flows() -> None:
    # There Hazen-Williams reads low: the cautious figure is the larger.
    small = [cell for cell in printed_cells() if reynolds_of(cell) < 1.2e4]

    assert small
    for cell in small:
        assert 1.0 < darcy_loss(cell) / cell.loss < 1.3, cell


@pytest.mark.parametrize(("litres_a_minute", "shortfall"), [(10, -0.18), (20, -0.11), (40, -0.05)])
def test_hazen_williams_falls_short_of_darcy_in_a_25_mm_pipe(litres_a_minute: int, shortfall: float) -> None:
    # Own arithmetic, smooth pipe, 18 °C: Re 8 050, 16 100, 32 200.
    flow_m3_s = litres_a_minute * LITRE_A_MINUTE_M3_S
    density, viscosity = density_kg_m3(291.15), dynamic_viscosity_pa_s(291.15)
    darcy_m = friction_head_m(flow_m3_s, 0.025, 120.0, 0.0, density, viscosity)

    ratio = hazen_williams_head_m(flow_m3_s, 0.025, 120.0, 150.0) / darcy_m
    assert ratio - 1.0 == pytest.approx(shortfall, abs=0.01)


@pytest.mark.parametrize("reynolds", [5.1e3, 8.05e3, 1e4, 1e5, 1e6, 1e8])
@pytest.mark.parametrize("roughness", [0.0, 6e-5, 1e-3, 0.006, 0.05])
def test_turbulent_friction_agrees_with_fluids(reynolds: float, roughness: float) -> None:
    friction = pytest.importorskip("fluids.friction")  # fluids, Colebrook's equation solved exactly

    assert friction_factor(reynolds, roughness) == pytest.approx(
        friction.Colebrook(reynolds, roughness), rel=1e-9
    )
    assert friction_factor(reynolds, roughness) == pytest.approx(
        friction.friction_factor(Re=reynolds, eD=roughness), rel=1e-6
    )


@pytest.mark.parametrize(
    ("reynolds", "printed"),
    # Smooth pipe, Prandtl's equation, as tabled in fluid mechanics texts (from memory, unverified).
    [(1e4, 0.0309), (1e5, 0.0180), (1e6, 0.0116), (1e7, 0.0081)],
)
def test_smooth_pipe_gives_the_tabled_friction(reynolds: float, printed: float) -> None:
    assert friction_factor(reynolds, 0.0) == pytest.approx(printed, abs=6e-5)


def test_laminar_and_unsettled_flow() -> None:
    # Hagen-Poiseuille below Re 2300; up to 5000 the larger of laminar and turbulent.
    assert friction_factor(1000.0, 0.01) == pytest.approx(0.064)
    assert friction_factor(2299.0, 0.0) == pytest.approx(64.0 / 2299.0)
    assert friction_factor(3000.0, 0.0) > 64.0 / 3000.0
    assert friction_factor(3000.0, 0.0) == pytest.approx(0.0435, abs=5e-4)  # Colebrook by hand iteration


def test_laminar_head_is_that_of_hagen_and_poiseuille() -> None:
    # Δp = 128 μ L Q / (π D⁴), any fluid mechanics text.
    flow_m3_s, bore_m, viscosity = 1e-6, 0.01, 1.0e-3
    expected_m = 128 * viscosity * 5.0 * flow_m3_s / (math.pi * bore_m**4) / (998.0 * 9.80665)

    assert friction_head_m(flow_m3_s, bore_m, 5.0, 0.0, 998.0, viscosity) == pytest.approx(expected_m)


def test_water_at_rest_loses_nothing() -> None:
    assert friction_head_m(0.0, 0.025, 120.0, PLASTIC_M, 998.6, 1.05e-3) == 0.0
    assert friction_head_m(1e-200, 0.025, 120.0, PLASTIC_M, 998.6, 1.05e-3) == 0.0
    assert minor_head_m(10.0, 0.0) == 0.0


def test_pipe_rougher_than_the_equation_allows_is_refused() -> None:
    with pytest.raises(ValueError, match="relative_roughness"):
        friction_head_m(1e-3, 0.025, 120.0, 0.0015, 998.6, 1.05e-3)


@pytest.mark.parametrize(
    ("bore_in", "printed"),
    # Crane TP-410, A-26: friction factors of clean commercial steel pipe, 1/2, 3/4, 1, 1 1/4, 1 1/2, 2 in.
    [(0.622, 0.026), (0.824, 0.024), (1.049, 0.022), (1.380, 0.021), (1.610, 0.020), (2.067, 0.019)],
)
def test_fully_rough_friction_gives_the_table_of_fittings(bore_in: float, printed: float) -> None:
    # Roughness 0.0018 in; editions print some sizes one in the last place apart.
    assert full_turbulence_friction_factor(0.0018 / bore_in) == pytest.approx(printed, abs=1.1e-3)


def test_fully_rough_friction_is_the_limit_of_colebrook() -> None:
    assert full_turbulence_friction_factor(0.01) == pytest.approx(friction_factor(1e8, 0.01), rel=1e-4)


def test_fitting_loss() -> None:
    # Crane TP-410: 90° threaded elbow K = 30 fT.
    resistance = fitting_resistance(30.0, 0.023)

    assert resistance == pytest.approx(0.69)
    assert minor_head_m(resistance, 2.0) == pytest.approx(0.69 * 4.0 / 19.6133)


def test_head_and_pressure_are_inverse() -> None:
    # One metre of water at 20 °C is 9.789 kPa (handbook tables).
    assert pressure_from_head_pa(1.0, 998.21) == pytest.approx(9789.0, abs=1.0)
    assert head_from_pressure_m(pressure_from_head_pa(33.0, 998.6), 998.6) == pytest.approx(33.0)


@pytest.mark.parametrize(
    ("elevation_m", "celsius", "losses_m", "expected_m"),
    # Own arithmetic: lift 3.4 m; dirty filter 1.95 m of losses, 2.6 m of filter 3.05 m, 2.5 m 2.95 m.
    [
        (2400.0, 30.0, 1.95, 1.96),
        (1500.0, 18.0, 1.95, 3.08),
        (600.0, 18.0, 3.05, 2.97),
        (600.0, 18.0, 2.95, 3.07),
    ],
)
def test_suction_head_falls_with_elevation_and_warmth(
    elevation_m: float, celsius: float, losses_m: float, expected_m: float
) -> None:
    temperature_k = celsius + 273.15
    available_m = npsh_available_m(
        atmosphere_pa(elevation_m),
        vapour_pressure_pa(temperature_k),
        density_kg_m3(temperature_k),
        3.4,
        losses_m,
    )

    assert available_m == pytest.approx(expected_m, abs=0.015)


def test_flooded_suction_shows_pressure_instead_of_vacuum() -> None:
    assert suction_vacuum_pa(-2.0, 0.5, 1000.0) == pytest.approx(-1.5 * 9806.65)


def test_dry_lift_shrinks_with_the_air_pressure() -> None:
    # Own arithmetic at 600 m: 3.0 m becomes 2.79 m, 4.0 m becomes 3.72 m.
    assert self_priming_lift_m(3.0, atmosphere_pa(600.0)) == pytest.approx(2.79, abs=0.005)
    assert self_priming_lift_m(4.0, atmosphere_pa(600.0)) == pytest.approx(3.72, abs=0.005)


def test_acceleration_head() -> None:
    # ANSI/HI 6.1-6.5, C = 0.200, K = 1.5 (from memory, unverified): 6 m, 0.34 m/s, 60 rev/min.
    assert acceleration_head_m(6.0, 0.34, 1.0, 0.200, 1.5) == pytest.approx(1.66, abs=0.005)
    assert acceleration_head_m(6.0, 0.34, 1.0, 0.066, 1.5) == pytest.approx(1.66 * 0.33, abs=0.005)


def test_fast_pumps_are_outside_the_acceleration_formula() -> None:
    with pytest.raises(ValueError, match="speed_rev_s"):
        acceleration_head_m(6.0, 0.34, 25.0, 0.200)


def test_wave_speed_of_polyethylene() -> None:
    # Plastic pipe handbooks: SDR 11, E 0.8 to 1.0 GPa: 290 to 325 m/s.
    assert wave_celerity_m_s(998.6, 0.8e9, 11.0) == pytest.approx(290.0, rel=0.01)
    assert wave_celerity_m_s(998.6, 1.0e9, 11.0) == pytest.approx(325.0, rel=0.01)


def test_wave_speed_in_a_rigid_pipe_is_that_of_sound() -> None:
    # Sound in water at 20 °C: 1482 m/s (handbook, from memory, unverified).
    assert wave_celerity_m_s(998.2, 1e15, 11.0) == pytest.approx(1482.0, rel=0.01)


def test_surge_on_sudden_closing() -> None:
    # Joukowsky; own arithmetic: 250 m/s, 0.340 m/s: 85 kPa.
    assert surge_pressure_pa(998.6, 250.0, 0.340) == pytest.approx(85e3, rel=0.005)


def test_overflow_carries_its_flow() -> None:
    # 0.6 A sqrt(2 g h), h = bore; own arithmetic: 20 mm 7.1 L/min, 25 mm 12.4 L/min.
    assert orifice_flow_m3_s(0.020, 0.020) / LITRE_A_MINUTE_M3_S == pytest.approx(7.1, abs=0.05)
    assert orifice_flow_m3_s(0.025, 0.025) / LITRE_A_MINUTE_M3_S == pytest.approx(12.4, abs=0.05)


def test_intake_depth() -> None:
    # ANSI/HI 9.8 (from memory, unverified); own arithmetic: 25 mm, 0.340 m/s: 0.064 m.
    assert submergence_m(0.025, 0.340) == pytest.approx(0.064, abs=0.0005)
    assert submergence_m(0.025, 0.0) == 0.025


def test_stored_water_lasts() -> None:
    # Own arithmetic: 763 L, 10 L/min drawn: 191 min at 6 L/min of inflow, 382 min at 8.
    stored_m3 = round_well_volume_m3(0.9, 1.2)
    draw, slow, fast = (n * LITRE_A_MINUTE_M3_S for n in (10, 6, 8))

    assert stored_m3 == pytest.approx(0.763, abs=5e-4)
    assert storage_time_s(stored_m3, draw, slow) / 60.0 == pytest.approx(191.0, abs=0.5)
    assert storage_time_s(stored_m3, draw, fast) / 60.0 == pytest.approx(382.0, abs=0.5)
    assert storage_time_s(stored_m3, draw, draw) == math.inf


def test_time_between_float_levels() -> None:
    # Own arithmetic: 2.0 m², 10 L/min: 20 mm 4.0 min, 100 mm 20 min.
    flow_m3_s = 10 * LITRE_A_MINUTE_M3_S

    assert float_band_time_s(2.0, 0.02, flow_m3_s) / 60.0 == pytest.approx(4.0)
    assert float_band_time_s(2.0, 0.10, flow_m3_s) / 60.0 == pytest.approx(20.0)


def test_band_of_a_tethered_float() -> None:
    # Common practice, no source: about 1.4 tethers between +45° and -45°.
    assert float_band_m(0.25) == pytest.approx(1.4 * 0.25, rel=0.02)
