"""From a solved system to its year: the sun that the spec names, and the plant that it describes."""

from __future__ import annotations

from specc.operation.described import plant_of
from specc.operation.installation import Installation, Works
from specc.operation.weather import SunYear, Weather, on_panels, read_weather, synthetic_year
from specc.operation.year import Sky, WaterYear, water_year
from specc.system.missing import need
from specc.system.system import System

STEPS_AN_HOUR = 4  # for what is printed: the sun's rise and fall within an hour starts and stops the pump
STEPS_OF_SEVERAL = 2  # where several pumps settle together, which takes its time


def steps_for(works: Works) -> int:
    """How finely the year is worked out for print: a battery evens out what happens within an hour."""
    if works.has_bank:
        return 1
    return STEPS_OF_SEVERAL if isinstance(works, Installation) else STEPS_AN_HOUR


def sun_of(
    system: System, works: Works, weather: bytes | None = None, steps_an_hour: int = STEPS_AN_HOUR
) -> Sky:
    """The sun on a plant's panels: of the weather file where one is named, else of the monthly figures.

    weather: the bytes of the file that ``[site] weather`` names. The monthly figures hold for every array,
    each on its own plane. Raises ``MissingDatum`` for what the spec does not say, ``WeatherError`` for a file
    that cannot be read.
    """
    site = system.site
    read: Weather | None = None
    if site.weather is not None:
        weather = need(weather, f"the weather file {site.weather}", ("site", "weather"), "weather")
        read = read_weather(weather, site.weather, site.latitude, site.longitude)
    known: dict[tuple[float, float], SunYear] = {}

    def on(tag: str, tilt_rad: float | None, azimuth_rad: float | None) -> SunYear:
        panels = system.devices[tag.split("+")[0]]
        tilt = need(tilt_rad, f"{panels.tag}: tilt", panels.path, "tilt")
        azimuth = need(azimuth_rad, f"{panels.tag}: azimuth", panels.path, "azimuth")
        if (tilt, azimuth) not in known:
            known[tilt, azimuth] = _on_plane(system, read, tilt, azimuth, steps_an_hour)
        return known[tilt, azimuth]

    if isinstance(works, Installation):
        return tuple(
            tuple(on(array.tag, array.tilt_rad, array.azimuth_rad) for array in feed.every_array())
            for feed in works.feeds
        )
    return on(works.panel_tag, works.tilt_rad, works.azimuth_rad)


def _on_plane(
    system: System, read: Weather | None, tilt: float, azimuth: float, steps_an_hour: int
) -> SunYear:
    if read is not None:
        return on_panels(read, tilt, azimuth, steps_an_hour)
    site = system.site
    return synthetic_year(
        need(site.latitude, "the site's latitude", ("site",), "latitude"),
        need(site.sun, "the site's peak sun hours by month (or a weather file)", ("site",), "sun"),
        need(site.coldest_air, "the site's coldest air", ("site",), "coldest_air"),
        need(site.hottest_air, "the site's hottest air", ("site",), "hottest_air"),
        tilt,
        azimuth,
        steps_an_hour,
    )


def made_year(system: System, weather: bytes | None = None, steps_an_hour: int | None = None) -> WaterYear:
    """The year of a system; raises as ``plant_of`` and ``sun_of`` do."""
    works = plant_of(system)
    return water_year(works, sun_of(system, works, weather, steps_an_hour or steps_for(works)))
