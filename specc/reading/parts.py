"""What a catalogue part says of itself: one frozen model a kind, unknown keys refused.

A catalogue file holds arrays of tables named after the kind, ``[[fuse]]``, ``[[pump]]`` ...
Whatever a maker may leave out is optional here; a rule that needs it says so as a finding.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from specc.reading.quantities import (
    Angle,
    Area,
    BoxVolume,
    Charge,
    Current,
    DeviceTemperature,
    Flow,
    Head,
    Length,
    Mass,
    Modulus,
    Power,
    Pressure,
    RelativeCoefficient,
    Resistance,
    ShortLength,
    Speed,
    Time,
    Torque,
    TradeSize,
    Voltage,
    Volume,
    WireSize,
)

Name = Annotated[str, Field(min_length=1, max_length=120)]
PartId = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9.\-]*$", max_length=60)]
Count = Annotated[int, Field(ge=0, le=10_000)]
Positive = Annotated[int, Field(ge=1, le=10_000)]
Share = Annotated[float, Field(gt=0.0, le=1.0)]


class Model(BaseModel):
    """Frozen, strict about keys, built only when first used (start-up counts)."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class WireRange(Model):
    """What a terminal takes: sizes, how many conductors, metals, strand classes, temperature."""

    smallest: WireSize
    largest: WireSize
    conductors: Positive = 1
    temperature: DeviceTemperature | None = None  # marked terminal temperature
    metals: tuple[Literal["copper", "tinned copper", "aluminium"], ...] = ("copper",)
    strands: tuple[Literal["solid", "stranded", "fine"], ...] = ("solid", "stranded")
    torque: Torque | None = None
    strip: ShortLength | None = None
    stud: bool = False  # takes ring lugs, one a conductor


class Terminal(Model):
    """A named terminal. ``marked`` is what the maker prints beside it."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9+\-_/]+$", max_length=24)]
    marked: Literal["+", "-", "line", "load", ""] = ""
    role: Literal["power", "control", "ground"] = "power"
    wire: WireRange | None = None  # else the part's own `wire`


class Pole(Model):
    """A pair of terminals that the device joins when closed."""

    between: tuple[str, str]
    closes: Literal["by hand", "as mounted", "opposite"] = "by hand"


class Port(Model):
    """A pair of power terminals through which a device takes or gives energy."""

    name: Name
    plus: str
    minus: str
    does: Literal["takes", "gives", "both"]


class Contact(Model):
    """DC making and breaking rating of a contact."""

    dc_voltage: Voltage | None = None
    dc_current: Current | None = None
    motor_load: bool = False  # rated for an inductive (motor) load
    ac_voltage: Voltage | None = None
    ac_current: Current | None = None
    least_current: Current | None = None  # below it the contact goes blind


class Pack(Model):
    """Another form in which a part is sold. A "cut" is any whole number of its length, in one piece."""

    sold_as: Literal["each", "spool", "stick", "coil", "pack", "cut"]
    price: Annotated[float, Field(ge=0.0)]
    pack_length: Length | None = None
    pack_count: Positive = 1


class FunctionalEarth(Model):
    """A device's own joint between one of its terminals and its grounding terminal, for operation only."""

    terminal: str  # the live one
    through: Literal["fuse", "breaker", "resistor", "detector"]
    rating: Current | None = None  # of the fuse or breaker
    resistance: Resistance | None = None
    power: Power | None = None  # that the resistor stands for hours
    dc_voltage: Voltage | None = None
    breaking_capacity: Current | None = None
    sees_both_poles: bool = False  # also detects a fault on the very conductor that it earths


class Part(Model):
    """What every part carries."""

    id: PartId
    name: Name
    price: Annotated[float, Field(ge=0.0)] | None = None  # for one pack, in the catalogue's currency
    sold_as: Literal["each", "spool", "stick", "coil", "pack"] = "each"
    pack_length: Length | None = None
    pack_count: Positive = 1
    also_sold: tuple[Pack, ...] = ()
    weight: Mass | None = None
    buy_with: Literal["electrical", "solar", "plumbing", "pump"] = "electrical"
    needs: tuple[PartId, ...] = ()  # what it needs beside it, each entry once
    terminals: tuple[Terminal, ...] = ()
    wire: WireRange | None = None
    joined: tuple[tuple[str, ...], ...] = ()  # terminals joined inside for good
    metal_case: bool = False  # has exposed metal that must be bonded
    double_insulated: bool = False
    rail_width: ShortLength | None = None
    body: BoxVolume | None = None  # room that it takes in an enclosure; else from its rail width
    case_type: Name | None = None  # of what has a case of its own for the open: "3R", "4X"
    case_ip: Name | None = None  # the same as an IP code, "IP65"
    hottest_ambient: DeviceTemperature | None = None
    loss: Power | None = None
    note: str = ""


class Panel(Part):
    kind: Literal["panel"] = "panel"
    cells: Positive | None = None
    power: Power | None = None
    vmp: Voltage
    imp: Current
    voc: Voltage
    isc: Current
    voc_coefficient: RelativeCoefficient | None = None
    vmp_coefficient: RelativeCoefficient | None = None
    isc_coefficient: RelativeCoefficient | None = None
    noct: DeviceTemperature | None = None
    series_fuse: Current | None = None  # maximum series fuse rating
    max_system_voltage: Voltage | None = None
    bypass_diodes: bool | None = None
    blocking_diode: bool = False  # in its leads, so that nothing feeds it backwards
    nominal: Voltage | None = None  # voltage class, "12 V" or "24 V"


class Remote(Model):
    """Remote-switch terminals of a controller."""

    terminals: tuple[str, str]
    runs_when: Literal["closed", "open"]
    dry_contact: bool = True
    isolated: bool = True
    test_current: Current | None = None  # current that the input drives through the contact
    highest_resistance: Resistance | None = None
    open_voltage: Voltage | None = None  # highest voltage between the open terminals
    coil_voltage: Voltage | None = None  # where the loop feeds a relay coil: its rated voltage
    coil_current: Current | None = None


class Controller(Part):
    kind: Literal["controller"] = "controller"
    type: Literal["current booster", "charge controller", "low-voltage disconnect"]
    ports: tuple[Port, ...]
    max_input_voltage: Voltage | None = None
    max_input_current: Current | None = None
    clips_input: bool | None = None  # limits excess input current instead of failing
    hold_voltage: Voltage | None = None  # array voltage that the input holds
    hold_share: Share | None = None  # or the share of open-circuit voltage that it holds
    steps_up: bool = False  # of a charge controller: its output may be higher than its input
    tracks_maximum_power: bool | None = None  # of a charge controller: finds the panels' best voltage
    nominal_output: Voltage | None = None
    max_output_voltage: Voltage | None = None  # output clamp
    output_current: Current | None = None  # continuous
    hot_output_current: Current | None = None  # continuous at its hottest ambient, where the maker derates
    peak_output_current: Current | None = None
    efficiency: Share | None = None
    switched_leg: Literal["positive", "negative", "both"] | None = None
    remote: Remote | None = None
    bond_inside: bool = False  # negative bonded to case inside
    functional_earth: FunctionalEarth | None = None  # or referred to it through a device inside
    stops_below: Voltage | None = None
    restarts_above: Voltage | None = None
    highest_charge_voltage: Voltage | None = None
    wait_time: Time | None = None  # until its capacitors are safe
    ground_fault: bool = False  # detects a ground fault and interrupts it


class Switchgear(Part):
    """Ratings shared by isolators and breakers."""

    poles: tuple[Pole, ...]
    dc_voltage: Voltage | None = None  # with the poles as counted in `poles_in_series`
    poles_in_series: Positive = 1  # poles that must break one circuit in series for `dc_voltage`
    dc_current: Current | None = None
    ac_voltage: Voltage | None = None
    load_break: bool = False
    lockable: bool = False
    polarised: bool = False
    ground_fault: bool = False  # detects a ground fault and interrupts it


class Isolator(Switchgear):
    kind: Literal["isolator"] = "isolator"
    type: Literal["isolator", "plug connector", "toggle switch"] = "isolator"


class Breaker(Switchgear):
    kind: Literal["breaker"] = "breaker"
    rating: Current
    breaking_capacity: Current | None = None
    hot_factor: Share | None = None  # share of the rating left in a hot box
    load_break: bool = True
    curve: Literal["B", "C", "hydraulic-magnetic"] | None = None  # trip characteristic
    functional_earth: FunctionalEarth | None = None  # through a pole that trips the others with it


class Fuse(Part):
    kind: Literal["fuse"] = "fuse"
    rating: Current
    dc_voltage: Voltage | None = None
    ac_voltage: Voltage | None = None
    breaking_capacity: Current | None = None
    hot_factor: Share | None = None  # share of the rating left in a hot box
    fuse_class: Literal["gPV", "gG", "midget", "blade", "bolt-down", "battery"]
    pv_listed: bool = False
    form: Name  # "10x38", "blade", ...
    holder: PartId | None = None


class FuseHolder(Part):
    kind: Literal["fuse_holder"] = "fuse_holder"
    form: Name
    dc_voltage: Voltage | None = None
    dc_current: Current | None = None
    poles: tuple[Pole, ...]


class TerminalBlock(Part):
    kind: Literal["terminal_block"] = "terminal_block"
    voltage: Voltage | None = None
    current: Current | None = None


class Switch(Part):
    kind: Literal["switch"] = "switch"
    senses: Literal["level", "temperature", "pressure"]
    poles: tuple[Pole, ...]
    contact: Contact
    swing: Literal["narrow", "wide"] | None = None
    swing_angle: Angle | None = None
    trips_at: DeviceTemperature | None = None
    trip_time: Time | None = None  # until it trips once the pump that it sits on runs dry
    trip_pressure: Pressure | None = None
    closes_on: Literal["rise", "fall"] | None = None  # fixed by its making; None where its hanging decides
    reset: Literal["manual", "automatic"] | None = None
    cord_length: Length | None = None
    drinking_water: bool = False


class CurvePoint(Model):
    """One row of a pump's datasheet."""

    voltage: Voltage
    head: Head
    flow: Flow
    current: Current


class Pump(Part):
    kind: Literal["pump"] = "pump"
    type: Literal["positive displacement", "centrifugal"]
    action: Literal["rotary", "diaphragm", "piston"] | None = None  # of a positive-displacement pump
    crank_speed: Speed | None = None  # of a piston pump
    acceleration_factor: Share | None = None  # C of its pulses: 0.200 one double-acting cylinder, 0.066 three
    nominal_voltage: Voltage
    max_voltage: Voltage | None = None
    rated_current: Current | None = None
    start_current: Current | None = None
    start_time: Time | None = None  # until it draws its running current; else the practice figure
    armature_resistance: Resistance | None = None
    stall_current: Current | None = None  # locked, at the nominal voltage
    duty: Literal["S1", "S2", "S3"] | None = None
    duty_time: Time | None = None
    brush_life: Time | None = None
    built_in_protector: bool | None = None
    hottest_head: DeviceTemperature | None = (
        None  # hottest that the wet head may get, motor and seals counted
    )
    overload_setting: Current | None = None
    service_factor: float | None = None
    rise_40: bool = False  # marked for a temperature rise of 40 K or less
    table: tuple[CurvePoint, ...] = ()
    efficiency: Share | None = None  # wire to water
    self_priming_lift: Head | None = None  # dry; 0 m when it cannot prime itself
    npsh_required: Head | None = None
    max_pressure: Pressure | None = None
    shut_off_head: Head | None = None
    built_in_relief: bool = False
    submersible: bool | None = None  # made to stand under water
    runs_dry: Time | None = None  # how long it may run dry
    needs_filter: bool | None = None
    filter_mesh: Positive | None = None  # the coarsest mesh that the maker allows
    inlet: TradeSize | None = None
    outlet: TradeSize | None = None
    reversed_harm: bool = True
    drinking_water: bool = False


class Pipe(Part):
    kind: Literal["pipe"] = "pipe"
    family: Name  # key of the pipe handbook table, "pe-sidr", "pvc-sch40" ...
    size: TradeSize
    bore: ShortLength
    pressure: Pressure | None = None
    material: Literal["PVC", "PE", "PEX", "copper", "steel", "hose"]
    vacuum: Pressure | None = None  # vacuum it stands without collapse
    airtight: bool | None = None  # of a hose: made for suction, so that its wall lets no air in
    wall: ShortLength | None = None
    modulus: Modulus | None = None
    drinking_water: bool = False


class Fitting(Part):
    kind: Literal["fitting"] = "fitting"
    fitting: Name  # name in the fittings handbook table, "elbow 90"
    size: TradeSize
    suits: tuple[Name, ...] = ()  # pipe families
    pressure: Pressure | None = None  # cold; hot it loses strength as the pipe does
    holds_back: bool = False  # foot and check valves
    drinking_water: bool = False


class Valve(Part):
    kind: Literal["valve"] = "valve"
    type: Literal[
        "ball valve",
        "gate valve",
        "check valve",
        "relief valve",
        "priming tee",
        "float valve",
        "drain cock",
        "air valve",
    ]
    size: TradeSize
    pressure: Pressure | None = None
    lowest_setting: Pressure | None = None
    highest_setting: Pressure | None = None
    max_flow: Flow | None = (
        None  # that it is made for; of a relief valve, what it passes 10 % over its setting
    )
    loss_fitting: Name | None = None  # row of the fittings table that gives its loss
    drinking_water: bool = False


class Filter(Part):
    kind: Literal["filter"] = "filter"
    size: TradeSize
    at_flow: Flow | None = None
    clean_drop: Head | None = None
    dirty_drop: Head | None = None
    max_flow: Flow | None = None  # that it is made for
    mesh: Positive | None = None
    pressure: Pressure | None = None
    drinking_water: bool = False


class Tank(Part):
    kind: Literal["tank"] = "tank"
    capacity: Volume
    plan_area: Area | None = None
    open_top: bool = False  # a trough that nobody can be shut in
    drinking_water: bool = False


class Gauge(Part):
    kind: Literal["gauge"] = "gauge"
    measures: Literal["pressure", "vacuum", "flow", "voltage", "current"]
    size: TradeSize | None = None
    full_scale: Name | None = None
    drinking_water: bool = False


class Enclosure(Part):
    kind: Literal["enclosure"] = "enclosure"
    type: Name | None = None  # "1", "3R", "4", "4X"
    ip: Name | None = None
    surface: Area | None = None
    volume: BoxVolume | None = None
    rail: ShortLength | None = None
    openings: Area | None = None
    gland_part: PartId | None = None


class Raceway(Part):
    kind: Literal["raceway"] = "raceway"
    raceway: Name  # key of the rulebook's raceway tables, "pvc-sch40"
    trade_size: TradeSize
    metal: bool = False


class WirePrice(Model):
    size: WireSize
    price: Annotated[float, Field(ge=0.0)]
    pack_length: Length
    also_sold: tuple[Pack, ...] = ()
    outer: ShortLength | None = None  # where the rulebook has no area for it


class Wire(Part):
    kind: Literal["wire"] = "wire"
    insulation: Name  # key of the rulebook's conductor areas, "thwn-2"
    material: Literal["copper", "tinned copper", "aluminium"] = "copper"
    strand: Literal["solid", "stranded", "fine"] = "stranded"
    insulation_temperature: DeviceTemperature | None = None  # None for bare
    voltage: Voltage | None = None
    wet: bool = False
    sunlight: bool = False
    direct_burial: bool = False
    submersible: bool = False
    raceway: bool = True  # may be drawn into a raceway
    sizes: tuple[WirePrice, ...]
    colours: tuple[Name, ...] = ()


class Grounding(Part):
    kind: Literal["grounding"] = "grounding"
    type: Literal["rod", "system bond", "functional earth", "bonding bar", "clamp", "surge device"]
    length: Length | None = None
    functional_earth: FunctionalEarth | None = None
    ground_fault: bool = False  # detects a ground fault, and opens its poles
    poles: tuple[Pole, ...] = ()  # contacts that open on a ground fault
    dc_voltage: Voltage | None = None  # of these contacts; of a surge device, the highest it may stand on
    dc_current: Current | None = None


class Battery(Part):
    kind: Literal["battery"] = "battery"
    nominal: Voltage
    cells: Positive | None = None
    capacity: Charge | None = None
    internal_resistance: Resistance | None = None
    vented: bool | None = None
    full_voltage: Voltage | None = None
    empty_voltage: Voltage | None = None
    highest_charge_voltage: Voltage | None = None
    chemistry: Name | None = None
    coldest_charge: DeviceTemperature | None = None  # below it the battery must not be charged
    cold_cut_out: bool = False  # cuts its charge out itself when it is colder than that


class Sundry(Part):
    """Glands, lugs, labels, clips: bought by number, on no net."""

    kind: Literal["sundry"] = "sundry"
    type: Literal[
        "bolt",
        "box",
        "cement",
        "clip",
        "coupling",
        "cover",
        "elbow",
        "end cap",
        "expansion",
        "ferrule",
        "gauge port",
        "gland",
        "hanger",
        "jumper",
        "label",
        "link",
        "lug",
        "rail",
        "reducer",
        "splice",
        "tape",
    ]
    suits: tuple[Name, ...] = ()  # kinds of raceway, families of pipe, strands, or what it is for
    largest: WireSize | None = None
    smallest: WireSize | None = None
    trade_size: TradeSize | None = None
    serves: Positive = 1  # joints, threads or marks that one of it is enough for


PART_KINDS: dict[str, type[Part]] = {
    "panel": Panel,
    "controller": Controller,
    "isolator": Isolator,
    "breaker": Breaker,
    "fuse": Fuse,
    "fuse_holder": FuseHolder,
    "terminal_block": TerminalBlock,
    "switch": Switch,
    "pump": Pump,
    "pipe": Pipe,
    "fitting": Fitting,
    "valve": Valve,
    "filter": Filter,
    "tank": Tank,
    "gauge": Gauge,
    "enclosure": Enclosure,
    "raceway": Raceway,
    "wire": Wire,
    "grounding": Grounding,
    "battery": Battery,
    "sundry": Sundry,
}
