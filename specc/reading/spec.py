"""What the user writes: one frozen model a table of the job spec, unknown keys refused."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WrapValidator

from specc.reading.parts import Count, Model, Name, Positive
from specc.reading.quantities import (
    AUTO,
    AirTemperature,
    Angle,
    Area,
    Current,
    DemandFlow,
    DeviceTemperature,
    Elevation,
    Flow,
    Head,
    InflowFlow,
    Length,
    Pressure,
    ShortLength,
    SignedShortLength,
    Time,
    Voltage,
    Volume,
    WaterTemperature,
    WireSizeOrAuto,
)
from specc.reading.validate import TAG, TERMINAL

Tag = Annotated[str, Field(pattern=TAG, max_length=32)]
TerminalName = Annotated[str, Field(pattern=TERMINAL, max_length=64)]
# The id of a part. Any text will do: what is no id stands in no catalogue, and is looked for by its words.
PartId = Annotated[str, Field(min_length=1, max_length=60)]
Place = Annotated[str, Field(min_length=1, max_length=60)]


def _or_auto(value: Any, read: Callable[[Any], Any]) -> Any:
    return AUTO if value == AUTO else read(value)


# A count, or "auto", which the stage ``size`` replaces before anything reckons with it.
CountOrAuto = Annotated[Positive, WrapValidator(_or_auto)]


class Job(Model):
    title: Name
    number: Name = "unnumbered"
    prepared_for: str = ""
    prepared_by: str = ""
    date: datetime.date
    revision: str = "A"
    rulebook: str
    also_under: str | None = None  # a second rulebook, under which the job is checked and printed too
    amendments: tuple[str, ...] = ()  # files beside the spec: what the authority has otherwise
    units: Literal["us", "si"]
    # "negative grounded" is solidly; "functionally grounded" through a fuse, breaker, resistor or detector
    earthing: Literal["floating", "negative grounded", "functionally grounded"]
    catalogs: tuple[str, ...] = ()
    currency: str = "USD"
    use: Literal["irrigation", "stock", "drinking"] | None = None


class Site(Model):
    latitude: Annotated[float, Field(ge=-90.0, le=90.0)] | None = None
    longitude: Annotated[float, Field(ge=-180.0, le=180.0)] | None = None
    elevation: Elevation | None = None
    coldest_air: AirTemperature | None = None
    hottest_air: AirTemperature | None = None
    sun: tuple[Annotated[float, Field(ge=0.0, le=14.0)], ...] | None = Field(
        None, min_length=12, max_length=12
    )
    weather: str | None = None
    frost_depth: ShortLength | None = None
    lightning_density: Annotated[float, Field(ge=0.0, le=100.0)] | None = (
        None  # ground flashes per km2 and year
    )


class Source(Model):
    tag: Tag
    kind: Literal["dug well", "bored well", "spring box", "pond", "stream", "cistern"]
    rim: Elevation | None = None
    water_level: Elevation | None = None  # standing
    low_water_level: Elevation | None = None  # drawn down, the lowest that is pumped from
    bottom: Elevation | None = None
    intake: Elevation | None = None
    diameter: Length | None = None
    plan_area: Area | None = None  # of the water, where it is not a round well
    inflow: InflowFlow | None = None  # may be a range, "3 to 4 gal/min"
    water_temperature: WaterTemperature | None = None
    casing: Literal["metal", "plastic", "concrete", "stone"] | None = None
    location: Place | None = None


class Tank(Model):
    tag: Tag
    part: PartId | None = None
    inlet: Elevation | None = None
    capacity: Volume | None = None
    demand: DemandFlow | None = None  # may be a range
    plan_area: Area | None = None
    overflow: Elevation | None = None
    overflow_size: ShortLength | None = None
    float_band: ShortLength | None = None
    stop_below_overflow: SignedShortLength | None = None
    location: Place | None = None


class Location(Model):
    name: Place
    outdoors: bool = True
    wet: bool = False
    on_building: bool = False
    sunlit: bool = True
    openings: Area | None = None  # free area of each of the high and the low opening of a room
    hosed: bool = False  # washed down with a hose
    corrosive: bool = False  # chlorine, salt air, dung
    coldest_air: AirTemperature | None = None  # of a room that is kept warm
    hottest_air: AirTemperature | None = None


class Sightline(Model):
    between: tuple[Place, Place]
    distance: Length
    visible: bool = True


class Device(Model):
    """What every tagged device may say."""

    tag: Tag
    part: PartId
    location: Place | None = None
    spare: tuple[str, ...] = ()  # terminals left free on purpose
    note: str = ""


class Panels(Device):
    series: CountOrAuto = 1
    parallel: CountOrAuto = 1
    tilt: Angle | None = None
    azimuth: Angle | None = None
    mounted: Literal["ground", "pole", "building"] | None = None
    shading: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0  # share of the year's light that shade takes
    soiling: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0  # share that dirt takes
    rapid_shutdown: bool = False  # fitted at the array
    arc_fault_protection: bool = False  # fitted on its circuits


class Disconnect(Device):
    pass


class Breaker(Device):
    pass


class Fuse(Device):
    holder: PartId | None = None
    form: Name | None = None  # what an "auto" part is chosen among


class Controller(Device):
    type: Name | None = None  # what an "auto" part is chosen among
    hold_voltage: Voltage | None = None
    output_clamp: Voltage | None = None
    stops_below: Voltage | None = None


class Switch(Device):
    closes_on: Literal["rise", "fall"]
    guards: Literal["source low", "tank full", "pump hot", "pressure high"]
    acts_at: Elevation | None = None  # level at which it stops the pump
    trips_at: DeviceTemperature | None = None
    trip_time: Time | None = None  # until it trips once its pump runs dry, measured or as the maker says
    trip_pressure: Pressure | None = None
    stops: tuple[Tag, ...] = ()  # pumps that it must stop; else every pump on its wiring
    mounted_on: str = ""  # tag of the pump on whose wet head it sits
    tether: ShortLength | None = None  # free length of cord from its pivot to the float


class Pump(Device):
    elevation: Elevation
    drain_back: bool = False
    freeze_safe: bool = False  # heated, or in a frost-free room or pit
    overload_setting: Current | None = None


class TerminalBlock(Device):
    links: tuple[tuple[str, str], ...] = ()  # jumpers fitted between its terminals


class Battery(Device):
    series: Positive = 1
    parallel: Positive = 1


class Grounding(Device):
    pass


class Gauge(Device):
    elevation: Elevation | None = None
    freeze_safe: bool = False


class Filter(Device):
    elevation: Elevation | None = None
    freeze_safe: bool = False


class Valve(Device):
    elevation: Elevation | None = None
    setting: Pressure | None = None
    freeze_safe: bool = False
    discharges_to: str = ""


class Enclosure(Device):
    holds: tuple[Tag, ...] = ()


class Raceway(Model):
    tag: Tag
    part: PartId
    family: Name | None = None  # what an "auto" part is chosen among
    length: Length
    buried: ShortLength | None = None  # cover, ground to top of raceway
    under: Literal["ground", "driveway", "street"] = "ground"
    riser_guarded: bool = False  # guarded where it comes out of the ground
    bends: Count | None = None  # quarter bends between pulling points
    on_roof: bool = False  # lies on a sunlit roof
    other_circuits: tuple[Name, ...] = ()  # of other systems, in the same raceway: "house 120 V AC"
    divider: bool = False  # a barrier keeps them apart
    location: Place | None = None
    note: str = ""


class Conductor(Model):
    start: Annotated[TerminalName, Field(alias="from")]
    end: Annotated[TerminalName, Field(alias="to")]
    color: Name
    tag: Tag | None = None
    size: WireSizeOrAuto | None = None  # where it differs from the run's
    wire: PartId | None = None
    joint_note: str = ""  # said where colours change at a pump lead
    marked: Literal["", "+", "-", "white", "green", "green-yellow"] = ""  # mark or tape at both ends


class Run(Model):
    tag: Tag
    wire: PartId
    size: WireSizeOrAuto
    length: Length
    raceway: Tag | None = None
    laid: (
        Literal["in raceway", "in enclosure", "direct buried", "out of reach", "within reach", "submerged"]
        | None
    ) = None
    buried: ShortLength | None = None
    riser_guarded: bool = False  # guarded where it comes out of the ground
    hottest: AirTemperature | None = None  # air around it, where hotter than the site's
    conductors: tuple[Conductor, ...]
    location: Place | None = None
    note: str = ""


class PipeFitting(Model):
    name: Name
    count: Positive = 1


def _fitting(value: Any) -> Any:
    return {"name": value} if isinstance(value, str) else value


class Pipe(Model):
    tag: Tag
    part: PartId
    family: Name | None = None  # what an "auto" part is chosen among
    start: Annotated[str, Field(alias="from", min_length=1, max_length=64)]
    end: Annotated[str, Field(alias="to", min_length=1, max_length=64)]
    length: Length
    fittings: tuple[Annotated[PipeFitting, BeforeValidator(_fitting)], ...] = ()
    fittings_loss: Head | None = None  # measured or given; replaces the table's sum
    fittings_loss_flow: Flow | None = None
    high_point: Elevation | None = None
    low_point: Elevation | None = None
    buried: ShortLength | None = None
    drains: bool = False  # drains itself empty when the pump stops
    weep_hole: ShortLength | None = (
        None  # bore of a hole that lets the water above it drain, past any check valve
    )
    freeze_safe: bool = False  # under water, heated or in a frost-free room
    hottest_wall: DeviceTemperature | None = None
    note: str = ""


def _trimmed(value: Any) -> Any:
    return value.strip() if isinstance(value, str) else value


Said = Annotated[Name, BeforeValidator(_trimmed)]  # blanks alone say nothing


class Accepted(Model):
    rule: Said
    on: Said
    reason: Said
    by: Said


class Firm(Model):
    """Who made the papers, as it stands on cover, page heads and title blocks."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    address: tuple[Annotated[str, Field(min_length=1, max_length=60)], ...] = Field((), max_length=4)
    phone: Annotated[str, Field(max_length=40)] = ""
    licence: Annotated[str, Field(max_length=40)] = ""  # the number of the installer's licence
    logo: str | None = None  # an SVG or PNG beside the spec


class Demand(Model):
    profile: tuple[Annotated[float, Field(ge=0.0)], ...] = Field(min_length=24, max_length=24)


# Table name -> (model, may stand many times). The order is the order of the reference.
TABLES: dict[str, tuple[type[Model], bool]] = {
    "job": (Job, False),
    "site": (Site, False),
    "firm": (Firm, False),
    "demand": (Demand, False),
    "locations": (Location, True),
    "sightlines": (Sightline, True),
    "source": (Source, True),
    "tank": (Tank, True),
    "panels": (Panels, True),
    "batteries": (Battery, True),
    "controllers": (Controller, True),
    "disconnects": (Disconnect, True),
    "breakers": (Breaker, True),
    "fuses": (Fuse, True),
    "terminal_blocks": (TerminalBlock, True),
    "switches": (Switch, True),
    "pumps": (Pump, True),
    "filters": (Filter, True),
    "valves": (Valve, True),
    "gauges": (Gauge, True),
    "enclosures": (Enclosure, True),
    "grounding": (Grounding, True),
    "raceways": (Raceway, True),
    "runs": (Run, True),
    "pipes": (Pipe, True),
    "accepted": (Accepted, True),
}

# Which kinds of catalogue part each table takes.
PARTS_OF_TABLE: dict[str, tuple[str, ...]] = {
    "panels": ("panel",),
    "batteries": ("battery",),
    "controllers": ("controller",),
    "disconnects": ("isolator",),
    "breakers": ("breaker",),
    "fuses": ("fuse",),
    "terminal_blocks": ("terminal_block",),
    "switches": ("switch",),
    "pumps": ("pump",),
    "filters": ("filter",),
    "valves": ("valve",),
    "gauges": ("gauge",),
    "enclosures": ("enclosure",),
    "grounding": ("grounding",),
    "raceways": ("raceway",),
    "runs": ("wire",),
    "pipes": ("pipe",),
    "tank": ("tank",),
}

# Tables whose `part` may be "auto" -> the key that says among which parts, and the datum of a part that
# it is held against; None where the wiring says enough.
AUTO_PARTS: dict[str, tuple[str, str] | None] = {
    "controllers": ("type", "type"),
    "disconnects": None,
    "breakers": None,
    "fuses": ("form", "form"),
    "raceways": ("family", "raceway"),
    "pipes": ("family", "family"),
}
