"""What joins live nets to earth, found from the wiring alone."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules._variants import FLOATING, FUNCTIONAL, FUNCTIONAL_BY_FUSE, FUNCTIONAL_INSIDE
from specc.system import bonding, earthing
from specc.system.roles import role_of
from tests.reference import read_edited


def only(edit: dict[str, Any]) -> bonding.Bond:
    (bond,) = bonding.bonds(read_edited(edit).walked)
    return bond


def test_a_system_bond_is_solid_and_its_lead_is_one_conductor() -> None:
    bond = only({})

    assert (bond.tag, bond.solid, bond.functional) == ("GB1", True, False)
    assert [c.tag for c in bond.lead] == ["R5.2"]


@pytest.mark.parametrize(
    ("edit", "tag", "hidden"),
    [(FUNCTIONAL, "GF1", False), (FUNCTIONAL_INSIDE, "CB1", True), (FUNCTIONAL_BY_FUSE, "F9", False)],
)
def test_a_fuse_makes_a_joint_functional_wherever_it_stands(
    edit: dict[str, Any], tag: str, hidden: bool
) -> None:
    system = read_edited(edit)
    bond = only(edit)

    assert (bond.tag, bond.functional, bond.hidden) == (tag, True, hidden)
    assert bond.through is not None and bond.through.through == "fuse"
    assert earthing.solidly_grounded_nets(system) == frozenset()
    assert earthing.functional_nets(system) == {system.walked.net("PV1.-")}


def test_a_fuse_in_the_circuit_is_not_in_the_joint() -> None:
    # The bond on the far side of the motor fuse: the fuse carries the motor as well.
    behind = {
        "runs.R2.conductors[1]": {"from": "CB1.motor+", "to": "DS1.1", "color": "red"},
        "runs.R2.conductors[2]": {"from": "CB1.motor-", "to": "F1.1", "color": "white"},
        "runs.R3.conductors[1].from": "F1.2",
        "runs.R5.conductors[1].to": "F1.2",
    }
    assert only(behind).solid


def test_a_switch_in_the_joint_is_neither_solid_nor_functional() -> None:
    edit = {
        **FUNCTIONAL_BY_FUSE,
        "fuses.F9": None,
        "disconnects.F9": {"part": "isolator-r", "location": "pump house"},
    }
    bond = only(edit)

    assert not bond.solid and not bond.functional


def test_roles_of_the_conductors_of_a_joint() -> None:
    system = read_edited(FUNCTIONAL_BY_FUSE)
    roles = {c.tag: role_of(system.connected, system.walked, c).words for c in system.conductors}

    assert roles["R5.2"] == roles["R5.3"] == "functional earth"
    assert roles["R5.1"] == "equipment ground"


def test_a_device_that_is_wired_on_one_side_only_joins_nothing() -> None:
    edit = {**FUNCTIONAL, "runs.R5.conductors[2]": None}

    assert bonding.bonds(read_edited(edit).walked) == ()
    assert bonding.bonds(read_edited(FLOATING).walked) == ()
