"""Which symbol stands for a device: by the kind and type of its part, never by its name, tag or place."""

from __future__ import annotations

from typing import Any

from specc.documents.drafting.symbols import read_symbols
from specc.system.model import Device

OTHER = "equipment"  # of what has no symbol of its own: its caption names it

_KINDS = {
    "panel": "pv-array",
    "battery": "battery",
    "breaker": "circuit-breaker",
    "fuse": "fuse",
    "pump": "dc-motor-pump",
    "filter": "filter",
    "tank": "tank",
    "enclosure": "bus-bar",  # it is drawn where its ground bar is wired
}
_CONTROLLERS = {
    "current booster": "dc-dc-converter",
    "charge controller": "charge-controller",
    "low-voltage disconnect": "low-voltage-disconnect",
}
_ISOLATORS = {"plug connector": "plug-connector", "toggle switch": "switch"}
_SENSORS = {"level": "float-switch", "temperature": "temperature-switch", "pressure": "pressure-switch"}
_VALVES = {
    "ball valve": "ball-valve",
    "gate valve": "gate-valve",
    "check valve": "check-valve",
    "relief valve": "relief-valve",
    "priming tee": "priming-tee",
    "air valve": "air-valve",
    "drain cock": "drain-cock",
    "float valve": "float-valve",
}
_GAUGES = {
    "pressure": "pressure-gauge",
    "vacuum": "vacuum-gauge",
    "flow": "water-meter",
    "voltage": "voltmeter",
    "current": "ammeter",
}
_SOURCES = {
    "dug well": "well",
    "bored well": "well",
    "spring box": "spring-box",
    "pond": "pond",
    "stream": "stream",
    "cistern": "cistern",
}
_GROUNDING = {
    "rod": "ground-rod",
    "clamp": "bonding-clamp",
    "system bond": "system-bond",
    "bonding bar": "bus-bar",
    "surge device": "surge-device",
}
_FITTINGS = {"ball valve": "ball-valve", "globe valve": "globe-valve", "angle valve": "angle-valve"}
_FITTINGS |= {"gate valve": "gate-valve"}


def symbol_name(device: Device) -> str:
    """The symbol of a device."""
    if device.table == "source":
        return _SOURCES.get(device.spec.kind, OTHER)
    return "tank" if device.table == "tank" else symbol_of_part(device.part)


def symbol_words(device: Device) -> str:
    """What the legend calls a device."""
    return read_symbols()[symbol_name(device)].words


def symbol_of_part(part: Any) -> str:
    """The symbol of whatever is made with this catalogue part."""
    match getattr(part, "kind", ""):
        case "controller":
            return _CONTROLLERS.get(part.type, OTHER)
        case "isolator":
            return _ISOLATORS.get(part.type, "isolator" if part.load_break else "disconnector")
        case "switch":
            return _SENSORS.get(part.senses, OTHER)
        case "valve":
            return _VALVES.get(part.type, OTHER)
        case "gauge":
            return _GAUGES.get(part.measures, OTHER)
        case "terminal_block":
            names = {terminal.name for terminal in part.terminals}
            return "bus-bar" if any(names == set(group) for group in part.joined) else "terminal-block"
        case "grounding" if part.functional_earth is not None:
            contact = "-contact" if part.poles else ""
            return f"functional-earth-{part.functional_earth.through}{contact}"
        case "grounding":
            return _GROUNDING.get(part.type, OTHER)
        case kind:
            return _KINDS.get(kind, OTHER)


def symbol_of_fitting(name: str) -> str | None:
    """The symbol of a pipe's fitting that is a valve; None for any other."""
    if "foot valve" in name:
        return "foot-valve"
    if "check" in name:
        return "check-valve"
    return _FITTINGS.get(name)
