"""The search itself: what it depends on, what it may pass over, what it must take up again."""

from __future__ import annotations

from specc.sizing.blanks import blanks
from specc.sizing.search import Needs, Trials
from tests.sizing.left_open import EGC, R1, described


def trials(edit: dict[str, object]) -> Trials:
    description = described(edit)
    found, wrong = blanks(description)
    assert wrong == ()
    return Trials(description, found, strict=True)


def test_blanks_come_in_the_order_of_the_file_and_their_candidates_rise() -> None:
    description = described({**R1, **EGC, "fuses.F1.part": "auto"})
    found, _ = blanks(description)

    assert [blank.name for blank in found] == ["F1", "R1", "R1.3"]
    for blank in found:
        measures = [candidate.measure for candidate in blank.candidates]
        assert len(measures) > 2
        assert measures == sorted(measures)


def test_an_objection_depends_on_what_changes_its_figures() -> None:
    tried = trials({**R1, **EGC})  # blank 0: the pair, 1: its grounding conductor
    smallest = (0, 0)
    by_key = {o.key: o for o in tried.objections(smallest)}

    drop = tried.needs(by_key["drop.power-run", "R1"], smallest, thorough=True)
    ground = tried.needs(by_key["ground.egc-size", "R1.3"], (3, 0), thorough=True)

    assert drop.any_of == (0,)
    assert 1 in ground.any_of


def test_a_fault_thought_beyond_all_choices_is_taken_up_again() -> None:
    tried = trials(R1)
    # As though the first look had found that no size changes the drop.
    tried._beyond.add(("drop.power-run", "R1"))
    tried._needs[("drop.power-run", "R1"), False] = Needs((), (), ())

    found = tried.search()

    assert found.assignment is not None
    assert tried.blanks[0].candidates[found.assignment[0]].shown == "10 AWG"


def test_what_is_given_up_no_longer_decides() -> None:
    tried = trials({**R1, "runs.R1.length": "9 m"})
    drop = tuple(o for o in tried.objections((0,)) if o.rule == "drop.power-run")
    assert drop
    before = tried.search().assignment
    tried.give_up(drop)
    after = tried.search().assignment

    assert before is not None
    assert after is not None
    assert after < before


def test_what_cannot_pass_is_refuted_and_what_can_is_not() -> None:
    far = trials({**R1, "runs.R1.length": "20 m"})
    near = trials(R1)

    assert far.search().assignment is None
    assert far.refuted(["drop.power-run", "terminal.range"])
    assert not far.refuted(["terminal.range"])
    assert not near.refuted(["drop.power-run", "terminal.range"])
