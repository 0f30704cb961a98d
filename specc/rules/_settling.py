"""Where like modules and what hangs on them settle: asked by the rules on volts and on pressure."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from specc.physics import panels
from specc.physics.constants import STANDARD_CELL_TEMPERATURE_K, STANDARD_IRRADIANCE_W_M2
from specc.system.missing import need_part
from specc.system.model import Device
from specc.system.system import System
from specc.system.walk import Source

_HALVINGS = 20  # of a voltage, to a millionth of it


def uniform(arrays: Iterable[Source]) -> tuple[Device, int, int] | None:
    """A device, modules in series and strings in parallel of arrays of like modules; None for unlike ones."""
    arrays = tuple(arrays)
    devices = [device for source in arrays for device in source.devices]
    series = {sum(d.spec.series for d in source.devices) for source in arrays}
    even = all(len({d.spec.parallel for d in source.devices}) == 1 for source in arrays)
    if len({d.part.id for d in devices}) != 1 or len(series) != 1 or not even:
        return None
    return devices[0], series.pop(), sum(source.devices[0].spec.parallel for source in arrays)


def in_bright_sun(array: Device, cell_k: float) -> panels.ModulePoints:
    """The label points of its module at 1000 W/m² and a cell temperature [K]."""
    module = array.part
    voc_k = float(need_part(array, "voc_coefficient", "temperature coefficient of Voc"))
    vmp_k = float(need_part(array, "vmp_coefficient", "temperature coefficient of Vmp"))
    return panels.module_at(
        panels.ModulePoints(module.voc, module.isc, module.vmp, module.imp),
        STANDARD_IRRADIANCE_W_M2,
        cell_k,
        voc_k,
        vmp_k,
        module.isc_coefficient or 0.0,
    )


def driving_v(system: System, motor: Device, drawn_a: Callable[[float], float]) -> float:
    """The highest voltage at which a motor runs that draws this current; 0 where nothing feeds it [V].

    Straight on like modules: where their curve meets it in bright sun, at the coldest air and at 25 °C.
    Behind a controller on panels: its highest output, as far as the panels' label power and its current go.
    Else the highest voltage of what feeds it. Drop in the conductors is left out, which reads a little high.
    """
    electrical = system.electrical
    loads = [port for port in system.walked.loads if port.device is motor]
    fed = tuple(dict.fromkeys(source for load in loads for source in system.walked.feeds(load)))
    if not fed:
        return 0.0

    def loaded_a(volts: float) -> float:
        return drawn_a(volts) if volts > 0.0 else 0.0

    array = uniform(fed) if all(source.kind == "array" for source in fed) else None
    if array is not None:
        device, series, strings = array
        cells = (electrical.coldest_k, STANDARD_CELL_TEMPERATURE_K)
        points = [panels.load_crossing(in_bright_sun(device, k), series, strings, loaded_a) for k in cells]
        return max(point.voltage_v for point in points if point is not None)
    highest = max(electrical.highest_voltage(source).value for source in fed)
    watts, amperes = _given(system, fed)
    low, high = 0.0, highest
    if highest * loaded_a(highest) <= watts and loaded_a(highest) <= amperes:
        return highest
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        able = middle * loaded_a(middle) <= watts and loaded_a(middle) <= amperes
        low, high = (middle, high) if able else (low, middle)
    return high


def _given(system: System, fed: tuple[Source, ...]) -> tuple[float, float]:
    """The most watts and amperes that one controller on panels gives; infinite for anything else [W, A]."""
    device = fed[0].ports[0].device
    if len(fed) > 1 or fed[0].kind != "converter":
        return math.inf, math.inf
    behind = system.electrical.feeding(device)
    if not behind or any(source.kind != "array" for source in behind):
        return math.inf, math.inf
    label = math.fsum(
        panel.spec.series * panel.spec.parallel * panel.part.vmp * panel.part.imp
        for source in behind
        for panel in source.devices
    )
    return label, device.part.output_current or math.inf
