"""Where the sun stands, and what of its light falls on a tilted panel. Arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Chosen = NDArray[np.intp]  # numbers of steps or nodes

DAY_S: Final = 86_400.0
# Days from noon of 1 January 2000 to midnight before 1 January 1990: every year here is that one.
_YEAR_START_D: Final = -3652.5
_LEAST_COS_ZENITH: Final = 0.01745  # the sun one degree over the horizon: below, ratios mean nothing


@dataclass(frozen=True)
class SunPath:
    """Unit vector to the sun (east, north, up) [-] and sunlight outside the air [W/m²]."""

    east: Values
    north: Values
    up: Values
    outside_w_m2: Values

    def on_plane(self, tilt_rad: float, azimuth_rad: float) -> Values:
        """Cosine of the angle between the sun and a panel's normal; azimuth from north over east [-]."""
        flat = np.sin(tilt_rad)
        return np.asarray(
            self.up * np.cos(tilt_rad)
            + flat * (self.east * np.sin(azimuth_rad) + self.north * np.cos(azimuth_rad))
        )


def _declination(days: Values) -> tuple[Values, Values, Values]:
    """Declination and right ascension [rad], and mean longitude [rad], by days since 2000.

    Source: The Astronomical Almanac's low-precision formulas (0.01 degrees), from memory, checked
    against a reference library in the tests.
    """
    mean = np.radians(280.460 + 0.9856474 * days)
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = mean + np.radians(1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly))
    tilt = np.radians(23.439 - 0.0000004 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    return np.arcsin(np.sin(tilt) * np.sin(longitude)), ascension, mean


def sun_path(time_s: Values, latitude_deg: float, longitude_deg: float, utc_offset_h: float) -> SunPath:
    """The sun at seconds since 1 January 00:00 of local standard time."""
    days = _YEAR_START_D + time_s / DAY_S - utc_offset_h / 24.0
    declination, ascension, _ = _declination(days)
    hours_ut = (time_s / 3600.0 - utc_offset_h) % 24.0
    sidereal_h = 6.697375 + 0.0657098242 * (days - hours_ut / 24.0) + 1.00273790935 * hours_ut
    hour_angle = np.radians(sidereal_h * 15.0 + longitude_deg) - ascension
    return _path(declination, hour_angle, latitude_deg, time_s)


def solar_time_path(time_s: Values, latitude_deg: float) -> SunPath:
    """The sun by the sundial: noon is when it stands highest, so no longitude is needed."""
    declination, _, _ = _declination(_YEAR_START_D + time_s / DAY_S)
    return _path(declination, np.radians((time_s / 3600.0 % 24.0 - 12.0) * 15.0), latitude_deg, time_s)


def _path(declination: Values, hour_angle: Values, latitude_deg: float, time_s: Values) -> SunPath:
    latitude = np.radians(latitude_deg)
    across, along = np.cos(declination), np.sin(declination)
    up = along * np.sin(latitude) + across * np.cos(latitude) * np.cos(hour_angle)
    north = along * np.cos(latitude) - across * np.sin(latitude) * np.cos(hour_angle)
    # Solar constant 1361 W/m²; distance by Spencer's first terms (from memory, checked in the tests).
    angle = 2.0 * np.pi * (time_s / DAY_S) / 365.0
    nearness = 1.00011 + 0.034221 * np.cos(angle) + 0.00128 * np.sin(angle)
    nearness = nearness + 0.000719 * np.cos(2.0 * angle) + 0.000077 * np.sin(2.0 * angle)
    return SunPath(-across * np.sin(hour_angle), north, up, 1361.0 * nearness)


def tilted_w_m2(
    path: SunPath,
    ghi_w_m2: Values,
    dni_w_m2: Values,
    dhi_w_m2: Values,
    tilt_rad: float,
    azimuth_rad: float,
    albedo: float = 0.2,
) -> Values:
    """Irradiance on a tilted plane: beam, sky (brighter round the sun) and ground [W/m²].

    Source: J. E. Hay and J. A. Davies, 1980, as in Duffie and Beckman, Solar Engineering of Thermal
    Processes; albedo 0.2 for grass, common practice.
    """
    facing = np.maximum(path.on_plane(tilt_rad, azimuth_rad), 0.0)
    beam_share = dni_w_m2 / path.outside_w_m2
    ratio = facing / np.maximum(path.up, _LEAST_COS_ZENITH)
    sky = dhi_w_m2 * (beam_share * ratio + (1.0 - beam_share) * 0.5 * (1.0 + np.cos(tilt_rad)))
    ground = ghi_w_m2 * albedo * 0.5 * (1.0 - np.cos(tilt_rad))
    return np.asarray(np.maximum(dni_w_m2 * facing + sky + ground, 0.0))


def clear_sky_w_m2(path: SunPath, tilt_rad: float, azimuth_rad: float) -> Values:
    """Irradiance on a tilted plane under a cloudless sky: the shape of a day [W/m²].

    Formula: DNI = E0 · 0.7^(m^0.678), m = 1 / sin(height); the sky adds a tenth of it.
    Source: A. B. Meinel and M. P. Meinel, Applied Solar Energy, 1976; from memory, unverified.
    """
    up = np.maximum(path.up, _LEAST_COS_ZENITH)
    direct = np.where(path.up > 0.0, path.outside_w_m2 * 0.7 ** (up**-0.678), 0.0)
    sky = 0.1 * direct * 0.5 * (1.0 + np.cos(tilt_rad))
    return np.asarray(direct * np.maximum(path.on_plane(tilt_rad, azimuth_rad), 0.0) + sky)
