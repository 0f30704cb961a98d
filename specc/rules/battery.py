"""Rules on batteries: fuse, charge control, deep discharge, highest voltage, gas."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics.enclosures import battery_ventilation_m3_s, ventilation_opening_m2
from specc.rulebooks import ROUNDING
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY
from specc.system.earthing import solidly_grounded_nets
from specc.system.missing import need, need_part
from specc.system.model import Conductor, Device, Pole, Port
from specc.system.system import System
from specc.system.walk import Source

_COULOMB_PER_AH = 3600.0


def _batteries(system: System) -> Iterator[Source]:
    return (source for source in system.walked.sources if source.kind == "battery")


def _battery_devices(system: System) -> Iterator[Device]:
    return iter(system.of_kind("battery"))


# -- battery.fuse-at-post ------------------------------------------------------------------------------


def _first_conductors(system: System) -> Iterator[tuple[Conductor, str]]:
    """Each ungrounded conductor at a battery post, with its post."""
    grounded = solidly_grounded_nets(system)
    for source in _batteries(system):
        for net in (source.plus, source.minus):
            if net in grounded:
                continue
            for post in system.electrical.source_ends(source, net):
                for a, b, what in system.walked.net_edges.get(net, ()):
                    if isinstance(what, Conductor) and post in (a, b):
                        yield what, post


def _unfused_m(system: System, first: Conductor, post: str) -> tuple[float, Device | None]:
    """Longest stretch of cable from a post to a fuse or breaker, and that device (None: never met)."""
    posts = {end for p in system.connected.ports if p.device.kind == "battery" for end in (p.plus, p.minus)}
    near: dict[str, list[tuple[str, Conductor | Pole | None]]] = {}
    for a, b, what in system.walked.net_edges[system.walked.net(post)]:
        near.setdefault(a, []).append((b, what))
        near.setdefault(b, []).append((a, what))
    start = first.end if first.start == post else first.start
    waiting = [(start, first.length_m)]
    seen = {post, start}
    ends: list[tuple[float, Device | None]] = []
    while waiting:
        node, length = waiting.pop()
        if node in posts:
            ends.append((length, None))
            continue
        onward = [(other, what) for other, what in near.get(node, ()) if other not in seen]
        if not onward:
            ends.append((length, None))
        for other, what in onward:
            if isinstance(what, Pole) and what.device.kind in ("fuse", "breaker"):
                ends.append((length, what.device))
                continue
            seen.add(other)
            waiting.append((other, length + (what.length_m if isinstance(what, Conductor) else 0.0)))
    # A stretch that never meets a device is worse than any length.
    return max(ends, key=lambda end: (end[1] is None, end[0]))


def _apart_m(system: System, battery: Device, device: Device) -> float:
    """How far apart the places of a battery and of its fuse are; 0 where they are one, or not given [m].

    Raises ``MissingDatum`` where they are two places of unknown distance.
    """
    here, there = battery.location, device.location
    if here is None or there is None or here == there:
        return 0.0
    sight = system.connected.places.between(here, there)
    what = f"{device.tag}: distance between {here} and {there}, its place and that of {battery.tag}"
    return need(
        sight, f"{what} ([[sightlines]])", device.path + ("location",), "between, distance"
    ).distance_m


def _fuse_at_post(system: System, subject: tuple[Conductor, str]) -> Answer:
    conductor, post = subject
    show = system.show
    limit = system.handbook.threshold("battery_fuse_distance_m")
    length, device = _unfused_m(system, conductor, post)
    if device is not None:
        length = max(length, _apart_m(system, system.terminal(post).device, device))
    path = conductor.run.path + ("length",)
    required = f"a fuse within {show(limit.value, 'length')} of {post}"
    if device is not None and length <= limit.value * (1.0 + ROUNDING):
        return satisfied(
            conductor.tag,
            path,
            f"{device.tag} stands at {post}.",
            required=required,
            actual=show(length, "length"),
        )
    actual = f"{device.tag} after {show(length, 'length')}" if device else "no fuse"
    return violated(
        conductor.tag,
        path if device else conductor.path,
        f"From {post} on, {conductor.tag} meets {actual}: a short circuit before it burns the cable.",
        required=required,
        actual=actual,
        fix=f"Put a fuse of high breaking capacity within {show(limit.value, 'length')} of {post}, the "
        "cable protected.",
        related=(system.terminal(post).device.path,),
    )


FUSE_AT_POST = Rule(
    id="battery.fuse-at-post",
    severity=Severity.DANGER,
    title="Battery conductor without a fuse at the post",
    checks="From each post, along every ungrounded conductor, a fuse or breaker comes within 0.3 m of "
    "cable (common practice), and does not stand at a place that is farther away.",
    why="A battery drives thousands of amperes into a chafed cable; only a fuse at the post stops it.",
    clauses={"us-2023": "240.21; 480; 706.31", "iec": "60364-4-43 433.2, 434.2; 62485-2"},
    look=_first_conductors,
    examine=_fuse_at_post,
    fires=(
        Case("first fuse after 2 m", {**BATTERY, "runs.R7.length": "2 m"}, subject="R7.1"),
        Case(
            "first fuse after 0.2 m, at a place 10 m away",
            {**BATTERY, "fuses.F0.location": "array"},
            subject="R7.1",
        ),
        Case(
            "no fuse",
            {
                **BATTERY,
                "fuses.F0": None,
                "runs.R7.conductors[0].to": "CB1.battery+",
                "runs.R8.conductors[0]": None,
            },
        ),
    ),
    keeps_still=(Case("fuse after 0.2 m", BATTERY),),
    sees_not="Whether the cable is guarded, and outside of a gas pocket.",
)


# -- battery.strings-share-fuse --------------------------------------------------------------------------


def _strings_share(system: System, battery: Device) -> Answer:
    number_of, path = int(battery.spec.parallel), battery.path + ("parallel",)
    required, actual = "a fuse in each string", f"{number_of} strings on one pair of posts"
    if number_of == 1:
        return satisfied(battery.tag, battery.path, f"{battery.tag} is one string.", required=required)
    return violated(
        battery.tag,
        path,
        f"The {number_of} strings of {battery.tag} are side by side with no fuse between: a short circuit "
        "in one "
        "is fed by the others, and no fuse outside of them sees it.",
        required=required,
        actual=actual,
        fix="Write each string as an entry of its own under [[batteries]], each with a fuse at its post; or "
        "take "
        "one string of larger batteries.",
    )


STRINGS_SHARE = Rule(
    id="battery.strings-share-fuse",
    severity=Severity.DANGER,
    title="Battery strings side by side without a fuse in each",
    checks="Every string of batteries has a fuse of its own before it meets another: an entry with "
    "`parallel` "
    "above 1 has none. Strings that are entries of their own are for battery.fuse-at-post.",
    why="A shorted cell or a chafed cable in one string takes the full current of all the others, thousands "
    "of "
    "amperes, until something burns off.",
    clauses={
        "us-2023": "240.21; 480; 706.31 (common practice for small banks)",
        "iec": "60364-4-43 434.2; 62485-2",
    },
    look=_battery_devices,
    examine=_strings_share,
    fires=(Case("two strings in one entry", {**BATTERY, "batteries.BT1.parallel": 2}, subject="BT1"),),
    keeps_still=(Case("one string", BATTERY),),
    sees_not="Blocks that have a fuse or a cut-out inside.",
)


# -- battery.charge-control ----------------------------------------------------------------------------


def _charged(system: System) -> Iterator[tuple[Source, Source]]:
    """Each battery with each source that charges it."""
    for pair in system.walked.pairs:
        if pair.load.device.kind == "battery" and pair.source.kind != "battery":
            battery = next((s for s in _batteries(system) if pair.load in s.ports), None)
            if battery is not None:
                yield battery, pair.source
    # Batteries in series are one source, and hang as a whole on what charges them.
    for battery in _batteries(system):
        if len(battery.ports) > 1:
            for source in system.walked.sources:
                if source.kind != "battery" and {source.plus, source.minus} == {battery.plus, battery.minus}:
                    yield battery, source


def _capacity_c(battery: Source) -> float:
    """Charge of a bank, the smallest of those in series [C]."""
    return min(float(need_part(d, "capacity", "capacity")) * int(d.spec.parallel) for d in battery.devices)


def _charge_control(system: System, subject: tuple[Source, Source]) -> Answer:
    battery, source = subject
    device, show = battery.devices[0], system.show
    path = device.path
    required = "a charge controller between"
    if source.kind == "converter":
        charger = source.ports[0].device
        if charger.part.type == "charge controller":
            return satisfied(
                battery.tag, path, f"{charger.tag} controls the charge of {battery.tag}.", required=required
            )
        return violated(
            battery.tag,
            path,
            f"{charger.tag} charges {battery.tag}, and it is a {charger.part.type}, not a charge controller.",
            required=required,
            actual=charger.part.type,
            fix=f"Take a charge controller in place of {charger.tag}.",
            related=(charger.path + ("part",),),
        )
    amperes = system.electrical.rated_current_a(source)
    limit = system.book.threshold("charge_control_fraction_of_ah")
    capacity = _capacity_c(battery)
    fraction = amperes * _COULOMB_PER_AH / capacity
    number = Calculation(
        "charge in one hour, as a share of the capacity",
        battery.tag,
        "Imp · 1 h / C",
        fraction,
        "fraction",
        "Imp · 1 h / C",
        (
            Input("Imp", amperes, "current", f"{source.tag}, catalogue"),
            Input("C", capacity, "charge", f"{battery.tag}, catalogue"),
        ),
        limit.source,
    )
    actual = (
        f"{show(amperes, 'current')} into {show(capacity, 'charge')}: {show(fraction, 'fraction', 3)} an hour"
    )
    if fraction < limit.value:
        return satisfied(
            battery.tag,
            path,
            f"{source.tag} charges {battery.tag} slowly.",
            actual=actual,
            calculations=(number,),
        )
    return violated(
        battery.tag,
        path,
        f"{source.tag} reaches {battery.tag} with no charge controller between ({actual}).",
        required=f"{required}, from {show(limit.value, 'fraction')} an hour on",
        actual=actual,
        fix=f"Put a charge controller between {source.tag} and {battery.tag}.",
        related=(source.devices[0].path,),
        calculations=(number,),
    )


# The array of the reference job straight on the bank, the charge controller out of the way.
_NO_CHARGER: dict[str, object] = {
    **BATTERY,
    "runs.R1.conductors[1].to": "CB1.battery-",
    "runs.R2.conductors[0].to": "CB1.battery+",
    "runs.R5.conductors[0].to": "CB1.battery-",
    "controllers.CC1": None,
    "runs.R8.conductors": [
        {"from": "F0.2", "to": "CB1.battery+", "color": "red"},
        {"from": "BT1.-", "to": "CB1.battery-", "color": "white"},
    ],
}

CHARGE_CONTROL = Rule(
    id="battery.charge-control",
    severity=Severity.DANGER,
    title="Battery charged without a charge controller",
    checks="An array reaches a battery through a charge controller only, unless one hour of Imp is less "
    "than 3 % of the capacity.",
    why="An uncontrolled array boils the battery dry, and the gas explodes.",
    clauses={"us-2023": "690.72", "iec": "62509; 62548-1"},
    look=_charged,
    examine=_charge_control,
    fires=(Case("11.1 A straight on 100 Ah", _NO_CHARGER, subject="BT1"),),
    keeps_still=(
        Case("through a charge controller", BATTERY),
        Case("0.5 A on 100 Ah", {**_NO_CHARGER, "part:panel-r.imp": "0.25 A"}),
    ),
)


# -- battery.low-voltage-stop --------------------------------------------------------------------------


def _emptied(system: System) -> Iterator[tuple[Port, Source, Device | None]]:
    """Each pump with each battery that drives it, and the controller between (None: there is none)."""
    for pair in system.walked.pairs:
        if pair.load.device.kind != "pump":
            continue
        if pair.source.kind == "battery":
            yield pair.load, pair.source, None
        elif pair.source.kind == "converter":
            between = pair.source.ports[0].device
            if pair.source.ports[0].takes:  # the battery stands at this very port, and is asked about itself
                continue
            for source in system.electrical.feeding(between):
                if source.kind == "battery":
                    yield pair.load, source, between


def _empty_v(system: System, battery: Source) -> tuple[float, str]:
    """Voltage of a bank below which it is harmed, under load [V], and where that comes from."""
    total, origins = 0.0, []
    for device in battery.devices:
        part = device.part
        if part.empty_voltage is not None:
            each = float(part.empty_voltage)
            origins.append(f"{device.tag}, catalogue part {part.id}")
        else:
            per_cell = system.handbook.threshold("low_voltage_stop_v_per_cell")
            each = per_cell.value * int(need_part(device, "cells", "empty voltage or number of cells"))
            origins.append(f"{per_cell.value:g} V a cell, {per_cell.source}")
        total += each * device.spec.series
    return total, "; ".join(dict.fromkeys(origins))


def _low_voltage_stop(system: System, subject: tuple[Port, Source, Device | None]) -> Answer:
    load, battery, between = subject
    pump, show = load.device, system.show
    limit, origin = _empty_v(system, battery)
    required = f"stops at {show(limit, 'voltage')} or above ({origin}), restarts higher"
    ends = f"{battery.tag} and {pump.tag}"
    fix = f"Put a low-voltage disconnect that stops at {show(limit, 'voltage')} between {ends}."
    stops = None if between is None else between.spec.stops_below or between.part.stops_below
    if between is not None and stops is None and between.part.type == "low-voltage disconnect":
        need_part(between, "stops_below", "voltage at which it stops the load")
    if between is None or stops is None:
        through = "" if between is None else f" through {between.tag}"
        return violated(
            pump.tag,
            battery.devices[0].path,
            f"{pump.tag} runs from {battery.tag}{through} until the battery is flat: nothing stops it at "
            "a low voltage.",
            required=required,
            actual="no stop",
            fix=fix,
            related=(pump.path,),
        )
    restarts = float(need_part(between, "restarts_above", "voltage at which it starts again"))
    actual = f"stops at {show(stops, 'voltage')}, restarts at {show(restarts, 'voltage')}"
    if stops < limit * (1.0 - ROUNDING) or restarts <= stops:
        return violated(
            pump.tag,
            between.path + (("stops_below",) if between.spec.stops_below else ("part",)),
            f"{between.tag} {actual}; {battery.tag} is empty at {show(limit, 'voltage')}.",
            required=required,
            actual=actual,
            fix=f"Set {between.tag} to stop at {show(limit, 'voltage')} or above and to restart higher.",
            related=(battery.devices[0].path,),
        )
    return satisfied(
        pump.tag,
        between.path,
        f"{between.tag} saves {battery.tag} from {pump.tag}.",
        required=required,
        actual=actual,
    )


LOW_VOLTAGE_STOP = Rule(
    id="battery.low-voltage-stop",
    severity=Severity.WARNING,
    title="Nothing saves the battery from deep discharge",
    checks="Between battery and pump something stops at the maker's empty voltage (else 1.9 V a "
    "lead-acid cell) or above, and restarts at a higher voltage.",
    why="A lead-acid battery that is run flat a few times is scrap.",
    clauses={"us-2023": "common practice, no source", "iec": "62509; 61427-1"},
    look=_emptied,
    examine=_low_voltage_stop,
    fires=(
        Case(
            "a disconnect that stops at 21 V",
            {**BATTERY, "part:low-voltage-r.stops_below": "21 V"},
            subject="P1",
        ),
        Case(
            "battery to motor through its fuse only",
            {**BATTERY, "runs.R2.conductors[1].from": "F0.2", "runs.R3.conductors[1].from": "CB1.battery-"},
            subject="P1",
        ),
    ),
    keeps_still=(Case("stop 22.8 V, restart 25.0 V", BATTERY),),
    sees_not="A stop through the remote terminals of another controller.",
    acceptable=True,
)


# -- battery.top-voltage -------------------------------------------------------------------------------


def _top_v(system: System, battery: Source) -> Calculation:
    """The highest voltage to which a bank is charged [V]: the controllers' setting, else the battery's."""
    chargers = [
        source.ports[0].device
        for other, source in _charged(system)
        if other is battery
        and source.kind == "converter"
        and source.ports[0].device.part.highest_charge_voltage
    ]
    if not chargers:
        return system.electrical.highest_voltage(battery)
    highest = max(chargers, key=lambda d: float(d.part.highest_charge_voltage))
    value = float(highest.part.highest_charge_voltage)
    return Calculation(
        "highest charge voltage",
        battery.tag,
        "Vtop",
        value,
        "voltage",
        "highest setting of the charge controller",
        (Input("Vtop", value, "voltage", f"{highest.tag}, catalogue part {highest.part.id}"),),
        "maker's data",
    )


def _raised(system: System) -> Iterator[tuple[Device, Source]]:
    """Each device that a battery's voltage reaches, straight or through a device that only switches it."""
    for battery in _batteries(system):
        for device in battery.devices:
            yield device, battery
        for pair in system.walked.pairs:
            if pair.source is battery and pair.load.device.kind != "battery":
                yield pair.load.device, battery
            elif pair.source.kind == "converter" and pair.load.device.kind == "pump":
                between = pair.source.ports[0].device
                if between.part.type != "current booster" and battery in system.electrical.feeding(between):
                    yield pair.load.device, battery


def _stands_v(system: System, device: Device, battery: Source) -> float:
    """The highest supply voltage that a device stands [V]."""
    if device.kind == "battery":
        key = "highest_charge_voltage"
        return sum(
            float(need_part(d, key, "highest charge voltage")) * int(d.spec.series) for d in battery.devices
        )
    if device.kind == "pump":
        return float(need_part(device, "max_voltage", "highest voltage of the motor"))
    return _input_limit_v(system, device, battery)


def _input_limit_v(system: System, device: Device, battery: Source) -> float:
    """Limit of the port by which a controller hangs on a battery [V]."""
    port = next(
        p
        for p in system.connected.ports
        if p.device is device and p.takes and set(system.walked.port_nets(p)) == {battery.plus, battery.minus}
    )
    if port.gives:
        return float(need_part(device, "highest_charge_voltage", "highest charge voltage"))
    return float(need_part(device, "max_input_voltage", "highest input voltage"))


def _top_voltage(system: System, subject: tuple[Device, Source]) -> Answer:
    device, battery = subject
    top = _top_v(system, battery)
    stands = _stands_v(system, device, battery)
    path, show = device.path + ("part",), system.show
    required, actual = f"at most {show(stands, 'voltage')}", show(top.value, "voltage")
    if top.value <= stands * (1.0 + ROUNDING):
        return satisfied(
            device.tag,
            path,
            f"{device.tag} stands the charge of {battery.tag}.",
            required=required,
            actual=actual,
            calculations=(top,),
        )
    return violated(
        device.tag,
        path,
        f"{battery.tag} is charged up to {actual}; {device.tag} stands {show(stands, 'voltage')}.",
        required=required,
        actual=actual,
        fix=f"Lower the charge voltage to {show(stands, 'voltage')}, or disconnect {device.tag} while "
        "equalising.",
        related=(battery.devices[0].path,),
        calculations=(top,),
    )


TOP_VOLTAGE = Rule(
    id="battery.top-voltage",
    severity=Severity.ERROR,
    title="Charge voltage above what the loads stand",
    checks="Highest charge voltage (absorption, equalising, cold: the controller's highest, else the "
    "battery's) <= limit of the battery, of each controller on it, and of each motor on it or behind a "
    "low-voltage disconnect.",
    why="Equalising raises a 24 V bank to 31 V or more for hours, on everything that hangs on it.",
    clauses={"us-2023": "110.3(B); 110.27", "iec": "60364-4-41"},
    look=_raised,
    examine=_top_voltage,
    fires=(
        Case(
            "equalising at 31.0 V, motor for 30 V",
            {**BATTERY, "part:charger-r.highest_charge_voltage": "31.0 V"},
            subject="P1",
        ),
    ),
    keeps_still=(Case("28.8 V", BATTERY),),
    sees_not="Relays and lamps that no table of the spec names.",
)


# -- battery.gas ---------------------------------------------------------------------------------------


def _contacts(system: System, box: str) -> list[Device]:
    """Devices in an enclosure that make or break current."""
    held = {pole.device for pole in system.connected.poles} | set(system.of_kind("controller"))
    return [d for d in system.devices.values() if d in held and d.box == box]


def _opening(system: System, battery: Device) -> Calculation:
    """Free area of the high and of the low opening for a bank [m2]."""
    part, spec = battery.part, battery.spec
    kind = "vented" if part.vented else "valve_regulated"
    gassing = system.handbook.threshold(f"battery_gas_a_per_ah_{kind}")
    cells = int(need_part(battery, "cells", "number of cells")) * spec.series * spec.parallel
    capacity = float(need_part(battery, "capacity", "capacity"))
    flow = battery_ventilation_m3_s(cells, gassing.value * capacity / _COULOMB_PER_AH)
    return Calculation(
        "free area of each ventilation opening",
        battery.tag,
        "A",
        ventilation_opening_m2(flow),
        "area",
        "28 · Qv cm², Qv = 0.05 · n · Igas · C / 1000 m³/h",
        (
            Input("n", cells, "number", f"{battery.tag}, cells in all"),
            Input("Igas", gassing.value * 1000.0, "number", f"mA per Ah, {gassing.source}"),
            Input("C", capacity, "charge", f"{battery.tag}, catalogue part {part.id}"),
        ),
        "IEC 62485-2 clause 7",
    )


def _space(system: System, battery: Device) -> tuple[str, float | None] | None:
    """What encloses a battery and its free opening [m2]; None in the open air. Raises ``MissingDatum``."""
    if battery.box is not None:
        box = system.devices[battery.box]
        return box.tag, float(need_part(box, "openings", "free area of its ventilation openings"))
    location = need(battery.location, f"{battery.tag}: where it stands", battery.path, "location")
    place = system.connected.places.locations.get(location)
    place = need(
        place, f"{location}: a [[locations]] table that says whether it is outdoors", battery.path, "location"
    )
    if place.outdoors:
        return None
    return location, float(
        need(place.openings, f"{location}: free area of its ventilation openings", battery.path, "openings")
    )


def _gas(system: System, battery: Device) -> Iterator[Answer]:
    part, show = battery.part, system.show
    path = battery.path + ("part",)
    if "lithium" in (part.chemistry or "").casefold():
        yield satisfied(battery.tag, path, f"{battery.tag} gives off no hydrogen while it charges.")
        return
    vented = need_part(battery, "vented", "whether its cells are vented")
    sparks = _contacts(system, battery.box) if vented and battery.box else []
    if sparks:
        names = ", ".join(d.tag for d in sparks)
        yield violated(
            battery.tag,
            battery.path,
            f"Vented battery {battery.tag} shares {battery.box} with contacts that spark: {names}.",
            required="no contacts in the battery's enclosure",
            actual=names,
            fix=f"Give {battery.tag} an enclosure of its own, vented high and low.",
            related=tuple(d.path for d in sparks),
        )
        return
    space = _space(system, battery)
    if space is None:
        yield satisfied(battery.tag, path, f"{battery.tag} stands in the open air.")
        return
    name, openings = space
    number = _opening(system, battery)
    assert openings is not None
    required, actual = f"{show(number.value, 'area')} high and low", show(openings, "area")
    if openings >= number.value * (1.0 - ROUNDING):
        yield satisfied(
            battery.tag,
            path,
            f"{name} lets the gas out.",
            required=required,
            actual=actual,
            calculations=(number,),
        )
        return
    yield violated(
        battery.tag,
        path,
        f"{name} has openings of {actual}; the gas of {battery.tag} wants {required}.",
        required=required,
        actual=actual,
        fix=f"Cut openings of at least {show(number.value, 'area')} each, high and low, in {name}.",
        calculations=(number,),
    )


_VENTED: dict[str, object] = {
    **BATTERY,
    "part:battery-r.vented": True,
    "enclosures.BOX2": {"part": "box-r", "location": "pump house", "holds": ["BT1"]},
}

GAS = Rule(
    id="battery.gas",
    severity=Severity.DANGER,
    title="Battery gas that cannot get out, or meets a spark",
    checks="Vented cells share no enclosure with contacts. Each of two openings, high and low: A >= 28 · "
    "Qv cm², Qv = 0.05 · n · Igas · C / 1000 m³/h, Igas 20 (vented) or 8 (valve-regulated) mA per Ah.",
    why="A charging battery gives off hydrogen; from 4 % in air it explodes at a spark.",
    clauses={"us-2023": "480.10", "iec": "62485-2 clause 7"},
    look=_battery_devices,
    examine=_gas,
    fires=(
        Case(
            "12 vented cells of 100 Ah, openings of 20 cm2",
            {**_VENTED, "part:box-r.openings": "20 cm2"},
            subject="BT1",
        ),
        Case(
            "vented battery beside a breaker",
            {**_VENTED, "part:box-r.openings": "40 cm2", "enclosures.BOX2.holds": ["BT1", "F0"]},
            subject="BT1",
        ),
    ),
    keeps_still=(
        Case("openings of 40 cm2", {**_VENTED, "part:box-r.openings": "40 cm2"}),
        Case("in the open air", BATTERY),
    ),
    sees_not="Openings that are not both high and low.",
)

RULES = (FUSE_AT_POST, STRINGS_SHARE, CHARGE_CONTROL, LOW_VOLTAGE_STOP, TOP_VOLTAGE, GAS)
