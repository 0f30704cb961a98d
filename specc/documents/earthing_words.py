"""How the DC system is earthed, in words for labels, drawings and sheets."""

from __future__ import annotations

from specc.system.bonding import Reference
from specc.system.earthing import bonds, polarity
from specc.system.missing import MissingDatum
from specc.system.system import System


def system_earthing(system: System) -> str:
    """What the job says, and for a functional earth which conductor and through what."""
    said = str(system.job.earthing)
    joints = [
        f"{polarity(system, bond.net) or 'conductor'} through {bond.tag}, {joint_words(system, bond.through)}"
        for bond in bonds(system)
        if bond.functional and bond.through is not None
    ]
    return f"{said}: {', '.join(joints)}" if system.functional and joints else said


def joint_words(system: System, through: Reference) -> str:
    """What a functional joint with earth passes through: "1 A fuse", "5 kohm resistor", "detector"."""
    value, dimension = {
        "fuse": (through.rating_a, "current"),
        "breaker": (through.rating_a, "current"),
        "resistor": (through.resistance_ohm, "resistance"),
    }.get(through.through, (None, ""))
    return through.through if value is None else f"{system.show(value, dimension, 3)} {through.through}"


def volts_to_earth(system: System) -> float | None:
    """The highest voltage between any conductor and earth once the joint has opened [V]; None unknown."""
    try:
        found = [system.electrical.highest_voltage(source).value for source in system.walked.sources]
    except (MissingDatum, LookupError):
        return None
    return max(found, default=None)
