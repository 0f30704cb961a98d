"""The cautions of a packet: those whose hazard the job does not rule out, with its own figures."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from specc.documents.commissioning.reach import steps_from_sources
from specc.documents.packet import Caution, CautionTexts, caution_texts_of
from specc.physics.disinfection import bleach_volume_m3, chlorine_mass_kg
from specc.physics.hydraulics import round_well_volume_m3
from specc.system.charging import BY_HAND
from specc.system.earthing import bonds
from specc.system.guarding import feeds
from specc.system.missing import MissingDatum, need
from specc.system.model import Device
from specc.system.system import System
from specc.templates import read_toml_template

OPEN_WATER = frozenset({"pond", "stream"})
DOSE_KG_M3 = 0.1  # 100 mg/L, the upper end of what health departments publish for private wells
BLEACH_KG_M3 = 52.5  # household bleach of 5.25 %, weight by volume


def cautions_for(system: System) -> CautionTexts:
    """The caution texts of the house, without those that this job cannot need, completed by its figures."""
    kept = caution_texts().without(_ruled_out(system))
    return replace(kept, cautions=tuple(_completed(system, caution) for caution in kept.cautions))


def caution_texts() -> CautionTexts:
    """Every caution of the templates that count now. Raises TemplateProblem."""
    return read_toml_template("packet/cautions.toml", _known_figures)


def _known_figures(data: Mapping[str, Any]) -> CautionTexts:
    texts = caution_texts_of(data)
    for caution in texts.cautions:
        if caution.figures and caution.figures not in FIGURES:
            known = ", ".join(FIGURES)
            raise ValueError(f"caution {caution.hazard!r} asks for unknown figures; there are {known}")
    return texts


def _ruled_out(system: System) -> set[str]:
    kinds = {device.kind for device in system.devices.values()}
    sources = {device.spec.kind for device in _sources(system)}
    places = system.connected.places.locations.values()
    mounted = {device.spec.mounted for device in system.devices.values() if device.kind == "panel"}
    tanks = any(device.table == "tank" for device in system.devices.values())
    ruled_out = {kind for kind in ("battery", "controller") if kind not in kinds}
    if sources and sources <= OPEN_WATER:
        ruled_out.add("drawn well")
        # A tank or cistern is a confined space as much as a well is.
        if not tanks:
            ruled_out.add("well")
    if sources and not sources & OPEN_WATER:
        ruled_out.add("open water")
    if mounted and mounted <= {"ground", "pole"} and not any(place.on_building for place in places):
        ruled_out.add("building array")
    if not system.functional and not any(bond.functional for bond in bonds(system)):
        ruled_out.add("functional earth")
    if system.job.use in ("irrigation", "stock"):
        ruled_out.add("potable")
    return ruled_out


def _sources(system: System) -> tuple[Device, ...]:
    return tuple(device for device in system.devices.values() if device.table == "source")


def _completed(system: System, caution: Caution) -> Caution:
    """The caution with the job's own figures behind its text, where it asks for them."""
    if not caution.figures:
        return caution
    return replace(caution, text=" ".join((caution.text, *FIGURES[caution.figures](system))))


def _doses(system: System) -> list[str]:
    return [_dose(system, source) for source in _sources(system) if source.spec.kind not in OPEN_WATER]


def _dose(system: System, source: Device) -> str:
    """Chlorine and bleach for the standing water of a well."""
    try:
        volume_m3 = standing_volume_m3(source)
    except MissingDatum as lack:
        return f"The dose could not be worked out; missing: {lack.what}."
    chlorine_kg = chlorine_mass_kg(volume_m3, DOSE_KG_M3)
    bleach_m3 = bleach_volume_m3(chlorine_kg, BLEACH_KG_M3)
    shown = system.show(bleach_m3, "volume", 2)
    return (
        f"{source.tag} at its standing level holds {system.show(volume_m3, 'volume')}: "
        f"{chlorine_kg * 1000.0:.0f} g of chlorine, or {shown} of plain 5.25 % bleach, for 100 mg/L."
    )


def standing_volume_m3(source: Device) -> float:
    """Water in a round well, or one of a known plan area, from the bottom to its standing level [m³].

    Raises ``MissingDatum`` where level, bottom or width is not given, or the bottom lies over the water.
    """
    spec, tag, path = source.spec, source.tag, source.path
    level = float(need(spec.water_level, f"{tag}: water level", path, "water_level"))
    depth = level - float(need(spec.bottom, f"{tag}: bottom", path, "bottom"))
    if not depth > 0.0:
        raise MissingDatum(f"{tag}: a bottom below its water level", path, "bottom")
    if spec.plan_area is not None:
        return float(spec.plan_area) * depth
    return round_well_volume_m3(float(need(spec.diameter, f"{tag}: diameter", path, "diameter")), depth)


def _waits(system: System) -> list[str]:
    return [f"{d.tag}: {_wait(system, d.part.wait_time)}." for d in system.of_kind("controller")]


def _wait(system: System, seconds: float | None) -> str:
    if seconds is None:
        return "5 min, its maker gives none"
    return system.show(seconds, "short_time") if seconds > 0.0 else "none"


def _opening_order(system: System) -> list[str]:
    """From the motor back to the sources, batteries last; the other way round to start again."""
    order = [device.tag for device in shut_down_order(system)]
    if not order:
        return []
    return [f"Here: open {', then '.join(order)}. To start again close {', then '.join(reversed(order))}."]


def shut_down_order(system: System) -> tuple[Device, ...]:
    """Load-break devices in the order in which they are opened.

    First what feeds motors alone, then what parts arrays, then what parts batteries, so that no charger is
    left on its array without its battery; among alike the farthest from the source first.
    """
    steps = steps_from_sources(system)
    found = []
    for device in system.of_kind(*BY_HAND):
        pairs = {pair for pole in system.poles_of(device) for pair in feeds(system, pole)}
        if not device.part.load_break or not pairs:
            continue
        kinds = {pair.source.kind for pair in pairs} | {pair.load.device.kind for pair in pairs}
        rank = 2 if "battery" in kinds else 1 if "array" in kinds else 0
        far = max(steps.get(pole.b, 0) + steps.get(pole.a, 0) for pole in system.poles_of(device))
        found.append((rank, -far, device))
    return tuple(device for _, _, device in sorted(found, key=lambda each: each[:2]))


# What a caution may ask to be worked out for the job.
FIGURES: Mapping[str, Callable[[System], list[str]]] = MappingProxyType(
    {"chlorine dose": _doses, "opening order": _opening_order, "wait times": _waits}
)
