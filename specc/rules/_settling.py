"""Where like modules and what hangs on them settle: asked by the rules on volts and on pressure."""

from __future__ import annotations

from collections.abc import Iterable

from specc.physics import panels
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2
from specc.system.missing import need_part
from specc.system.model import Device
from specc.system.walk import Source


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
