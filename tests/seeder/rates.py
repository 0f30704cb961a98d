"""How often a sound job is nagged, and how often a fault is missed."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import tomli_w

from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import Compiled, compile_spec
from tests.seeder.faults import FAULTS, Fault
from tests.seeder.systems import Job, build

GRAVE = (Severity.DANGER, Severity.ERROR)

# Warnings that a sound job may bring: the rulebook wants a device that few small systems have.
KNOWN_WARNINGS = frozenset({"ground.fault-protection"})


@dataclass
class Tally:
    """Right answers among all, and what each wrong one was."""

    tried: int = 0
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        share = len(self.wrong) / self.tried if self.tried else 0.0
        return f"{len(self.wrong)} of {self.tried} ({share:.1%})"


def no_file(name: str) -> bytes:
    raise FileNotFoundError(name)


def compiled(job: Job) -> Compiled:
    return compile_spec(tomli_w.dumps(job).encode(), "job.toml", no_file, strict=True)


def loud(made: Compiled) -> list[Finding]:
    """Everything that nags: violated or not checked, above advice, not accepted."""
    return [
        f
        for f in made.findings
        if f.verdict is not Verdict.SATISFIED and not f.accepted and f.severity is not Severity.ADVICE
    ]


def false_alarms(seeds: Iterable[int]) -> Tally:
    """Sound jobs, and those among them that bring a danger, an error, an unchecked point or a warning."""
    tally = Tally()
    for seed in seeds:
        tally.tried += 1
        found = [f for f in loud(compiled(build(seed))) if f.rule not in KNOWN_WARNINGS]
        if found:
            tally.wrong.append(
                f"seed {seed}: " + "; ".join(f"{f.rule} {f.subject}: {f.message}" for f in found)
            )
    return tally


def candidates(fault: Fault, enough: int, among: int) -> Iterator[int]:
    """Seeds to try a fault on: each kind begins elsewhere, and rare kinds look far beyond."""
    start = 53 * FAULTS.index(fault) % among
    yield from range(start, among)
    yield from range(start)
    yield from range(among, 100 * enough * among)


def missed(fault: Fault, enough: int, among: int) -> Tally:
    """A fault put into ``enough`` sound jobs, and the jobs among them in which it was not found."""
    tally = Tally()
    for seed in candidates(fault, enough, among):
        if tally.tried == enough:
            break
        put = fault.put_into(build(seed), random.Random(f"{fault.name}-{seed}"))
        if put is None:
            continue
        tally.tried += 1
        job, rules = put
        if not _found(compiled(job), fault, rules):
            tally.wrong.append(f"seed {seed}: none of {', '.join(sorted(rules))}")
    return tally


def _found(made: Compiled, fault: Fault, rules: frozenset[str]) -> bool:
    return any(
        f.verdict is Verdict.VIOLATED
        and f.rule in rules
        and not f.accepted
        and (not fault.grave or f.severity in GRAVE)
        for f in made.findings
    )
