"""What to buy of a part that is sold in several packs: the cheapest packs that serve.

A piece of wire comes from one length: a piece longer than every spool has to be cut at the shop, and what
is left of a spool counts only for pieces that still fit into it. Pipe and raceway are joined, so their
lengths count together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_ROUNDING = 1e-9
_CUT = "cut"


@dataclass(frozen=True)
class Pack:
    """One form in which a part is sold. A "cut" is any whole number of its length, in one piece."""

    sold_as: str
    price: float | None
    length_m: float | None = None
    count: int = 1

    @property
    def size(self) -> float:
        """What one of it holds: metres where it is sold by length, else pieces."""
        return self.length_m if self.length_m is not None else float(self.count)

    @property
    def is_cut(self) -> bool:
        return self.sold_as == _CUT


@dataclass(frozen=True)
class Bought:
    """So many of one pack, and what of the need they serve (metres or pieces)."""

    pack: Pack
    number: int
    serves: float

    @property
    def cost(self) -> float:
        """Their price; 0 where the catalogue has none."""
        return self.number * (self.pack.price or 0.0)


def packs_of(part: object, row: object | None = None) -> tuple[Pack, ...]:
    """The packs of a part; of a wire those of the ``row`` of its size. The catalogue's own one first."""
    sold = row if row is not None else part
    own = Pack(
        str(getattr(part, "sold_as", "each")),
        getattr(sold, "price", None),
        getattr(sold, "pack_length", None),
        int(getattr(sold, "pack_count", 1)) * int(getattr(part, "serves", 1)),
    )
    others = (Pack(p.sold_as, p.price, p.pack_length, p.pack_count) for p in getattr(sold, "also_sold", ()))
    return (own, *others)


def cheapest(pieces: Iterable[float], packs: Sequence[Pack], *, joinable: bool) -> tuple[Bought, ...] | None:
    """The cheapest purchase that serves all pieces; None where none does.

    pieces: lengths in one piece, or with ``joinable`` lengths (or numbers) of which only the sum counts
    """
    wanted = sorted((p for p in pieces if p > 0.0), reverse=True)
    if joinable:
        wanted = [math.fsum(wanted)] if wanted else []
    unpriced = packs[0].price is None
    usable = packs[:1] if unpriced else [pack for pack in packs if pack.price is not None]
    # Large ones first; cuts last, since they take whatever is left.
    ordered = sorted(usable, key=lambda pack: (pack.is_cut, -pack.size))
    return _best(wanted, ordered, joinable)


def _best(wanted: list[float], packs: list[Pack], joinable: bool) -> tuple[Bought, ...] | None:
    if not wanted:
        return ()
    if not packs:
        return None
    first, rest = packs[0], packs[1:]
    found: list[tuple[Bought, ...]] = []
    for number in range(math.ceil(math.fsum(wanted) / first.size - _ROUNDING) + len(wanted) + 1):
        served, left = _filled(wanted, first, number, joinable)
        onward = _best(left, rest, joinable)
        if onward is not None:
            own = (Bought(first, _units(served, first, number), math.fsum(served)),) if served else ()
            found.append((*own, *onward))
        if not left or (number and not served):
            break
    return min(found, key=lambda bought: sum(b.cost for b in bought), default=None)


def _filled(wanted: list[float], pack: Pack, number: int, joinable: bool) -> tuple[list[float], list[float]]:
    """What ``number`` packs serve of the pieces (longest first), and what is left."""
    if number == 0:
        return [], wanted
    if pack.is_cut:
        return wanted, []
    if joinable:
        served = min(wanted[0], number * pack.size)
        left = wanted[0] - served
        return [served], [left] if left > _ROUNDING * pack.size else []
    rooms, served_pieces, left_pieces = [pack.size] * number, [], []
    for piece in wanted:
        at = next((n for n, room in enumerate(rooms) if piece <= room * (1.0 + _ROUNDING)), None)
        if at is None:
            left_pieces.append(piece)
        else:
            rooms[at] -= piece
            served_pieces.append(piece)
    return served_pieces, left_pieces


def _units(served: list[float], pack: Pack, number: int) -> int:
    """How many are bought: of a cut, whole units of one length for all its pieces together."""
    return math.ceil(math.fsum(served) / pack.size - _ROUNDING) if pack.is_cut else number
