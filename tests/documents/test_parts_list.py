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
    # Red 10 AWG: R1.1 10 m, R2.1 to R2.3 0.9 m, R3.1 10 m, and from module to module, two in series and two
    # strings, three links of 1 m = 23.9 m; 10 % more is 26.29 m: one spool of 30 m.
    row = _row(_rows(), "thwn2-r", "10 AWG, red")

    assert row["packs"] == 1
    assert str(row["needed"]) == "26.3 m"
    assert row["used"] == "R1.1, R2.1, R2.2, R2.3, R3.1, PV1 links"


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
    # White 10 AWG: 10 m out, 10 m to the motor, 0.5 m to the bond, a link of 1 m between the strings, with
    # 10 %: 23.65 m.
    white = _row(_rows({**_sizes("30 m", CUT), "runs.R6.size": "10 AWG"}), "thwn2-r", "10 AWG, white")
    assert (white["pack"], white["packs"], white["total"]) == ("spool of 30 m", 1, 45.0)
    cheap = {**CUT, "price": 1.0}
    white = _row(_rows({**_sizes("30 m", cheap), "runs.R6.size": "10 AWG"}), "thwn2-r", "10 AWG, white")
    assert (white["pack"], white["packs"], white["total"]) == ("cut per 1 m", 24, 24.0)


def test_a_run_longer_than_a_spool_is_never_pieced_together() -> None:
    far = {"runs.R1.length": "40 m", "runs.R6.size": "10 AWG"}
    rows = [r for r in _rows({**_sizes("30 m"), **far}) if "10 AWG, white" in str(r["what"])]

    assert [(r["packs"], r["total"]) for r in rows] == [(None, None)]
    assert "in one length of 44 m: longer than any pack" in str(rows[0]["pack"])
    rows = [r for r in _rows({**_sizes("30 m", CUT), **far}) if "10 AWG, white" in str(r["what"])]
    # 44 m and 12.65 m cut are 57 m, 114.00; a spool for the 12.65 m would make 88 + 45.
    assert [(r["pack"], r["packs"]) for r in rows] == [("cut per 1 m", 57)]
    assert sum(float(str(r["total"])) for r in rows) == 114.0


def test_a_fuse_brings_its_holder() -> None:
    assert _row(_rows(), "holder-r")["used"] == "F1"


def test_fittings_are_counted_by_name_and_size() -> None:
    rows = _rows()
    elbows = _row(rows, "elbow-r")

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
    # Twelve pipe ends at a filter, a valve or the pump: S1 one, D4 one, the five between them two each.
    adapters = 12

    assert _row(rows, "pe-adapter-1")["needed"] == f"{adapters}"
    assert _row(rows, "hose-clamps-2-1")["needed"] == f"{foot_valves + adapters}"
    inserts = [row for row in rows if str(row["part"]).startswith("pe-") and row["part"] != "pe-sidr-1"]
    two_ended = sum(
        int(str(row["needed"])) for row in inserts if row["part"] not in ("pe-foot-valve-1", "pe-adapter-1")
    )
    assert _row(rows, "hose-clamps-4-1")["needed"] == f"{two_ended}"


def test_a_raceway_enters_a_box_by_its_own_connector_and_not_by_a_gland_for_each_run() -> None:
    # Hazel Hollow: C2 and C3 are liquidtight, C1 is rigid plastic between two boxes; R0, R4, R6 come without.
    rows = [dict(row) for row in parts_list(solved("hazel-hollow-spring")).rows]

    assert _row(rows, "liquidtight-connector-0.5")["used"] == "C2, C3"
    assert _row(rows, "liquidtight-connector-0.5")["needed"] == "4"  # both ends of each
    assert _row(rows, "pvc-terminal-adapter-1")["needed"] == "2"
    # M20 is for 14 to 8 AWG: R4, into box and motor, and the cords of the two floats into their joint boxes.
    assert _row(rows, "cable-gland-m20")["used"] == "LS1, LS2, R4 at P1, R4 at BOX2"
    # Frame and rod are on 6 AWG, for which M25 is.
    assert _row(rows, "cable-gland-m25")["used"] == "R0 at BOX1, R6 at BOX1"


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


# -- raceways ------------------------------------------------------------------------------------------------


def test_bends_and_lengths_bring_elbows_couplings_straps_and_cement() -> None:
    """By hand, Cedar Fold's C1, 185 ft of 1 in rigid plastic in lengths of 10 ft with a bell, two bends: 19
    lengths and 2 elbows are 21 pieces with 20 joints, of which 18 are bells and 2 couplings of two sockets;
    with the two adapters 18 + 4 + 2 = 24 sockets. C2 and C3, 12 ft in two lengths: 1 + 4 + 2 = 7 each."""
    rows = [dict(row) for row in parts_list(solved("cedar-fold-orchard")).rows]

    assert _row(rows, "pvc-conduit-elbow-90-1")["needed"] == "2"
    assert _row(rows, "pvc-conduit-coupling-1")["needed"] == "2"
    assert _row(rows, "pvc-conduit-elbow-90-0.75")["needed"] == "4"
    assert _row(rows, "conduit-strap-1")["needed"] == "2"  # buried: one near each end
    cement = _row(rows, "pvc-cement")
    assert (cement["needed"], cement["packs"], cement["pack"]) == ("38", 1, "each, for 40")


def test_a_raceway_in_the_air_is_held_along_its_way_and_may_stretch() -> None:
    """NFPA 70 (2023) 352.30, from memory, unverified: 3/4 in rigid plastic within 3 ft of a box and every 3:
    10 m less 2 · 0.914 m are 8.17 m in 9 spaces of at most 0.914 m: 2 + 8 = 10 straps. 352.44: 3.38e-5 in/in
    per degF, 10 m over 53 K (-15 to 38 degC) are 32 mm, more than a quarter inch."""
    table = parts_list(read_edited({"raceways.C2.buried": None}))
    rows = [dict(row) for row in table.rows]

    assert _row(rows, "conduit-strap-0.75")["needed"] == "12"  # two of them on buried C1
    assert _row(rows, "pvc-conduit-expansion-0.75")["used"] == "C2"
    assert any("C2 by 32 mm. One expansion fitting each" in note for note in table.notes)
    buried = [dict(row) for row in parts_list(read_edited({})).rows]
    assert not any("expansion" in str(row["part"]) for row in buried)


def test_a_short_raceway_in_the_air_does_not_stretch_enough() -> None:
    # 1.9 m · 6.08e-5 / K · 53 K = 6.1 mm, under a quarter inch (6.35 mm); 2.0 m is 6.4 mm.
    edit = {"raceways.C2.buried": None, "raceways.C2.length": "1.9 m"}
    assert not any("expansion" in str(row["part"]) for row in _rows(edit))
    assert any("expansion" in str(row["part"]) for row in _rows({**edit, "raceways.C2.length": "2.0 m"}))


def test_metal_tubing_is_bent_on_site_and_joined_by_bought_couplings() -> None:
    # 10 m in lengths of 10 ft (3.048 m): four of them, three couplings each; no elbow, no cement.
    edit = {"raceways.C1.part": "emt-0.75", "raceways.C2.part": "emt-0.75"}
    table = parts_list(read_edited(edit))
    rows = [dict(row) for row in table.rows]

    assert _row(rows, "emt-coupling-0.75")["needed"] == "6"
    assert _row(rows, "emt-connector-0.75")["needed"] == "4"
    assert not any("elbow-90-0.75" in str(row["part"]) or row["part"] == "pvc-cement" for row in rows)
    assert any("C1: 2 quarter bends, bent on site" in note for note in table.notes)


def test_a_trench_gets_its_warning_tape_and_free_cable_its_clips() -> None:
    # C1 and C2 10 m, R4 15 m, with 10 %: 38.5 m. R6, 3 m every 0.6096 m: 5 spaces, 6 clips.
    rows = _rows()

    tape = _row(rows, "warning-tape-buried")
    assert (tape["needed"], tape["used"], tape["packs"]) == ("38.5 m", "C1, C2, R4", 1)
    assert _row(rows, "cable-clip-screw")["needed"] == "6"


# -- conductors and boxes ------------------------------------------------------------------------------------


def test_one_spare_of_every_kind_of_fuse() -> None:
    rows = [dict(row) for row in parts_list(solved("saltbush-paddock")).rows]

    assert (_row(rows, "fuse-battery-40a")["needed"], _row(rows, "fuse-holder-battery")["needed"]) == (
        "3",
        "2",
    )
    assert _row(rows, "fuse-10x38-dc-10a")["used"] == "F3, 1 spare"


def test_blocks_in_series_are_linked() -> None:
    # Four blocks in one string: three links, of no less than the 10 mm2 that leads away.
    rows = [dict(row) for row in parts_list(solved("saltbush-paddock")).rows]

    assert _row(rows, "battery-link-16mm2")["needed"] == "3"


def test_cords_are_spliced_and_fine_strands_get_ferrules() -> None:
    # Cedar Fold: two floats with cords of two wires; R6 and R7 are fine stranded, two wires each on TB2.
    rows = [dict(row) for row in parts_list(solved("cedar-fold-orchard")).rows]

    assert _row(rows, "splice-18-10awg")["needed"] == "4"
    assert _row(rows, "ferrule-1mm2")["needed"] == "4"
    # Hazel Hollow: each cord meets a raceway in a joint box.
    rows = [dict(row) for row in parts_list(solved("hazel-hollow-spring")).rows]
    assert _row(rows, "joint-box-ip66")["used"] == "LS1, LS2"


def test_a_stud_takes_a_ring_lug_of_its_size_and_not_the_lug_of_a_frame() -> None:
    lugs = [r for r in _rows({"part:holder-r.wire.stud": True}) if "lug" in str(r["part"])]

    assert [(r["part"], r["needed"]) for r in lugs] == [("ring-lug-10awg", "2")]


def test_links_of_terminals_are_bought() -> None:
    edit = {
        "terminal_blocks.TB9": {"part": "block-r", "links": [["1", "3"]]},
        "enclosures.BOX1.holds[5]": "TB9",
    }
    assert _row(_rows(edit), "terminal-jumper")["used"] == "TB9"


# -- pipes ---------------------------------------------------------------------------------------------------


def test_a_pipe_longer_than_its_coil_is_coupled() -> None:
    # D3 is 119 m of 50 m coils: two joints; couplings that the spec names count.
    rows = _rows()
    assert _row(rows, "pe100-coupling-32mm")["needed"] == "2"
    rows = _rows({"pipes.D3.fittings": [{"name": "coupling", "count": 3}]})
    assert _row(rows, "pe100-coupling-32mm")["needed"] == "3"


def test_adapters_that_the_spec_names_are_those_at_the_ports() -> None:
    # Ten ends at filter, valves and pump: S1 one, S2, S3, D1, D2 two each, D3 one.
    assert _row(_rows(), "pe100-adapter-32mm")["needed"] == "10"
    named = _rows({"pipes.D1.fittings": [{"name": "adapter", "count": 2}]})
    assert _row(named, "pe100-adapter-32mm")["needed"] == "10"
    more = _rows({"pipes.D1.fittings": [{"name": "adapter", "count": 3}]})
    assert _row(more, "pe100-adapter-32mm")["needed"] == "11"


def test_what_goes_between_a_pipe_and_a_port_of_another_size() -> None:
    """Saltbush: adapters for 32 mm pipe have a 1 in thread (common practice, no source); the filter takes
    1-1/2 in at both ends, the pump gives 3/4 in. The relief valve is for 25 mm, the size below."""
    rows = [dict(row) for row in parts_list(solved("saltbush-paddock")).rows]

    assert _row(rows, "thread-reducer-1.5-1")["needed"] == "2"
    assert _row(rows, "thread-reducer-1-0.75")["used"] == "P1"
    assert _row(rows, "pe100-reducer-32mm")["used"] == "D1, D2"
    assert not any(row["part"] is None for row in rows)
    # A pipe of a size whose thread is not in the tables: said in words, at filter, tee, pump and valves.
    words = [str(r["what"]) for r in _rows({"part:pipe-r.size": "75 mm"}) if r["part"] is None]
    assert any(each.startswith("adapter, 75 mm pipe to 1 in thread") for each in words)


def test_solvent_welded_pipe_is_glued_by_its_sockets() -> None:
    """S3 as schedule 40 plastic with two elbows: 4 sockets, two adapters, and 2 of the gauge tee at P1.in."""
    rows = _rows({"pipes.S3.part": "pvc-pipe-sch40-1", "pipes.S3.fittings": ["elbow 90", "elbow 90"]})
    cement = _row(rows, "pvc-cement")
    base = _row(_rows(), "pvc-cement")

    assert int(str(cement["needed"])) - int(str(base["needed"])) == 4 + 2 + 2
    assert _row(rows, "pvc-gauge-tee-1")["used"] == "P1.in"


def test_a_gauge_in_the_spec_needs_no_second_port() -> None:
    assert _row(_rows(), "pe100-gauge-tee-32mm")["used"] == "P1.out, P1.in"
    edit = {
        "gauges.G1": {"part": "vacuum-gauge-0-30inhg"},
        "pipes.S3.to": "G1.in",
        "pipes.S4": {
            "part": "pipe-r",
            "from": "G1.out",
            "to": "P1.in",
            "length": "0.2 m",
            "freeze_safe": True,
        },
    }
    tee = _row(_rows(edit), "pe100-gauge-tee-32mm")
    assert (tee["needed"], tee["used"]) == ("2", "G1, P1.out")
