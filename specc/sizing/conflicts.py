"""Finds choices by ending one objection after the other; where that fails, finds out what is at odds.

Where enlarging step by step (``search.py``) does not lead to choices that pass, it is for one of two
reasons: too many blanks are open at once, or no choices pass. So, first, each step ends an objection, and
the choices with the fewest objections left are gone on with. If that gets stuck, a rule among those that
objected most is left out of account, and the same is tried again, until the rest of the job can be decided.
What was left out is then taken up again, one objection at a time: two filled jobs nearest to passing tell
why it cannot be met, one in which only it stands, and one in which it does not, and what stands there
instead. What is at odds in these two is a conflict; all else in the job stays decided.

(Source of the method: best-first search on the number of conflicts, and relaxing constraints by how often
they failed, as in any text on constraint satisfaction.)
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from specc.diagnostics import Severity
from specc.sizing.search import Assignment, Key, Objection, Trials, moved

_MOST_STEPS = 240  # assignments looked at
_MOST_IDLE = 24  # of these without coming nearer
_MOST_IDLE_ENDING = 12  # the same where one objection is to be ended
# What it weighs to break a rule, against others: no number of milder ones outweighs one that is worse.
_WEIGHTS = {Severity.DANGER: 10_000, Severity.ERROR: 100, Severity.WARNING: 1}

Cost = tuple[int, int, int]
_CLEAN = (0, 0)


@dataclass(frozen=True)
class Conflict:
    """Objections that no choices end without raising others.

    ``broken`` is what stands with the choices ``taken``, one rule's, the milder side of the conflict.
    With the choices ``instead`` it would be ended, and ``raised`` would stand; None where nothing ends it.
    ``blanks`` are those in which the two differ, or on which it depends where nothing ends it.
    """

    broken: tuple[Objection, ...]
    taken: Assignment
    instead: Assignment | None
    raised: tuple[Objection, ...]
    blanks: tuple[int, ...]
    about: bool  # is it about one of these blanks? Else it is found in the check by itself


@dataclass(frozen=True)
class Settled:
    """Choices to which nothing objects but what is given up, and why that is."""

    assignment: Assignment
    conflicts: tuple[Conflict, ...]


def settle(trials: Trials) -> Settled:
    """The choices that break as little as can be found, nothing larger than it must be but in a conflict."""
    assignment = _all_but_some(trials)
    conflicts: list[Conflict] = []
    while True:
        left = trials.left(assignment)
        if not left:
            if trials.recall_beyond(assignment):
                continue
            break
        worst, borne = left[0], frozenset(o.key for o in left[1:])
        ended, nearest = _ending(trials, worst, assignment, borne)
        if ended is not None:
            assignment = ended
            continue
        conflict = _conflict(trials, worst, assignment, nearest, borne)
        assignment = conflict.taken
        trials.give_up(conflict.broken)
        conflicts.append(conflict)
    keep = {n for c in conflicts if c.about for o in c.broken for n in trials.touching(o, c.taken)}
    return Settled(trials.lowered(assignment, keep), tuple(conflicts))


def _all_but_some(trials: Trials) -> Assignment:
    """Choices to which nothing objects but what had to be left out of account.

    First what was suspected of a rule, then, if that moves the blame on, the whole rule.
    """
    keys: set[Key] = set()
    rules: set[str] = set()
    start: Assignment = (0,) * len(trials.blanks)
    while True:
        with trials.without(keys, rules):
            start, suspects = _passing(trials, start)
        if not suspects:
            return start
        mildest = trials.mildest(rule for rule, _ in suspects)
        if any(rule == mildest for rule, _ in keys):
            rules.add(mildest)
        keys |= {key for key in suspects if key[0] == mildest}


def _passing(trials: Trials, start: Assignment) -> tuple[Assignment, tuple[Key, ...]]:
    """Choices to which nothing objects; else those that come nearest, and the objections that stayed.

    Each objection that could not be ended without raising as many weighs more from then on, so that the
    search does not stay where all but it is well.
    """
    nearest = start
    waiting = {start: (0, trials.left(start))}  # how many of its objections were followed, and all of them
    seen = {start}
    weights: Counter[Key] = Counter()
    fewest, steps, idle = len(waiting[start][1]) + 1, 0, 0

    def weight(assignment: Assignment) -> tuple[int, int]:
        followed, bad = waiting[assignment]
        return followed + sum(1 + weights[o.key] for o in bad), sum(assignment)

    while waiting and steps < _MOST_STEPS and idle <= _MOST_IDLE:
        assignment = min(waiting, key=weight)
        followed, before = waiting.pop(assignment)
        bad = trials.left(assignment, known=bool(before))
        if not bad:
            if not trials.recall_beyond(assignment):
                return assignment, ()
            bad = trials.left(assignment)
        if len(bad) > len(before):  # rules object here that had not objected before: a new measure
            waiting[assignment] = 0, bad
            fewest, idle = len(bad) + 1, 0
            continue
        if len(bad) < fewest:
            nearest, fewest, idle = assignment, len(bad), 0
        steps, idle = steps + 1, idle + 1
        if followed + 1 < len(bad):
            waiting[assignment] = followed + 1, bad
        fresh = [other for other in trials.ways_out(bad[followed], assignment) if other not in seen]
        seen.update(fresh)
        waiting |= {other: (0, trials.left(other, known=True)) for other in fresh}
        if all(len(waiting[other][1]) >= len(bad) for other in fresh):
            weights.update(o.key for o in bad)
    return nearest, _suspects(weights)


def _suspects(weights: Counter[Key]) -> tuple[Key, ...]:
    """Those that weigh most."""
    heaviest = max(weights.values(), default=0)
    return tuple(key for key, weight in weights.items() if 2 * weight >= heaviest)


def _ending(
    trials: Trials, objection: Objection, start: Assignment, borne: frozenset[Key]
) -> tuple[Assignment | None, Assignment | None]:
    """Choices that end an objection and raise none, less what is borne; else those that come nearest.

    Nearest are those that end it and break the least; None where nothing ends it.
    """
    waiting = [(_cost(trials, start, objection, borne), start)]
    seen = {start}
    best: tuple[Cost, Assignment] | None = None
    idle = 0
    while waiting and idle <= _MOST_IDLE_ENDING:
        cost, assignment = heapq.heappop(waiting)
        bad = _bad(trials, assignment, borne, known=cost[:2] != _CLEAN)
        if not bad:
            return assignment, None
        if cost[:2] == _CLEAN:  # rules that had not objected before do here
            heapq.heappush(waiting, (_cost(trials, assignment, objection, borne), assignment))
            continue
        if not cost[0] and (best is None or cost < best[0]):
            best, idle = (cost, assignment), 0
        idle += 1
        first = next((o for o in bad if o.rule == objection.rule), bad[0])
        for other in trials.ways_out(first, assignment):
            if other not in seen:
                seen.add(other)
                heapq.heappush(waiting, (_cost(trials, other, objection, borne), other))
    return None, best[1] if best else None


def _cost(trials: Trials, assignment: Assignment, objection: Objection, borne: frozenset[Key]) -> Cost:
    """How far choices are from ending an objection, and from breaking nothing.

    A rule that moves its blame from one run to the next has not been met.
    """
    bad = _bad(trials, assignment, borne, known=True)
    others = [o for o in bad if o.rule != objection.rule]
    return len(bad) - len(others), sum(_WEIGHTS[o.severity] for o in others), sum(assignment)


def _bad(
    trials: Trials, assignment: Assignment, borne: frozenset[Key], *, known: bool
) -> tuple[Objection, ...]:
    return tuple(o for o in trials.left(assignment, known=known) if o.key not in borne)


# -- the two sides of a conflict -------------------------------------------------------------------


def _conflict(
    trials: Trials, worst: Objection, start: Assignment, nearest: Assignment | None, borne: frozenset[Key]
) -> Conflict:
    if nearest is None:
        touching = trials.touching(worst, start)
        own = tuple(n for n in touching if trials.owns(n, worst))
        return Conflict((worst,), start, None, (), own or touching, bool(own))
    raised = _bad(trials, nearest, borne, known=False)
    nearest = _lowered(trials, nearest, {o.key for o in raised} | borne)
    raised = _bad(trials, nearest, borne, known=False)
    taken = _retracted(trials, worst, nearest, raised, borne) or start
    nearest = _drawn_near(trials, nearest, taken, {o.key for o in raised} | borne)
    raised = _bad(trials, nearest, borne, known=False)
    broken = _bad(trials, taken, borne, known=False)
    differ = tuple(n for n, (a, b) in enumerate(zip(taken, nearest, strict=True)) if a != b)
    return Conflict(broken, taken, nearest, raised, differ, True)


def _lowered(trials: Trials, assignment: Assignment, borne: Iterable[Key]) -> Assignment:
    """The same with nothing larger than it must be for no more to be broken."""
    may = frozenset(borne)
    for blank in range(len(trials.blanks)):
        for place in range(assignment[blank]):
            other = moved(assignment, blank, place)
            if not _bad(trials, other, may, known=True):
                assignment = other
                break
    return assignment


def _retracted(
    trials: Trials,
    objection: Objection,
    assignment: Assignment,
    raised: tuple[Objection, ...],
    borne: frozenset[Key],
) -> Assignment | None:
    """The same with what was raised taken back, so that only the objection's own rule is broken."""
    for one in raised:
        if trials.again(one, assignment) is None:
            continue
        may = borne | {o.key for o in raised if o != one}
        ways = trials.ways_out(one, assignment)
        fitting = (
            other
            for other in sorted(ways, key=lambda way: _distance(way, assignment))
            if all(o.rule == objection.rule for o in _bad(trials, other, may, known=True))
        )
        assignment = next(fitting, assignment)
    bad = _bad(trials, assignment, borne, known=False)
    return assignment if bad and all(o.rule == objection.rule for o in bad) else None


def _distance(one: Assignment, other: Assignment) -> int:
    return sum(abs(a - b) for a, b in zip(one, other, strict=True))


def _drawn_near(trials: Trials, assignment: Assignment, to: Assignment, borne: Iterable[Key]) -> Assignment:
    """The same with all as in ``to`` that makes no difference."""
    may = frozenset(borne)
    for blank, place in enumerate(to):
        other = moved(assignment, blank, place)
        if place != assignment[blank] and not _bad(trials, other, may, known=True):
            assignment = other
    return assignment
