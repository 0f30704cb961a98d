"""The sheet of worst cases."""

from __future__ import annotations

import pytest

from specc.documents.worst_cases import several_of, worst_cases
from specc.rules._variants import BATTERY
from tests.reference import read_edited


def test_places_alike_share_their_rows() -> None:
    table = worst_cases(read_edited({}))

    assert table.name == "worst-cases"
    at = list(dict.fromkeys(row["at"] for row in table.rows))
    assert "R2.2, R2.3, R3.1, R3.2" in at
    assert {"PV1", "Q1", "F1, DS1"} <= set(at)
    headings = {row["at"]: row["place"] for row in table.rows}
    assert headings["R2.2, R2.3, R3.1, R3.2"] == "Conductors R2.2, R2.3, R3.1 and R3.2"
    assert headings["F1, DS1"] == "Fuse F1; isolator DS1"


def test_every_row_has_one_figure_with_its_condition_and_state() -> None:
    for row in worst_cases(read_edited(BATTERY)).rows:
        assert ("voltage" in row) is not ("current" in row)
        assert row["condition"] and row["state"] == "ready"


def test_figures_of_the_reference_job() -> None:
    # Hand: 49.28 V, 15 A before the booster; 28 V, 12 A behind it.
    rows = [row for row in worst_cases(read_edited({})).rows if row["at"] in ("Q1", "F1, DS1")]
    figures = {(row["at"], row["case"]): row.get("voltage", row.get("current")) for row in rows}

    assert figures["Q1", "open-circuit voltage, coldest morning"] == pytest.approx(49.28)
    assert figures["Q1", "maximum current of the array"] == pytest.approx(15.0)
    assert figures["F1, DS1", "highest output voltage"] == 28.0
    assert figures["F1, DS1", "rotor blocked"] == 12.0


def test_a_current_without_limit_is_said_in_words() -> None:
    straight = {
        "batteries.BT1": {"part": "battery-r", "series": 2, "location": "pump house"},
        "breakers.Q1": None,
        "runs.R1.conductors[0].to": "CB1.pv+",
        "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "GB1"],
        "runs.R2.conductors": [
            {"from": "BT1.+", "to": "CB1.pv+", "color": "red"},
            {"from": "BT1.-", "to": "CB1.pv-", "color": "white"},
            {"from": "CB1.motor+", "to": "F1.1", "color": "red"},
            {"from": "F1.2", "to": "DS1.1", "color": "red"},
        ],
    }
    rows = worst_cases(read_edited(straight)).rows

    (row,) = [r for r in rows if r["case"] == "current into a faulty string"]

    assert row["current"] is None
    assert str(row["condition"]).endswith("without limit")


def test_a_missing_datum_is_named_in_the_notes() -> None:
    table = worst_cases(read_edited({"part:pump-r.start_current": None}))

    assert any("starting current" in note for note in table.notes)


@pytest.mark.parametrize(
    ("one", "many"), [("switch", "switches"), ("battery", "batteries"), ("isolator", "isolators")]
)
def test_places_of_a_kind_are_named_in_the_plural(one: str, many: str) -> None:
    assert several_of(one) == many
