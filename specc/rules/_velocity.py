"""How fast water may run in a pipe: one question, asked of suction and delivery alike."""

from __future__ import annotations

import math
from collections.abc import Iterable

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, satisfied, violated
from specc.system.model import Device, Pipe
from specc.system.system import System

CHECKS = (
    "v = 4 · Q / (π · d²) <= 1.5 m/s, at the flow where pump and pipe meet, other pumps on the line counted."
)


def examine_velocity(system: System, pipe: Pipe, pumps: Iterable[Device], why: str) -> Answer:
    """Advice where the water in a pipe runs faster than practice has it. ``why`` ends the sentence."""
    water, show = system.water, system.show
    pump = max(pumps, key=lambda pump: water.flow_through_m3_s(pipe, pump))
    flow = water.flow_through_m3_s(pipe, pump)
    limit = system.handbook.threshold("velocity_advice_m_s")
    velocity = Calculation(
        "velocity of the water",
        pipe.tag,
        "v",
        water.velocity_m_s(pipe, flow),
        "velocity",
        "4 · Q / (π · d²)",
        (
            Input("Q", flow, "flow", f"{pump.tag}, where pump curve and pipe meet at the rated voltage"),
            Input("d", pipe.part.bore, "short_length", f"{pipe.tag}, catalogue part {pipe.part.id}"),
        ),
        "continuity",
    )
    required, actual = f"at most {show(limit.value, 'velocity')}", show(velocity.value, "velocity", 3)
    path = (*pipe.path, "part")
    if keeps_to(velocity.value, limit.value):
        message = f"The water in {pipe.tag} runs at {actual}."
        return satisfied(pipe.tag, path, message, required=required, actual=actual, calculations=(velocity,))
    wide = 2.0 * math.sqrt(flow / (math.pi * limit.value))
    return violated(
        pipe.tag,
        path,
        f"The water in {pipe.tag} runs at {actual}; above {show(limit.value, 'velocity')} {why}.",
        required=required,
        actual=actual,
        fix=f"Take pipe of {show(wide, 'short_length', 3)} bore or more.",
        severity=Severity.ADVICE,
        calculations=(velocity,),
    )
