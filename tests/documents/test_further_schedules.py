"""Raceway, overcurrent, pipe and label schedules against hand figures of the reference job and the system."""

from __future__ import annotations

import math

import pytest

from specc.documents.label_schedule import CLAUSES, label_schedule, labels_of
from specc.documents.overcurrent_schedule import NOT_KNOWN, overcurrent_schedule
from specc.documents.parts_list import parts_list
from specc.documents.pipe_schedule import pipe_schedule
from specc.documents.raceway_schedule import raceway_schedule
from specc.documents.tables import Cell, Table
from specc.rules import label as label_rule
from specc.rules._variants import BATTERY, FLOATING
from tests.jobs import EXAMPLES, solved
from tests.reference import read_edited


def _by(table: Table, key: str) -> dict[Cell, dict[str, Cell]]:
    return {row[key]: dict(row) for row in table.rows}


# -- raceways ------------------------------------------------------------------------------------------------


def test_fill_is_the_share_of_the_tables() -> None:
    """NFPA 70 Chapter 9, from memory, unverified: 10 AWG THWN-2 0.0211 in², 12 AWG 0.0133 in² (Table 5),
    1/2 in schedule 40 PVC 0.285 in² inside (Table 4), more than two conductors 40 % (Table 1)."""
    row = _by(raceway_schedule(read_edited({"part:conduit-r.trade_size": "1/2 in"})), "tag")["C1"]

    assert row["fill"] == pytest.approx((2 * 0.0211 + 0.0133) / 0.285, rel=2e-3)
    assert row["allowed"] == 0.40
    assert row["inside"] == "R1.1 10 AWG, R1.2 10 AWG, R1.3 12 AWG"
    assert (row["count"], row["length"], row["cover"]) == (3, 10.0, 0.5)


def test_an_empty_raceway_has_no_fill() -> None:
    edit = {"runs.R3.raceway": None, "runs.R3.laid": "within reach"}
    row = _by(raceway_schedule(read_edited(edit)), "tag")["C2"]

    assert (row["inside"], row["count"], row.get("fill")) == ("empty", 0, None)


def test_circuits_that_the_job_does_not_list_are_named() -> None:
    table = raceway_schedule(read_edited({"raceways.C1.other_circuits": ["house 120 V AC"]}))

    assert any("C1 also holds house 120 V AC" in note for note in table.notes)


# -- fuses, breakers, isolators ------------------------------------------------------------------------------


def test_voltage_and_current_are_those_of_the_circuit() -> None:
    """Worked reference job: 49.28 V cold, 1.25 · 12 A = 15.0 A; the booster gives 28 V and 12 A."""
    rows = _by(overcurrent_schedule(read_edited({})), "tag")

    assert rows["Q1"]["highest_voltage"] == pytest.approx(49.28, abs=0.005)
    assert rows["Q1"]["highest_current"] == pytest.approx(15.0)
    assert rows["F1"]["highest_voltage"] == pytest.approx(28.0)
    assert rows["F1"]["highest_current"] == pytest.approx(12.0)
    assert rows["Q1"]["circuit"] == "PV1 to CB1"
    assert set(rows) == {"Q1", "F1", "DS1"}


def test_what_a_limited_source_cannot_open_is_said() -> None:
    """1.45 · In must flow (IEC 60269-6): 29 A for 20 A against 15 A; 11.6 A for 8 A against 12 A."""
    rows = _by(overcurrent_schedule(read_edited({"part:fuse-r.rating": "8 A"})), "tag")

    assert rows["Q1"]["opens"] == "no: 15 A available, 29 A needed"
    assert rows["F1"]["opens"] == "yes"
    assert rows["DS1"]["opens"] == "no, isolator"
    assert _by(overcurrent_schedule(read_edited(BATTERY)), "tag")["F0"]["opens"] == "yes, by battery"


def test_a_missing_datum_is_never_an_answer() -> None:
    rows = _by(overcurrent_schedule(read_edited({"site.coldest_air": None})), "tag")
    fuse = _by(overcurrent_schedule(read_edited({"part:booster-r.output_current": None})), "tag")["F1"]

    assert rows["Q1"]["highest_voltage"] == NOT_KNOWN
    assert (fuse["highest_current"], fuse["opens"]) == (NOT_KNOWN, NOT_KNOWN)


# -- pipes ---------------------------------------------------------------------------------------------------


def test_velocity_and_losses_are_those_of_the_operating_point() -> None:
    """Worked reference job: 10 L/min in 25 mm bore is 0.340 m/s."""
    system = read_edited({})
    table = pipe_schedule(system)
    rows, (pump,) = _by(table, "tag"), system.water.pumps
    flow = system.water.operating(pump, False).flow_m3_s
    losses = [
        system.water.loss_m(way, flow, dirty=False)
        for way in (system.water.suction(pump), system.water.delivery(pump))
    ]

    assert rows["S1"]["velocity"] == pytest.approx(0.340, abs=0.001)
    assert rows["S1"]["flow"] == pytest.approx(1e-2 / 60, rel=0.01)
    assert table.totals["head_loss"] == pytest.approx(sum(losses))
    assert rows["S1"]["fittings"] == "foot valve, 2 × elbow 90"
    assert list(rows)[:5] == ["S1", "FL1", "S2", "PR1", "S3"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_pipe_and_every_device_in_line_has_one_row(name: str) -> None:
    system = solved(name)
    tags = [row["tag"] for row in pipe_schedule(system).rows]
    in_line = [d.tag for d in system.of_kind("filter", "valve") if system.water.piped(d)]

    assert sorted(map(str, tags)) == sorted([*system.connected.pipes, *in_line])


def test_a_pump_without_a_table_gives_no_flow_and_no_total() -> None:
    table = pipe_schedule(read_edited({"part:pump-r.table": None}))

    assert {row["flow"] for row in table.rows} == {NOT_KNOWN}
    assert table.totals == {}


# -- labels --------------------------------------------------------------------------------------------------


def _texts(edit: dict[str, object]) -> dict[tuple[str, str], str]:
    return {(label.name, label.tag): label.text for label in labels_of(read_edited(edit))}


def test_labels_carry_the_worked_figures_of_the_reference_job() -> None:
    """Worked reference job: 49.28 V and 15.0 A; 60 V, 15 A in, 28 V, 12 A out, 5 min; 27.4 m, 10 L/min,
    40.6 and 52.4 kPa, 227 kPa; 350 kPa; stop 80 mm below the overflow, band 100 mm."""
    texts = _texts({})

    for key, words in {
        ("array disconnect", "Q1"): ("49.3 V DC", "15 A DC"),
        ("controller data", "CB1"): ("60 V, 15 A", "28 V, 12 A", "wait 5 min"),
        ("system earthing", "Q1"): ("NEGATIVE GROUNDED",),
        ("motor disconnect", "DS1"): ("P1", "24 V DC", "8 A"),
        ("fuse replacement", "F1"): ("gPV", "10x38", "15 A", "58 V DC"),
        ("pump data", "P1"): (
            "10 L/min",
            "27.4 m",
            "40.6 kPa clean",
            "52.4 kPa",
            "227 kPa",
            "24 V DC",
            "8 A",
        ),
        ("relief valve", "RV1"): ("350 kPa", "the well, in sight"),
        ("tank levels", "TK1"): ("80 mm below", "100 mm lower"),
        ("well level", "LS2"): ("-4.2 m",),
        ("not for drinking", "TK1"): ("irrigation",),
    }.items():
        for word in words:
            assert word in texts[key], (key, word)
    assert not any(name == "both sides live" for name, _ in texts)


def test_what_a_person_can_be_shut_in_with_bad_air_is_marked_and_an_open_trough_is_not() -> None:
    # 29 CFR 1910.146: limited entry, not for continuous stay; a spring box is one, a stock trough is none.
    marked = {
        name: {label.tag for label in labels_of(solved(name)) if label.name == "confined space"}
        for name in ("cedar-fold-orchard", "hazel-hollow-spring", "saltbush-paddock")
    }

    assert marked == {
        "cedar-fold-orchard": {"WELL", "TK1"},
        "hazel-hollow-spring": {"SPRING"},
        "saltbush-paddock": {"TK1"},
    }


def test_the_lid_of_a_well_says_where_the_pump_is() -> None:
    # In Cedar Fold the pump stands in a pit beside the well; moved into the well it is below the lid.
    (lid,) = (
        label.text
        for label in labels_of(solved("cedar-fold-orchard"))
        if (label.name, label.tag) == ("starts by itself", "WELL")
    )
    assert lid.startswith("THE PUMP STARTS BY ITSELF")
    assert _texts({"pumps.P1.location": "well"})["starts by itself", "WELL"].startswith("PUMP BELOW STARTS")


def test_a_battery_disconnect_says_what_is_opened_before_it() -> None:
    # Common practice, no source: a charge controller keeps its battery while its array is on it.
    (text,) = (
        label.text
        for label in labels_of(solved("saltbush-paddock"))
        if (label.name, label.tag) == ("battery disconnect", "DS2")
    )
    assert text.endswith("OPEN DS1 FIRST, close it last.")


def test_the_level_of_a_well_float_is_told_from_the_rim_as_it_is_measured() -> None:
    # Rim 0.5 m, stop at -4.2 m: 4.7 m of tape.
    assert _texts({})["well level", "LS2"] == "LS2 stops the pump 4.7 m below the rim (at level -4.2 m)."
    assert "at level -4.2 m" in _texts({"source.WELL.rim": None})["well level", "LS2"]
    assert "rim" not in _texts({"source.WELL.rim": None})["well level", "LS2"]


def test_the_label_of_a_pump_gives_its_suction_as_the_gauge_shows_it() -> None:
    # A US vacuum gauge is marked in inHg; a pump below the water has a pressure there, and no vacuum.
    texts = {
        name: next(label.text for label in labels_of(solved(name)) if label.name == "pump data")
        for name in ("cedar-fold-orchard", "hazel-hollow-spring")
    }

    assert "inHg clean" in texts["cedar-fold-orchard"]
    assert "Suction pressure 1.36 psi." in texts["hazel-hollow-spring"]


def test_a_battery_and_both_live_sides_are_labelled() -> None:
    texts = _texts(BATTERY)
    battery = texts["battery disconnect", "F0"]

    assert "24 V nominal" in battery
    assert "28.8 V highest" in battery
    live = {label.tag for label in labels_of(solved("saltbush-paddock")) if label.name == "both sides live"}
    # DS2 stands between the bank and a controller that charges it; DS3 between load disconnect and motor.
    assert "DS2" in live
    assert "DS3" not in live


def test_the_earthing_label_follows_the_system() -> None:
    assert _texts(FLOATING)["system earthing", "Q1"] == "DC SYSTEM FLOATING."


def test_what_is_not_known_is_said_on_the_label() -> None:
    assert "wait not known" in _texts({"part:booster-r.wait_time": None})["controller data", "CB1"]
    assert "Set at not known" in _texts({"valves.RV1.setting": None})["relief valve", "RV1"]
    assert "voltage not known DC" in _texts({"site.coldest_air": None})["array disconnect", "Q1"]


def test_drinking_water_is_not_labelled_otherwise() -> None:
    assert not any(name == "not for drinking" for name, _ in _texts({"job.use": "drinking"}))


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_label_that_the_rule_asks_for_is_in_the_schedule(name: str) -> None:
    system = solved(name)
    made = {(label.name, label.tag) for label in labels_of(system)}
    for wanted in label_rule._labels(system):
        label = "motor disconnect" if wanted.name.startswith("disconnect of") else wanted.name
        if wanted.tag != "job":
            tags = {tag for made_name, tag in made if made_name == label}
            assert wanted.tag in tags or label == "battery disconnect", wanted
        assert any(made_name == label for made_name, _ in made) or system.job.use == "drinking", wanted


def test_both_ends_of_every_conductor_are_tagged_and_the_total_counts_all() -> None:
    system = read_edited({})
    table = label_schedule(system)
    tags = [row for row in table.rows if row["label"] == "conductor tag"]

    assert sum(int(str(row["count"])) for row in tags) == 2 * len(system.conductors)
    assert all(any(f"{c.tag} " in str(row["text"]) for row in tags) for c in system.conductors)
    assert table.totals["count"] == sum(int(str(row["count"])) for row in table.rows)


def test_along_a_building_the_circuit_is_marked_every_three_metres() -> None:
    edit = {"raceways.C1.on_roof": True}
    (label,) = (x for x in labels_of(read_edited(edit)) if (x.name, x.tag) == ("array circuit", "C1"))

    assert label.count == math.ceil(10.0 / 3.0)


def test_every_clause_is_there_for_both_rulebooks() -> None:
    assert all(set(clauses) == {"us-2023", "iec"} for clauses in CLAUSES.values())


@pytest.mark.parametrize("name", EXAMPLES)
def test_as_many_labels_are_bought_as_hung(name: str) -> None:
    system = solved(name)
    labels = sum(label.count for label in labels_of(system))
    stock = {p.id for p in system.description.catalog.parts("sundry") if p.type == "label"}  # type: ignore[attr-defined]
    bought = [row for row in parts_list(system).rows if row["part"] in stock]

    assert sum(float(str(row["needed"])) for row in bought) == labels
