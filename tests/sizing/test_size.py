"""Choices on the reference job, followed by hand, and against trying everything."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.documents.conductor_schedule import conductor_schedule
from specc.documents.parts_list import parts_list
from specc.rules._edits import METRIC
from specc.rules._variants import ARRAY_FUSE
from specc.system.connect import connect
from specc.system.system import solve
from tests.reference import reference_job
from tests.sizing.left_open import EGC, R1, chosen, described, loud, only, sized

# In the order of NEC 2023 Chapter 9 Table 8; those in which the reference wire is sold.
SIZES = ("18 AWG", "16 AWG", "14 AWG", "12 AWG", "10 AWG", "8 AWG", "6 AWG")
C1 = {"part": "auto", "family": "pvc-sch40", "length": "10 m", "buried": "500 mm", "bends": 2}
BOX = {"part:box-r.rail": "600 mm"}  # parts for a rail are weighed against what the box offers
FIVE: dict[str, Any] = {
    **BOX,
    **R1,
    **EGC,
    "runs.R3.size": "auto",
    "fuses.F1.part": "auto",
    "raceways.C1": C1,
}
WIDE = {"part:booster-r.wire.largest": "6 AWG"}  # terminals that take more than the reference booster's


def explicit(edit: dict[str, Any]) -> dict[str, Any]:
    """The edit with every choice written out in place of its "auto"."""
    written = dict(edit)
    for choice in sized(edit).choices:
        for place, value in edit.items():
            if value == "auto" and place.startswith(f"{choice.table}.{choice.tag.partition('.')[0]}."):
                inner = "conductors" in place
                if inner == (len(choice.path) > 3) and place.endswith(choice.key):
                    written[place] = choice.chosen
            elif isinstance(value, dict) and place == f"{choice.table}.{choice.tag}":
                written[place] = {**value, choice.key: choice.chosen}
    return written


# -- worked by hand --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edit", "wanted"),
    [
        # 2 · 10 m · R′ · 11.12 A of 36 V, NEC 2023 Chapter 9 Table 8, stranded: 12 AWG 6.50 ohm/km, 4.0 %;
        # 10 AWG 4.07 ohm/km, 2.5 %; the target is 3 % (210.19 note).
        (R1, {"R1.size": "10 AWG"}),
        # 5 m: 12 AWG loses 2.0 %; 14 AWG may have 15 A ahead of it (240.4(D)), and Q1 has 20 A.
        ({**R1, "runs.R1.length": "5 m"}, {"R1.size": "12 AWG"}),
        # 2 · 10 m · R′ · 8 A of 24 V: 12 AWG 4.3 %, 10 AWG 2.7 %.
        ({"runs.R3.size": "auto"}, {"R3.size": "10 AWG"}),
        # Table 250.122: 20 A ahead asks for 12 AWG.
        (EGC, {"R1.3.size": "12 AWG"}),
        # 1.56 · 12 A = 18.7 A, next standard rating 20 A (690.8, 690.9(B), 240.6(A)); the cheapest of 20 A.
        ({**BOX, "breakers.Q1.part": "auto"}, {"Q1.part": "dc-breaker-1p-20a-polarised"}),
        # A fuse there is as large, and of the three of 20 A that fit a holder the one listed for arrays.
        (
            {**BOX, **ARRAY_FUSE, "fuses.Q1": {"part": "auto", "location": "pump house"}},
            {"Q1.part": "fuse-10x38-dc-20a"},
        ),
        # Coldest morning: 3 in series give 3 · 22 V · (1 + 0.003 · 40) = 73.9 V, the booster stands 60 V.
        # Motor 24 V · 8 A / 0.92 = 209 W: two panels of 100 W are short of it, three do not make
        # two strings.
        ({"panels.PV1.series": "auto", "panels.PV1.parallel": "auto"}, {"PV1.series": 2, "PV1.parallel": 2}),
        ({"panels.PV1.series": "auto"}, {"PV1.series": 2}),
        # Chapter 9 Tables 1, 4, 5: 2 of 10 AWG and one of 12 AWG take 0.0555 in², 1/2 in has room for 0.114.
        ({"raceways.C1": C1}, {"C1.part": "pvc-sch40-0.5"}),
        # Six of 10 AWG take 0.1266 in²: 3/4 in, room for 0.203.
        (
            {
                "raceways.C1": C1,
                "runs.R3.raceway": "C1",
                "raceways.C2": None,
                "runs.R1.conductors[2].size": "10 AWG",
            },
            {"C1.part": "pvc-sch40-0.75"},
        ),
    ],
)
def test_the_smallest_that_passes(edit: dict[str, Any], wanted: dict[str, str | int]) -> None:
    assert chosen(edit) == wanted


def test_fuse_of_a_motor_carries_its_label_current_and_no_more() -> None:
    # label 8 A; 430.52 permits 150 %, 12 A, next standard 15 A; in the catalogue the smallest from 8 A is 8 A
    made = only(sized({**BOX, "fuses.F1.part": "auto"}))

    assert made.chosen == "fuse-10x38-dc-8a"
    assert made.next_smaller == "fuse-blade-7.5a"
    assert "fuse.motor-branch" in made.would_fail


def test_reason_tells_what_the_next_smaller_would_have_failed() -> None:
    made = only(sized(R1))

    assert made.next_smaller == "12 AWG"
    assert made.would_fail == ("drop.power-run",)
    assert "4.02 %" in made.reason
    assert (made.tag, made.key, made.what) == ("R1", "size", "wire size")
    assert made.written == 'size = "10 AWG"'
    assert made.path[0] == "runs"
    assert made.path[-1] == "size"


def test_grounding_conductor_grows_with_the_circuit_that_is_enlarged_for_drop() -> None:
    # R3 at 15 m: 10 AWG 4.1 %, 8 AWG (2.55 ohm/km) 2.6 %. 14 AWG would carry the motor (1.25 · 8 A), so
    # 8 AWG is 16 510 / 4 110 = 4.02 times as much metal; the 14 AWG of Table 250.122 for 15 A grows to 8 AWG
    # (250.122(B)).
    edit = {
        **WIDE,
        "runs.R3.length": "15 m",
        "runs.R3.size": "auto",
        "runs.R3.conductors[2].size": "auto",
    }

    assert chosen(edit) == {"R3.size": "8 AWG", "R3.3.size": "8 AWG"}
    assert chosen({**edit, "runs.R3.length": "10 m"})["R3.size"] == "10 AWG"


def test_several_choices_are_made_together() -> None:
    assert chosen(FIVE) == {
        "R1.size": "10 AWG",
        "R1.3.size": "12 AWG",
        "R3.size": "10 AWG",
        "F1.part": "fuse-10x38-dc-8a",
        "C1.part": "pvc-sch40-0.5",
    }


def test_metric_sizes_by_the_metric_book() -> None:
    # 2 · 10 m · 22.5 ohm mm²/km · 11.12 A of 36 V: 4 mm² 3.5 %, 6 mm² 2.3 % (IEC 60364-5-52 Annex G)
    sold = [{"size": f"{s} mm2", "price": 1.0, "pack_length": "30 m"} for s in ("1.5", "2.5", "4", "6", "10")]
    parts = ("panel-r", "breaker-r", "booster-r", "holder-r", "isolator-r", "pump-r", "bond-r")
    edit = {
        **METRIC,
        **{f"part:{part}.wire.largest": "16 mm2" for part in parts},
        "part:thwn2-r.sizes": [*sold, {"size": "16 mm2", "price": 1.0, "pack_length": "30 m"}],
        "part:thwn2-r.insulation": "h07v-k",
        "part:conduit-r.raceway": "pvc-rigid",
        "part:conduit-r.trade_size": "25 mm",
        **R1,
    }

    assert only(sized(edit)).chosen == "6 mm2"
    assert only(sized(edit)).next_smaller == "4 mm2"


# -- against trying everything ---------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_equals_the_smallest_of_all_sizes_tried_one_by_one(seed: int) -> None:
    rng = random.Random(seed)
    run = rng.choice(["R1", "R3"])
    edit = {
        **rng.choice([{}, WIDE]),
        f"runs.{run}.length": f"{rng.uniform(2.0, 16.0):.1f} m",
        "part:pump-r.rated_current": f"{rng.uniform(4.0, 8.0):.1f} A",
    }
    before = {(f.rule, f.subject) for f in loud(edit)} & {
        (f.rule, f.subject) for f in loud({**edit, f"runs.{run}.size": "6 AWG"})
    }
    passing = [
        s
        for s in SIZES
        if {(f.rule, f.subject) for f in loud({**edit, f"runs.{run}.size": s})}
        <= before - {("drop.power-run", run)}
    ]

    made = sized({**edit, f"runs.{run}.size": "auto"})

    assert bool(made.findings) is not bool(passing)
    if passing:
        assert only(made).chosen == passing[0]


def test_no_pair_of_smaller_choices_passes() -> None:
    edit = {**WIDE, "runs.R3.length": "12 m", "runs.R3.size": "auto", "runs.R3.conductors[2].size": "auto"}
    picked = chosen(edit)
    mine = (SIZES.index(str(picked["R3.size"])), SIZES.index(str(picked["R3.3.size"])))
    passing = [
        (a, b)
        for a, b in itertools.product(range(mine[0] + 1), range(mine[1] + 1))
        if not loud({**edit, "runs.R3.size": SIZES[a], "runs.R3.conductors[2].size": SIZES[b]})
    ]

    assert passing == [mine]


def test_a_longer_run_never_takes_a_smaller_wire() -> None:
    picked = [
        SIZES.index(str(only(sized({**WIDE, **R1, "runs.R1.length": f"{length} m"})).chosen))
        for length in (1, 3, 5, 8, 11, 14, 17)
    ]

    assert picked == sorted(picked)
    assert picked[0] < picked[-1]


# -- what the choices leave behind -----------------------------------------------------------------


def test_choices_written_out_are_clean_and_stay_as_they_are() -> None:
    assert "auto" not in str(explicit(FIVE))
    assert loud(explicit(FIVE)) == []


@pytest.mark.parametrize("edit", [FIVE, {**R1, "runs.R1.length": "40 m"}])
def test_nothing_left_open_reaches_the_graph_or_a_schedule(edit: dict[str, Any]) -> None:
    made = sized(edit).description
    assert made is not None
    assert described(edit).autos()
    assert made.autos() == ()
    connected, wrong = connect(made)
    assert connected is not None, wrong
    for table in (conductor_schedule(solve(connected)), parts_list(solve(connected))):
        assert table.rows
        assert not [cell for row in table.rows for cell in row.values() if str(cell).strip() == "auto"]


def test_the_graph_refuses_what_is_left_open() -> None:
    for edit in (R1, EGC, {"fuses.F1.part": "auto"}, {"panels.PV1.series": "auto"}):
        with pytest.raises(ValueError, match="auto"):
            connect(described(edit))


def test_a_spec_that_says_everything_passes_through_untouched() -> None:
    description = described({})
    made = sized({})

    assert made.choices == made.findings == ()
    assert made.description is not None
    assert made.description.entries == description.entries


def test_the_same_spec_gets_the_same_choices() -> None:
    assert sized(FIVE).choices == sized(FIVE).choices


# -- what cannot be --------------------------------------------------------------------------------


def test_the_rules_in_conflict_are_named() -> None:
    # At 20 m 6 AWG would keep the target (tests of drop.power-run), and the booster takes up to 10 AWG.
    made = sized({**R1, "runs.R1.length": "20 m", "raceways.C1.length": "20 m"})
    (finding,) = made.findings

    assert finding.rule == "auto.impossible"
    assert finding.severity is Severity.ERROR
    assert finding.stops_the_job
    assert "drop.power-run" in finding.message
    assert "terminal.range" in finding.message
    assert "drop.power-run" in finding.required
    assert finding.places[0] == only(made).place
    assert not only(made).passes
    assert "No wire size passes every rule" in only(made).reason


def test_a_conflict_tells_the_limit_that_is_met_and_what_may_give_way() -> None:
    # 2 · 20 m · 4.07 ohm/km · 11.12 A of 36 V: 10 AWG loses 5.0 %, 8 AWG 3.2 %, 6 AWG keeps the 3 %.
    (finding,) = sized({**R1, "runs.R1.length": "20 m", "raceways.C1.length": "20 m"}).findings

    assert "It would take 6 AWG, but 8 AWG breaks this: R1.2 (8 AWG) does not suit CB1.pv-" in finding.message
    assert "tries" not in finding.message  # it is proved
    assert "Take 6 AWG for R1" in finding.fix
    assert '[[accepted]] with rule = "' in finding.fix


def test_what_no_choice_ends_is_told_as_such() -> None:
    # At 40 m even 6 AWG, the largest in which the wire is sold, loses more than the target.
    (finding,) = sized({**R1, "runs.R1.length": "40 m", "raceways.C1.length": "40 m"}).findings

    assert "Whatever is taken: R1 loses" in finding.message


def test_one_impossible_place_does_not_spoil_the_others() -> None:
    made = sized({**R1, "runs.R1.length": "40 m", "runs.R3.size": "auto"})
    by_tag = {choice.tag: choice for choice in made.choices}

    assert [f.rule for f in made.findings] == ["auto.impossible"]
    assert not by_tag["R1"].passes
    assert by_tag["R3"].passes
    assert by_tag["R3"].chosen == "10 AWG"


def test_an_accepted_deviation_decides_nothing() -> None:
    # 12 AWG loses 4.3 % of the motor's volts, see above; it carries 1.25 · 8 A behind a fuse of 15 A, and so
    # does 14 AWG (430.22, 240.4(D)).
    reason = {"rule": "drop.power-run", "on": "R3", "reason": "a short season", "by": "J. Designer"}

    assert chosen({"runs.R3.size": "auto"}) == {"R3.size": "10 AWG"}
    assert chosen({"runs.R3.size": "auto", "accepted.0": reason}) == {"R3.size": "14 AWG"}


@pytest.mark.parametrize(
    "fault",
    [
        {"runs.R1.conductors[1].color": "green"},
        {"pipes.D3.buried": "0.1 m"},
        {"part:pump-r.npsh_required": None},
    ],
)
def test_a_fault_that_no_choice_can_mend_is_not_blamed_on_the_choice(fault: dict[str, Any]) -> None:
    assert loud({**fault})
    assert chosen({**fault, **R1}) == {"R1.size": "10 AWG"}


def test_what_is_wrong_elsewhere_whatever_is_taken_is_named_and_not_blamed_on_the_choice() -> None:
    # The inlet hangs below the overflow: the wanted gap follows the bore of D3, but no bore makes one.
    low = {"tank.TK1.inlet": "18.2 m"}
    made = sized({**low, "pipes.D3.part": "auto", "pipes.D3.family": "pe100-sdr11"})

    assert made.findings == ()
    choice = only(made)
    assert choice.chosen == "pe100-32-sdr11"
    assert "but potable.air-gap, which no pipe ends" in choice.reason
    assert "potable.air-gap" in {f.rule for f in loud({**low, "pipes.D3.part": "pe100-32-sdr11"})}


# -- what there is to choose from ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edit", "rule", "word"),
    [
        ({"fuses.F1": {"part": "auto", "form": "5x20"}}, "spec.unknown-value", "10x38"),
        ({"raceways.C1": {"part": "auto", "length": "10 m"}}, "spec.missing-key", "pvc-sch40"),
        ({"raceways.C1": {**C1, "family": "pvc-sch4"}}, "spec.unknown-value", "pvc-sch40"),
        # metric tube has no area in the book of inch trade sizes
        ({"raceways.C1": {**C1, "family": "pvc-rigid"}}, "auto.impossible", "raceway"),
        ({"fuses.F1.part": "auto", "runs.R2.conductors[1].to": "F1.9"}, "auto.impossible", "terminals"),
        ({**R1, "part:thwn2-r.sizes": []}, "auto.impossible", "sold in no size"),
        ({**R1, "runs.R1.conductors[0].to": "Q1.9"}, "spec.unknown-terminal", "Q1"),
    ],
)
def test_nothing_to_choose_from_is_said(edit: dict[str, Any], rule: str, word: str) -> None:
    made = sized(edit)

    assert made.description is None
    assert [f.rule for f in made.findings] == [rule]
    assert word in made.findings[0].message
    assert made.findings[0].places


def test_a_form_narrows_the_choice() -> None:
    blade = only(sized({"fuses.F1": {"part": "auto", "form": "blade"}}))

    assert str(blade.chosen).startswith("fuse-blade-")


def test_pipes_that_meet_on_a_valve_take_one_size() -> None:
    auto = {"part": "auto", "family": "pe100-sdr11"}
    edit = {f"pipes.{tag}.{key}": value for tag in ("D1", "D2") for key, value in auto.items()}
    made = sized(edit)

    assert [choice.tag for choice in made.choices] == ["D1", "D2"]
    assert len({choice.chosen for choice in made.choices}) == 1


def test_lines_of_the_choices_are_those_of_the_file() -> None:
    made = sized(FIVE)
    lines = described(FIVE).document.text.splitlines()

    assert len(made.choices) == 5
    for choice in made.choices:
        assert f'{choice.key} = "auto"' in lines[choice.place.line - 1]
    assert [c.place for c in made.choices] == sorted(c.place for c in made.choices)
    assert reference_job()["runs"][0]["tag"] == "R1"
