"""A year of sun on the panels: from a weather file, or made up from twelve monthly figures.

Three files are read: TMY3 (comma-separated), EPW, and a CSV of one's own with a heading line
``time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_c,wind_m_s``, local standard time (``2023-01-01 00:00``, the
start of each hour), 8,760 rows, 29 February left out.

Without a file the year is synthetic: every day has the shape of a cloudless one, times a daily
clearness. A month's clearnesses follow the exponential distribution of Bendt, Collares-Pereira and
Rabl (Solar Energy 27, 1981; from memory, unverified) between a tenth of a cloudless day and a whole
one, good and dull days in a fixed order; each month then adds up to its peak sun hours exactly.
Air swings by sinusoids between the coldest and the hottest air of the site (a simplification).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.sun import DAY_S, Chosen, Values, clear_sky_w_m2, solar_time_path, sun_path, tilted_w_m2
from specc.physics.constants import ZERO_CELSIUS_K

HOUR_S: Final = 3600.0
HOURS: Final = 8760
DAYS_OF_MONTH: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH_OF_DAY: Final = tuple(month for month, days in enumerate(DAYS_OF_MONTH) for _ in range(days))
OWN_COLUMNS: Final = ("time", "ghi_w_m2", "dni_w_m2", "dhi_w_m2", "air_c", "wind_m_s")
_DULLEST: Final = 0.1  # of a cloudless day
_DAILY_SWING_K: Final = 6.0  # half of the difference between afternoon and dawn; common practice, no source
_MOST_LIGHT_W_M2: Final = 1600.0
_NO_VALUE: Final = (-9900.0, -9999.0, 99.9, 999.0, 9999.0)  # what TMY3 and EPW write for a missing value


class WeatherError(ValueError):
    """A weather file that cannot be read; the message says where and why."""


@dataclass(frozen=True)
class Weather:
    """8,760 hours of a place; values stand for the middle of each hour, local standard time."""

    name: str
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    ghi_w_m2: Values
    dni_w_m2: Values
    dhi_w_m2: Values
    air_k: Values
    wind_m_s: Values


@dataclass(frozen=True)
class SunYear:
    """A year on the plane of the panels, in steps of ``step_s`` seconds, none of a day across midnight."""

    origin: str
    step_s: float
    plane_w_m2: Values
    air_k: Values
    wind_m_s: Values

    @property
    def steps_a_day(self) -> int:
        return round(DAY_S / self.step_s)


def read_weather(
    data: bytes, name: str, latitude_deg: float | None = None, longitude_deg: float | None = None
) -> Weather:
    """The hours of a weather file. The site's place is needed for a CSV of one's own only.

    Raises ``WeatherError`` for a file of another form, a wrong number of hours or an absurd value.
    """
    text = data.decode("utf-8-sig", errors="replace")
    lines = text.splitlines()
    if not lines:
        raise WeatherError(f"{name}, line 1: the file is empty")
    if lines[0].startswith("LOCATION,"):
        return _epw(lines, name)
    if lines[0].replace(" ", "").lower().startswith("time,"):
        return _own(lines, name, latitude_deg, longitude_deg)
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        return _tmy3(lines, name)
    raise WeatherError(
        f"{name}, line 1: neither TMY3, nor EPW, nor a CSV that starts with {','.join(OWN_COLUMNS)}"
    )


@dataclass(frozen=True)
class _Table:
    """The hours of a file, each with the line on which it stands."""

    name: str
    rows: list[list[str]]
    lines: list[int]

    def column(self, index: int, what: str, low: float, high: float) -> Values:
        """One column as numbers within physical sense; the first that is not is named by line and column."""
        values = np.empty(len(self.rows))
        wanted = f"expected a number from {low:g} to {high:g}"
        for number, row in enumerate(self.rows):
            place = f"{self.name}, line {self.lines[number]}, column {index + 1} ({what})"
            if index >= len(row):
                raise WeatherError(f"{place}: the line ends after {len(row)} columns; {wanted}")
            try:
                value = float(row[index])
            except ValueError:
                raise WeatherError(f'{place}: {wanted}, not "{row[index][:20]}"') from None
            if not low <= value <= high:
                hint = "; the file has no value for this hour: fill it" if value in _NO_VALUE else ""
                raise WeatherError(f'{place}: {wanted}, not "{row[index][:20]}"{hint}')
            values[number] = value
        return values


def _table(lines: list[str], first: int, name: str) -> _Table:
    """The rows after a heading of ``first`` lines; there must be a year of them."""
    rows, numbers = [], []
    for number, line in enumerate(lines[first:], first + 1):
        if line.strip():
            rows.append(next(csv.reader([line])))
            numbers.append(number)
    if len(rows) != HOURS:
        leap = " (leave out 29 February)" if len(rows) == HOURS + 24 else ""
        raise WeatherError(
            f"{name}, line {numbers[-1] if numbers else first}: the file has {len(rows)} hours; expected a "
            f"year of {HOURS}, one a line{leap}"
        )
    return _Table(name, rows, numbers)


def _weather(table: _Table, columns: tuple[int, ...], place: tuple[float, float, float]) -> Weather:
    light = [
        table.column(index, what, 0.0, _MOST_LIGHT_W_M2)
        for index, what in zip(columns[:3], OWN_COLUMNS[1:4], strict=True)
    ]
    air = table.column(columns[3], "air_c", -90.0, 60.0) + ZERO_CELSIUS_K
    wind = table.column(columns[4], "wind_m_s", 0.0, 120.0)
    return Weather(table.name, *place, light[0], light[1], light[2], air, wind)


def _place(line: str, indices: tuple[int, int, int], name: str) -> tuple[float, float, float]:
    """Latitude, longitude and zone of a heading."""
    fields = next(csv.reader([line]))
    limits = (("latitude", 90.0, -90.0), ("longitude", 180.0, -180.0), ("time zone", 14.0, -12.0))
    found = []
    for index, (what, high, low) in zip(indices, limits, strict=True):
        text = fields[index] if index < len(fields) else ""
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise WeatherError(
                f"{name}, line 1, column {index + 1} ({what}): expected a number from {low:g} to {high:g}, "
                f'not "{text[:20]}"'
            )
        found.append(value)
    return found[0], found[1], found[2]


def _heading(line: str, number: int, wanted: tuple[str, ...], name: str) -> tuple[list[str], tuple[int, ...]]:
    """The words of a heading, and where the wanted ones stand."""
    heading = [word.strip() for word in next(csv.reader([line]))]
    if lost := [word for word in wanted if word not in heading]:
        raise WeatherError(
            f'{name}, line {number}: no column is headed "{lost[0]}"; expected {", ".join(wanted)}'
        )
    return heading, tuple(heading.index(word) for word in wanted)


def _tmy3(lines: list[str], name: str) -> Weather:
    """NREL/TP-581-43156, User's Manual for TMY3: columns found by heading, times end the hour."""
    place = _place(lines[0], (4, 5, 3), name)
    wanted = ("GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)", "Dry-bulb (C)", "Wspd (m/s)")
    _, columns = _heading(lines[1], 2, wanted, name)
    return _weather(_table(lines, 2, name), columns, place)


def _epw(lines: list[str], name: str) -> Weather:
    """EnergyPlus Auxiliary Programs, weather data dictionary: 8 lines of heading, times end the hour."""
    place = _place(lines[0], (6, 7, 8), name)
    return _weather(_table(lines, 8, name), (13, 14, 15, 6, 21), place)


def _own(lines: list[str], name: str, latitude: float | None, longitude: float | None) -> Weather:
    heading, columns = _heading(lines[0], 1, OWN_COLUMNS, name)
    if latitude is None or longitude is None:
        raise WeatherError(f"{name} says no place: the spec needs [site] latitude and longitude")
    table = _table(lines, 1, name)
    _check_times(table, heading.index("time"))
    return _weather(table, columns[1:], (latitude, longitude, float(round(longitude / 15.0))))


def _check_times(table: _Table, index: int) -> None:
    """Hours must stand in order from 1 January, 00:00, or all that follows is at the wrong time of day."""
    hour = 0
    for month, days in enumerate(DAYS_OF_MONTH, 1):
        for day in range(1, days + 1):
            for clock in range(24):
                want = f"{month:02d}-{day:02d} {clock:02d}:00"
                row = table.rows[hour]
                text = row[index].strip() if index < len(row) else ""
                if text.replace("T", " ")[5:16] != want:
                    raise WeatherError(
                        f"{table.name}, line {table.lines[hour]}, column {index + 1} (time): expected a year "
                        f'and "-{want}", not "{text[:20]}"'
                    )
                hour += 1


def on_panels(weather: Weather, tilt_rad: float, azimuth_rad: float, steps_an_hour: int = 1) -> SunYear:
    """The light of a weather file on the panels; between hours by lines that keep each hour's sum."""
    middle_s = _middles_s(1)
    path = sun_path(middle_s, weather.latitude_deg, weather.longitude_deg, weather.utc_offset_h)
    plane = tilted_w_m2(path, weather.ghi_w_m2, weather.dni_w_m2, weather.dhi_w_m2, tilt_rad, azimuth_rad)
    step_s = HOUR_S / steps_an_hour
    at_s = _middles_s(steps_an_hour)
    finer = np.interp(at_s, middle_s, plane).reshape(HOURS, steps_an_hour)
    mean = finer.mean(axis=1)
    kept = finer * np.divide(plane, mean, out=np.zeros_like(plane), where=mean > 0.0)[:, None]
    return SunYear(
        f"weather file {weather.name}",
        step_s,
        kept.ravel(),
        np.interp(at_s, middle_s, weather.air_k),
        np.interp(at_s, middle_s, weather.wind_m_s),
    )


def coarser(sun: SunYear, hours: int) -> SunYear:
    """The same year in steps of some hours (a divisor of 24), each with the mean of what was in it."""
    many = round(hours * HOUR_S / sun.step_s)

    def mean(values: Values) -> Values:
        return np.asarray(values.reshape(-1, many).mean(axis=1))

    return SunYear(sun.origin, hours * HOUR_S, mean(sun.plane_w_m2), mean(sun.air_k), mean(sun.wind_m_s))


def sampled(suns: Sequence[SunYear], days: int) -> tuple[SunYear, ...]:
    """A few days on end of each month, of several planes under one sky, with the light of the whole month.

    The days are those whose light on the first plane comes nearest to the month's mean; what is still
    lacking (or too much) on a plane is laid on all of its light.
    """
    many = suns[0].steps_a_day
    daily = suns[0].plane_w_m2.reshape(-1, many).sum(axis=1)
    starts: list[int] = []
    first = 0
    for count in DAYS_OF_MONTH:
        month = daily[first : first + count]
        sums = np.convolve(month, np.ones(days), "valid")
        starts.append(first + int(np.argmin(np.abs(sums - days * month.mean()))))
        first += count
    return tuple(_blocks(sun, starts, days) for sun in suns)


def _blocks(sun: SunYear, starts: Sequence[int], days: int) -> SunYear:
    many = sun.steps_a_day
    picked = np.concatenate([np.arange(start * many, (start + days) * many) for start in starts])
    light = sun.plane_w_m2[picked].reshape(len(starts), -1)
    first = np.concatenate([[0], np.cumsum(DAYS_OF_MONTH)[:-1]]) * many
    means = np.add.reduceat(sun.plane_w_m2, first) / (np.array(DAYS_OF_MONTH) * many)
    has = light.mean(axis=1)
    light = light * np.divide(means, has, out=np.zeros_like(has), where=has > 0.0)[:, None]
    return SunYear(sun.origin, sun.step_s, light.ravel(), sun.air_k[picked], sun.wind_m_s[picked])


def _middles_s(steps_an_hour: int) -> Values:
    """The middle of each step of the year, in seconds since its start."""
    middles: Values = np.arange(0.5, HOURS * steps_an_hour, 1.0, dtype=np.float64)
    return middles * (HOUR_S / steps_an_hour)


def synthetic_year(
    latitude_deg: float,
    sun_hours: tuple[float, ...],
    coldest_k: float,
    hottest_k: float,
    tilt_rad: float,
    azimuth_rad: float,
    steps_an_hour: int = 1,
) -> SunYear:
    """A year whose months add up to ``sun_hours`` (peak sun hours a day on the panels, twelve).

    Raises ``WeatherError`` where a month has sun hours but the panels face no sun in it.
    """
    step_s = HOUR_S / steps_an_hour
    at_s = _middles_s(steps_an_hour)
    clear = clear_sky_w_m2(solar_time_path(at_s, latitude_deg), tilt_rad, azimuth_rad)
    days = clear.reshape(365, -1)
    light = np.empty_like(days)
    first = 0
    for number, (hours, count) in enumerate(zip(sun_hours, DAYS_OF_MONTH, strict=True)):
        month = slice(first, first + count)
        first += count
        clear_hours = days[month].sum(axis=1) * step_s / HOUR_S / 1000.0
        if not clear_hours.sum() > 0.0:
            if hours > 0.0:
                raise WeatherError(f"month {number + 1} has sun hours, but no sun reaches the panels then")
            light[month] = 0.0
            continue
        share = hours * count / float(clear_hours.sum())
        factors = daily_clearness(share, count)
        factors *= hours * count / float((factors * clear_hours).sum()) if hours > 0.0 else 0.0
        light[month] = days[month] * factors[:, None]
    return SunYear(
        "synthetic year from the monthly peak sun hours",
        step_s,
        light.ravel(),
        _air_k(at_s, coldest_k, hottest_k, latitude_deg),
        np.ones_like(at_s),
    )


def daily_clearness(mean: float, count: int) -> Values:
    """Clearness of each day of a month against a cloudless one, with this mean, in the month's order."""
    if mean >= 0.98 or mean <= _DULLEST:
        return np.full(count, mean)  # no room for a spread on either side
    at = (np.arange(count) + 0.5) / count
    span = 1.0 - _DULLEST

    def quantiles(steepness: float) -> Values:
        if abs(steepness) < 1e-6:
            return np.asarray(_DULLEST + span * at)
        if steepness > 0.0:  # from the clear end, so that nothing overflows
            return np.asarray(1.0 + np.log(at + (1.0 - at) * math.exp(-steepness * span)) / steepness)
        return np.asarray(_DULLEST + np.log1p(at * math.expm1(steepness * span)) / steepness)

    low, high = -500.0, 500.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if quantiles(middle).mean() < mean else (low, middle)
    return quantiles(0.5 * (low + high))[_order(count)]


def _order(count: int) -> Chosen:
    """A fixed order of the days in which a dull day is a little likelier after a dull one."""
    day = np.arange(1, count + 1)
    noise = (day * day * 0.6180339887498949) % 1.0 - 0.5
    drift = np.empty(count)
    last = 0.0
    for number, jolt in enumerate(noise):
        last = 0.3 * last + jolt  # day-to-day correlation of clearness: 0.3, common practice, no source
        drift[number] = last
    return np.argsort(np.argsort(drift, kind="stable"), kind="stable")


def _air_k(at_s: Values, coldest_k: float, hottest_k: float, latitude_deg: float) -> Values:
    """Air between the coldest dawn of the coldest month and the hottest afternoon of the hottest."""
    coldest_day = 15.0 if latitude_deg >= 0.0 else 197.0
    swing = min(_DAILY_SWING_K, 0.5 * (hottest_k - coldest_k))
    yearly = 0.5 * (hottest_k - coldest_k) - swing
    middle = 0.5 * (hottest_k + coldest_k)
    year = np.cos(2.0 * np.pi * (at_s / DAY_S - coldest_day) / 365.0)
    day = np.cos(2.0 * np.pi * (at_s / HOUR_S - 15.0) / 24.0)
    return np.asarray(middle - yearly * year + swing * day)
