"""The parts list: everything once, whole packs, with what is implied."""

from __future__ import annotations

import math

import pytest

from specc.documents.alternatives import alternatives, would_do
from specc.documents.parts_list import parts_list
from specc.documents.tables import Cell
from tests.jobs import solved
from tests.reference import read_edited


def _rows(edit: dict[str, object] | None = None) -> list[dict[str, Cell]]:
    return [dict(row) for row in parts_list(read_edited(edit or {})).rows]


def _row(rows: list[dict[str, Cell]], part: str, words: str = "") -> dict[str, Cell]:
    found = [r for r in rows if r["part"] == part and words in str(r["what"])]
    assert len(found) == 1, [r["what"] for r in rows if r["part"] == part]
    return found[0]


def test_modules_count_series_times_strings() -> None:
    row = _row(_rows(), "panel-r")

    assert row["packs"] == 4
    assert row["total"] == pytest.approx(4 * 95.0)
    assert row["used"] == "PV1"


def test_wire_is_rolled_up_by_size_and_colour_with_allowance_and_whole_spools() -> None:
    # Red 10 AWG: R1.1 10 m, R2.1 to R2.3 0.9 m, R3.1 10 m = 20.9 m; 10 % more is 22.99 m: one spool of 30 m.
    row = _row(_rows(), "thwn2-r", "10 AWG, red")

    assert row["packs"] == 1
    assert str(row["needed"]) == "23 m"
    assert row["used"] == "R1.1, R2.1, R2.2, R2.3, R3.1"


def test_a_longer_run_needs_the_next_spool() -> None:
    assert _row(_rows({"runs.R1.length": "20 m"}), "thwn2-r", "10 AWG, red")["packs"] == 2


def test_pipe_is_bought_in_whole_coils() -> None:
    # 126 m of pipe, 5 % more is 132.3 m: three coils of 50 m.
    row = _row(_rows(), "pipe-r")

    assert row["packs"] == 3
    assert row["used"] == "S1, S2, S3, D1, D2, D3"


def test_raceway_is_bought_in_whole_sticks() -> None:
    # 20 m and 10 % more: 22 m, 8 sticks of 3 m.
    assert _row(_rows(), "conduit-r")["packs"] == 8


def _sizes(pack_length: str, *also: dict[str, object]) -> dict[str, object]:
    row = {"size": "10 AWG", "price": 45.0, "pack_length": pack_length, "also_sold": list(also)}
    return {"part:thwn2-r.sizes": [row, {"size": "12 AWG", "price": 30.0, "pack_length": "30 m"}]}


CUT = {"sold_as": "cut", "pack_length": "1 m", "price": 2.0}


def test_wire_is_cut_where_that_is_cheaper_than_a_spool() -> None:
    # White 10 AWG: 10 m out, 10 m to the motor and 0.5 m to the bond, with 10 %: 22.55 m.
    white = _row(_rows({**_sizes("30 m", CUT), "runs.R6.size": "10 AWG"}), "thwn2-r", "10 AWG, white")
    assert (white["pack"], white["packs"], white["total"]) == ("spool of 30 m", 1, 45.0)
    cheap = {**CUT, "price": 1.0}
    white = _row(_rows({**_sizes("30 m", cheap), "runs.R6.size": "10 AWG"}), "thwn2-r", "10 AWG, white")
    assert (white["pack"], white["packs"], white["total"]) == ("cut per 1 m", 23, 23.0)


def test_a_run_longer_than_a_spool_is_never_pieced_together() -> None:
    far = {"runs.R1.length": "40 m", "runs.R6.size": "10 AWG"}
    rows = [r for r in _rows({**_sizes("30 m"), **far}) if "10 AWG, white" in str(r["what"])]

    assert [(r["packs"], r["total"]) for r in rows] == [(None, None)]
    assert "in one length of 44 m: longer than any pack" in str(rows[0]["pack"])
    rows = [r for r in _rows({**_sizes("30 m", CUT), **far}) if "10 AWG, white" in str(r["what"])]
    # 44 m and 11.55 m cut are 56 m, 112.00; a spool for the 11.55 m would make 88 + 45.
    assert [(r["pack"], r["packs"]) for r in rows] == [("cut per 1 m", 56)]
    assert sum(float(str(r["total"])) for r in rows) == 112.0


def test_a_fuse_brings_its_holder() -> None:
    assert _row(_rows(), "holder-r")["used"] == "F1"


def test_fittings_are_counted_by_name_and_size() -> None:
    rows = _rows()
    elbows = next(r for r in rows if "elbow" in str(r["what"]).casefold())

    assert elbows["needed"] == "2"
    assert elbows["used"] == "S1"


def test_a_loss_without_a_part_is_not_bought() -> None:
    fittings = ["entrance", "elbow 90", "exit"]
    rows = _rows({"pipes.D3.fittings": fittings})
    assert not any("entrance" in str(row["what"]) or "exit" in str(row["what"]) for row in rows)
    assert any("elbow 90" in str(row["what"]) and "D3" in str(row["used"]) for row in rows)


def test_every_conductor_end_gets_a_tag() -> None:
    system = read_edited({})
    row = next(r for r in parts_list(system).rows if r["part"] == "wire-marker-set")

    assert row["needed"] == str(2 * len(system.conductors))


def test_the_total_is_the_sum_of_the_priced_lines() -> None:
    table = parts_list(read_edited({}))
    priced = [row["total"] for row in table.rows if isinstance(row["total"], float)]

    assert table.totals["total"] == pytest.approx(math.fsum(priced))
    assert priced


def test_every_part_of_the_spec_is_on_the_list() -> None:
    system = read_edited({})
    used = " ".join(str(row["used"]) for row in parts_list(system).rows)
    tags = {d.tag for d in system.devices.values() if d.part is not None}

    assert {tag for tag in tags if tag not in used.replace(",", " ").split()} == set()


def test_what_has_no_price_is_said() -> None:
    table = parts_list(read_edited({"part:pump-r.price": None}))

    assert any("no price" in note for note in table.notes)
    assert next(r for r in table.rows if r["part"] == "pump-r")["total"] is None


def test_every_group_has_its_subtotal_and_they_add_up_to_the_total() -> None:
    table = parts_list(read_edited({}))

    assert list(table.subtotals) == list(dict.fromkeys(row["group"] for row in table.rows))
    assert math.fsum(float(str(sums["total"])) for sums in table.subtotals.values()) == pytest.approx(
        table.totals["total"]
    )


def test_weight_is_that_of_all_pieces() -> None:
    row = _row(_rows({"part:panel-r.weight": "8 kg"}), "panel-r")

    assert row["weight"] == pytest.approx(32.0)
    assert any(
        "weigh 32 kg" in note for note in parts_list(read_edited({"part:panel-r.weight": "8 kg"})).notes
    )


def test_what_would_do_as_well_is_alike_and_rated_no_lower() -> None:
    catalog = solved("saltbush-paddock").description.catalog
    part = catalog.find("dc-isolator-2p-32a")
    assert part is not None
    found = alternatives(catalog, part)

    assert found
    for other in found:
        assert other.dc_voltage >= part.dc_voltage  # type: ignore[attr-defined]
        assert other.dc_current >= part.dc_current  # type: ignore[attr-defined]
        assert [t.name for t in other.terminals] == [t.name for t in part.terminals]
        assert not would_do(other, part) or other.dc_voltage == part.dc_voltage  # type: ignore[attr-defined]
    weaker = part.model_copy(update={"dc_voltage": None, "id": "weaker"})
    assert would_do(weaker, part)
    assert not would_do(part, weaker)


def test_a_fitting_brings_the_clamps_that_hold_it() -> None:
    # Cedar Fold's pipes of 1 in take an insert fitting each with clamps on both ends, the foot valve on one.
    system = solved("cedar-fold-orchard")
    rows = [dict(row) for row in parts_list(system).rows]
    fittings = [
        (fitting.name, fitting.count) for p in system.connected.pipes.values() for fitting in p.spec.fittings
    ]
    foot_valves = sum(count for name, count in fittings if name == "foot valve")

    assert _row(rows, "hose-clamps-2-1")["needed"] == f"{foot_valves}"
    inserts = [row for row in rows if str(row["part"]).startswith("pe-") and row["part"] != "pe-sidr-1"]
    two_ended = sum(int(str(row["needed"])) for row in inserts if "foot-valve" not in str(row["part"]))
    assert _row(rows, "hose-clamps-4-1")["needed"] == f"{two_ended}"


def test_a_raceway_enters_a_box_by_its_own_connector_and_not_by_a_gland_for_each_run() -> None:
    # Hazel Hollow: C2 and C3 are liquidtight, C1 is rigid plastic between two boxes; R0, R4, R6 come without.
    rows = [dict(row) for row in parts_list(solved("hazel-hollow-spring")).rows]

    assert _row(rows, "liquidtight-connector-0.5")["used"] == "C2, C3"
    assert _row(rows, "pvc-terminal-adapter-1")["needed"] == "2"
    assert _row(rows, "cable-gland-m20")["used"] == "R0, R6, R4"


def test_every_conduit_of_the_catalogue_has_its_connector_and_a_buried_duct_needs_none() -> None:
    system = solved("cedar-fold-orchard")
    catalogue = system.description.catalog
    sundries = catalogue.parts("sundry")
    for raceway in catalogue.parts("raceway"):
        fits = [
            s
            for s in sundries
            if s.type == "gland" and raceway.raceway in s.suits and s.trade_size == raceway.trade_size  # type: ignore[attr-defined]
        ]
        assert len(fits) == (0 if raceway.raceway == "pe-duct" else 1), raceway.id  # type: ignore[attr-defined]


def test_what_is_noted_as_a_stud_for_ring_lugs_brings_them() -> None:
    system = solved("saltbush-paddock")
    catalogue = system.description.catalog
    for kind in ("battery", "fuse_holder", "isolator"):
        for part in catalogue.parts(kind):
            if "ring lugs" in (part.note or ""):
                assert part.wire.stud, part.id  # type: ignore[attr-defined]
    # Two runs of 10 mm2 between posts, fuse block and isolator: six ends on studs.
    rows = [dict(row) for row in parts_list(system).rows]
    assert _row(rows, "ring-lug-10mm2")["needed"] == "6"
