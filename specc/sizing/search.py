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
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice

from specc.diagnostics import Finding, Severity
from specc.reading.read import Description
from specc.rules import ALL_RULES
from specc.rules._rule import Rule
from specc.rules.engine import objections
from specc.sizing.blanks import Blank, fill
from specc.system.connect import connect
from specc.system.system import System, solve

MOST_TRIES = 600  # assignments looked at before the search gives up
_MOST_MENDED = 240  # the same where each step ends an objection
_SPREAD = 5  # candidates of a blank tried to see whether it matters there

Assignment = tuple[int, ...]
Heed = tuple[int, ...]  # of each blank, the rank of the mildest severity that is heeded; -1 for none
Key = tuple[str, str]  # rule id, subject

MILDEST = Severity.WARNING.rank  # advice never decides


@dataclass(frozen=True)
class Objection:
    """What one rule has against one subject; ``said`` changes where its figures do."""

    rule: str
    subject: str
    severity: Severity
    said: tuple[tuple[str, ...], ...]
    message: str

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
    """The smallest assignment without objections, or None.

    Without one, ``proved`` says that none can exist; ``hopeless`` holds the objections that stood at an end
    of the search and that no choice ends, and ``stuck`` the blanks that objections at such an end depend on.
    """

    assignment: Assignment | None
    proved: bool
    hopeless: tuple[Objection, ...] = ()
    stuck: frozenset[int] = frozenset()


class Trials:
    """Tries assignments and remembers what came of them; thrown away when the choices are made."""

    def __init__(self, description: Description, blanks: tuple[Blank, ...], *, strict: bool = False) -> None:
        self.description = description
        self.blanks = blanks
        self.strict = strict
        self._rules = list(ALL_RULES)
        self._by_id = {rule.id: rule for rule in ALL_RULES}
        self._systems: dict[Assignment, System] = {}
        self._objections: dict[tuple[str, Assignment], Mapping[str, Objection]] = {}
        self._needs: dict[tuple[Key, bool], Needs] = {}
        self._touched: dict[Key, tuple[int, ...]] = {}
        self._beyond: set[Key] = set()  # objections that no choice changes
        self._given_up: set[Key] = set()
        self._objected: dict[str, Rule] = {}  # rules that have objected so far
        # Blanks -> candidates in them -> the objection that stands whatever the other blanks hold.
        self._standing: dict[tuple[int, ...], dict[tuple[int, ...], Objection]] = {}

    def filled(self, assignment: Assignment) -> Description:
        """The description with the candidates of an assignment."""
        chosen = ((b, b.candidates[n]) for b, n in zip(self.blanks, assignment, strict=True))
        return fill(self.description, chosen)

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

    def _first_objection(self, assignment: Assignment, heed: Heed) -> Objection | None:
        """Any one objection that is heeded; rules that objected of late are asked first."""
        for blanks, standing in self._standing.items():
            known = standing.get(tuple(assignment[blank] for blank in blanks))
            if known is not None and self._heeded(known, blanks, heed):
                return known
        for number, rule in enumerate(self._rules):
            for objection in self._concerning(rule, assignment):
                if self._heeded(objection, self.needs(objection, assignment).any_of, heed):
                    self._rules.insert(0, self._rules.pop(number))
                    self._objected[rule.id] = rule
                    return objection
        return None

    def _heeded(self, objection: Objection, blanks: tuple[int, ...], heed: Heed) -> bool:
        mildest = min(heed[blank] for blank in blanks)
        return objection.severity.rank <= mildest and objection.key not in self._given_up

    def _concerning(self, rule: Rule, assignment: Assignment) -> Iterator[Objection]:
        """What a rule objects to and a choice can change."""
        for objection in self.of_rule(rule, assignment).values():
            if objection.key in self._beyond:
                continue
            if self.needs(objection, assignment).any_of:
                yield objection
            else:
                self._beyond.add(objection.key)

    def blanks_of(self, objection: Objection) -> tuple[tuple[int, ...], bool]:
        """The blanks on which an objection at an end of the search depends, and is it about one of them?

        What is about none of them (a pump's suction, of which a delivery pipe moves the third digit) and
        stands with every choice is no conflict of these blanks: it is found in the check by itself.
        """
        blanks = self._needs[objection.key, True].any_of
        return blanks, any(self._owns(blank, objection) for blank in blanks)

    def give_up(self, objections: tuple[Objection, ...]) -> None:
        """From now on the search passes over these."""
        self._given_up |= {objection.key for objection in objections}

    def _recall_beyond(self, assignment: Assignment) -> bool:
        """Takes up again what was thought beyond all choices and here is not; True where there is any."""
        for key in sorted(self._beyond):
            objection = self.of_rule(self._by_id[key[0]], assignment).get(key[1])
            if objection is None:
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

    def _probe(self, objection: Objection, assignment: Assignment, *, thorough: bool) -> Needs:
        cures: list[int] = []
        larger: list[int] = []
        for blank in self._nearest_first(objection):
            changed = cured = False
            for other in self._moved(assignment, blank, range(assignment[blank] + 1, self._count(blank))):
                now = self._again(objection, other)
                cured = now is None
                changed = changed or now != objection.said
                if cured or (thorough and changed):
                    break
            larger += [blank] if changed else []
            cures += [blank] if cured else []
            if cured and not thorough and self._owns(blank, objection):
                break  # its own choice mends it: no need to look at the others
        smaller = [
            blank
            for blank in range(len(self.blanks))
            if blank not in larger
            and (thorough or not larger)
            and any(
                self._again(objection, other) != objection.said
                for other in self._moved(assignment, blank, range(assignment[blank]))
            )
        ]
        return Needs(tuple(cures), tuple(larger), tuple(sorted({*larger, *smaller})))

    def _again(self, objection: Objection, assignment: Assignment) -> tuple[tuple[str, ...], ...] | None:
        found = self.of_rule(self._by_id[objection.rule], assignment).get(objection.subject)
        return None if found is None else found.said

    def _nearest_first(self, objection: Objection) -> list[int]:
        return sorted(range(len(self.blanks)), key=lambda n: (not self._owns(n, objection), n))

    def _owns(self, blank: int, objection: Objection) -> bool:
        tags = self.blanks[blank].tags
        return objection.subject in tags or objection.subject.partition(".")[0] in tags

    def _count(self, blank: int) -> int:
        return len(self.blanks[blank].candidates)

    @staticmethod
    def _moved(assignment: Assignment, blank: int, places: Iterable[int]) -> Iterator[Assignment]:
        return (moved(assignment, blank, place) for place in places)

    def _hopeless(self, objection: Objection, assignment: Assignment) -> bool:
        """Does it stand with every choice in every blank that it depends on, taken one at a time?"""
        return all(
            self._again(objection, other) is not None
            for blank in self.needs(objection, assignment, thorough=True).any_of
            for other in self._moved(assignment, blank, range(self._count(blank)))
        )

    # -- the search ------------------------------------------------------------------------------

    def search(self, heed: Heed) -> Found:
        """The smallest choices without an objection that is heeded."""
        found = self._search(heed, thorough=False)
        if found.assignment is None:
            found = replace(found, assignment=self._mended(heed))
        if found.assignment is None:
            found = self._search(heed, thorough=True)
        if found.assignment is None:
            return found
        return Found(self._lowered(found.assignment, heed), proved=True)

    def _search(self, heed: Heed, *, thorough: bool) -> Found:
        start = (0,) * len(self.blanks)
        ends: dict[Objection, Assignment] = {}
        waiting = [(0, start)]
        seen = {start}
        for _ in range(MOST_TRIES):
            if not waiting:
                return self._failed(ends, proved=True)
            cost, assignment = heapq.heappop(waiting)
            objection = self._first_objection(assignment, heed)
            if objection is None:
                if not self._recall_beyond(assignment):
                    return Found(assignment, True)
                heapq.heappush(waiting, (cost, assignment))
                continue
            needs = self.needs(objection, assignment, thorough=thorough)
            if thorough:
                held = tuple(assignment[blank] for blank in needs.any_of)
                self._standing.setdefault(needs.any_of, {})[held] = objection
            larger = needs.larger if thorough else needs.cures or needs.larger
            ways = [blank for blank in larger if assignment[blank] + 1 < self._count(blank)]
            if not ways:
                ends.setdefault(objection, assignment)
            for other in (moved(assignment, blank, assignment[blank] + 1) for blank in ways):
                if other not in seen:
                    seen.add(other)
                    heapq.heappush(waiting, (cost + 1, other))
        return self._failed(ends, proved=False)

    def _mended(self, heed: Heed) -> Assignment | None:
        """Some choices without an objection that is heeded, small only where the way there led to small ones.

        For many blanks at once, where enlarging step by step takes too many steps: each step ends an
        objection, and the assignment with the fewest objections left is mended first (source of the method:
        greedy best-first search on the number of conflicts, any text on constraint satisfaction).
        """
        start = (0,) * len(self.blanks)
        waiting = [(0, 0, start)]
        seen = {start}
        for _ in range(_MOST_MENDED):
            if not waiting:
                return None
            left, total, assignment = heapq.heappop(waiting)
            objection = self._first_objection(assignment, heed)
            if objection is None:
                if not self._recall_beyond(assignment):
                    return assignment
                heapq.heappush(waiting, (left, total, assignment))
                continue
            for other in self._ways_out(objection, assignment):
                if other not in seen:
                    seen.add(other)
                    heapq.heappush(waiting, (self._count_left(other, heed), sum(other), other))
        return None

    def _count_left(self, assignment: Assignment, heed: Heed) -> int:
        """How many objections of rules that have objected before are heeded here."""
        return sum(
            self._heeded(objection, self.needs(objection, assignment).any_of, heed)
            for rule in list(self._objected.values())
            for objection in self._concerning(rule, assignment)
        )

    def _ways_out(self, objection: Objection, assignment: Assignment) -> Iterator[Assignment]:
        """Where the objection is at an end: the nearest choice up and down each blank, or all up at once."""
        touching = self._touching(objection, assignment)
        for blank in touching:
            at = assignment[blank]
            for places in (range(at + 1, self._count(blank)), range(at - 1, -1, -1)):
                others = self._moved(assignment, blank, places)
                yield from islice((o for o in others if self._again(objection, o) is None), 1)
        for step in range(1, max((self._count(blank) for blank in touching), default=0)):
            other = assignment
            for blank in touching:
                other = moved(other, blank, min(assignment[blank] + step, self._count(blank) - 1))
            if self._again(objection, other) is None:
                yield other
                return

    def _touching(self, objection: Objection, assignment: Assignment) -> tuple[int, ...]:
        """The blanks in which some of a few choices from the smallest to the largest change an objection."""
        known = self._touched.get(objection.key)
        if known is None:
            known = self._touched[objection.key] = tuple(
                blank
                for blank in range(len(self.blanks))
                if any(
                    self._again(objection, other) != objection.said
                    for other in self._moved(assignment, blank, self._spread(blank))
                )
            )
        return known

    def _spread(self, blank: int) -> list[int]:
        """Places of a few candidates, evenly from the smallest to the largest."""
        last = self._count(blank) - 1
        return sorted({round(last * n / (_SPREAD - 1)) for n in range(_SPREAD)})

    def _failed(self, ends: Mapping[Objection, Assignment], *, proved: bool) -> Found:
        hopeless = tuple(o for o, assignment in ends.items() if self._hopeless(o, assignment))
        needed = (self.needs(o, assignment, thorough=True) for o, assignment in ends.items())
        stuck = {blank for needs in needed for blank in needs.any_of}
        return Found(None, proved, hopeless, frozenset(stuck or range(len(self.blanks))))

    def _lowered(self, assignment: Assignment, heed: Heed) -> Assignment:
        """The same with nothing larger than it must be while the rest stays; each lowered a bit in turn."""
        lowered = True
        while lowered:
            lowered = False
            for blank in range(len(self.blanks)):
                for other in self._moved(assignment, blank, range(assignment[blank] - 1, -1, -1)):
                    if self._first_objection(other, heed) is None:
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
        )
        for subject, group in grouped.items()
    }


def _said(finding: Finding) -> tuple[str, ...]:
    """What tells whether a choice matters: the figures, else the words (which may merely name a size)."""
    figures = (finding.required, finding.actual)
    return (finding.verdict, *(figures if any(figures) else (finding.message,)))
