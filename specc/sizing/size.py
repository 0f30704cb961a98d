"""The stage between reading and checking: every "auto" replaced by the smallest choice that passes."""

from __future__ import annotations

from dataclasses import dataclass

from specc.choices import Choice
from specc.diagnostics import Finding
from specc.reading.read import Description


@dataclass(frozen=True)
class Sized:
    """The description without "auto" (None where nothing can be chosen), the choices, what is impossible."""

    description: Description | None
    choices: tuple[Choice, ...] = ()
    findings: tuple[Finding, ...] = ()


def size(description: Description, *, strict: bool = False) -> Sized:
    """Chooses wherever the spec says "auto"; what is written out stays as it is.

    Choices are made together: none is larger than it must be while every rule of the level of a warning or
    worse passes. Where nothing passes, what is at odds is an error, told once; the rest is chosen all the
    same, and what is at odds as it breaks least, so that the rest can be checked.

    ``strict`` raises what would be our own bug.
    """
    if not description.autos():
        return Sized(description)
    from specc.sizing.choose import choose  # most specs leave nothing open, and start-up counts

    filled, choices, findings = choose(description, strict=strict)
    return Sized(filled, choices, findings)
