"""The commissioning sheet put together: which tests apply, in order, and the sheet as a plain table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any

from specc import units
from specc.documents.commissioning import cold, live, wet
from specc.documents.commissioning.bench import Bench
from specc.documents.commissioning.model import Commissioning, Dependence, Reading, Step
from specc.documents.tables import Cell, Column, Table
from specc.system.system import System
from specc.templates import per_templates, read_toml_template

Test = Callable[[Bench], Iterable[Reading]]

TESTS: Mapping[str, Test] = MappingProxyType(
    {
        "inspection": cold.inspection,
        "bonding": cold.bonding,
        "continuity": cold.continuity,
        "no short": cold.no_short,
        "switch loops": cold.switch_loops,
        "functional earth": cold.functional_earth,
        "electrode": cold.electrode,
        "priming": wet.priming,
        "static": wet.static,
        "polarity": live.polarities,
        "open circuit": live.open_circuit,
        "short circuit": live.short_circuit,
        "insulation": live.insulation,
        "volts to earth": live.volts_to_earth,
        "battery": live.battery,
        "input voltage": live.input_voltage,
        "output voltage": live.output_voltage,
        "cut off": live.cut_off,
        "first start": live.first_start,
        "stops": live.stops,
        "working point": live.working_point,
        "drop": live.drops,
        "vacuum": wet.vacuum,
        "pressure": wet.pressure,
        "bucket": wet.bucket,
        "wire to water": wet.wire_to_water,
        "relief": wet.relief,
        "drawdown": wet.drawdown,
        "tank": wet.tank,
        "low light": live.low_light,
    }
)
DEPENDENCES: Mapping[str, Callable[[Bench], Iterable[Dependence]]] = MappingProxyType(
    {
        "open circuit": live.by_cell_temperature,
        "short circuit": live.by_light,
        "working point": live.by_input,
    }
)

COLUMNS = (
    Column("number", "No.", "count", "right"),
    Column("stage", "Stage"),
    Column("test", "Test"),
    Column("place", "Place"),
    Column("at", "At"),
    Column("expected", "Expected"),
    Column("accept", "Accept"),
    Column("value_si", "Expected value, SI", "", "right"),
    Column("lowest_si", "Lowest, SI", "", "right"),
    Column("highest_si", "Highest, SI", "", "right"),
    Column("unit_si", "SI unit"),
    Column("measured", "Measured"),
    Column("irradiance", "G, W/m²"),
    Column("cell_temperature", "Tc", "temperature"),
    Column("instrument", "Instrument"),
    Column("done", "Done"),
    Column("if_not", "If not"),
)


@per_templates
def sheet_texts() -> Mapping[str, Any]:
    """The words and practice figures of every test, from the templates. Raises TemplateProblem."""
    return read_toml_template("packet/commissioning.toml", _texts_of, sizes=True)


def _texts_of(data: Mapping[str, Any]) -> Mapping[str, Any]:
    ids = [words["id"] for words in data["tests"]]
    if missing := [id for id in TESTS if id not in ids]:
        raise ValueError(f"the tests leave out {', '.join(missing)}; every test of the house is needed")
    if twice := sorted({id for id in ids if ids.count(id) > 1}):
        raise ValueError(f"the tests name {', '.join(twice)} more than once")
    if unknown := [id for id in ids if id not in TESTS]:
        raise ValueError(f"there is no test {', '.join(unknown)}; there are {', '.join(TESTS)}")
    stages = {stage["id"] for stage in data["stages"]}
    if lost := [words["id"] for words in data["tests"] if words["stage"] not in stages]:
        raise ValueError(f"the stage of {', '.join(lost)} is not among the stages")
    return MappingProxyType(data)


def commissioning(system: System) -> Commissioning:
    """The tests that apply to a job, in order, with what each should read."""
    texts = sheet_texts()
    stages = {stage["id"]: stage["title"] for stage in texts["stages"]}
    steps: list[Step] = []
    left_out: list[str] = []
    for words in texts["tests"]:
        bench = Bench(system, texts["practice"], texts["insulation"], words)
        readings = bench.tried("", words["title"], _run, TESTS[words["id"]])
        if not readings:
            left_out.append(words["title"])
            continue
        dependences = tuple(DEPENDENCES[words["id"]](bench)) if words["id"] in DEPENDENCES else ()
        steps.append(
            Step(
                len(steps) + 1,
                words["id"],
                stages[words["stage"]],
                words["title"],
                words["how"],
                words["if_not"],
                readings,
                dependences,
                words["stage"].startswith("live"),
            )
        )
    return Commissioning(tuple(steps), tuple(texts["notes"]), texts["next_check"], tuple(left_out))


def _run(bench: Bench, _place: str, _at: str, test: Test) -> Iterable[Reading]:
    return test(bench)


def commissioning_table(sheet: Commissioning) -> Table:
    """The sheet as rows for other programs: numbers in SI, the blanks empty."""
    rows = tuple(_row(step, reading) for step in sheet.steps for reading in step.readings)
    notes = (*sheet.notes, *_left_out(sheet))
    return Table("commissioning", "Commissioning sheet", COLUMNS, rows, notes)


def _left_out(sheet: Commissioning) -> Iterable[str]:
    if sheet.left_out:
        yield f"Tests that do not apply to this job: {'; '.join(sheet.left_out)}."


def _row(step: Step, reading: Reading) -> dict[str, Cell]:
    numbers = (reading.value, reading.lowest, reading.highest)
    unit = units.DIMENSIONS[reading.dimension].si_unit if reading.dimension else ""
    return {
        "number": step.number,
        "stage": step.stage,
        "test": step.title,
        "place": reading.place,
        "at": reading.at,
        "expected": reading.expected,
        "accept": reading.accept,
        "value_si": reading.value,
        "lowest_si": reading.lowest,
        "highest_si": reading.highest,
        "unit_si": unit if any(n is not None for n in numbers) else None,
        "measured": None,
        "irradiance": None,
        "cell_temperature": None,
        "instrument": None,
        "done": None,
        "if_not": step.if_not,
    }
