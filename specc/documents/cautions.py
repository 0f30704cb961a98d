"""The cautions that a job's packet prints: all of them, less those whose hazard the job rules out."""

from __future__ import annotations

from specc.documents.packet import CautionTexts, read_caution_texts
from specc.resources import templates_dir
from specc.system.system import System


def cautions_for(system: System) -> CautionTexts:
    """The caution texts of the house, without those that this job cannot need."""
    texts = read_caution_texts((templates_dir() / "packet" / "cautions.toml").read_text(encoding="utf-8"))
    kinds = {device.kind for device in system.devices.values()}
    sources = {device.spec.kind for device in system.devices.values() if device.table == "source"}
    places = system.connected.places.locations.values()
    mounted = {device.spec.mounted for device in system.devices.values() if device.kind == "panel"}
    ruled_out = set()
    if "battery" not in kinds:
        ruled_out.add("battery")
    if "controller" not in kinds:
        ruled_out.add("controller")
    if sources and sources <= {"pond", "stream"}:
        ruled_out.add("well")
    if mounted and mounted <= {"ground", "pole"} and not any(place.on_building for place in places):
        ruled_out.add("building array")
    if system.job.use in ("irrigation", "stock"):
        ruled_out.add("potable")
    return texts.without(ruled_out)
