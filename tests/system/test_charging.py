"""In which order the two sides of a charge controller are opened, on a job with a bank and without."""

from __future__ import annotations

import pytest

from specc.system.charging import bereft, chargers, opened_first
from specc.system.system import System
from specc.system.truth import truth_rows
from tests.test_examples import EXAMPLES, compiled


def _job(name: str) -> System:
    system = compiled(EXAMPLES / f"{name}.toml").system
    assert system is not None
    return system


@pytest.mark.parametrize(
    ("tag", "left", "before"),
    [
        ("DS1", [], []),  # parts the array: the bank stays
        ("DS2", ["CC1"], ["DS1"]),  # parts the bank
        ("F1", ["CC1"], ["DS1"]),
        ("DS3", [], []),  # the motor's
    ],
)
def test_the_array_is_parted_before_the_bank(tag: str, left: list[str], before: list[str]) -> None:
    # Common practice, no source: a charge controller keeps its battery while its array is on it.
    system = _job("saltbush-paddock")
    device = system.devices[tag]

    assert [c.tag for c in bereft(system, (device,))] == left
    assert [d.tag for d in opened_first(system, device)] == before


def test_with_the_array_parted_too_no_charger_is_left_alone() -> None:
    system = _job("saltbush-paddock")

    assert bereft(system, (system.devices["DS1"], system.devices["DS2"])) == ()


@pytest.mark.parametrize("name", ["cedar-fold-orchard", "hazel-hollow-spring"])
def test_a_job_without_a_battery_has_no_order_to_keep(name: str) -> None:
    system = _job(name)

    assert chargers(system) == ()
    assert all(opened_first(system, d) == () for d in system.of_kind("isolator"))


def test_the_truth_table_never_leaves_a_charger_on_its_array_alone() -> None:
    rows = {row.state: row for row in truth_rows(_job("saltbush-paddock"))}

    assert "DS2 open" not in rows
    assert not rows["DS1, then DS2 open"].pumps[0].runs
    assert rows["DS1 open"].pumps[0].runs
