"""The schedules of the example jobs as they stand; made anew only after looking at what changed."""

from __future__ import annotations

import pytest
from syrupy.assertion import SnapshotAssertion

from specc.documents.conductor_schedule import conductor_schedule
from specc.documents.label_schedule import label_schedule
from specc.documents.overcurrent_schedule import overcurrent_schedule
from specc.documents.parts_list import parts_list
from specc.documents.pipe_schedule import pipe_schedule
from specc.documents.raceway_schedule import raceway_schedule
from specc.documents.termination_schedule import termination_schedule
from specc.rendering.tables_csv import table_csv
from tests.jobs import EXAMPLES, solved

SCHEDULES = {
    "conductors": conductor_schedule,
    "parts": parts_list,
    "terminations": termination_schedule,
    "raceways": raceway_schedule,
    "overcurrent": overcurrent_schedule,
    "pipes": pipe_schedule,
    "labels": label_schedule,
}


@pytest.mark.parametrize("schedule", SCHEDULES)
@pytest.mark.parametrize("name", EXAMPLES)
def test_a_schedule_of_an_example_is_as_it_was(name: str, schedule: str, snapshot: SnapshotAssertion) -> None:
    system = solved(name)
    table = SCHEDULES[schedule](system)

    assert table_csv(table, system.job.units).decode().replace("\r\n", "\n") == snapshot
