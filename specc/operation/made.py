"""From a solved system to its year: the sun that the spec names, and the plant that it describes."""

from __future__ import annotations

from specc.operation.plant import Plant, plant_of
from specc.operation.weather import SunYear, on_panels, read_weather, synthetic_year
from specc.operation.year import WaterYear, water_year
from specc.system.missing import need
from specc.system.system import System

STEPS_AN_HOUR = 4  # for what is printed: the sun's rise and fall within an hour starts and stops the pump


def steps_for(plant: Plant) -> int:
    """How finely the year is worked out for print: a battery evens out what happens within an hour."""
    return 1 if plant.bank is not None else STEPS_AN_HOUR


def sun_of(
    system: System, plant: Plant, weather: bytes | None = None, steps_an_hour: int = STEPS_AN_HOUR
) -> SunYear:
    """The sun on a plant's panels: of the weather file where one is named, else of the monthly figures.

    weather: the bytes of the file that ``[site] weather`` names. Raises ``MissingDatum`` for what the
    spec does not say, ``WeatherError`` for a file that cannot be read.
    """
    site = system.site
    panels = system.devices[plant.panel_tag.split("+")[0]]
    tilt = need(plant.tilt_rad, f"{panels.tag}: tilt", panels.path, "tilt")
    azimuth = need(plant.azimuth_rad, f"{panels.tag}: azimuth", panels.path, "azimuth")
    if site.weather is not None:
        weather = need(weather, f"the weather file {site.weather}", ("site", "weather"), "weather")
        read = read_weather(weather, site.weather, site.latitude, site.longitude)
        return on_panels(read, tilt, azimuth, steps_an_hour)
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
    plant = plant_of(system)
    return water_year(plant, sun_of(system, plant, weather, steps_an_hour or steps_for(plant)))
