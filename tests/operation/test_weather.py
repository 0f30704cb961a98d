"""Weather files as pvlib reads them, and the synthetic year's sums."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specc.operation.weather import (
    DAYS_OF_MONTH,
    HOURS,
    OWN_COLUMNS,
    WeatherError,
    daily_clearness,
    on_panels,
    read_weather,
    sampled,
    synthetic_year,
)

FILE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def _own(rows: int = HOURS, head: str = ",".join(OWN_COLUMNS)) -> bytes:
    lines = [head]
    for month, days in enumerate(DAYS_OF_MONTH, 1):
        for day in range(1, days + 1):
            lines += [
                f"2023-{month:02d}-{day:02d} {hour:02d}:00,{500 if 8 <= hour < 16 else 0},0,0,10,2"
                for hour in range(24)
            ]
    return "\n".join(lines[: rows + 1]).encode()


def _epw() -> bytes:
    """A file in the form of the EnergyPlus weather data dictionary, invented figures."""
    lines = ["LOCATION,Somewhere,-,-,made up,000000,40.0,-100.0,-7.0,500.0", *["HEADING"] * 7]
    for month, days in enumerate(DAYS_OF_MONTH, 1):
        for day in range(1, days + 1):
            for hour in range(1, 25):
                light = 400 if 9 <= hour <= 16 else 0
                fields = ["0"] * 35
                fields[:6] = ["1999", str(month), str(day), str(hour), "60", "?"]
                fields[6], fields[13], fields[14], fields[15], fields[21] = (
                    "12.5",
                    str(light),
                    "300",
                    "150",
                    "3.5",
                )
                lines.append(",".join(fields))
    return "\n".join(lines).encode()


def test_tmy3_is_read_as_pvlib_reads_it() -> None:
    ours = read_weather(FILE.read_bytes(), FILE.name)
    theirs, about = pvlib.iotools.read_tmy3(FILE, map_variables=True, coerce_year=1990)

    assert (ours.latitude_deg, ours.longitude_deg, ours.utc_offset_h) == (
        about["latitude"],
        about["longitude"],
        about["TZ"],
    )
    for name, key in (
        ("ghi_w_m2", "ghi"),
        ("dni_w_m2", "dni"),
        ("dhi_w_m2", "dhi"),
        ("wind_m_s", "wind_speed"),
    ):
        assert np.array_equal(getattr(ours, name), theirs[key].to_numpy(dtype=float)), name
    assert ours.air_k == pytest.approx(theirs["temp_air"].to_numpy(dtype=float) + 273.15)


def test_epw_is_read_as_pvlib_reads_it() -> None:
    ours = read_weather(_epw(), "made-up.epw")
    theirs, about = pvlib.iotools.read_epw(io.StringIO(_epw().decode()))

    assert (ours.latitude_deg, ours.utc_offset_h) == (about["latitude"], about["TZ"])
    for name, key in (
        ("ghi_w_m2", "ghi"),
        ("dni_w_m2", "dni"),
        ("dhi_w_m2", "dhi"),
        ("wind_m_s", "wind_speed"),
    ):
        assert np.array_equal(getattr(ours, name), theirs[key].to_numpy(dtype=float)), name
    assert ours.air_k == pytest.approx(theirs["temp_air"].to_numpy(dtype=float) + 273.15)


def test_a_file_of_ones_own_takes_the_place_of_the_site() -> None:
    ours = read_weather(_own(), "own.csv", 40.0, -101.0)

    assert (ours.latitude_deg, ours.longitude_deg, ours.utc_offset_h) == (40.0, -101.0, -7.0)
    assert ours.ghi_w_m2.sum() == 365 * 8 * 500.0


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"hello\nworld\n", "neither"),
        (_own(100), r"line 101: the file has 100 hours; expected a year of 8760"),
        (_own(head="time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_c"), r'line 1: no column is headed "wind_m_s"'),
        (
            _own().replace(b"500,0,0,10", b"5000,0,0,10", 1),
            r'own.csv, line 10, column 2 \(ghi_w_m2\): expected a number from 0 to 1600, not "5000"',
        ),
        (_own().replace(b"500,0,0,10", b"nan,0,0,10", 1), r"line 10, column 2 .* not \"nan\""),
        (_own().replace(b"500,0,0,10", b",0,0,10", 1), r"line 10, column 2 .* not \"\""),
        (_own().replace(b"500,0,0,10", b"9999,0,0,10", 1), r"has no value for this hour"),
        (_own().replace(b"500,0,0,10,2", b"500,0,0", 1), r"line 10, column 5 .* ends after 4 columns"),
        (
            _own().replace(b"2023-01-01 01:00", b"2023-01-01 02:00", 1),
            r'line 3, column 1 \(time\): expected a year and "-01-01 01:00", not "2023-01-01 02:00"',
        ),
        (_epw().replace(b",40.0,-100.0,", b",north,-100.0,"), r"line 1, column 7 \(latitude\)"),
        (_epw().replace(b",40.0,-100.0,-7.0", b",40.0,-100.0,-70"), r"line 1, column 9 \(time zone\)"),
        (_epw().replace(b"12.5", b"99.9", 1), r"line 9, column 7 \(air_c\)"),
        (FILE.read_bytes().replace(b"DNI (W/m^2)", b"DNI", 1), r'line 2: no column is headed "DNI'),
    ],
)
def test_a_broken_file_says_what_is_wrong(data: bytes, says: str) -> None:
    with pytest.raises(WeatherError, match=says):
        read_weather(data, "own.csv", 40.0, -101.0)


def test_a_file_of_ones_own_needs_a_place() -> None:
    with pytest.raises(WeatherError, match="latitude"):
        read_weather(_own(), "own.csv")


@pytest.mark.parametrize("steps", [1, 4])
def test_finer_steps_keep_the_light_of_each_hour(steps: int) -> None:
    weather = read_weather(FILE.read_bytes(), FILE.name)
    hourly = on_panels(weather, 0.6, np.pi)
    finer = on_panels(weather, 0.6, np.pi, steps)

    assert finer.plane_w_m2.reshape(HOURS, steps).mean(axis=1) == pytest.approx(hourly.plane_w_m2, abs=1e-9)


@settings(max_examples=30)
@given(
    latitude=st.floats(-60.0, 60.0),
    hours=st.lists(st.floats(0.3, 7.5), min_size=12, max_size=12),
    tilt=st.floats(0.0, 1.0),
)
def test_the_months_of_a_synthetic_year_add_up_exactly(
    latitude: float, hours: list[float], tilt: float
) -> None:
    azimuth = np.pi if latitude >= 0.0 else 0.0
    year = synthetic_year(latitude, tuple(hours), 263.15, 308.15, tilt, azimuth)
    daily = year.plane_w_m2.reshape(365, 24).sum(axis=1) / 1000.0
    first = 0
    for want, count in zip(hours, DAYS_OF_MONTH, strict=True):
        assert daily[first : first + count].mean() == pytest.approx(want, rel=1e-9)
        first += count
    assert (year.plane_w_m2 >= 0.0).all()
    assert 263.1 < year.air_k.min() < year.air_k.max() < 308.2


@given(mean=st.floats(0.0, 1.4), count=st.integers(28, 31))
def test_daily_clearness_has_its_mean_and_keeps_within_bounds(mean: float, count: int) -> None:
    made = daily_clearness(mean, count)

    assert len(made) == count
    assert made.mean() == pytest.approx(mean, abs=1e-6)
    if 0.1 < mean < 0.98:
        assert made.min() >= 0.1 - 1e-9
        assert made.max() <= 1.0 + 1e-9
        assert made.max() > made.min()


def test_good_and_dull_days_are_the_same_each_time() -> None:
    assert np.array_equal(daily_clearness(0.6, 31), daily_clearness(0.6, 31))


def test_sun_hours_where_no_sun_comes_are_refused() -> None:
    with pytest.raises(WeatherError, match="month"):
        synthetic_year(89.0, (3.0,) * 12, 243.15, 288.15, 0.0, np.pi)


def test_a_sample_of_days_has_the_light_of_each_month_on_every_plane() -> None:
    south = synthetic_year(44.0, (3.0,) * 12, 260.0, 305.0, 0.7, 3.14159)
    west = synthetic_year(44.0, (2.5,) * 12, 260.0, 305.0, 0.7, 4.7)

    few = sampled((south, west), 4)

    for whole, part in zip((south, west), few, strict=True):
        assert len(part.plane_w_m2) == 12 * 4 * 24
        first = 0
        for month, days in enumerate(DAYS_OF_MONTH):
            mean = whole.plane_w_m2[first * 24 : (first + days) * 24].mean()
            block = part.plane_w_m2[month * 96 : (month + 1) * 96]
            assert block.mean() == pytest.approx(mean, rel=1e-9)
            first += days
    # The same days: the air is that of both skies.
    assert np.array_equal(few[0].air_k, few[1].air_k)


def test_a_sample_of_whole_months_of_28_days_is_february_itself() -> None:
    year = synthetic_year(44.0, (3.0,) * 12, 260.0, 305.0, 0.7, 3.14159)

    (few,) = sampled((year,), 28)

    february = slice(31 * 24, 59 * 24)
    assert few.plane_w_m2[28 * 24 : 56 * 24] == pytest.approx(year.plane_w_m2[february], rel=1e-12)
