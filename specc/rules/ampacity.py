"""Rules on what a conductor may carry: array circuits, converter outputs, motors, terminals."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.model import Conductor
from specc.system.system import System


def _in_circuit(circuit: str, system: System) -> Iterator[Conductor]:
    electrical = system.electrical
    for conductor in system.conductors:
        branch = electrical.branch(conductor)
        if branch is not None and electrical.circuit(branch) == circuit:
            yield conductor


def _pv_conductors(system: System) -> Iterator[Conductor]:
    return _in_circuit("pv", system)


def _pv_circuit(system: System, conductor: Conductor) -> Answer:
    electrical, book = system.electrical, system.book
    branch = electrical.branch(conductor)
    assert branch is not None
    maximum = electrical.maximum_current(electrical.arrays_through(branch))
    at_terminals = electrical.terminal_ampacity(conductor)
    corrected = electrical.corrected_ampacity(conductor)
    sized = book.factor("pv_conductor").value * maximum.value
    carried = book.factor("pv_conductor_corrected").value * maximum.value
    show = system.show
    path = conductor.run.path + ("size",)
    required = f"{show(sized, 'current')} at the terminals, {show(carried, 'current')} corrected"
    actual = f"{show(at_terminals.value, 'current')} at the terminals, {show(corrected.value, 'current')} corrected"
    numbers = (maximum, at_terminals, corrected)
    if at_terminals.value < sized or corrected.value < carried:
        return violated(
            conductor.tag,
            path,
            f"{conductor.tag} ({conductor.size}) carries {actual}; the array can drive "
            f"{show(maximum.value, 'current')}, which asks for {required}.",
            required=required,
            actual=actual,
            fix="Take the next larger size, or terminals marked for a higher temperature at both ends.",
            calculations=numbers,
        )
    return satisfied(
        conductor.tag, path, f"{conductor.tag} carries the array's current.", required=required, actual=actual, calculations=numbers
    )


PV_CIRCUIT = Rule(
    id="ampacity.pv-circuit",
    severity=Severity.DANGER,
    title="Conductor too small for what the array can drive",
    checks="Table ampacity at the terminal column >= factor · Imax, and ampacity after correction >= Imax, "
    "with Imax = 1.25 · ΣIsc of the arrays whose current passes. The factors are the rulebook's.",
    why="An array drives more than its label at the edge of a cloud or over snow, for hours, and no fuse opens at it.",
    clauses={
        "us-2023": "690.8(A), (B); Table 310.16; 110.14(C)",
        "iec": "60364-7-712 712.433, Annex B; 60364-5-52 Annex B",
    },
    look=_pv_conductors,
    examine=_pv_circuit,
    fires=(Case("14 AWG in the array run: 15 A at 60 °C terminals, 18.75 A wanted", {"runs.R1.size": "14 AWG"}),),
    keeps_still=(Case("12 AWG in the array run: 20 A", {"runs.R1.size": "12 AWG"}),),
)

RULES = (PV_CIRCUIT,)
