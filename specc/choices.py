"""What the compiler chose where the spec says "auto": values, with the reason for each."""

from __future__ import annotations

from dataclasses import dataclass

from specc.diagnostics import Span


@dataclass(frozen=True)
class Choice:
    """One "auto" of the spec and what stands for it now.

    ``path`` is its place in the spec (table, number, key), ``what`` names it for people ("wire size"),
    ``chosen`` is the value as the spec would give it. ``would_fail`` holds the ids of the rules that
    ``next_smaller`` breaks, the worst first; both are empty where there is nothing smaller.
    ``passes`` is False where nothing passes every rule, and this is only what comes nearest.
    """

    path: tuple[str | int, ...]
    place: Span
    tag: str
    what: str
    chosen: str | int
    reason: str
    next_smaller: str = ""
    would_fail: tuple[str, ...] = ()
    passes: bool = True

    @property
    def key(self) -> str:
        """The key that says "auto"."""
        return str(self.path[-1])

    @property
    def table(self) -> str:
        """The table that it stands in."""
        return str(self.path[0])

    @property
    def written(self) -> str:
        """The line of TOML that would fix the choice: ``size = "8 AWG"``."""
        value = self.chosen if isinstance(self.chosen, int) else f'"{self.chosen}"'
        return f"{self.key} = {value}"
