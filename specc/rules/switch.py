"""Rules on what a switch is by its making."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.model import Device
from specc.system.system import System


def _fixed_by_making(system: System) -> Iterator[Device]:
    """Switches whose contact closes on rise or on fall however they are hung."""
    return (device for device in system.of_kind("switch") if device.part.closes_on is not None)


def _closes_on(system: System, switch: Device) -> Answer:
    made, said = switch.part.closes_on, switch.spec.closes_on
    path = switch.path + ("closes_on",)
    required, actual = f"closes on {made}", f"closes on {said}"
    if made != said:
        return violated(
            switch.tag,
            path,
            f'{switch.tag} is said to close on {said}; its part "{switch.part.id}" closes on {made} by its '
            "making.",
            required=required,
            actual=actual,
            fix=f'Write closes_on = "{made}" and check that it then stops the pump, or take a part that '
            f"closes on {said}.",
            related=(switch.path + ("part",),),
        )
    return satisfied(
        switch.tag, path, f"{switch.tag} closes on {said}, as it is made.", required=required, actual=actual
    )


CLOSES_ON = Rule(
    id="switch.closes-on-contradicted",
    severity=Severity.ERROR,
    title="Switch said to close the other way than it is made",
    checks="Where the catalogue fixes whether a contact closes on rise or on fall, the job says the same.",
    why="Every check of what the switch does to the pump rests on this word: wired as drawn, it would do "
    "the opposite.",
    clauses={"us-2023": "110.3(B)", "iec": "60947-5-1; maker's instructions"},
    sees_not="Switches whose hanging decides, such as a float that can be turned.",
    look=_fixed_by_making,
    examine=_closes_on,
    fires=(
        Case(
            "float made to close on rise, said to close on fall",
            {"part:float-r.closes_on": "rise"},
            subject="LS1",
        ),
        Case(
            "thermal switch made to open on rise, said to close on it",
            {"part:thermal-r.closes_on": "fall", "switches.TS1.closes_on": "rise"},
            subject="TS1",
        ),
    ),
    keeps_still=(Case("thermal switch that closes on fall, said so", {"part:thermal-r.closes_on": "fall"}),),
)

RULES = (CLOSES_ON,)
