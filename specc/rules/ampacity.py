"""Rules on what a conductor may carry: array circuits, converter outputs, motors, terminals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rulebooks import NotInTable
from specc.rules._edits import METRIC, PV_DIRECT
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.guarding import carrying, feeds
from specc.system.model import Conductor
from specc.system.system import System
from specc.system.walk import Branch


def _branch(system: System, conductor: Conductor) -> Branch:
    branch = system.electrical.branch(conductor)
    assert branch is not None  # a rule looks only at live conductors
    return branch


def _live(system: System, passes: Callable[[Branch], object]) -> Iterator[Conductor]:
    """Conductors through which something of the kind passes."""
    for conductor in system.conductors:
        branch = system.electrical.branch(conductor)
        if branch is not None and passes(branch):
            yield conductor


def _larger(system: System, conductor: Conductor, serves: Callable[[Conductor], bool]) -> str:
    """What to do: the next size that serves, where the rulebook has one."""
    book = system.book
    for size in book.sizes()[book.size_index(conductor.size) + 1 :]:
        try:
            if serves(replace(conductor, size=size)):
                return f"Take {size} for {conductor.tag}"
        except NotInTable:
            continue
    return f"No size of the rulebook serves for {conductor.tag}: divide the current among more circuits"


# -- array circuits --------------------------------------------------------------------------------


def _pv_conductors(system: System) -> Iterator[Conductor]:
    return _live(system, lambda branch: system.electrical.circuit(branch) == "pv")


def _pv_circuit(system: System, conductor: Conductor) -> Answer:
    electrical, book, show = system.electrical, system.book, system.show
    maximum = electrical.maximum_current(electrical.arrays_through(_branch(system, conductor)))
    at_terminals = electrical.terminal_ampacity(conductor)
    corrected = electrical.corrected_ampacity(conductor)
    sized = book.factor("pv_conductor").value * maximum.value
    carried = book.factor("pv_conductor_corrected").value * maximum.value
    path = conductor.run.path + ("size",)
    required = f"{show(sized, 'current')} at the terminals, {show(carried, 'current')} corrected"
    actual = (
        f"{show(at_terminals.value, 'current')} at the terminals, {show(corrected.value, 'current')} "
        "corrected"
    )
    numbers = (maximum, at_terminals, corrected)

    def serves(other: Conductor) -> bool:
        return reaches(electrical.terminal_ampacity(other).value, sized) and reaches(
            electrical.corrected_ampacity(other).value, carried
        )

    if not serves(conductor):
        return violated(
            conductor.tag,
            path,
            f"{conductor.tag} ({conductor.size}) carries {actual}; the array can drive "
            f"{show(maximum.value, 'current')}, which asks for {required}.",
            required=required,
            actual=actual,
            fix=_larger(system, conductor, serves)
            + ", or terminals marked for a higher temperature at both ends.",
            calculations=numbers,
        )
    return satisfied(
        conductor.tag,
        path,
        f"{conductor.tag} carries the array's current.",
        required=required,
        actual=actual,
        calculations=numbers,
    )


PV_CIRCUIT = Rule(
    id="ampacity.pv-circuit",
    severity=Severity.DANGER,
    title="Conductor too small for what the array can drive",
    checks="Table ampacity at the terminal column >= factor · Imax, and ampacity after correction >= Imax, "
    "with Imax = 1.25 · ΣIsc of the arrays whose current passes. The factors are the rulebook's.",
    why="An array drives more than its label at the edge of a cloud or over snow, for hours, and no fuse "
    "opens at it.",
    clauses={
        "us-2023": "690.8(A), (B); Table 310.16; 110.14(C)",
        "iec": "60364-7-712 712.433, Annex B; 60364-5-52 Annex B",
    },
    look=_pv_conductors,
    examine=_pv_circuit,
    fires=(
        Case("14 AWG in the array run: 15 A at 60 °C terminals, 18.75 A wanted", {"runs.R1.size": "14 AWG"}),
        Case(
            "1.5 mm² with three strings: 17.5 A at the terminals, 22.5 A wanted",
            {**METRIC, "runs.R1.size": "1.5 mm2", "panels.PV1.parallel": 3},
            subject="R1.1",
        ),
    ),
    keeps_still=(
        Case("12 AWG in the array run: 20 A", {"runs.R1.size": "12 AWG"}),
        Case(
            "1.5 mm² by the metric book: 17.5 A for 15 A, counted once", {**METRIC, "runs.R1.size": "1.5 mm2"}
        ),
    ),
)


# -- heat and company ------------------------------------------------------------------------------


def _loaded_conductors(system: System) -> Iterator[Conductor]:
    return _live(system, lambda branch: system.electrical.circuit(branch) not in ("control", "idle"))


def _held(system: System, conductor: Conductor, load: Calculation) -> Calculation:
    """The rating of the smallest device in series with a branch off a battery, where it lets less through.

    A charge controller that feeds beside the battery gives its all to the battery, and no more to such a
    branch than the device lets pass; what is laid between battery and controller is no such branch.
    """
    pairs = feeds(system, conductor)
    if not any(p.source.kind == "battery" for p in pairs) or any(
        p.load.device.kind == "battery" for p in pairs
    ):
        return load
    in_series = [
        pole
        for pole in carrying(system, pairs)
        if (branch := system.walked.branch(pole)) is not None and branch.sole
    ]
    device = min((pole.device for pole in in_series), key=lambda d: float(d.part.rating), default=None)
    if device is None or float(device.part.rating) >= load.value:
        return load
    rating = Input(
        "In", float(device.part.rating), "current", f"{device.tag}, catalogue part {device.part.id}"
    )
    return Calculation(
        f"rating of {device.tag}, in series",
        conductor.tag,
        "In",
        rating.value,
        "current",
        "In, less than what the sources could give",
        (rating,),
        load.source,
    )


def _corrected(system: System, conductor: Conductor) -> Answer | None:
    electrical, show = system.electrical, system.show
    load = electrical.continuous_current(conductor)
    if load is None:
        return None
    load = _held(system, conductor, load)
    corrected = electrical.corrected_ampacity(conductor)
    ambient, count = corrected.inputs[1].value, corrected.inputs[3].value
    path = conductor.run.path + ("size",)
    told = (
        f"{conductor.tag} ({conductor.size}, {electrical.insulation_c(conductor)} °C insulation, "
        f"{count:g} loaded conductors together, {show(ambient, 'temperature')} around it) carries "
        f"{show(corrected.value, 'current')}; {show(load.value, 'current')} can flow."
    )
    required, actual = show(load.value, "current"), show(corrected.value, "current")

    def serves(other: Conductor) -> bool:
        return reaches(electrical.corrected_ampacity(other).value, load.value)

    if not serves(conductor):
        return violated(
            conductor.tag,
            path,
            told,
            required=required,
            actual=actual,
            fix=_larger(system, conductor, serves)
            + (
                ", or shade, raise or divide the raceway."
                if conductor.run.raceway
                else f", or lay fewer conductors together: divide {conductor.run.tag} into several runs."
            ),
            related=(conductor.run.raceway.path,) if conductor.run.raceway else (),
            calculations=(load, corrected),
        )
    return satisfied(
        conductor.tag, path, told, required=required, actual=actual, calculations=(load, corrected)
    )


# 38 °C air + 33 K on a sunlit roof, array and motor pairs in one raceway.
_ON_ROOF = {"raceways.C1.buried": None, "raceways.C1.on_roof": True, "runs.R3.raceway": "C1"}

CORRECTED = Rule(
    id="ampacity.corrected",
    severity=Severity.DANGER,
    title="Conductor too small for its heat and its company",
    checks="Iz = Itable(insulation column) · f(ambient) · f(number of current-carrying conductors together) "
    ">= the "
    "largest current that flows for hours: Imax of arrays, rated output of controllers, load current from "
    "batteries. "
    "A raceway on a sunlit roof counts hotter by the rulebook's allowance.",
    why="Conductors packed together in a hot raceway cannot shed their heat; the insulation cooks and "
    "cracks.",
    clauses={
        "us-2023": "310.15(B)(1), (B)(2), (C)(1)",
        "iec": "60364-5-52 Tables B.52.14, B.52.15, B.52.17",
    },
    look=_loaded_conductors,
    examine=_corrected,
    fires=(
        Case(
            "12 AWG, four conductors on a sunny roof, 71 °C: 30 · 0.50 · 0.80 = 12.0 A, 15.0 A wanted",
            {**_ON_ROOF, "runs.R1.size": "12 AWG"},
            subject="R1.1",
        ),
        Case(
            "2.5 mm², four conductors, air at 60 °C: 31 · 0.71 · 0.80 = 17.6 A, three strings give 22.5 A",
            {
                **METRIC,
                "runs.R1.size": "2.5 mm2",
                "runs.R1.hottest": "60 degC",
                "raceways.C1.buried": None,
                "runs.R3.raceway": "C1",
                "panels.PV1.parallel": 3,
            },
            subject="R1.1",
        ),
    ),
    keeps_still=(
        Case("10 AWG at the same place: 40 · 0.50 · 0.80 = 16.0 A", {**_ON_ROOF, "runs.R1.size": "10 AWG"}),
        Case("the metric job as it stands", METRIC),
    ),
    sees_not="Heat of a neighbouring boiler or of an enclosure, unless `hottest` of the run says so.",
)


# -- converter outputs -----------------------------------------------------------------------------


def _converter_conductors(system: System) -> Iterator[Conductor]:
    return _live(system, system.electrical.converters_through)


def _booster_output(system: System, conductor: Conductor) -> Answer:
    electrical, show = system.electrical, system.show
    sources = electrical.converters_through(_branch(system, conductor))
    factor = system.book.factor("converter_output_conductor")
    outputs = tuple(dict.fromkeys(i for s in sources for i in electrical.given_current(s)))
    wanted = Calculation(
        "conductor for a controller's output",
        conductor.tag,
        "I",
        factor.value * sum(i.value for i in outputs),
        "current",
        f"{factor.value:g} · ΣIout",
        outputs,
        factor.source,
    )
    tags = ", ".join(dict.fromkeys(s.tag for s in sources))
    held = _held(system, conductor, wanted)
    return _by_table(
        system,
        conductor,
        held,
        f"{tags} can give {show(wanted.value / factor.value, 'current')} for hours"
        if held is wanted
        else f"a device in series lets {show(held.value, 'current')} pass for hours",
        ", or a controller with a lower output limit.",
    )


def _by_table(
    system: System,
    conductor: Conductor,
    wanted: Calculation,
    cause: str,
    or_else: str,
    *,
    as_laid: bool = False,
) -> Answer:
    """Compares what is wanted with the ampacity at the terminals, and with that as laid where it says so."""
    electrical, show = system.electrical, system.show

    def limits(of: Conductor) -> tuple[Calculation, ...]:
        at_terminals = electrical.terminal_ampacity(of)
        return (at_terminals, electrical.corrected_ampacity(of)) if as_laid else (at_terminals,)

    def serves(other: Conductor) -> bool:
        return all(reaches(limit.value, wanted.value) for limit in limits(other))

    found = limits(conductor)
    lowest = min(found, key=lambda limit: limit.value)
    path = conductor.run.path + ("size",)
    required, actual = show(wanted.value, "current"), show(lowest.value, "current")
    told = (
        f"{conductor.tag} ({conductor.size}) has {actual} of {lowest.what}; {cause}, which asks for "
        f"{required}."
    )
    if not serves(conductor):
        return violated(
            conductor.tag,
            path,
            told,
            required=required,
            actual=actual,
            fix=_larger(system, conductor, serves) + or_else,
            calculations=(wanted, *found),
        )
    return satisfied(
        conductor.tag, path, told, required=required, actual=actual, calculations=(wanted, *found)
    )


_BIG_BOOSTER = {
    "panels.PV1.parallel": 1,
    "part:booster-r.output_current": "20 A",
    "part:booster-r.nominal_output": "12 V",
    "part:booster-r.max_output_voltage": "14 V",
    "part:pump-r.nominal_voltage": "12 V",
}

# A charge controller of 30 A and a battery feed a bus, from which the motor hangs behind F1 (15 A).
_CHARGED_BUS: Mapping[str, Any] = {
    "controllers.CB1": {"part": "charge-controller-24v-30a"},
    "batteries.BT1": {"part": "battery-r", "series": 2, "location": "pump house"},
    "fuses.F2": {"part": "fuse-battery-30a"},
    "terminal_blocks.TB1": {"part": "bus-bar-4-100a"},
    "terminal_blocks.TB2": {"part": "bus-bar-4-100a"},
    "runs.R4": None,
    "runs.R2.conductors": [
        {"from": "Q1.2", "to": "CB1.pv+", "color": "red"},
        {"from": "CB1.battery+", "to": "TB1.1", "color": "red", "size": "6 AWG"},
        {"from": "BT1.+", "to": "F2.1", "color": "red", "size": "6 AWG"},
        {"from": "F2.2", "to": "TB1.2", "color": "red", "size": "6 AWG"},
        {"from": "CB1.battery-", "to": "TB2.1", "color": "white", "size": "6 AWG"},
        {"from": "BT1.-", "to": "TB2.2", "color": "white", "size": "6 AWG"},
        {"from": "TB1.3", "to": "F1.1", "color": "red"},
        {"from": "F1.2", "to": "DS1.1", "color": "red"},
    ],
    "runs.R3.conductors[1].from": "TB2.3",
}
_PAST_THE_FUSE = {"runs.R2.conductors[7]": {"from": "TB1.3", "to": "DS1.1", "color": "red"}}

BOOSTER_OUTPUT = Rule(
    id="ampacity.booster-output",
    severity=Severity.DANGER,
    title="Conductor too small for what a controller can put out",
    checks="Table ampacity at the terminal column >= factor · Iout, with Iout the continuous output rating "
    "of every "
    "controller whose output passes. Where an output only switches a battery (a low-voltage disconnect, the "
    "load terminals of a charge controller) it limits nothing: Iout is what its loads draw, and "
    "fuse.too-big looks at the fuse ahead of it. In a branch off the battery that a charge controller feeds, "
    "no more than the rating of a fuse or breaker in series. The array's short-circuit current says nothing "
    "here.",
    why="A booster trades volts for amps: behind it flows more than the array ever gives, and no fuse ahead "
    "of it sees it.",
    clauses={"us-2023": "690.8(A), (B); 430.22", "iec": "62548-1; 60364-7-712 Annex B; 60364-4-43 433.1"},
    look=_converter_conductors,
    examine=_booster_output,
    fires=(
        Case(
            "one string (6 A), 12 V motor, booster with 20 A out, 14 AWG: 15 A, 25 A wanted",
            {**_BIG_BOOSTER, "runs.R3.size": "14 AWG"},
            subject="R3.1",
        ),
        Case(
            "the same by the metric book, 1.5 mm²: 17.5 A, 25 A wanted",
            {**METRIC, **_BIG_BOOSTER, "runs.R3.size": "1.5 mm2"},
            subject="R3.1",
        ),
        Case(
            "a branch off a battery that a controller charges with 30 A, past its fuse",
            {**_CHARGED_BUS, **_PAST_THE_FUSE},
            subject="R3.1",
        ),
        Case(
            "the controller's own way to the battery, whatever fuse stands in it",
            {**_CHARGED_BUS, "runs.R2.conductors[1].size": "10 AWG"},
            subject="R2.2",
        ),
    ),
    keeps_still=(
        Case("a branch off that battery behind its fuse of 15 A, 10 AWG", _CHARGED_BUS),
        Case("10 AWG: 30 A", {**_BIG_BOOSTER, "runs.R3.size": "10 AWG"}),
        Case("booster output above the array's short-circuit current", {"panels.PV1.parallel": 1}),
    ),
)


# -- motors ----------------------------------------------------------------------------------------


def _motor_conductors(system: System) -> Iterator[Conductor]:
    return _live(system, system.electrical.motors_through)


def _motor_circuit(system: System, conductor: Conductor) -> Answer:
    electrical, book, show = system.electrical, system.book, system.show
    motors = electrical.motors_through(_branch(system, conductor))
    factor = book.factor("motor_conductor")
    labels = tuple(
        Input(f"Im {m.tag}", electrical.motor_current_a(m), "current", f"{m.tag}, catalogue part {m.part.id}")
        for m in motors
    )
    currents = [i.value for i in labels]
    wanted = Calculation(
        "conductor for motors",
        conductor.tag,
        "I",
        factor.value * max(currents) + sum(currents) - max(currents),
        "current",
        f"{factor.value:g} · Im"
        if len(motors) == 1
        else f"{factor.value:g} · largest Im + ΣIm of the others",
        labels,
        factor.source,
    )
    tags = ", ".join(m.tag for m in motors)
    return _by_table(
        system,
        conductor,
        wanted,
        f"the label of {tags} says {show(sum(currents), 'current')}",
        ", or terminals marked for a higher temperature at both ends.",
        as_laid=True,
    )


MOTOR_CIRCUIT = Rule(
    id="ampacity.motor-circuit",
    severity=Severity.DANGER,
    title="Conductor too small for its motor",
    checks="Table ampacity at the terminal column, and ampacity after correction, >= factor · Im of the "
    "label; with "
    "several motors on one conductor, factor · the largest + the others. Behind a controller "
    "`ampacity.booster-output` may ask for more.",
    why="A motor takes more than its label when the filter clogs or the volts sag; the conductor has to "
    "outlast its overload device.",
    clauses={"us-2023": "430.22; 430.24; 430.6", "iec": "60364-5-52 523; 60364-4-43 433.1"},
    look=_motor_conductors,
    examine=_motor_circuit,
    fires=(
        Case(
            "motor of 13 A driven by the array, 14 AWG: 15 A, 16.25 A wanted",
            {**PV_DIRECT, "part:pump-r.rated_current": "13 A", "runs.R3.size": "14 AWG"},
            subject="R3.1",
        ),
        Case(
            "motor of 15 A by the metric book, 1.5 mm²: 17.5 A, 18.75 A wanted",
            {**METRIC, "part:pump-r.rated_current": "15 A", "runs.R3.size": "1.5 mm2"},
            subject="R3.1",
        ),
    ),
    keeps_still=(
        Case(
            "motor of 12 A, 14 AWG: 15.0 A for 15.0 A",
            {**PV_DIRECT, "part:pump-r.rated_current": "12 A", "runs.R3.size": "14 AWG"},
        ),
        Case("the reference motor, 8 A on 10 AWG"),
    ),
    sees_not="Motors above 100 V, whose currents the rulebook tables print.",
)


# -- terminals -------------------------------------------------------------------------------------


def _terminal_temperature(system: System, conductor: Conductor) -> Answer | None:
    electrical, show = system.electrical, system.show
    load = electrical.continuous_current(conductor)
    if load is None:
        return None
    at_terminals = electrical.terminal_ampacity(conductor)
    coolest = electrical.terminal_temperature_k(conductor)
    path = conductor.run.path + ("size",)
    required, actual = show(load.value, "current"), show(at_terminals.value, "current")
    told = (
        f"{conductor.tag} ({conductor.size}) ends on {_coolest_end(system, conductor)}, good for "
        f"{show(coolest, 'temperature')}, which allows {actual}; {required} can flow."
    )

    def serves(other: Conductor) -> bool:
        return reaches(electrical.terminal_ampacity(other).value, load.value)

    if not serves(conductor):
        return violated(
            conductor.tag,
            path,
            told,
            required=required,
            actual=actual,
            fix=_larger(system, conductor, serves)
            + ", or terminals marked for a higher temperature at both ends.",
            related=(conductor.path,),
            calculations=(load, at_terminals),
        )
    return satisfied(
        conductor.tag, path, told, required=required, actual=actual, calculations=(load, at_terminals)
    )


def _coolest_end(system: System, conductor: Conductor) -> str:
    """The end, or both, whose mark is the lower; an unmarked terminal counts before a marked one."""

    def mark(end: str) -> float:
        wire = system.terminal(end).wire
        return float(getattr(wire, "temperature", None) or 0.0)

    start, end = mark(conductor.start), mark(conductor.end)
    if start == end:
        return f"{conductor.start} and {conductor.end}"
    return conductor.start if start < end else conductor.end


# Six strings: Imax = 1.25 · 36 A = 45 A.
_SIX_STRINGS = {"panels.PV1.parallel": 6, "runs.R1.size": "8 AWG", "runs.R2.size": "8 AWG"}
_75_C = {
    "part:panel-r.wire.temperature": "75 degC",
    "part:breaker-r.wire.temperature": "75 degC",
    "part:booster-r.wire.temperature": "75 degC",
}

_60_C = dict.fromkeys(_75_C, "60 degC")

TERMINAL_TEMPERATURE = Rule(
    id="ampacity.terminal-temperature",
    severity=Severity.ERROR,
    title="More current than the coolest terminal of a conductor allows",
    checks="The largest current that flows for hours <= table ampacity in the column of the "
    "lowest-temperature terminal "
    "(either end) or of the insulation, whichever is lower. The 90 °C column serves for correction only. "
    "IEC, terminals below the coolest column: that column · √((Tterminal - 30 °C) / (Tcolumn - 30 °C)).",
    why="A screw terminal takes heat from its wire: good insulation on a 60 °C terminal only brings the heat "
    "to the terminal.",
    clauses={"us-2023": "110.14(C)(1)", "iec": "60364-5-52 523.1 note; the device's standard"},
    look=_loaded_conductors,
    examine=_terminal_temperature,
    fires=(
        Case(
            "8 AWG loaded with 45 A, one 60 °C terminal: 40 A",
            {**_SIX_STRINGS, **_75_C, "part:panel-r.wire.temperature": "60 degC"},
            subject="R1.1",
        ),
        Case(
            "4 mm² loaded with 30 A, 60 °C terminals by the metric book: 32 A · √(30 / 40) = 27.7 A",
            {**METRIC, **_60_C, "panels.PV1.parallel": 4, "runs.R1.size": "4 mm2"},
            subject="R1.1",
        ),
        Case(
            "4 mm² loaded with 37.5 A, 70 °C terminals: 32 A",
            {**METRIC, "panels.PV1.parallel": 5, "runs.R1.size": "4 mm2"},
            subject="R1.1",
        ),
    ),
    keeps_still=(
        Case("8 AWG loaded with 45 A, all terminals marked 75 °C: 50 A", {**_SIX_STRINGS, **_75_C}),
        Case("the metric job as it stands", METRIC),
        Case(
            "4 mm² loaded with 22.5 A, 60 °C terminals by the metric book: 27.7 A",
            {**METRIC, **_60_C, "panels.PV1.parallel": 3, "runs.R1.size": "4 mm2"},
        ),
    ),
    sees_not="Air at the terminals hotter than the table's base (the device's standard allows for it). "
    "Splices that the spec does not list as terminal blocks.",
)

RULES = (PV_CIRCUIT, CORRECTED, BOOSTER_OUTPUT, MOTOR_CIRCUIT, TERMINAL_TEMPERATURE)
