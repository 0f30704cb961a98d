"""Figures against worked examples and tables from outside of the project, the source beside each."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from specc.physics.conductors import egc_upsized_area_m2, two_wire_drop_v
from specc.physics.panels import cold_voltage_v
from specc.rulebooks import M2_PER_UNIT, load_rulebook
from tests.reference import read_edited

US, IEC = load_rulebook("us-2023"), load_rulebook("iec")
CELSIUS = 273.15
FOOT = 0.3048


# -- sources -----------------------------------------------------------------------------------------


def test_string_voltage_on_the_coldest_morning() -> None:
    # Handbook arithmetic: 12 modules of 44.1 V, -0.31 %/K, -20 degC: 12 x 44.1 x (1 + 0.0031 x 45) = 603.0 V.
    assert cold_voltage_v(44.1, 12, -0.0031, CELSIUS - 20.0) == pytest.approx(603.02, abs=0.01)


@pytest.mark.parametrize(("celsius", "factor"), [(24.0, 1.02), (0.0, 1.10), (-7.0, 1.14), (-40.0, 1.25)])
def test_cold_voltage_factor_without_a_coefficient(celsius: float, factor: float) -> None:
    # NEC 2023 Table 690.7(A): 24 to 20 degC 1.02; 4 to 0 1.10; -6 to -10 1.14; -36 to -40 degC 1.25.
    assert US.cold_voltage_factor(CELSIUS + celsius).value == factor


@pytest.mark.parametrize(
    ("isc", "least", "fuse"), [(9.5, 14.84375, 15.0), (6.0, 9.375, 10.0), (8.33, 13.0156, 15.0)]
)
def test_array_circuit_device_is_1_56_times_isc(isc: float, least: float, fuse: float) -> None:
    # NEC 2023 690.8(A)(1) and 690.9(B): 1.25 x 1.25 x Isc = 1.5625 x Isc, next rating of 240.6(A).
    assert US.pv_fuse_band(isc).low_a == pytest.approx(least, rel=1e-4)
    assert US.next_rating_up(US.pv_fuse_band(isc).low_a, "pv fuse").value == fuse


# -- conductors --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "ambient_c", "count", "amperes"),
    [
        # NEC 2023 Tables 310.16 (90 degC copper), 310.15(B)(1)(1), 310.15(C)(1): handbook arithmetic.
        ("10 AWG", 30.0, 3, 40.0),
        ("10 AWG", 50.0, 6, 40.0 * 0.82 * 0.8),
        ("8 AWG", 45.0, 3, 55.0 * 0.87),
        ("12 AWG", 40.0, 9, 30.0 * 0.91 * 0.7),
    ],
)
def test_ampacity_after_correction(size: str, ambient_c: float, count: int, amperes: float) -> None:
    found = US.corrected_ampacity_a(size, "copper", 90.0, CELSIUS + ambient_c, count)

    assert found.value == pytest.approx(amperes, rel=1e-9)


def test_grounding_conductor_grows_with_the_circuit() -> None:
    # NEC 2023 250.122(B), handbook example: 60 A circuit, Table 250.122 gives 10 AWG; the circuit grows from
    # 6 AWG to 4 AWG, 41740 / 26240 x 10380 cmil = 16511 cmil: 8 AWG (16510 cmil).
    table = US.egc_size(60.0).value
    area = egc_upsized_area_m2(
        US.size_area_m2(table).value, US.size_area_m2("4 AWG").value, US.size_area_m2("6 AWG").value
    )

    assert table == "10 AWG"
    assert area / M2_PER_UNIT["cmil"] == pytest.approx(16511.0, abs=1.0)
    assert US.smallest_size_of_area(area).value == "8 AWG"


@pytest.mark.parametrize(
    ("size", "trade_size", "most"),
    [
        # NEC 2023 Annex C, Table C.1 (EMT), THHN / THWN-2: number of conductors of one size.
        ("12 AWG", "1/2", 9),
        ("12 AWG", "3/4", 16),
        ("10 AWG", "1/2", 5),
        ("10 AWG", "3/4", 10),
        ("8 AWG", "3/4", 5),
    ],
)
def test_conduit_holds_the_number_of_annex_c(size: str, trade_size: str, most: int) -> None:
    room = US.raceway_area_m2("emt", trade_size).value * US.fill_fraction(most).value

    assert math.floor(room / US.conductor_area_m2("thwn-2", size).value) == most


@pytest.mark.parametrize(("size", "cmil"), [("12 AWG", 6530), ("10 AWG", 10380), ("6 AWG", 26240)])
def test_voltage_drop_agrees_with_the_k_formula(size: str, cmil: int) -> None:
    # Handbook formula: Vd = 2 K I L / cmil with K = 12.9 ohm cmil/ft for copper at 75 degC; 10 A, 200 ft.
    by_k = 2 * 12.9 * 10.0 * 200.0 / cmil

    by_table = two_wire_drop_v(200.0 * FOOT, US.drop_resistance_ohm_per_m(size).value, 10.0)

    assert by_table == pytest.approx(by_k, rel=0.02)


@pytest.mark.parametrize(
    ("size", "insulation_c", "amperes"),
    [
        # IEC 60364-5-52:2009 Tables B.52.2 (PVC) and B.52.3 (XLPE), method B1, two loaded copper conductors.
        ("1.5 mm2", 70.0, 17.5),
        ("2.5 mm2", 70.0, 24.0),
        ("4 mm2", 70.0, 32.0),
        ("6 mm2", 70.0, 41.0),
        ("2.5 mm2", 90.0, 31.0),
        ("4 mm2", 90.0, 42.0),
    ],
)
def test_metric_ampacity_is_that_of_the_standard(size: str, insulation_c: float, amperes: float) -> None:
    assert IEC.ampacity_a(size, "copper", insulation_c, "raceway").value == amperes


@pytest.mark.parametrize(
    ("size", "mv_per_a_m"),
    [("1.5 mm2", 29.0), ("2.5 mm2", 18.0), ("4 mm2", 11.0), ("6 mm2", 7.3), ("10 mm2", 4.4)],
)
def test_metric_drop_is_that_of_the_millivolt_tables(size: str, mv_per_a_m: float) -> None:
    # Two-wire DC drop of PVC-insulated copper at 70 degC, mV per A and m: handbook table after IEC 60228.
    loop = 2.0 * IEC.drop_resistance_ohm_per_m(size).value * 1000.0

    assert loop == pytest.approx(mv_per_a_m, rel=0.04)


# -- the DC network ----------------------------------------------------------------------------------

# NEC 2023 Chapter 9 Table 8, uncoated stranded copper at 75 degC [ohm/km].
OHM_PER_KM = {"14 AWG": 10.3, "12 AWG": 6.5, "10 AWG": 4.07, "8 AWG": 2.551, "6 AWG": 1.608}
IMP, VMP = 5.56, 36.0  # two panel-r in series


def _random_job(seed: int) -> tuple[dict[str, Any], list[tuple[str, str, str, float]]]:
    """Strings on a random net of blocks with loops and parallel cables; each wire as (tag, a, b, ohm)."""
    dice = random.Random(seed)
    blocks = [f"TB{n}" for n in range(1, dice.randint(3, 6))]
    arrays = [f"PV{n}" for n in range(1, dice.randint(2, 5))]
    links = list(pairwise(blocks))
    links += [tuple(dice.sample(blocks, 2)) for _ in range(dice.randint(1, 4))]  # loops and parallel cables
    edit: dict[str, Any] = {f"terminal_blocks.{tag}": {"part": "block-r"} for tag in blocks}
    for tag in arrays[1:]:
        edit[f"panels.{tag}"] = {"part": "panel-r", "series": 2, "location": "array"}
    edit["panels.PV1.parallel"] = 1
    pairs = [(f"{tag}.+", f"{b}.1", f"{tag}.-", f"{b}.3") for tag in arrays for b in [dice.choice(blocks)]]
    pairs += [(f"{a}.1", f"{b}.1", f"{a}.3", f"{b}.3") for a, b in links]
    edit["runs.R1.conductors"] = [
        {"from": f"{blocks[0]}.1", "to": "Q1.1", "color": "red"},
        {"from": f"{blocks[0]}.3", "to": "CB1.pv-", "color": "white"},
    ]
    wires = [
        ("R1.1", f"{blocks[0]}.1", "Q1", 10.0 * 4.07e-3),
        ("R1.2", f"{blocks[0]}.3", "CB1.pv-", 10.0 * 4.07e-3),
        ("R2.1", "Q1", "CB1.pv+", 0.3 * 4.07e-3),
    ]
    for number, (plus_a, plus_b, minus_a, minus_b) in enumerate(pairs, 20):
        size, length = dice.choice(list(OHM_PER_KM)), round(dice.uniform(1.0, 60.0), 1)
        edit[f"runs.R{number}"] = {
            "wire": "thwn2-r",
            "size": size,
            "length": f"{length} m",
            "laid": "out of reach",
            "conductors": [
                {"from": plus_a, "to": plus_b, "color": "red"},
                {"from": minus_a, "to": minus_b, "color": "white"},
            ],
        }
        ohm = length * OHM_PER_KM[size] * 1e-3
        wires += [(f"R{number}.1", plus_a, plus_b, ohm), (f"R{number}.2", minus_a, minus_b, ohm)]
    return edit, wires


def _least_heat(wires: list[tuple[str, str, str, float]]) -> dict[str, float]:
    """Currents that Thomson's principle gives: of all that obey Kirchhoff's first law, those of least heat.

    Arrays are current sources of 2 Imp with Vmp/Imp across them, linear at the point of maximum power; the
    controller takes Imp of each. Solved by Lagrange's multipliers, one dense system.
    """
    arrays = sorted({a[:-2] for _, a, _, _ in wires if a.startswith("PV") and a.endswith("+")})
    edges = [*wires, *((tag, f"{tag}.+", f"{tag}.-", VMP / IMP) for tag in arrays)]
    nodes = sorted({node for _, a, b, _ in edges for node in (a, b)})
    index = {node: number for number, node in enumerate(nodes)}
    leaving = np.zeros((len(nodes), len(edges)))
    for number, (_, a, b, _) in enumerate(edges):
        leaving[index[a], number], leaving[index[b], number] = 1.0, -1.0
    given = np.zeros(len(nodes))
    for tag in arrays:
        given[index[f"{tag}.+"]] += 2 * IMP
        given[index[f"{tag}.-"]] -= 2 * IMP
    given[index["CB1.pv+"]] -= IMP * len(arrays)
    given[index["CB1.pv-"]] += IMP * len(arrays)
    laws = leaving[1:]  # one node's law follows from the others
    heat = np.diag([ohm for *_, ohm in edges])
    system = np.block([[heat, laws.T], [laws, np.zeros((len(nodes) - 1, len(nodes) - 1))]])
    solved = np.linalg.solve(system, np.concatenate([np.zeros(len(edges)), given[1:]]))
    return {tag: float(solved[number]) for number, (tag, *_) in enumerate(wires)}


@pytest.mark.parametrize("seed", range(12))
def test_random_networks_agree_with_least_heat(seed: int) -> None:
    edit, wires = _random_job(seed)
    expected = _least_heat(wires)

    point = read_edited(edit).design_point()

    assert max(abs(amperes) for amperes in expected.values()) > 1.0
    for tag, amperes in expected.items():
        assert point.current_a[tag] == pytest.approx(amperes, abs=1e-6), tag
