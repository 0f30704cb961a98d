"""What a conductor is in its circuit: positive, negative, grounding, control; never from its colour."""

from __future__ import annotations

from dataclasses import dataclass

from specc.system.bonding import leads
from specc.system.connect import Connected
from specc.system.model import Conductor, Device
from specc.system.walk import Walk


@dataclass(frozen=True)
class Role:
    """What a conductor does.

    ``kind``: "array", "battery", "output", "control", "equipment ground", "electrode", "system bond",
    "functional earth" or "idle"; ``pole``: "+", "-", "link" (between sources in series) or "".
    """

    kind: str
    pole: str = ""

    @property
    def words(self) -> str:
        """The role as the schedule prints it."""
        return f"{self.kind} {self.pole}".strip()


def role_of(connected: Connected, walked: Walk, conductor: Conductor) -> Role:
    """The role of a conductor with the system ready to run."""
    joint = leads(walked).get(conductor.tag)
    if joint is not None and joint.functional:
        return Role("functional earth")
    if conductor in walked.bonds:
        return Role("system bond")
    if conductor.tag in walked.ground_conductors:
        rod = any(d.kind == "grounding" and d.part.type == "rod" for d in _devices(connected, conductor))
        return Role("electrode" if rod else "equipment ground")
    branch = walked.branch(conductor)
    if branch is None:
        return Role("idle")
    net = branch.net
    if any(d.kind == "grounding" and d.part.type == "system bond" for d in _devices(connected, conductor)):
        return Role("system bond")
    sources = [pair.source for pair in walked.crossings(branch)] or [
        *walked.sources_on(branch, "start"),
        *walked.sources_on(branch, "end"),
    ]
    if not sources:
        control = any(connected.terminals[t].role == "control" for t in walked.members.get(net, ()))
        return Role("control" if control else "idle")
    source = sources[0]
    kind = {"array": "array", "battery": "battery", "converter": "output"}[source.kind]
    if any(net in s.links for s in sources):
        return Role(kind, "link")
    return Role(kind, "+" if net == source.plus else "-")


def _devices(connected: Connected, conductor: Conductor) -> list[Device]:
    return [connected.terminals[end].device for end in (conductor.start, conductor.end)]
