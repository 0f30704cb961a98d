"""What the compiler chose, as text for a terminal: from what to what and why, then the lines to write."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from specc.choices import Choice

_INDENT = " " * 12


def choices_text(choices: Iterable[Choice], *, width: int = 80) -> str:
    """Each choice with its line and reason, and below, TOML that can be copied; empty without choices.

    What passes no check is told, and never offered to be copied.
    """
    made = list(choices)
    if not made:
        return ""
    told = ['Chosen for "auto":\n\n' + "\n".join(_told(choice, width) for choice in made)]
    good = [choice for choice in made if choice.passes]
    if good:
        lines = "\n".join(f"  # {_where(choice)}\n  {choice.written}" for choice in good)
        told.append(f'To fix these choices, write in place of each "auto":\n\n{lines}')
    if len(good) < len(made):
        failed = ", ".join(f"{choice.key} of {choice.tag}" for choice in made if not choice.passes)
        told.append(
            textwrap.fill(
                f"For {failed} there is nothing to write: no choice passes (auto.impossible above says why).",
                width,
                break_on_hyphens=False,
            )
        )
    return "\n\n".join(told)


def _told(choice: Choice, width: int) -> str:
    chosen = choice.written if choice.passes else f"none passes; checked with {choice.chosen}"
    head = f'  line {choice.place.line:<5}{choice.key} = "auto"  ->  {chosen}   ({choice.tag})'
    rules = f" ({', '.join(choice.would_fail)})" if choice.would_fail else ""
    reason = textwrap.wrap(
        choice.reason + rules,
        width,
        initial_indent=_INDENT,
        subsequent_indent=_INDENT,
        break_on_hyphens=False,
    )
    return "\n".join([head, *reason])


def _where(choice: Choice) -> str:
    inner = ", within its { }" if len(choice.path) > 3 else ""
    return f"[[{choice.table}]] {choice.tag}, line {choice.place.line}{inner}"
