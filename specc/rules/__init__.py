"""The rules, in the order of the reference. A new rule is written in its group's file and listed there."""

from __future__ import annotations

from specc.rules import ampacity
from specc.rules._rule import Rule

ALL_RULES: tuple[Rule, ...] = (*ampacity.RULES,)
