"""Several questions of one rule to the same thing, each answered by itself.

A datum that one question lacks must not silence the others, so each pair of a thing and a question
is a subject of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from specc.rules._rule import Answer
from specc.system.system import System

T = TypeVar("T")
Question = Callable[[System, T], Answer | Iterable[Answer] | None]


def each(things: Iterable[T], *questions: Question[T]) -> Iterator[tuple[T, Question[T]]]:
    """Every thing with every question, for a rule's ``look``."""
    for thing in things:
        for question in questions:
            yield thing, question


def ask(system: System, subject: tuple[T, Question[T]]) -> Answer | Iterable[Answer] | None:
    """A rule's ``examine``: puts the question to the thing."""
    thing, question = subject
    return question(system, thing)
