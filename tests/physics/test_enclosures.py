from __future__ import annotations

import pytest

from specc.physics.enclosures import battery_ventilation_m3_s, temperature_rise_k, ventilation_opening_m2


def test_inside_of_a_box_in_shade_and_sun() -> None:
    # IEC TR 60890 method, k = 5.5 W/(m²·K); own arithmetic: 38 °C air, 16 W, 0.3 m², 15 K of sun.
    rise_k = temperature_rise_k(16.0, 0.3)

    assert 38.0 + rise_k == pytest.approx(47.7, abs=0.05)
    assert 38.0 + rise_k + 15.0 == pytest.approx(62.7, abs=0.05)
    assert temperature_rise_k(0.0, 0.3) == 0.0


def test_vented_battery_needs_air() -> None:
    # IEC 62485-2, clause 7 (from memory, unverified): 12 cells, 100 Ah, 20 mA/Ah: 1.2 m³/h, 33.6 cm².
    flow_m3_s = battery_ventilation_m3_s(12, 20e-3 * 100.0)

    assert flow_m3_s * 3600.0 == pytest.approx(1.2)
    assert ventilation_opening_m2(flow_m3_s) * 1e4 == pytest.approx(33.6)


def test_a_battery_without_cells_or_a_box_without_surface_is_refused() -> None:
    with pytest.raises(ValueError, match="cells"):
        battery_ventilation_m3_s(0, 2.0)
    with pytest.raises(ValueError, match="cells"):
        battery_ventilation_m3_s(2.5, 2.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="area_m2"):
        temperature_rise_k(16.0, 0.0)
