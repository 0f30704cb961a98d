"""What runs through the wires while the pump works: volts and amperes at each device, on a clean filter."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from specc.documents.commissioning.bench import Bench
from specc.physics import panels
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2, ZERO_CELSIUS_K
from specc.physics.panels import ArrayPoint, ModulePoints
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Conductor, Device, Port
from specc.system.walk import Source

_STEPS = 120  # of the motor's volts, between which its current is taken as straight
_MOST_OVER_LABEL = 1.25  # open-circuit volts on the coldest morning over those of the label


@dataclass(frozen=True)
class Feed:
    """What feeds a load: volts, amperes and where they come from ("array", "battery", "converter")."""

    kind: str
    tag: str
    voltage_v: float
    current_a: float

    @property
    def power_w(self) -> float:
        return self.voltage_v * self.current_a


def arrays(bench: Bench) -> tuple[Source, ...]:
    """The arrays of the job."""
    return tuple(s for s in bench.system.walked.sources if s.kind == "array")


def module_points(device: Device) -> ModulePoints:
    """The label points of one module of an array."""
    return ModulePoints(device.part.voc, device.part.isc, device.part.vmp, device.part.imp)


def open_voltage_v(device: Device, cell_k: float) -> float:
    """Open-circuit voltage of a string at a cell temperature [V]."""
    slope = float(need_part(device, "voc_coefficient", "temperature coefficient of Voc"))
    return panels.string_voltage_v(device.part.voc, device.spec.series, slope, cell_k)


def power_voltage_v(source: Source, cell_k: float) -> float:
    """Voltage at maximum power of an array at a cell temperature [V]."""
    total = 0.0
    for device in source.devices:
        slope = float(need_part(device, "vmp_coefficient", "temperature coefficient of Vmp"))
        total += panels.string_voltage_v(device.part.vmp, device.spec.series, slope, cell_k)
    return total


def feeders(bench: Bench, port: Port) -> tuple[Source, ...]:
    """Sources across which a load hangs; raises ``MissingDatum`` where there is none."""
    found = bench.system.walked.feeds(port)
    if not found:
        raise MissingDatum(f"{port.device.tag}: a source that feeds it", port.device.path, "runs")
    return found


def motor_feed(bench: Bench, port: Port) -> Feed:
    """Volts and amperes at a motor: at its nominal voltage, or where array and pump meet.

    Straight on an array the point is that of the reference light and cell temperature.
    """
    pump, sources = port.device, feeders(bench, port)
    if is_direct(bench, port):
        light = float(bench.practice["reference_light_w_m2"])
        point = direct_point(bench, port, light, bench.reference_cell_k())
        return Feed("array", pump.tag, point.voltage_v, point.current_a)
    volts = float(pump.part.nominal_voltage)
    return Feed(sources[0].kind, pump.tag, volts, bench.system.water.operating(pump, False).current_a)


def highest_feed_v(bench: Bench, port: Port) -> float:
    """The highest volts that the sources of a load can show: battery on charge, clamp of a booster [V]."""
    return max(float(bench.system.electrical.highest_voltage(s).value) for s in feeders(bench, port))


def is_direct(bench: Bench, port: Port) -> bool:
    """Does a motor hang straight on arrays, so that its voltage follows the light?"""
    return all(source.kind == "array" for source in feeders(bench, port))


def direct_point(bench: Bench, port: Port, light_w_m2: float, cell_k: float) -> ArrayPoint:
    """Volts and amperes at a motor straight on one array, through its wires, its pump on its pipe.

    The filter is clean, the wires as warm as in the test of their drop.
    """
    pump, (source, *others) = port.device, feeders(bench, port)
    if others or len(source.devices) > 1:
        raise MissingDatum(f"{pump.tag}: one array alone to work out its voltage", pump.path, "runs")
    device = source.devices[0]
    moved = panels.module_at(
        module_points(device),
        light_w_m2,
        cell_k,
        float(need_part(device, "voc_coefficient", "temperature coefficient of Voc")),
        float(need_part(device, "vmp_coefficient", "temperature coefficient of Vmp")),
    )
    ohm = _way_ohm(bench, source, port)
    open_v = float(device.part.voc) * device.spec.series * _MOST_OVER_LABEL
    motor_v = [max(open_v * step / _STEPS, 0.01) for step in range(_STEPS + 1)]
    amperes = [bench.system.water.operating_at(pump, v, False).current_a for v in motor_v]
    at_array_v = [v + ohm * a for v, a in zip(motor_v, amperes, strict=True)]
    found = panels.load_crossing(
        moved,
        device.spec.series,
        device.spec.parallel,
        lambda v: _between(at_array_v, amperes, v),
    )
    if found is None:
        raise ValueError(f"in this light {device.tag} cannot turn {pump.tag}")
    return ArrayPoint(found.voltage_v - ohm * found.current_a, found.current_a)


def _between(rising: Sequence[float], values: Sequence[float], at: float) -> float:
    """What stands at a place between others, straight from one to the next; the ends go on as they are."""
    if at <= rising[0]:
        return values[0]
    if at >= rising[-1]:
        return values[-1]
    right = bisect_right(rising, at)
    share = (at - rising[right - 1]) / (rising[right] - rising[right - 1])
    return values[right - 1] + share * (values[right] - values[right - 1])


def _way_ohm(bench: Bench, source: Source, load: Port) -> float:
    """Resistance of the wires from a source to a load and back, at work [ohm]."""
    walked = bench.system.walked
    ends = {"plus": source.ports[-1].plus, "minus": source.ports[0].minus}
    kelvin = float(bench.practice["run_temperature_c"]) + ZERO_CELSIUS_K
    total = 0.0
    for end in ends.values():
        to = load.plus if walked.net(load.plus) == walked.net(end) else load.minus
        way = walked.paths(end, to)
        total += sum(bench.ohm(step, kelvin) for step in way if isinstance(step, Conductor))
    return total


def input_feed(bench: Bench, controller: Device, cell_k: float, passed: tuple[Device, ...] = ()) -> Feed:
    """Volts and amperes into a controller that runs its pumps: an array just able to, or a battery.

    ``passed``: the controllers before it. Raises ``MissingDatum`` where a battery hangs on its output, since
    what that takes depends on its charge, where nothing hangs there, and where controllers stand in a ring.
    """
    system = bench.system
    if controller in passed:
        ring = ", ".join(device.tag for device in passed)
        raise MissingDatum(f"{ring}: a source that is not one of them", controller.path, "runs")
    port = next(p for p in system.connected.ports if p.device is controller and p.takes)
    out = [s for s in system.walked.sources if s.kind == "converter" and s.ports[0].device is controller]
    loads = [load for source in out for load in system.electrical.fed_by(source)]
    if any(load.device.kind == "battery" for load in loads):
        raise MissingDatum(f"{controller.tag}: how full the battery is", controller.path, "part")
    efficiency = float(need_part(controller, "efficiency", "efficiency"))
    power_w = sum(feed_of(bench, load, cell_k, (*passed, controller)).power_w for load in loads) / efficiency
    if not power_w > 0.0:
        raise MissingDatum(f"{controller.tag}: a motor that it feeds", controller.path, "runs")
    source = feeders(bench, port)[0]
    if source.kind == "array":
        volts = power_voltage_v(source, cell_k)
    else:
        volts = abs(system.walked.voltage(port.plus, port.minus) or 0.0)
    if not volts > 0.0:
        raise MissingDatum(f"{controller.tag}: the voltage of what feeds it", controller.path, "runs")
    return Feed(source.kind, controller.tag, volts, power_w / volts)


def feed_of(bench: Bench, load: Port, cell_k: float, passed: tuple[Device, ...] = ()) -> Feed:
    """Volts and amperes at a load: a motor, or a controller that feeds motors. ``passed`` as there."""
    if load.device.kind == "pump":
        return motor_feed(bench, load)
    return input_feed(bench, load.device, cell_k, passed)


def light_needed_w_m2(source: Source, current_a: float) -> float:
    """Light in which an array gives this current at maximum power [W/m²]."""
    imp = min(d.part.imp * d.spec.parallel for d in source.devices)
    return float(STANDARD_IRRADIANCE_W_M2 * current_a / imp)


def running_current_a(bench: Bench, conductor: Conductor) -> float | None:
    """Amperes in a conductor while the pumps run; None where they depend on the charge of a battery [A]."""
    branch = bench.system.walked.branch(conductor)
    if branch is None:
        return None
    loads = dict.fromkeys(pair.load for pair in bench.system.walked.crossings(branch))
    if not loads or any(load.device.kind == "battery" for load in loads):
        return None
    cell_k = bench.reference_cell_k()
    try:
        return sum(feed_of(bench, load, cell_k).current_a for load in loads)
    except MissingDatum:
        return None
