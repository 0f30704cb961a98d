"""The tests of the water side: prime, pressures, flow, levels."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from specc import units
from specc.documents.commissioning.bench import Bench, Made
from specc.documents.commissioning.model import Reading
from specc.documents.commissioning.power import is_direct, motor_feed
from specc.physics.hydraulics import hydraulic_power_w, pressure_from_head_pa
from specc.physics.pumps import PumpPoint
from specc.system.missing import need
from specc.system.model import Device

_STILL = ("pond", "stream")  # an hour of pumping does not show in their level

Of = Callable[[Bench, str, str, Device], Made]


def _each_pump(bench: Bench, of: Of) -> Iterator[Reading]:
    for pump in bench.system.water.pumps:
        place = bench.place(pump)
        yield from bench.tried(place, pump.tag, of, pump)


def priming(bench: Bench) -> Iterator[Reading]:
    """Pumps that stand over their water and hold their prime by a foot valve."""
    return _each_pump(bench, _priming)


def _priming(bench: Bench, place: str, _tag: str, pump: Device) -> Iterator[Reading]:
    water = bench.system.water
    way = water.suction(pump)
    foot = water.foot_valve(way)
    if foot is not None and water.lift_m(pump) > 0.0:
        level = next((d.tag for d in way.devices if "fill point" in water.duties(d)), "the filling point")
        yield Reading(
            place, f"water level in {level}", "no fall in 10 min", "no fall", tags=(foot.tag, pump.tag)
        )


def static(bench: Bench) -> Iterator[Reading]:
    """Weight of the water that stands in the full delivery."""
    return _each_pump(bench, _static)


def _static(bench: Bench, place: str, _tag: str, pump: Device) -> Iterator[Reading]:
    water = bench.system.water
    height = water.top_m(water.delivery(pump)) - float(pump.spec.elevation)
    density = water.density_kg_m3(water.suction(pump).start)
    yield bench.reading(
        place,
        f"gauge at {pump.tag}.out",
        pressure_from_head_pa(height, density),
        "pressure",
        tags=(pump.tag,),
        after=f" under {bench.show(height, 'head')} of water",
    )


def vacuum(bench: Bench) -> Iterator[Reading]:
    """Filter clean, and the reading at which it is changed."""
    return _each_pump(bench, _vacuum)


def _vacuum(bench: Bench, place: str, _tag: str, pump: Device) -> Iterator[Reading]:
    water, at = bench.system.water, f"gauge at {pump.tag}.in"
    tags: tuple[str, ...] = (pump.tag,)
    work = _at_work(bench, pump)
    clean = water.inlet_vacuum_pa(pump, work.point.flow_m3_s, dirty=False)
    if clean <= 0.0:
        # The pump is flooded: the gauge shows a pressure.
        after = f" of pressure{work.moment}, no vacuum"
        yield bench.reading(place, at, -clean, "pressure", tags=tags, after=after)
        return
    yield bench.reading(place, f"{at}, filter clean", clean, "vacuum", tags=tags, after=work.moment)
    filters = [d.tag for d in water.suction(pump).devices if d.kind == "filter"]
    if filters:
        dirty = water.vacuum(pump, True).value
        at = f"{at}, {', '.join(filters)} to be cleaned or changed"
        tags += tuple(filters)
        yield bench.reading(place, at, dirty, "vacuum", tags=tags, lowest=None, highest=dirty)


def pressure(bench: Bench) -> Iterator[Reading]:
    """While it pumps, filter clean."""
    return _each_pump(bench, _pressure)


def _pressure(bench: Bench, place: str, _tag: str, pump: Device) -> Reading:
    work = _at_work(bench, pump)
    found = bench.system.water.outlet_pa(pump, work.point.flow_m3_s, dirty=False)
    at = f"gauge at {pump.tag}.out"
    return bench.reading(place, at, found, "pressure", tags=(pump.tag,), after=work.moment)


def bucket(bench: Bench) -> Iterator[Reading]:
    """Seconds to fill a bucket at the tank's inlet."""
    return _each_pump(bench, _bucket)


def _bucket(bench: Bench, _place: str, _tag: str, pump: Device) -> Reading:
    bucket_m3 = units.parse_quantity(bench.practice[f"bucket_{bench.system.job.units}"], "volume")
    work = _at_work(bench, pump)
    volts, point, moment = work.voltage_v, work.point, work.moment
    if not point.flow_m3_s > 0.0:
        raise ValueError(f"{pump.tag} gives no water at {volts:.3g} V")
    seconds = bucket_m3 / point.flow_m3_s
    low, high = (seconds * (1.0 + sign * float(bench.words["tolerance"])) for sign in (-1.0, 1.0))
    tank = bench.system.water.delivery(pump).end
    flow = bench.show(point.flow_m3_s, "flow")
    return Reading(
        bench.place(tank),
        f"inlet of {tank.tag}, {bench.show(bucket_m3, 'volume')}",
        f"{seconds:.0f} s ({flow}) with {bench.show(volts, 'voltage')} at the motor{moment}",
        f"{low:.0f} s to {high:.0f} s; in proportion slower at less voltage, quicker at more",
        seconds,
        low,
        high,
        "duration",
        (pump.tag, tank.tag),
    )


@dataclass(frozen=True)
class _Work:
    """Volts at a motor, what its pump then does (filter clean), and in what light, straight on an array."""

    voltage_v: float
    point: PumpPoint
    moment: str


def _at_work(bench: Bench, pump: Device) -> _Work:
    """At its nominal voltage; straight on an array in the reference light."""
    water = bench.system.water
    port = next(p for p in bench.pump_ports() if p.device is pump)
    if not is_direct(bench, port):
        return _Work(float(pump.part.nominal_voltage), water.operating(pump, False), "")
    volts = motor_feed(bench, port).voltage_v
    light = bench.show(float(bench.practice["reference_light_w_m2"]), "irradiance")
    return _Work(volts, water.operating_at(pump, volts, False), f" ({light})")


def wire_to_water(bench: Bench) -> Iterator[Reading]:
    """Water power over electrical power, filter clean."""
    return _each_pump(bench, _wire_to_water)


def _wire_to_water(bench: Bench, place: str, _tag: str, pump: Device) -> Reading:
    water = bench.system.water
    work = _at_work(bench, pump)
    volts, point = work.voltage_v, work.point
    density = water.density_kg_m3(water.suction(pump).start)
    head = water.total_head_m(pump, point.flow_m3_s, dirty=False)
    given, taken = hydraulic_power_w(point.flow_m3_s, head, density), volts * point.current_a
    if not taken > 0.0:
        raise ValueError(f"{pump.tag} draws no current at {volts:.3g} V")
    words = f" ({bench.show(given, 'power')} of {bench.show(taken, 'power')})"
    return bench.reading(place, pump.tag, given / taken, "fraction", tags=(pump.tag,), after=words)


def relief(bench: Bench) -> Iterator[Reading]:
    """Each relief valve opens at its setting, with the motor within its label current."""
    for valve in bench.system.of_kind("valve"):
        if valve.part.type == "relief valve":
            place = bench.place(valve)
            yield from bench.tried(place, valve.tag, _relief, valve)
    if any(valve.part.type == "relief valve" for valve in bench.system.of_kind("valve")):
        for pump in bench.system.water.pumps:
            place = bench.place(pump)
            yield from bench.tried(place, pump.tag, _at_relief, pump)


def _relief(bench: Bench, place: str, _tag: str, valve: Device) -> Reading:
    setting = float(need(valve.spec.setting, f"{valve.tag}: setting", valve.path, "setting"))
    stop = 1.1 * setting
    after = f"; stop at {bench.show(stop, 'pressure')}"
    return bench.reading(place, f"{valve.tag} opens", setting, "pressure", tags=(valve.tag,), after=after)


def _at_relief(bench: Bench, place: str, _tag: str, pump: Device) -> Reading:
    most = bench.system.electrical.motor_current_a(pump)
    at = f"amperes of {pump.tag} while the valve is open"
    return bench.reading(
        place, at, most, "current", before="not over ", lowest=None, highest=most, tags=(pump.tag,)
    )


def drawdown(bench: Bench) -> Iterator[Reading]:
    """The level pumped down to, and what flows in again; not for open water."""
    for source in bench.system.of_kind("source"):
        if source.spec.kind not in _STILL and bench.system.water.drawn_by(source):
            place = bench.place(source)
            yield from bench.tried(place, source.tag, _drawdown, source)


def _drawdown(bench: Bench, place: str, _tag: str, source: Device) -> Iterator[Reading]:
    low, rim = bench.system.water.pumping_level_m(source), source.spec.rim
    tags = (source.tag,)
    if rim is None:
        at, words = f"{source.tag}, level", "not lower than "
        yield bench.reading(place, at, low, "elevation", before=words, lowest=low, highest=None, tags=tags)
    else:
        at, depth = f"{source.tag}, from the rim to the water", float(rim) - low
        words = "not deeper than "
        yield bench.reading(place, at, depth, "length", before=words, lowest=None, highest=depth, tags=tags)
    inflow = float(need(source.spec.inflow, f"{source.tag}: inflow", source.path, "inflow"))
    yield bench.reading(
        place, f"{source.tag}, recovery", inflow, "flow", lowest=inflow, highest=None, tags=(source.tag,)
    )


def tank(bench: Bench) -> Iterator[Reading]:
    """Stop level and overflow of each tank."""
    for device in bench.system.of_kind("tank"):
        place, spec = bench.place(device), device.spec
        if spec.stop_below_overflow is not None:
            below = bench.show(spec.stop_below_overflow, "short_length")
            band = (
                ""
                if spec.float_band is None
                else f", starts again {bench.show(spec.float_band, 'short_length')} lower"
            )
            yield Reading(
                place,
                f"{device.tag}, where the pump stops",
                f"{below} below the overflow{band}",
                "seen",
                float(spec.stop_below_overflow),
                dimension="short_length",
                tags=(device.tag,),
            )
        elif any(s.spec.guards == "tank full" for s in bench.system.of_kind("switch")):
            lack = f"{device.tag}: stop_below_overflow"
            yield Reading(
                place, f"{device.tag}, where the pump stops", f"not worked out; missing: {lack}", missing=lack
            )
        yield Reading(
            place,
            f"{device.tag}, overflow",
            "runs free to daylight",
            "carries all that comes in",
            tags=(device.tag,),
        )
