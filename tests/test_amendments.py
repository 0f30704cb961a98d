"""What an authority amends: laid over the tables, refused where the tables have no such value, and said."""

from __future__ import annotations

from itertools import cycle
from typing import Any

import pytest

from specc.amendments import FIXED_KEYS, FIXED_TABLES
from specc.diagnostics import Finding, Verdict
from specc.pipeline import Compiled, compile_spec
from specc.pipeline import packet as make_packet
from specc.reading.amending import limits
from specc.rendering.html import packet_html
from specc.rulebooks import load_handbook, load_rulebook
from specc.rules._edits import METRIC
from tests.reference import edited

HEAD = """[amendment]
authority = "Vale County building office"
source = "ordinance 12-3"
"""


def job(amendment: str, edit: dict[str, Any] | None = None) -> Compiled:
    """The reference job under an authority's amendment."""
    spec, parts = edited({"job.amendments": ["local.toml"], **(edit or {})})
    files = {"local.toml": amendment.encode(), "reference-parts.toml": parts}
    return compile_spec(spec, "job.toml", lambda name: files[name], strict=True)


def of(made: Compiled, rule: str, verdict: Verdict = Verdict.VIOLATED) -> list[Finding]:
    return [f for f in made.findings if f.rule == rule and f.verdict is verdict]


def test_a_deeper_cover_is_asked_for_and_the_clause_says_who_asks() -> None:
    made = job(HEAD + "[rulebook.cover.general.cover_m]\npvc = 0.7\n")

    findings = of(made, "raceway.cover")

    assert {f.subject for f in findings} == {"C1", "C2"}
    assert findings[0].required == "at least 700 mm"
    assert "Table 300.5(A)" in findings[0].clause
    assert "amended by Vale County building office, ordinance 12-3" in findings[0].clause
    assert "0.7, was 0.45" in findings[0].clause


def test_a_weaker_limit_lets_pass_what_the_book_refuses() -> None:
    shallow = {"raceways.C1.buried": "300 mm"}

    assert of(job(HEAD, shallow), "raceway.cover")
    assert not of(job(HEAD + "[rulebook.cover.general.cover_m]\npvc = 0.3\n", shallow), "raceway.cover")


def test_only_rules_that_use_the_value_name_the_amendment() -> None:
    made = job(HEAD + "[rulebook.factors.motor_device]\nvalue = 1.75\n")

    named = {f.rule for f in made.findings if "Vale County" in f.clause}

    assert "fuse.motor-branch" in named
    assert not named & {"raceway.cover", "polarity.reversed", "voltage.device-rating", "suction.npsh"}


def test_a_number_that_rests_on_an_amendment_says_so() -> None:
    made = job(HEAD + "[rulebook.factors.pv_maximum_current]\nvalue = 1.3\n")
    assert made.system is not None

    number = next(c for c in made.system.calculations() if c.symbol == "Imax")

    assert number.value == pytest.approx(1.3 * 12.0)
    assert "690.8" in number.source
    assert "amended by Vale County building office" in number.source


def test_handbook_values_are_amended_with_a_source_of_their_own() -> None:
    made = job(HEAD + '[handbook.thresholds.npsh_margin_m]\nvalue = 8.0\nsource = "ordinance 9"\n')

    (finding,) = of(made, "suction.npsh")

    assert "ordinance 9" in finding.clause
    assert "ordinance 12-3" not in finding.clause


def test_a_row_of_a_list_is_named_by_its_first_entry() -> None:
    made = job(HEAD + '[rulebook.equipment_ground.by_device.20]\ncopper = "8 AWG"\n')

    assert {f.subject for f in of(made, "ground.egc-size")} == {"R1.3"}


def test_a_flag_and_a_value_named_without_its_own_table() -> None:
    made = job(
        HEAD
        + "[rulebook.flags]\none_polarity_overcurrent = false\n[rulebook.thresholds]\ntouch_guard_v = 60.0\n"
    )
    assert made.system is not None

    assert made.system.book.flag("one_polarity_overcurrent").value is False
    assert made.system.book.threshold("touch_guard_v").value == 60.0


def test_the_books_themselves_stay_as_they_are() -> None:
    before = load_rulebook("us-2023").factor("motor_device"), load_handbook().threshold("npsh_margin_m")

    job(HEAD + "[rulebook.factors.motor_device]\nvalue = 1.75\n[handbook.thresholds]\nnpsh_margin_m = 3.0\n")

    assert (
        load_rulebook("us-2023").factor("motor_device"),
        load_handbook().threshold("npsh_margin_m"),
    ) == before


def test_the_cover_prints_every_amendment() -> None:
    made = job(HEAD + "[rulebook.factors.motor_device]\nvalue = 1.75\n")

    html = packet_html(make_packet(made, draft=False))

    assert (
        "us-2023, factors motor device: 1.75 in place of 1.5 (looser than the book). "
        "Vale County building office, ordinance 12-3" in html
    )
    assert "as amended" in html


BROKEN = [
    ("[rulebook.factorz.x]\nvalue = 1.0\n", "spec.unknown-table", 4, "factors"),
    ("[rulebook.factors.motor_devise]\nvalue = 1.5\n", "spec.unknown-key", 4, "motor_device"),
    ("[rulebook.cover.general.cover_m]\npvcc = 0.6\n", "spec.unknown-key", 5, "pvc"),
    ("[rulebook.sizes]\nunit = 3\n", "spec.unknown-table", 4, "sizes"),
    ('[rulebook.factors.motor_device]\nvalue = "1.5"\n', "spec.wrong-type", 5, "number"),
    ("[rulebook.factors.motor_device]\nvalue = true\n", "spec.wrong-type", 5, "number"),
    ("[rulebook.factors.motor_device]\nvalue = nan\n", "spec.out-of-range", 5, "finite"),
    ("[rulebook.thresholds.touch_guard_v]\nvalue = inf\n", "spec.out-of-range", 5, "finite"),
    ("[rulebook.factors.motor_device]\nvalue = 0.0\n", "spec.out-of-range", 5, "0"),
    ("[rulebook.factors.motor_device]\nvalue = 15.0\n", "spec.out-of-range", 5, "1.5"),
    ("[rulebook.factors.motor_device]\nvalue = -1.5\n", "spec.out-of-range", 5, "-1.5"),
    ('[rulebook.factors.motor_device]\nverified = "me"\n', "spec.unknown-key", 5, "verified"),
    ('[rulebook.bonding]\nframe_bond = "11 AWG"\n', "spec.out-of-range", 5, "size"),
    ("[rulebook]\nfactors = 3\n", "spec.wrong-type", 5, "table"),
    ("[handbook.thresholds.npsh]\nvalue = 1.0\n", "spec.unknown-key", 4, "npsh"),
    ("[rulebok.factors.motor_device]\nvalue = 1.5\n", "spec.unknown-table", 4, "rulebook"),
]


@pytest.mark.parametrize(("text", "rule", "line", "word"), BROKEN)
def test_what_the_tables_do_not_have_is_refused_where_it_stands(
    text: str, rule: str, line: int, word: str
) -> None:
    made = job(HEAD + text)

    assert made.system is None
    assert [f.rule for f in made.findings] == [rule]
    assert (made.findings[0].places[0].file, made.findings[0].places[0].line) == ("local.toml", line)
    assert word in f"{made.findings[0].message} {made.findings[0].fix}"


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "spec.empty"),
        ("[rulebook.factors.motor_device]\nvalue = 1.5\n", "spec.missing-key"),
        ('[amendment]\nauthority = "A"\n', "spec.missing-key"),
        ('[amendment]\nauthority = "A"\nsource = "S"\nrulebook = "us-1776"\n', "spec.unknown-value"),
        ("[amendment\n", "spec.syntax"),
    ],
)
def test_an_amendment_without_its_authority_is_refused(text: str, rule: str) -> None:
    made = job(text)

    assert made.system is None
    assert rule in {f.rule for f in made.findings}


def test_a_file_that_is_not_there_is_refused() -> None:
    spec, parts = edited({"job.amendments": ["nowhere.toml"]})

    def read(name: str) -> bytes:
        if name == "reference-parts.toml":
            return parts
        raise FileNotFoundError(2, "No such file", name)

    made = compile_spec(spec, "job.toml", read, strict=True)

    assert [f.rule for f in made.findings] == ["spec.unreadable-catalog"]
    assert "amendments" in made.findings[0].message


def test_an_amendment_of_another_book_leaves_the_jobs_own_alone() -> None:
    text = HEAD + 'rulebook = "iec"\n[rulebook.factors.motor_device]\nvalue = 2.0\n'
    made = job(text, {"job.also_under": "iec"})
    assert made.system is not None and made.also is not None

    assert made.system.book.amendments == ()
    assert any("Vale County" in f.clause for f in made.also.findings)
    assert not any("Vale County" in f.clause for f in made.findings)


# -- how far an amendment may go ---------------------------------------------------------------------


TOO_LOOSE = [
    ("[rulebook.factors.pv_maximum_current]\nvalue = 0.9\n", "less than 1"),
    ("[rulebook.factors.motor_conductor]\nvalue = 0.99\n", "less than 1"),
    ("[rulebook.factors.overload_other]\nvalue = 1.5\n", "more than 1.4"),
    ("[handbook.thresholds]\nnpsh_margin_m = 0.0\n", "looser"),
    ("[handbook.thresholds]\nnpsh_margin_m = 0.2\n", "0.25"),
    ("[handbook.thresholds]\nnpsh_margin_m = -0.5\n", "-0.5"),
    ("[handbook.thresholds]\nbattery_fuse_distance_m = 3.0\n", "0.6"),
    ('[rulebook.enclosures.outdoors]\ntypes = ["1", "3R", "4", "4X"]\n', "adds 1"),
    ("[rulebook.enclosures.outdoors]\ntypes = []\n", "nothing would serve"),
    ("[rulebook.enclosures.outdoors]\nip_water = 1\n", "less than 3"),
    ("[rulebook.thresholds.touch_guard_v]\nvalue = 120.0\n", "more than 60"),
    ("[rulebook.cover.general.cover_m]\npvc = 0.1\n", "looser"),
    ('[rulebook.equipment_ground.by_device.20]\ncopper = "16 AWG"\n', "half of the metal"),
    ("[rulebook.equipment_ground.by_device.20]\nup_to_a = 100\n", "which row"),
    ("[rulebook.grouping.3]\nfactor = 1.2\n", "more than 1"),
    ("[handbook.thresholds]\nhottest_wall_pvc_k = 353.15\n", "more than 333.15"),
    ("[rulebook.pv_fuse]\nmin_of_isc = 1.0\n", "less than 1.25"),
]


@pytest.mark.parametrize(("text", "word"), TOO_LOOSE)
def test_what_is_looser_than_plain_safety_is_refused_in_one_sentence(text: str, word: str) -> None:
    made = job(HEAD + text)

    assert made.system is None
    (finding,) = made.findings
    assert finding.rule == "spec.out-of-range"
    assert word in finding.message


LOOSER = [
    ("[rulebook.factors.motor_device]\nvalue = 1.75\n", "factors motor device"),
    ("[rulebook.cover.general.cover_m]\npvc = 0.3\n", "cover general cover m pvc"),
    ("[rulebook.flags]\none_polarity_overcurrent = false\n", "flags one polarity overcurrent"),
    ("[handbook.thresholds]\nnpsh_margin_m = 0.3\n", "thresholds npsh margin m"),
    ('[rulebook.equipment_ground.by_device.20]\ncopper = "14 AWG"\n', "equipment ground"),
]


@pytest.mark.parametrize(("text", "name"), LOOSER)
def test_what_an_authority_loosens_is_said_as_a_loosening(text: str, name: str) -> None:
    made = job(HEAD + text)

    (finding,) = of(made, "spec.amendment-loosens")

    assert name in finding.message and "looser than the book" in finding.message
    html = packet_html(make_packet(made, draft=True))
    assert "(looser than the book)" in html


@pytest.mark.parametrize(
    "text",
    [
        "[rulebook.factors.motor_device]\nvalue = 1.25\n",
        "[rulebook.cover.general.cover_m]\npvc = 0.7\n",
        "[handbook.thresholds]\nnpsh_margin_m = 8.0\n",
        '[rulebook.equipment_ground.by_device.20]\ncopper = "8 AWG"\n',
        '[rulebook.enclosures.outdoors]\ntypes = ["4X"]\n',
    ],
)
def test_what_is_stricter_is_no_loosening(text: str) -> None:
    assert not of(job(HEAD + text), "spec.amendment-loosens")


def _leaves(table: Any, keys: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    """Every number that an amendment can name, with the keys that name it."""
    if isinstance(table, bool):
        return []
    if isinstance(table, int | float):
        return [(keys, table)]
    if isinstance(table, dict):
        table = {k: v for k, v in table.items() if k not in FIXED_KEYS}
        if set(table) == {"rows"}:
            return _leaves(table["rows"], keys)
        return [leaf for key, inner in table.items() for leaf in _leaves(inner, (*keys, key))]
    rows = [row for row in table if isinstance(row, dict) and row] if isinstance(table, list) else []
    named = [
        (str(next(iter(row.values()))), row) for row in rows if not isinstance(next(iter(row.values())), list)
    ]
    return [leaf for name, row in named for leaf in _leaves(row, (*keys, name))]


def test_every_named_limit_is_one_of_a_table() -> None:
    known: set[tuple[str, ...]] = set()
    for tables in (
        load_rulebook("us-2023").tables(),
        load_rulebook("iec").tables(),
        load_handbook().tables(),
    ):
        for table, content in tables.items():
            known.add((table,))
            known |= {(table, *keys[: n + 1]) for keys, _ in _leaves(content) for n in range(len(keys))}
            known |= {(table, key) for key in content} if isinstance(content, dict) else set()

    assert not set(limits()) - known


@pytest.mark.parametrize("part", ["us-2023", "iec", "handbook"])
def test_no_value_that_is_taken_makes_a_check_fail(part: str) -> None:
    """A sample of all numbers, each as loose and as strict as is taken: the check comes to an answer."""
    book = load_handbook() if part == "handbook" else load_rulebook(part)
    found = [
        ((table, *keys), was)
        for table, content in book.tables().items()
        if table not in FIXED_TABLES
        for keys, was in _leaves(content)
    ]
    taken = 0
    for (keys, was), factor in zip(found[::4], cycle((0.5, 2.0, 0.85, 1.2)), strict=False):
        if was in (0.0, float("inf"), float("-inf")):
            continue
        head = HEAD + (f'rulebook = "{part}"\n' if part != "handbook" else "")
        named = ".".join(f'"{key}"' for key in keys[:-1])
        kind = "handbook" if part == "handbook" else "rulebook"
        text = f'[{kind}.{named}]\n"{keys[-1]}" = {was * factor!r}\n'
        made = job(head + text, METRIC if part == "iec" else None)
        assert made.findings
        taken += made.system is not None

    assert taken > 15
