"""Makes the choices, says why each is what it is, and names the rules in conflict where none can be made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from specc.choices import Choice
from specc.diagnostics import Finding, Severity, reading_error
from specc.reading.read import Description
from specc.sizing.blanks import Blank, blanks
from specc.sizing.search import MILDEST, MOST_TRIES, Assignment, Objection, Trials, moved

IMPOSSIBLE = "auto.impossible"
_MOST_RULES = 3  # named in one sentence
_MOST_GROUPS = 4  # of candidates that are told apart, those that break the fewest rules
# What a choice still keeps to where nothing passes every rule, by the rank of what is heeded.
_KEPT = {
    MILDEST: "that breaks nothing else",
    Severity.ERROR.rank: "that breaks none of the level of an error",
    Severity.DANGER.rank: "that breaks none of the level of a danger",
    -1: "there is",
}


def choose(
    description: Description, *, strict: bool
) -> tuple[Description | None, tuple[Choice, ...], tuple[Finding, ...]]:
    """The description with every blank filled (None where there is nothing to choose from), see ``size``."""
    found, wrong = blanks(description)
    if wrong:
        return None, (), wrong
    trials = Trials(description, found, strict=strict)
    smallest = (0,) * len(found)
    if wrong := trials.connects(smallest):
        return None, (), wrong
    heed = (MILDEST,) * len(found)
    short: dict[int, str] = {}
    passed_over: dict[int, list[str]] = {}  # of a blank, rules that object elsewhere whatever is chosen here
    searched = first = trials.search(heed)
    while searched.assignment is None and (searched.hopeless or any(heed[n] >= 0 for n in searched.stuck)):
        blamed = searched.stuck
        if searched.hopeless:
            trials.give_up(searched.hopeless)
            told = [(objection, *trials.blanks_of(objection)) for objection in searched.hopeless]
            blamed = frozenset(n for _, touched, own in told if own for n in touched)
            for objection, touched, own in told:
                for n in () if own else touched:
                    passed_over.setdefault(n, []).append(objection.rule)
        else:
            heed = tuple(rank - 1 if n in searched.stuck else rank for n, rank in enumerate(heed))
        short |= {n: _KEPT[heed[n]] for n in blamed}
        searched = trials.search(heed)
    assignment = searched.assignment or smallest
    stuck = {n: _stuck(trials, assignment, n) for n in sorted(short)}
    # Those whose choice breaks something are named; where none does, they are named together.
    stuck = {n: why for n, why in stuck.items() if why.breaks} or dict.fromkeys(stuck, _TOGETHER)
    return (
        trials.filled(assignment),
        tuple(_choices(trials, assignment, {n: short[n] for n in stuck}, passed_over)),
        tuple(_impossible(trials, stuck, proved=first.proved)),
    )


# -- what was chosen, and why ----------------------------------------------------------------------


def _choices(
    trials: Trials, assignment: Assignment, short: Mapping[int, str], passed_over: Mapping[int, list[str]]
) -> Iterator[Choice]:
    """``short`` says of each blank for which nothing passes what was taken instead.

    ``passed_over`` names rules that object elsewhere in the job whatever is taken.
    """
    for number, (blank, place) in enumerate(zip(trials.blanks, assignment, strict=True)):
        passes = number not in short
        if passes:
            smaller, objections = _next_smaller(trials, assignment, number)
            reason = _reason(blank, smaller, objections, tuple(dict.fromkeys(passed_over.get(number, ()))))
        else:
            smaller, objections = "", ()
            reason = f"No {blank.what} passes every rule; this is the smallest {short[number]}."
        failed = _rules(objections)
        values = blank.candidates[place].values
        for tag, path in zip(blank.tags, blank.paths, strict=True):
            for at in ((*path, key) for key in blank.keys):
                span, chosen = trials.description.span(at), values[str(at[-1])]
                yield Choice(at, span, tag, blank.what, chosen, reason, smaller, failed, passes)


def _next_smaller(trials: Trials, assignment: Assignment, blank: int) -> tuple[str, tuple[Objection, ...]]:
    """The next smaller candidate and all that speaks against it; of equally large ones the best."""
    candidates, place = trials.blanks[blank].candidates, assignment[blank]
    lower = [n for n in range(place) if candidates[n].measure < candidates[place].measure]
    equals = [n for n in lower if candidates[n].measure == candidates[lower[-1]].measure]
    if not equals:
        return "", ()
    left = {(o.key, o.said) for o in trials.objections(assignment)}  # what stands all the same
    tried = []
    for n in equals:
        raised = trials.objections(moved(assignment, blank, n))
        tried.append((tuple(o for o in raised if (o.key, o.said) not in left), n))
    objections, best = min(tried, key=lambda item: (len(item[0]), item[1]))
    return candidates[best].shown, objections


def _reason(
    blank: Blank, smaller: str, objections: tuple[Objection, ...], passed_over: tuple[str, ...]
) -> str:
    but = f" but {_listed(passed_over)}, which no {blank.what} ends" if passed_over else ""
    if not smaller:
        return f"The smallest {blank.what} there is; it passes every rule{but}."
    against = f" With {smaller}: {objections[0].message}" if objections else ""
    return f"The smallest {blank.what} that passes every rule{but}.{against}"


# -- what cannot be --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Stuck:
    """Why nothing passes in a blank: what stops its candidates, and what the one that was taken breaks."""

    what: str
    told: tuple[str, ...]
    conflict: tuple[str, ...]
    taken: str
    breaks: tuple[str, ...]


_TOGETHER = _Stuck("", (), (), "", ())


def _stuck(trials: Trials, assignment: Assignment, blank: int) -> _Stuck:
    """Which rules stop which candidates of a blank, the others as chosen."""
    of, candidates = trials.blanks[blank], trials.blanks[blank].candidates
    raised = [trials.objections(moved(assignment, blank, n), known=True) for n in range(len(candidates))]
    always = set.intersection(*({(o.key, o.said) for o in each} for each in raised))  # whatever is taken
    if len(candidates) == 1:
        always = set()
    failed = [
        (candidate.shown, _rules(tuple(o for o in each if (o.key, o.said) not in always)))
        for candidate, each in zip(candidates, raised, strict=True)
    ]
    grouped = [(rules, [name for name, _ in group]) for rules, group in groupby(failed, key=lambda f: f[1])]
    fewest = sorted(len(rules) for rules, _ in grouped)[:_MOST_GROUPS]
    closest = [(rules, names) for rules, names in grouped if len(rules) <= fewest[-1]][:_MOST_GROUPS]
    taken, breaks = failed[assignment[blank]]
    return _Stuck(
        of.what,
        tuple(_broken(names, rules) for rules, names in closest),
        tuple(dict.fromkeys(rule for rules, _ in closest for rule in rules)),
        taken,
        breaks,
    )


def _impossible(trials: Trials, stuck: Mapping[int, _Stuck], *, proved: bool) -> Iterator[Finding]:
    """The blanks for which nothing passes, those that are alike in one finding."""
    alike: dict[_Stuck, list[Blank]] = {}
    for number, why in stuck.items():
        alike.setdefault(why, []).append(trials.blanks[number])
    sought = "" if proved else f" (none was found in {MOST_TRIES} tries; there may be one)"
    for why, group in alike.items():
        names = ", ".join(blank.name for blank in group)
        spans = (trials.description.span((*path, key)) for b in group for path in b.paths for key in b.keys)
        if why is _TOGETHER:
            yield reading_error(
                IMPOSSIBLE,
                f"For {names} no choices pass every rule together{sought}; each alone breaks nothing.",
                *spans,
                fix="Write out those that you know, so that fewer are open at once.",
                required="choices that pass together",
                actual="none",
            )
        else:
            yield reading_error(
                IMPOSSIBLE,
                f"No {why.what} for {names} passes every rule{sought}: {'; '.join(why.told)}. "
                f"The rest of the check takes {why.taken}.",
                *spans,
                fix="Change what these rules rest on elsewhere in the job (a length, a place, another part), "
                f"or write the {why.what} yourself and accept what may be accepted."
                + ("" if proved else " Write out those that you know, so that fewer are open at once."),
                required=f"one that passes {_listed(why.conflict)}"
                if why.conflict
                else "one that passes every rule together with the other choices",
                actual="none",
            )


def _broken(names: list[str], rules: tuple[str, ...]) -> str:
    if len(names) == 1:
        return f"{names[0]} breaks {_listed(rules)}"
    return f"{names[0]} to {names[-1]} break {_listed(rules)}"


def _rules(objections: tuple[Objection, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(o.rule for o in objections))


def _listed(rules: tuple[str, ...]) -> str:
    named = list(rules[:_MOST_RULES])
    if len(rules) > _MOST_RULES:
        named.append(f"{len(rules) - _MOST_RULES} more")
    if not named:
        return "nothing by itself, with the others as they are"
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
