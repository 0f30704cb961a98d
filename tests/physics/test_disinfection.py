"""The dose of a well, against a worked example."""

from __future__ import annotations

import pytest

from specc.physics.disinfection import bleach_volume_m3, chlorine_mass_kg
from specc.physics.hydraulics import round_well_volume_m3


def test_a_round_well_of_two_metres_of_water() -> None:
    # Own arithmetic: π/4 · 0.9² · 2.0 = 1.272 m³; at 100 mg/L 127 g; in bleach of 52.5 g/L 2.42 L.
    volume_m3 = round_well_volume_m3(0.9, 2.0)
    chlorine_kg = chlorine_mass_kg(volume_m3, 0.1)

    assert volume_m3 == pytest.approx(1.27, abs=0.005)
    assert chlorine_kg * 1000.0 == pytest.approx(127.0, abs=0.5)
    assert bleach_volume_m3(chlorine_kg, 52.5) * 1000.0 == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize(
    ("volume_m3", "dose_kg_m3"), [(0.0, 0.1), (-1.0, 0.1), (1.0, 0.0), (1.0, 5.0), (float("nan"), 0.1)]
)
def test_what_is_no_dose_is_refused(volume_m3: float, dose_kg_m3: float) -> None:
    with pytest.raises(ValueError, match="must"):
        chlorine_mass_kg(volume_m3, dose_kg_m3)


def test_what_is_no_bleach_is_refused() -> None:
    with pytest.raises(ValueError, match="must"):
        bleach_volume_m3(0.1, 5.25)  # a percentage where kg/m³ is meant
