"""Catalogue parts as text for a terminal: id, kind, price, and what it is."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import groupby
from typing import Any


def parts_text(parts: Sequence[Any], *, width: int = 80) -> str:
    """Parts grouped by kind, ids in a column, the description wrapped beside them."""
    longest = min(max(len(part.id) for part in parts), 36)
    lines = []
    ordered = sorted(parts, key=lambda part: (part.kind, part.id))
    for kind, group in groupby(ordered, key=lambda part: part.kind):
        lines.append(kind.replace("_", " "))
        for part in group:
            price = f"  {part.price:.2f}" if part.price is not None else ""
            head = f"  {part.id:<{longest}}  "
            body = textwrap.wrap(part.name + price, max(width - len(head), 20)) or [""]
            if len(part.id) > longest:
                lines.append(f"  {part.id}")
                head = " " * (longest + 4)
            lines.append(head + body[0])
            lines += [" " * (longest + 4) + more for more in body[1:]]
    return "\n".join(lines)
