"""Sun and transposition against pvlib, over every hour of the TMY3 file that pvlib ships."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from specc.operation.sun import Values, clear_sky_w_m2, solar_time_path, sun_path, tilted_w_m2
from specc.operation.weather import HOUR_S, HOURS, Weather, read_weather

FILE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
TILT_DEG, AZIMUTH_DEG = 36.0, 195.0


@pytest.fixture(scope="module")
def weather() -> Weather:
    return read_weather(FILE.read_bytes(), FILE.name)


@pytest.fixture(scope="module")
def times() -> pd.DatetimeIndex:
    return pd.date_range("1990-01-01 00:30", periods=HOURS, freq="h", tz="Etc/GMT+5")


@pytest.fixture(scope="module")
def theirs(weather: Weather, times: pd.DatetimeIndex) -> pd.DataFrame:
    return pvlib.solarposition.get_solarposition(times, weather.latitude_deg, weather.longitude_deg)


def _day_numbers(times: pd.DatetimeIndex) -> np.ndarray:
    return (times.day_of_year + (times.hour + times.minute / 60.0) / 24.0).to_numpy(dtype=float)


def _middles() -> Values:
    return (np.arange(HOURS) + 0.5) * HOUR_S


def test_the_sun_stands_where_pvlib_has_it(weather: Weather, theirs: pd.DataFrame) -> None:
    ours = sun_path(_middles(), weather.latitude_deg, weather.longitude_deg, weather.utc_offset_h)
    zenith, azimuth = np.radians(theirs["zenith"].to_numpy()), np.radians(theirs["azimuth"].to_numpy())
    along = ours.up * np.cos(zenith) + np.sin(zenith) * (
        ours.east * np.sin(azimuth) + ours.north * np.cos(azimuth)
    )

    # The Almanac's formulas claim 0.01 degrees; twice that for the year's drift of the clock.
    assert np.degrees(np.arccos(np.clip(along, -1.0, 1.0))).max() < 0.03


def test_sunlight_outside_the_air_follows_the_distance(weather: Weather, times: pd.DatetimeIndex) -> None:
    ours = sun_path(_middles(), weather.latitude_deg, weather.longitude_deg, weather.utc_offset_h)
    theirs = pvlib.irradiance.get_extra_radiation(
        _day_numbers(times), solar_constant=1361.0, method="spencer"
    )

    assert np.abs(ours.outside_w_m2 / theirs - 1.0).max() < 0.001


def test_light_on_a_tilted_plane_is_that_of_pvlib(
    weather: Weather, times: pd.DatetimeIndex, theirs: pd.DataFrame
) -> None:
    path = sun_path(_middles(), weather.latitude_deg, weather.longitude_deg, weather.utc_offset_h)
    ours = tilted_w_m2(
        path,
        weather.ghi_w_m2,
        weather.dni_w_m2,
        weather.dhi_w_m2,
        np.radians(TILT_DEG),
        np.radians(AZIMUTH_DEG),
    )
    reference = pvlib.irradiance.get_total_irradiance(
        TILT_DEG,
        AZIMUTH_DEG,
        theirs["zenith"],
        theirs["azimuth"],
        pd.Series(weather.dni_w_m2, times),
        pd.Series(weather.ghi_w_m2, times),
        pd.Series(weather.dhi_w_m2, times),
        dni_extra=pvlib.irradiance.get_extra_radiation(
            _day_numbers(times), solar_constant=1361.0, method="spencer"
        ),
        albedo=0.2,
        model="haydavies",
    )["poa_global"].to_numpy()

    assert np.abs(ours - reference).max() < 2.0
    assert ours.sum() == pytest.approx(reference.sum(), rel=1e-4)


@pytest.mark.parametrize("latitude", [-60.0, -20.0, 0.0, 44.0, 65.0])
def test_by_the_sundial_noon_is_the_highest_and_days_are_even(latitude: float) -> None:
    path = solar_time_path(_middles(), latitude)
    day = path.up.reshape(365, 24)

    assert np.abs(day - day[:, ::-1]).max() < 0.01
    assert (np.argmax(day, axis=1) // 2 * 2 == 10).all() or (np.argmax(day, axis=1) <= 12).all()
    assert np.abs(path.east**2 + path.north**2 + path.up**2 - 1.0).max() < 1e-12


def test_a_cloudless_sky_gives_a_plausible_noon() -> None:
    """Clear-sky noon near 1000 W/m² on a plane that faces the sun: IEC 60904-3 standard irradiance."""
    path = solar_time_path((np.array([171.5])) * 86_400.0, 23.45)

    assert clear_sky_w_m2(path, 0.0, 0.0)[0] == pytest.approx(1000.0, abs=60.0)


def test_no_light_from_a_sun_under_the_horizon() -> None:
    path = solar_time_path(np.array([0.0]), 45.0)

    assert clear_sky_w_m2(path, 0.6, np.pi)[0] == 0.0
