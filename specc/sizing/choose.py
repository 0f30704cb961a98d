"""Makes the choices, says why each is what it is, and names the rules in conflict where none can be made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from specc.choices import Choice
from specc.diagnostics import Finding, reading_error
from specc.reading.read import Description
from specc.sizing.blanks import Blank, blanks
from specc.sizing.conflicts import Conflict, Settled, settle
from specc.sizing.search import MOST_TRIES, Assignment, Objection, Trials, moved

IMPOSSIBLE = "auto.impossible"
_MOST_RULES = 3  # named in one sentence
_MOST_SHOWN = 4  # blanks whose choices are told in one sentence
_MOST_REFUTED = 8  # blanks up to which it is tried to prove that nothing passes


def choose(
    description: Description, *, strict: bool
) -> tuple[Description | None, tuple[Choice, ...], tuple[Finding, ...]]:
    """The description with every blank filled (None where there is nothing to choose from), see ``size``."""
    found, wrong = blanks(description)
    if wrong:
        return None, (), wrong
    trials = Trials(description, found, strict=strict)
    if wrong := trials.connects((0,) * len(found)):
        return None, (), wrong
    settled, proved = _settled(trials)
    conflicts = tuple(c for c in settled.conflicts if c.about)
    elsewhere: dict[int, list[str]] = {}  # of a blank, rules that object to others whatever is chosen here
    for conflict in settled.conflicts:
        for n in () if conflict.about else conflict.blanks:
            elsewhere.setdefault(n, []).extend(_rules(conflict.broken))
    return (
        trials.filled(settled.assignment),
        tuple(_choices(trials, settled.assignment, conflicts, elsewhere)),
        tuple(_impossible(trials, conflicts, proved=proved)),
    )


def _settled(trials: Trials) -> tuple[Settled, bool]:
    """The choices and the conflicts; where there is one, is it proved that no choices pass?"""
    smallest = trials.search()
    if smallest.assignment is not None:
        return Settled(smallest.assignment, ()), True
    settled = settle(trials)
    conflicts = [conflict for conflict in settled.conflicts if conflict.about]
    trials.take_up_again(o for conflict in conflicts for o in conflict.broken)
    return settled, len(trials.blanks) <= _MOST_REFUTED and all(
        trials.refuted(_rules((*c.broken, *c.raised))) for c in conflicts
    )


# -- what was chosen, and why ----------------------------------------------------------------------


def _choices(
    trials: Trials,
    assignment: Assignment,
    conflicts: tuple[Conflict, ...],
    elsewhere: Mapping[int, list[str]],
) -> Iterator[Choice]:
    """``elsewhere`` names rules that object to other things in the job whatever is taken for a blank."""
    at_odds = {n: conflict for conflict in conflicts for n in conflict.blanks}
    for number, (blank, place) in enumerate(zip(trials.blanks, assignment, strict=True)):
        conflict = at_odds.get(number)
        if conflict is None:
            smaller, objections = _next_smaller(trials, assignment, number)
            reason = _reason(blank, smaller, objections, tuple(dict.fromkeys(elsewhere.get(number, ()))))
        else:
            smaller, objections = "", ()
            broken = _listed(_rules(conflict.broken))
            reason = f"No {blank.what} passes every rule; this one breaks {broken}, see {IMPOSSIBLE}."
        failed = _rules(objections)
        values = blank.candidates[place].values
        for tag, path in zip(blank.tags, blank.paths, strict=True):
            for at in ((*path, key) for key in blank.keys):
                span, chosen = trials.description.span(at), values[str(at[-1])]
                yield Choice(at, span, tag, blank.what, chosen, reason, smaller, failed, conflict is None)


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


def _impossible(trials: Trials, conflicts: tuple[Conflict, ...], *, proved: bool) -> Iterator[Finding]:
    """What is at odds in the same blanks, the limit that is in the way, and what may give way."""
    alike: dict[tuple[int, ...], list[Conflict]] = {}
    for conflict in conflicts:
        alike.setdefault(conflict.blanks, []).append(conflict)
    for numbers, group in alike.items():
        widest = max(group, key=_width)
        limits = list(_limits(trials, widest))
        met = tuple(o for limit in limits for o in limit[-1])
        broken = tuple(dict.fromkeys(o for each in group for o in each.broken))
        blanks = [trials.blanks[n] for n in numbers]
        own = (trials.description.span((*path, key)) for b in blanks for path in b.paths for key in b.keys)
        yield reading_error(
            IMPOSSIBLE,
            f"{_none_passes(blanks, proved=proved)} {_sides(trials, group, widest, limits)}",
            *dict.fromkeys((*own, *(place for o in (*met, *broken) for place in o.places))),
            fix=_ways(trials, widest, broken, met),
            required=f"{'one' if len(blanks) == 1 else 'choices'} that {_passes(blanks)} "
            f"{_listed(_rules((*broken, *met)))}",
            actual="none",
        )


def _width(conflict: Conflict) -> int:
    """How far the two sides of a conflict are from each other."""
    return sum(abs(a - b) for a, b in zip(conflict.taken, conflict.instead or conflict.taken, strict=True))


# A blank, what it would say next, and what is met there.
_Limit = tuple[Blank, str, tuple[Objection, ...]]


def _limits(trials: Trials, conflict: Conflict) -> Iterator[_Limit]:
    """On the way from what is taken to what would end the objection: the first that is in the way."""
    if conflict.instead is None:
        return
    before = {o.key for o in trials.objections(conflict.taken)}
    found = False
    for n in conflict.blanks:
        start, end = conflict.taken[n], conflict.instead[n]
        step = 1 if end > start else -1
        for place in range(start + step, end + step, step):
            met = tuple(o for o in trials.objections(moved(conflict.taken, n, place)) if o.key not in before)
            if met:
                found = True
                yield trials.blanks[n], trials.blanks[n].candidates[place].shown, met
                break
    if not found:  # each alone is in nobody's way: it is what they are together
        n = conflict.blanks[-1]
        yield trials.blanks[n], trials.blanks[n].candidates[conflict.instead[n]].shown, conflict.raised


def _none_passes(blanks: list[Blank], *, proved: bool) -> str:
    names = _and([blank.name for blank in blanks])
    sought = "" if proved else f" (none was found in {MOST_TRIES} tries; there may be one)"
    if len({blank.what for blank in blanks}) == 1:
        what = blanks[0].what if len(blanks) == 1 else f"{blanks[0].what}s"
        return f"No {what} for {names} {_passes(blanks)} every rule{sought}."
    return f"No choices for {names} pass every rule together{sought}."


def _passes(blanks: list[Blank]) -> str:
    return "passes" if len(blanks) == 1 else "pass"


def _sides(trials: Trials, group: list[Conflict], widest: Conflict, limits: list[_Limit]) -> str:
    ended, never = (
        tuple(dict.fromkeys(o for c in group if (c.instead is not None) is either for o in c.broken))
        for either in (True, False)
    )
    taken = _shown(trials, widest, widest.taken)
    said = []
    if ended:
        assert widest.instead is not None  # it is the widest, and one is wide
        said.append(f"With {taken}: {_told(ended)}")
        ways = [
            f"{blank.name + ' ' if len(widest.blanks) > 1 else ''}{shown} breaks this: {_told(met)}"
            for blank, shown, met in limits
        ]
        said.append(f"It would take {_shown(trials, widest, widest.instead)}, but {' And '.join(ways)}")
    if never:
        said.append(f"Whatever is taken: {_told(never)}")
    return f"{' '.join(said)} The rest of the check takes {taken}."


def _shown(trials: Trials, conflict: Conflict, assignment: Assignment) -> str:
    """The choices of an assignment that are at odds: "2.5 mm2", or "R7 10 mm2, R8 2.5 mm2"."""
    shown = [
        (trials.blanks[n].name, trials.blanks[n].candidates[assignment[n]].shown) for n in conflict.blanks
    ]
    if len(shown) == 1:
        return shown[0][1]
    more = [f"{len(shown) - _MOST_SHOWN} more"] if len(shown) > _MOST_SHOWN else []
    return ", ".join((*(f"{name} {what}" for name, what in shown[:_MOST_SHOWN]), *more))


def _told(objections: tuple[Objection, ...]) -> str:
    """One objection of each rule whole, the worst first, and what else the rule objects to."""
    by_rule: dict[str, list[Objection]] = {}
    for objection in objections:
        by_rule.setdefault(objection.rule, []).append(objection)
    told = []
    for rule, group in list(by_rule.items())[:_MOST_RULES]:
        others = [o.subject for o in group[1:]]
        more = f", and so for {_and(others)}" if others else ""
        told.append(f"{group[0].message.removesuffix('.')} ({rule}{more}).")
    if len(by_rule) > _MOST_RULES:
        told.append(f"So does it break {_listed(tuple(by_rule)[_MOST_RULES:])}.")
    return " ".join(told)


def _ways(
    trials: Trials, conflict: Conflict, broken: tuple[Objection, ...], met: tuple[Objection, ...]
) -> str:
    """What may give way: the demand, the limit, or, where its rule may be deviated from, the rule itself."""
    mended: dict[str, list[str]] = {}
    for objection in (*broken, *met):
        if objection.fix:
            mended.setdefault(objection.fix, []).append(objection.subject)
    ways = [f"{_and(subjects)}: {fix}" for fix, subjects in list(mended.items())[:_MOST_RULES]]
    if not ways:
        ways.append("Change what these rules rest on elsewhere in the job: a length, a place, another part.")
    if all(trials.may_be_accepted(objection) for objection in broken):
        accepted = _and([f'rule = "{o.rule}", on = "{o.subject}"' for o in broken])
        ways.append(
            f"Or write {_shown(trials, conflict, conflict.taken)} yourself, and a table [[accepted]] with "
            f"{accepted} and your reason."
        )
    return " ".join(ways)


def _and(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _rules(objections: tuple[Objection, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(o.rule for o in objections))


def _listed(rules: tuple[str, ...]) -> str:
    named = list(rules[:_MOST_RULES])
    if len(rules) > _MOST_RULES:
        named.append(f"{len(rules) - _MOST_RULES} more")
    return _and(named)
