"""What follows from what: marked beside its cause, never dropped, never without one."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from specc.diagnostics import Finding, Severity, Verdict, in_order
from specc.pipeline import compile_spec
from specc.rendering.files_json import findings_json
from specc.rendering.findings_text import findings_text, summary_text
from specc.rules import ALL_RULES
from specc.rules._rule import Case, Rule
from specc.rules.consequences import edited as mended
from specc.rules.consequences import with_causes
from specc.rules.engine import check
from specc.system.connect import connect
from specc.system.system import solve
from tests.reference import check_edited, edited, read_edited

# The array's pair crossed in the box, behind its breaker, at the controller.
CROSSED: dict[str, Any] = {
    "runs.R1.conductors[1].to": "CB1.pv+",
    "runs.R2.conductors[0].to": "CB1.pv-",
}
THIN = {"runs.R3.size": "16 AWG"}


def open_findings(edit: dict[str, Any]) -> list[Finding]:
    return [f for f in check_edited(edit).findings if f.verdict is not Verdict.SATISFIED]


def named(findings: list[Finding]) -> set[tuple[str, str]]:
    return {(f.rule, f.subject) for f in findings}


def test_what_a_crossed_pair_brings_is_marked_and_stands_behind_it() -> None:
    findings = open_findings(CROSSED)
    places = {(f.rule, f.subject): n for n, f in enumerate(findings)}
    following = [f for f in findings if f.follows]

    assert ("disconnect.poles", "Q1") in named(following) | {("disconnect.poles", "DS1")} & named(following)
    assert {f.follows.name for f in following if f.follows} == {"polarity.reversed on CB1"}
    cause = places["polarity.reversed", "CB1"]
    assert [places[key] for key in sorted(named(following), key=places.__getitem__)] == list(
        range(cause + 1, cause + 1 + len(following))
    )


def test_what_is_wrong_by_itself_is_not_marked() -> None:
    thin = {f for f in named(open_findings(THIN)) if f[0].startswith(("ampacity", "fuse"))}
    both = open_findings({**CROSSED, **THIN})

    assert thin
    assert thin <= named([f for f in both if not f.follows])


def test_nothing_is_dropped_and_the_counts_stay() -> None:
    findings = check_edited(CROSSED).findings
    lone = {
        (f.rule, f.subject)
        for rule in ALL_RULES
        for f in check_edited(CROSSED, (rule,)).findings
        if f.verdict is Verdict.VIOLATED and f.rule == rule.id
    }

    assert lone <= {(f.rule, f.subject) for f in findings if f.verdict is Verdict.VIOLATED}
    assert "follow from another" in summary_text(findings, read=True)


def test_two_causes_have_each_its_own() -> None:
    edit = {**CROSSED, "switches.LS1.closes_on": "rise"}
    causes = {f.follows.name for f in open_findings(edit) if f.follows}

    assert "polarity.reversed on CB1" in causes
    assert not any(
        f.follows for f in open_findings(edit) if f.rule in ("polarity.reversed", "float.wrong-way")
    )


def test_a_cause_alone_has_no_mark() -> None:
    assert not any(f.follows for f in open_findings({}))
    assert not any(f.follows for f in open_findings(THIN))


def _made(rule: str, severity: Severity = Severity.ERROR, *, mends: bool = False) -> Finding:
    edit = ((("runs", 1, "conductors", 0, "to"), "CB1.pv+"),) if mends else ()
    return Finding(rule, Verdict.VIOLATED, severity, rule, subject="X", mends=edit)


CAUSE, HARM = _made("a.cause", mends=True), _made("b.harm", Severity.DANGER)


@pytest.mark.parametrize(
    ("left", "believed"),
    [
        ((), True),  # both are gone
        ((_made("c.other", Severity.WARNING),), True),
        ((HARM,), False),  # it stays all the same
        ((CAUSE,), False),  # the edit mends nothing
        ((_made("c.other", Severity.DANGER),), False),  # the edit does new harm
        ((_made("c.other"),), False),
    ],
)
def test_an_edit_is_believed_that_mends_and_does_no_new_harm(
    left: tuple[Finding, ...], believed: bool
) -> None:
    marked = with_causes(read_edited({}), (CAUSE, HARM), lambda mended: left)

    assert [f.follows for f in marked] == [None, CAUSE if believed else None]


def test_an_accepted_finding_is_neither_cause_nor_consequence() -> None:
    taken = replace(HARM, accepted="it is so")

    assert with_causes(read_edited({}), (CAUSE, taken), lambda mended: ())[1].follows is None
    assert (
        with_causes(read_edited({}), (replace(CAUSE, accepted="so"), HARM), lambda mended: ())[1].follows
        is None
    )


def test_a_short_by_a_moved_conductor_carries_what_that_conductor_does() -> None:
    findings = open_findings({"runs.R1.conductors[1].to": "Q1.1"})
    following = {f.name for f in findings if f.follows}

    assert "terminal.range on Q1.1" in following
    assert "wiring.open-path on PV1" not in following  # it is still open with the conductor taken out


def test_text_json_and_packet_say_it() -> None:
    spec, parts = edited(CROSSED)
    made = compile_spec(spec, "job.toml", lambda name: parts, strict=True)
    text = findings_text(made.findings, {})
    rows = json.loads(findings_json("job.toml", None, made.findings))["findings"]

    assert "follows from polarity.reversed on CB1" in " ".join(text.split())
    assert {"rule": "polarity.reversed", "subject": "CB1"} in [row.get("follows") for row in rows]
    from specc.pipeline import packet
    from specc.rendering.html import packet_html

    assert "polarity.reversed on CB1, above" in packet_html(packet(made, draft=True))


def test_a_consequence_lifts_its_cause_to_where_the_worse_belongs() -> None:
    cause = Finding("a.cause", Verdict.VIOLATED, Severity.WARNING, "cause")
    harm = Finding("z.harm", Verdict.VIOLATED, Severity.DANGER, "harm", follows=cause)
    other = Finding("m.other", Verdict.VIOLATED, Severity.ERROR, "other")

    assert [f.rule for f in in_order((other, harm, cause))] == ["a.cause", "z.harm", "m.other"]
    assert [f.rule for f in in_order((other, harm))] == ["z.harm", "m.other"]


_MENDING = [
    pytest.param(rule, case, id=f"{rule.id}-{number}")
    for rule in ALL_RULES
    if rule.group in ("polarity", "fuse", "disconnect", "float")
    for number, case in enumerate(rule.fires, 1)
]


@pytest.mark.parametrize(("rule", "case"), _MENDING)
def test_an_edit_mends_what_it_is_given_for(rule: Rule, case: Case) -> None:
    system = read_edited(case.edit)
    found = [f for f in check(system, (rule,), strict=True).findings if f.rule == rule.id and f.mends]
    for finding in found:
        connected, wrong = connect(mended(system.description, finding.mends))
        assert connected is not None and not wrong
        left = check(solve(connected), (rule,), strict=True).findings
        assert not [
            f.message
            for f in left
            if (f.rule, f.subject, f.verdict) == (rule.id, finding.subject, Verdict.VIOLATED)
        ]
