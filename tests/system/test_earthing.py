"""What is bonded, grounded and positive in the reference job and its variants."""

from __future__ import annotations

from specc.rules._variants import BATTERY, FLOATING
from specc.system import earthing
from tests.reference import read_edited


def test_the_reference_job_is_one_supply_with_one_bond_on_its_negative() -> None:
    system = read_edited({})

    (supply,) = earthing.supplies(system)
    assert supply.tag == "PV1"
    assert [b.tag for b in supply.bonds] == ["GB1"]
    negative = system.walked.net("P1.-")
    assert earthing.solidly_grounded_nets(system) == {negative}
    assert earthing.polarity(system, negative) == "negative"
    assert earthing.polarity(system, system.walked.net("P1.+")) == "positive"
    assert earthing.polarity(system, system.walked.net("LS1.1")) == ""


def test_nothing_is_grounded_in_a_floating_job() -> None:
    system = read_edited(FLOATING)

    assert earthing.bonds(system) == ()
    assert earthing.solidly_grounded_nets(system) == frozenset()


def test_a_job_that_lacks_its_bond_is_taken_at_its_word() -> None:
    system = read_edited({**FLOATING, "job.earthing": "negative grounded"})

    assert earthing.solidly_grounded_nets(system) == {system.walked.net("PV1.-")}


def test_battery_array_and_controllers_are_one_supply() -> None:
    (supply,) = earthing.supplies(read_edited(BATTERY))

    assert {s.tag for s in supply.feeders} == {"PV1", "BT1"}


def test_a_grounding_conductor_bonds_what_lies_away_from_the_bond() -> None:
    system = read_edited({})
    bonded = {
        c.tag: {d.tag for d in earthing.bonded_by(system, c)} for c in earthing.ground_conductors(system)
    }

    assert bonded["R1.3"] == {"PV1"}
    assert bonded["R3.3"] == {"P1"}
    assert bonded["R6.1"] == {"GR1"}
    assert {"PV1", "CB1", "P1", "BOX1"} <= bonded["R5.3"]
