"""Suggestions for words that look like a slip of the finger."""

from __future__ import annotations

import re
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], n: int = 1) -> list[str]:
    """The ``n`` known words nearest to ``word``, nearest first; fewer, or none, if none is near.

    Case, blanks, "-", "_" and "." do not count. Distance is the number of letters left out, put in,
    replaced or swapped with a neighbour (Damerau's, restricted); the limit grows with the length of
    the word. A known word that starts with the whole of ``word``, or the reverse, is near too.
    """
    plain = _plain(word)
    limit = max(1, (len(plain) + 1) // 3)
    ranked = []
    for candidate in dict.fromkeys(known):
        other = _plain(candidate)
        distance = slips(plain, other, limit) if plain and other else limit + 1
        if distance > limit and _one_starts_the_other(plain, other):
            distance = limit + 1
        elif distance > limit:
            continue
        ranked.append((distance, abs(len(other) - len(plain)), candidate))
    return [candidate for _, _, candidate in sorted(ranked)[:n]]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """'did you mean "fuses"?', or "" if no known word is near."""
    near = nearest(word, known)
    return f'did you mean "{near[0]}"?' if near else ""


def slips_between(word: str, other: str) -> int:
    """Slips of the finger between two words as ``nearest`` counts them; 2 stands for that and more."""
    return min(slips(_plain(word), _plain(other), 1), 2)


def _plain(word: str) -> str:
    return re.sub(r"[\s._-]", "", word[:_LONGEST_WORD]).casefold()


_LONGEST_WORD = 100  # nobody's slip of the finger is longer, and the distance costs length squared
_SHORTEST_START = 3


def _one_starts_the_other(word: str, other: str) -> bool:
    shorter, longer = sorted((word, other), key=len)
    return len(shorter) >= _SHORTEST_START and longer.startswith(shorter)


def slips(word: str, other: str, limit: int) -> int:
    """Slips of the finger between two words, or any number above ``limit`` once it is passed.

    A slip leaves a letter out, puts one in, replaces one, or swaps neighbours.
    """
    if abs(len(word) - len(other)) > limit or len(set(word) ^ set(other)) > 2 * limit:
        return limit + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(word, start=1):
        older, before = before, row
        row = [i]
        for j, against in enumerate(other, start=1):
            edits = min(before[j] + 1, row[-1] + 1, before[j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and word[i - 2] == against:
                edits = min(edits, older[j - 2] + 1)
            row.append(edits)
        if min(row) > limit:
            return limit + 1
    return row[-1]
