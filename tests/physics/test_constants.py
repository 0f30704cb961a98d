from __future__ import annotations

import pytest

from specc.physics import constants


def test_constants_agree_with_the_codata_tables() -> None:
    codata = pytest.importorskip("scipy.constants")  # CODATA and BIPM values as scipy carries them

    assert codata.g == constants.G_M_S2
    assert codata.zero_Celsius == constants.ZERO_CELSIUS_K
    assert codata.atm == constants.ATMOSPHERE_PA


def test_reference_conditions_of_modules() -> None:
    # IEC 60904-3: 1000 W/m², 25 °C. IEC 61215: 800 W/m², 20 °C (from memory, unverified).
    assert constants.STANDARD_IRRADIANCE_W_M2 == 1000.0
    assert pytest.approx(25.0 + 273.15) == constants.STANDARD_CELL_TEMPERATURE_K
    assert constants.NOCT_IRRADIANCE_W_M2 == 800.0
    assert pytest.approx(20.0 + 273.15) == constants.NOCT_AIR_TEMPERATURE_K


def test_bulk_modulus_gives_the_speed_of_sound_in_water() -> None:
    # c = sqrt(K/ρ); handbooks print 1482 m/s at 20 °C (from memory, unverified).
    speed_m_s = (constants.WATER_BULK_MODULUS_PA / 998.2) ** 0.5

    assert speed_m_s == pytest.approx(1482.0, rel=0.01)
