"""The examples that ship are clean, and every deliberate mistake in them is caught by the rule it names."""

from __future__ import annotations

from pathlib import Path

import pytest

from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import Compiled, compile_spec

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
FAULTY = EXAMPLES / "faulty"
STARTERS = ROOT / "templates" / "starters"
GRAVE = (Severity.DANGER, Severity.ERROR)


def jobs(folder: Path) -> list[Path]:
    """The job specs of a folder, without the catalogues beside them."""
    return sorted(path for path in folder.glob("*.toml") if not path.stem.endswith("-parts"))


def compiled(path: Path) -> Compiled:
    return compile_spec(
        path.read_bytes(), path.name, lambda name: (path.parent / name).read_bytes(), strict=True
    )


def caught_by(path: Path) -> set[str]:
    """The rules that a faulty example names on its second line."""
    return {
        rule.strip() for rule in path.read_text(encoding="utf-8").splitlines()[1].split(":", 1)[1].split(",")
    }


def fired(findings: tuple[Finding, ...], *severities: Severity) -> set[str]:
    return {
        f.rule
        for f in findings
        if f.verdict is Verdict.VIOLATED and not f.accepted and (not severities or f.severity in severities)
    }


def told(findings: tuple[Finding, ...]) -> str:
    return "\n".join(f"{f.rule}: {f.message}" for f in findings if f.verdict is not Verdict.SATISFIED)


CLEAN = [*jobs(EXAMPLES), *jobs(STARTERS)]


@pytest.mark.parametrize("path", CLEAN, ids=lambda path: path.stem)
def test_an_example_is_clean_and_wholly_checked(path: Path) -> None:
    made = compiled(path)
    assert made.exit_status == 0, told(made.findings)
    assert fired(made.findings, *GRAVE, Severity.WARNING) == set(), told(made.findings)
    assert [f for f in made.findings if f.verdict is Verdict.NOT_CHECKED] == [], told(made.findings)
    # Clean because looked at, not because nothing was looked at.
    assert sum(f.verdict is Verdict.SATISFIED for f in made.findings) > 100


@pytest.mark.parametrize("path", jobs(FAULTY), ids=lambda path: path.stem)
def test_a_mistake_is_caught_by_the_rule_it_names_and_nothing_grave_beside_it(path: Path) -> None:
    made = compiled(path)
    named = caught_by(path)
    assert named <= fired(made.findings), told(made.findings)
    assert fired(made.findings, *GRAVE) <= named, told(made.findings)


@pytest.mark.parametrize("path", jobs(FAULTY), ids=lambda path: path.stem)
def test_a_mistake_says_what_is_wrong_against_a_clean_example(path: Path) -> None:
    first, second = path.read_text(encoding="utf-8").splitlines()[:2]
    assert first.startswith("# Wrong on purpose, against ")
    assert second.startswith("# caught by: ")
    clean = EXAMPLES / first.removeprefix("# Wrong on purpose, against ").split(":")[0]
    assert clean in CLEAN
    body = path.read_text(encoding="utf-8").splitlines()[2:]
    assert body != clean.read_text(encoding="utf-8").splitlines()


def test_there_are_enough_mistakes_and_they_cover_many_rules() -> None:
    faulty = jobs(FAULTY)
    assert len(faulty) >= 24
    assert len(set().union(*map(caught_by, faulty))) >= 24


def test_the_catalogue_beside_the_faulty_copies_is_the_one_beside_the_examples() -> None:
    for path in FAULTY.glob("*-parts.toml"):
        assert path.read_bytes() == (EXAMPLES / path.name).read_bytes()


def test_every_starter_begins_with_the_line_that_lists_it() -> None:
    starters = jobs(STARTERS)
    assert {path.stem for path in starters} == {"dug-well-booster", "spring-pv-direct", "battery-pump"}
    for path in starters:
        first = path.read_text(encoding="utf-8").splitlines()[0]
        assert first.startswith("# ")
        assert len(first) <= 80
