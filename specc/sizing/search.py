"""Looks for the smallest choices that pass every rule at once.

An *assignment* gives each blank the place of its candidate, 0 for the smallest. The search starts
with the smallest of everything and goes on by what a rule objects to: only a larger choice of
something that the objection depends on can cure it, so only these are tried, the least total
enlargement first. What the objection depends on is found by trying, not by a list that could be
wrong. (Source of the method: uniform-cost search with conflict-directed branching, any text on
constraint satisfaction.)
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice

from specc.diagnostics import Finding, Severity, Span
from specc.reading.read import Description
from specc.rules import ALL_RULES
from specc.rules._rule import Rule
from specc.rules.engine import objections
from specc.sizing.blanks import Blank, Filler
from specc.system.connect import connect
from specc.system.system import System, solve

MOST_TRIES = 600  # assignments looked at before the search gives up
_MOST_REFUTING = 300  # the same where it is to be proved that there is nothing to be found
_SPREAD = 5  # candidates of a blank tried to see whether it matters there

Assignment = tuple[int, ...]
Key = tuple[str, str]  # rule id, subject


@dataclass(frozen=True)
class Objection:
    """What one rule has against one subject; ``said`` changes where its figures do."""

    rule: str
    subject: str
    severity: Severity
    said: tuple[tuple[str, ...], ...]
    message: str
    fix: str = ""
    places: tuple[Span, ...] = ()

    @property
    def key(self) -> Key:
        return self.rule, self.subject


@dataclass(frozen=True)
class Needs:
    """Which blanks an objection depends on, by number.

    Those in ``cures`` end it alone when larger, those in ``larger`` change it when larger, those in
    ``any_of`` change it at all. Where all were tried thoroughly, ``cures`` is not told.
    """

    cures: tuple[int, ...]
    larger: tuple[int, ...]
    any_of: tuple[int, ...]


@dataclass(frozen=True)
class Found:
    """The smallest assignment without objections; without one, ``proved`` says that none can exist."""

    assignment: Assignment | None
    proved: bool


class Trials:
    """Tries assignments and remembers what came of them; thrown away when the choices are made."""

    def __init__(self, description: Description, blanks: tuple[Blank, ...], *, strict: bool = False) -> None:
        self.description = description
        self.blanks = blanks
        self.strict = strict
        self._filler = Filler(description, blanks)
        self._rules = list(ALL_RULES)
        self._by_id = {rule.id: rule for rule in ALL_RULES}
        self._systems: dict[Assignment, System] = {}
        self._objections: dict[tuple[str, Assignment], Mapping[str, Objection]] = {}
        self._needs: dict[tuple[Key, bool], Needs] = {}
        self._touched: dict[Key, tuple[int, ...]] = {}
        self._beyond: set[Key] = set()  # objections that no choice changes
        self._given_up: set[Key] = set()
        self._left_out: frozenset[str] = frozenset()  # rules
        self._objected: dict[str, Rule] = {}  # rules that have objected so far
        # Blanks -> candidates in them -> the objection that stands whatever the other blanks hold.
        self._standing: dict[tuple[int, ...], dict[tuple[int, ...], Objection]] = {}

    def filled(self, assignment: Assignment) -> Description:
        """The description with the candidates of an assignment."""
        chosen = ((b, b.candidates[n]) for b, n in zip(self.blanks, assignment, strict=True))
        return self._filler.fill(chosen)

    def connects(self, assignment: Assignment) -> tuple[Finding, ...]:
        """References that lead nowhere; no choice would mend them."""
        return connect(self.filled(assignment))[1]

    def _system(self, assignment: Assignment) -> System:
        if assignment not in self._systems:
            connected, wrong = connect(self.filled(assignment))
            assert connected is not None, wrong  # candidates have the terminals that are named
            self._systems[assignment] = solve(connected)
        return self._systems[assignment]

    def of_rule(self, rule: Rule, assignment: Assignment) -> Mapping[str, Objection]:
        """What one rule objects to, by subject; advice and what is accepted is no objection."""
        known = self._objections.get((rule.id, assignment))
        if known is None:
            found = objections(self._system(assignment), rule, strict=self.strict)
            known = self._objections[rule.id, assignment] = _by_subject(rule, found)
        return known

    def objections(self, assignment: Assignment, *, known: bool = False) -> tuple[Objection, ...]:
        """All objections, the worst first, but for those known to depend on no choice.

        ``known`` asks only the rules that have objected before.
        """
        rules = list(self._objected.values()) if known else self._rules
        raised = (o for rule in rules for o in self.of_rule(rule, assignment).values())
        found = [o for o in raised if o.key not in self._beyond]
        return tuple(sorted(found, key=lambda o: (o.severity.rank, o.key)))

    def first_objection(self, assignment: Assignment) -> Objection | None:
        """Any one objection that a choice can end; rules that objected of late are asked first."""
        for blanks, standing in self._standing.items():
            known = standing.get(tuple(assignment[blank] for blank in blanks))
            if known is not None and not self._passed_over(known):
                return known
        for number, rule in enumerate(self._rules):
            for objection in self._concerning(rule, assignment, self._depends_on):
                self._rules.insert(0, self._rules.pop(number))
                self._objected[rule.id] = rule
                return objection
        return None

    def left(self, assignment: Assignment, *, known: bool = False) -> tuple[Objection, ...]:
        """All objections that a choice can change and that are not given up, the worst first.

        ``known`` asks only the rules that have objected before.
        """
        rules = list(self._objected.values()) if known else list(self._rules)
        found = [
            objection for rule in rules for objection in self._concerning(rule, assignment, self.touching)
        ]
        self._objected |= {objection.rule: self._by_id[objection.rule] for objection in found}
        return tuple(sorted(found, key=lambda o: (o.severity.rank, o.key)))

    def _concerning(
        self, rule: Rule, assignment: Assignment, moving: Callable[[Objection, Assignment], tuple[int, ...]]
    ) -> Iterator[Objection]:
        """What a rule objects to and a choice can change, as ``moving`` tells, but for what is given up."""
        if rule.id in self._left_out:
            return
        for objection in self.of_rule(rule, assignment).values():
            if objection.key in self._beyond or self._passed_over(objection):
                continue
            if moving(objection, assignment) or self._depends_on(objection, assignment):
                yield objection
            else:
                self._beyond.add(objection.key)

    def give_up(self, objections: Iterable[Objection]) -> None:
        """From now on the search passes over these."""
        self._given_up |= {objection.key for objection in objections}

    def take_up_again(self, objections: Iterable[Objection]) -> None:
        """From now on these are heeded once more."""
        self._given_up -= {objection.key for objection in objections}

    def _passed_over(self, objection: Objection) -> bool:
        return objection.rule in self._left_out or objection.key in self._given_up

    @contextmanager
    def without(self, keys: Iterable[Key], rules: Iterable[str]) -> Iterator[None]:
        """Leaves some objections, and all of some rules, out of account for a while."""
        before = self._given_up, self._left_out
        self._given_up, self._left_out = self._given_up | set(keys), frozenset(rules)
        try:
            yield
        finally:
            self._given_up, self._left_out = before

    def mildest(self, rules: Iterable[str]) -> str:
        """The rule that is least to be kept: one from which a designer may deviate, then by its severity."""
        found = [self._by_id[rule] for rule in rules]
        return min(found, key=lambda rule: (not rule.acceptable, -rule.severity.rank)).id

    def may_be_accepted(self, objection: Objection) -> bool:
        """May a designer deviate from the rule as far as is done here?"""
        rule = self._by_id[objection.rule]
        return (
            rule.acceptable
            and objection.severity is not Severity.DANGER
            and (objection.severity.rank >= rule.severity.rank)
        )

    def recall_beyond(self, assignment: Assignment) -> bool:
        """Takes up again what was thought beyond all choices and here is not; True where there is any."""
        for key in sorted(self._beyond):
            objection = self.of_rule(self._by_id[key[0]], assignment).get(key[1])
            if objection is None or self._passed_over(objection):
                continue
            needs = self._probe(objection, assignment, thorough=True)
            if needs.any_of:
                self._beyond.discard(key)
                self._needs[key, False] = self._needs[key, True] = needs
                return True
        return False

    # -- what an objection depends on ------------------------------------------------------------

    def needs(self, objection: Objection, assignment: Assignment, *, thorough: bool = False) -> Needs:
        """What it depends on, as tried where it first came up."""
        known = self._needs.get((objection.key, thorough))
        if known is None:
            known = self._needs[objection.key, thorough] = self._probe(
                objection, assignment, thorough=thorough
            )
        return known

    def _depends_on(self, objection: Objection, assignment: Assignment) -> tuple[int, ...]:
        return self.needs(objection, assignment).any_of

    def _probe(self, objection: Objection, assignment: Assignment, *, thorough: bool) -> Needs:
        cures: list[int] = []
        larger: list[int] = []
        for blank in self.nearest_first(objection):
            changed = cured = False
            for other in self._moved(assignment, blank, range(assignment[blank] + 1, self.count(blank))):
                now = self.again(objection, other)
                cured = now is None
                changed = changed or now != objection.said
                if cured or (thorough and changed):
                    break
            larger += [blank] if changed else []
            cures += [blank] if cured else []
            if cured and not thorough and self.owns(blank, objection):
                break  # its own choice mends it: no need to look at the others
        smaller = [
            blank
            for blank in range(len(self.blanks))
            if blank not in larger
            and (thorough or not larger)
            and any(
                self.again(objection, other) != objection.said
                for other in self._moved(assignment, blank, range(assignment[blank]))
            )
        ]
        return Needs(tuple(cures), tuple(larger), tuple(sorted({*larger, *smaller})))

    def again(self, objection: Objection, assignment: Assignment) -> tuple[tuple[str, ...], ...] | None:
        """What is said of the same rule and subject with other choices; None where nothing is."""
        found = self.of_rule(self._by_id[objection.rule], assignment).get(objection.subject)
        return None if found is None else found.said

    def nearest_first(self, objection: Objection) -> list[int]:
        """All blanks, those that the objection is about before the others."""
        return sorted(range(len(self.blanks)), key=lambda n: (not self.owns(n, objection), n))

    def owns(self, blank: int, objection: Objection) -> bool:
        """Is the objection about what this blank belongs to?"""
        tags = self.blanks[blank].tags
        return objection.subject in tags or objection.subject.partition(".")[0] in tags

    def count(self, blank: int) -> int:
        """How many candidates it has."""
        return len(self.blanks[blank].candidates)

    @staticmethod
    def _moved(assignment: Assignment, blank: int, places: Iterable[int]) -> Iterator[Assignment]:
        return (moved(assignment, blank, place) for place in places)

    # -- the search ------------------------------------------------------------------------------

    def search(self) -> Found:
        """The smallest choices without an objection, the least total enlargement first.

        Enlarges only what ends an objection by itself, where anything does: without an end it proves nothing.
        """
        found = self._search(MOST_TRIES, thorough=False)
        if found.assignment is None:
            return Found(None, proved=False)
        return Found(self.lowered(found.assignment), proved=True)

    def refuted(self, rules: Iterable[str]) -> bool:
        """Is it proved that no choices pass these rules, whatever the others say?

        All that an objection depends on is enlarged, so that nothing is left out.
        """
        wanted = set(rules)
        with self.without((), (rule for rule in self._by_id if rule not in wanted)):
            found = self._search(_MOST_REFUTING, thorough=True)
        return found.assignment is None and found.proved

    def _search(self, most: int, *, thorough: bool) -> Found:
        start = (0,) * len(self.blanks)
        waiting = [(0, start)]
        seen = {start}
        for _ in range(most):
            if not waiting:
                return Found(None, proved=True)
            cost, assignment = heapq.heappop(waiting)
            objection = self.first_objection(assignment)
            if objection is None:
                if not self.recall_beyond(assignment):
                    return Found(assignment, proved=True)
                heapq.heappush(waiting, (cost, assignment))
                continue
            needs = self.needs(objection, assignment, thorough=thorough)
            if thorough:
                held = tuple(assignment[blank] for blank in needs.any_of)
                self._standing.setdefault(needs.any_of, {})[held] = objection
            larger = needs.larger if thorough else needs.cures or needs.larger
            ways = [blank for blank in larger if assignment[blank] + 1 < self.count(blank)]
            for other in (moved(assignment, blank, assignment[blank] + 1) for blank in ways):
                if other not in seen:
                    seen.add(other)
                    heapq.heappush(waiting, (cost + 1, other))
        return Found(None, proved=False)

    def ways_out(self, objection: Objection, assignment: Assignment) -> list[Assignment]:
        """Choices near by with which the objection is at an end.

        Where none of what it depends on ends it: those next to what it is about with which it is another.
        """
        ways = list(self._ends(objection, assignment, self.touching(objection, assignment)))
        if not ways:  # it may depend on more here than where it first came up
            ways = list(self._ends(objection, assignment, self._touched_here(objection, assignment)))
        return ways or [
            other
            for blank in self.nearest_first(objection)
            if self.owns(blank, objection)
            for place in (assignment[blank] + 1, assignment[blank] - 1)
            if 0 <= place < self.count(blank)
            and self.again(objection, other := moved(assignment, blank, place)) != objection.said
        ]

    def _ends(
        self, objection: Objection, assignment: Assignment, touching: tuple[int, ...]
    ) -> Iterator[Assignment]:
        """The nearest choice up and down each blank that ends it, and all up at once.

        Of a part that it is about, every choice that ends it: parts differ in more than how large they are.
        """
        for blank in touching:
            at = assignment[blank]
            if self.owns(blank, objection) and self.blanks[blank].candidates[at].part is not None:
                others = self._moved(assignment, blank, range(self.count(blank)))
                yield from (o for o in others if self.again(objection, o) is None)
                continue
            for places in (range(at + 1, self.count(blank)), range(at - 1, -1, -1)):
                others = self._moved(assignment, blank, places)
                yield from islice((o for o in others if self.again(objection, o) is None), 1)
        for step in range(1, max((self.count(blank) for blank in touching), default=0)):
            other = assignment
            for blank in touching:
                other = moved(other, blank, min(assignment[blank] + step, self.count(blank) - 1))
            if self.again(objection, other) is None:
                yield other
                return

    def touching(self, objection: Objection, assignment: Assignment) -> tuple[int, ...]:
        """The blanks that change an objection, as tried where it first came up."""
        known = self._touched.get(objection.key)
        return self._touched_here(objection, assignment) if known is None else known

    def _touched_here(self, objection: Objection, assignment: Assignment) -> tuple[int, ...]:
        """The same, and those in which some of a few choices from smallest to largest change it here."""
        known = self._touched.get(objection.key, ())
        found = self._touched[objection.key] = tuple(
            blank
            for blank in range(len(self.blanks))
            if blank in known
            or any(
                self.again(objection, other) != objection.said
                for other in self._moved(assignment, blank, self._spread(blank))
            )
        )
        return found

    def _spread(self, blank: int) -> list[int]:
        """Places of a few candidates, evenly from the smallest to the largest."""
        last = self.count(blank) - 1
        return sorted({round(last * n / (_SPREAD - 1)) for n in range(_SPREAD)})

    def lowered(self, assignment: Assignment, keep: Iterable[int] = ()) -> Assignment:
        """The same with nothing larger than it must be while the rest stays; each lowered a bit in turn.

        What is to be kept is not lowered.
        """
        free = [blank for blank in range(len(self.blanks)) if blank not in frozenset(keep)]
        lowered = True
        while lowered:
            lowered = False
            for blank in free:
                for other in self._moved(assignment, blank, range(assignment[blank] - 1, -1, -1)):
                    if self.first_objection(other) is None:
                        assignment, lowered = other, True
                        break
        return assignment


def moved(assignment: Assignment, blank: int, place: int) -> Assignment:
    """The assignment with another candidate in one blank."""
    return (*assignment[:blank], place, *assignment[blank + 1 :])


def _by_subject(rule: Rule, findings: Iterable[Finding]) -> Mapping[str, Objection]:
    grouped: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.severity is not Severity.ADVICE:
            grouped.setdefault(finding.subject, []).append(finding)
    return {
        subject: Objection(
            rule.id,
            subject,
            min((f.severity for f in group), key=lambda severity: severity.rank),
            tuple(_said(f) for f in group),
            group[0].message,
            group[0].fix,
            tuple(place for f in group for place in f.places),
        )
        for subject, group in grouped.items()
    }


def _said(finding: Finding) -> tuple[str, ...]:
    """What tells whether a choice matters: the figures, else the words (which may merely name a size)."""
    figures = (finding.required, finding.actual)
    return (finding.verdict, *(figures if any(figures) else (finding.message,)))
