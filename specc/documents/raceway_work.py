"""What raceways and cables need beside themselves: fittings, bends, straps, glue, splices, warning tape."""

from __future__ import annotations

import math
from collections import Counter

from specc.documents.basket import Basket, by_area
from specc.documents.box_entries import RacewayEnd, entries, has_cord, has_fittings, raceway_ends
from specc.documents.one_line import size_words
from specc.rulebooks import Joining, NotInTable
from specc.system.model import Device, Run
from specc.system.system import System

_FREE = ("out of reach", "within reach")  # cable that is clipped to what it runs along
_ALMOST = 1e-9


def add_entries(basket: Basket) -> None:
    """A fitting for each end of a raceway, a gland for each run that comes into a box without one."""
    system = basket.system
    for end in raceway_ends(system):
        if has_fittings(system, end.raceway):
            _end_fitting(basket, end)
    glands = False
    for entry in entries(system):
        if entry.raceway is None and entry.gland_of is entry.run:
            glands = True
            _gland(basket, entry.run, entry.into)
    if glands:
        basket.note(
            "One gland for each run into each box or case, with a seal of as many holes as the run has "
            "conductors; what goes on from a raceway through a box shares one."
        )


def _end_fitting(basket: Basket, end: RacewayEnd) -> None:
    part = end.raceway.part
    kind, size = part.raceway, part.trade_size
    words = f"connector, {size_words(size)}, for {part.name}"
    basket.buy("gland", words, 1, end.raceway.tag, suits=kind, trade_size=size)
    if end.at is not None and end.at.kind == "switch" and has_cord(end.at):
        basket.buy("box", "joint box for a float's cord", 1, end.at.tag, suits="cord")
        basket.buy("gland", "gland for a float's cord", 1, end.at.tag, size=_cord_size(basket.system, end.at))


def _cord_size(system: System, device: Device) -> str:
    """A float's cord is no thicker than the wire that goes on from it."""
    sizes = [c.size for c in system.conductors if device in _devices(system, c.start, c.end)]
    return max(sizes, key=by_area)


def _devices(system: System, *terminals: str) -> tuple[Device, ...]:
    return tuple(system.terminal(terminal).device for terminal in terminals)


def _gland(basket: Basket, run: Run, into: Device) -> None:
    """Of the size that the box is made for, if the cable fits into it; else of its own."""
    system = basket.system
    size = max((c.size for c in run.conductors), key=by_area)
    part = basket.sundry("gland", size=size)
    made_for = into.part.gland_part if into.kind == "enclosure" else None
    if part is None and made_for:
        part = system.description.catalog.find(made_for)
    tag = f"{run.tag} at {into.tag}"
    if part is None:
        basket.other(f"cable gland for {size}", "electrical").add(1, tag)
    else:
        basket.add(part, 1, tag)


def add_raceway_work(basket: Basket) -> None:
    """Bends, couplings, expansion fittings, straps and cement of every raceway."""
    strapped: dict[str, None] = {}
    ends = Counter(end.raceway for end in raceway_ends(basket.system))
    moving: dict[str, list[str]] = {}
    for raceway in basket.system.of_kind("raceways"):
        try:
            joining = basket.system.handbook.raceway_joining(raceway.part.raceway)
        except NotInTable as lack:
            basket.note(f"{raceway.tag}: its couplings and bends are not counted; {lack}.")
            continue
        _lengths(basket, raceway, joining, ends[raceway], moving)
        strapped[_straps(basket, raceway)] = None
    if sources := "; ".join(source for source in strapped if source):
        basket.practice(f"Straps of raceways: one near each end, more where they are not buried ({sources}).")
    for why, changes in moving.items():
        basket.note(f"Longer on the hottest day than on the coldest: {', '.join(changes)}. {why}")
    if any(r.spec.buried is not None and _stiff(basket, r) for r in basket.system.of_kind("raceways")):
        basket.note(
            "Where frost or filling moves the ground, a raceway that rises from it wants a slip fitting at "
            "the riser (NEC 300.5(J), from memory, unverified): not counted."
        )


def _stiff(basket: Basket, raceway: Device) -> bool:
    try:
        return basket.system.handbook.raceway_joining(raceway.part.raceway).bend != "by hand"
    except NotInTable:
        return False


def joints(length_m: float, pack_length_m: float | None) -> int:
    """Joints between the lengths that a raceway or pipe is made of."""
    if not pack_length_m:
        return 0
    return max(0, math.ceil(length_m / pack_length_m - _ALMOST) - 1)


def _lengths(
    basket: Basket, raceway: Device, joining: Joining, ends: int, moving: dict[str, list[str]]
) -> None:
    part, tag = raceway.part, raceway.tag
    kind, size, bends = part.raceway, part.trade_size, raceway.spec.bends
    words = f"{size_words(size)}, for {part.name}"
    straight = joints(raceway.spec.length, part.pack_length)
    elbows = bends or 0 if joining.bend == "elbow" else 0
    if bends is None:
        basket.note(f"{tag}: how often it bends is not said; no elbows are counted for it.")
    elif bends and joining.bend == "bent on site":
        basket.note(f"{tag}: {bends} quarter bends, bent on site: bring a bender for {size_words(size)}.")
    basket.buy("elbow", f"elbow 90, {words}", elbows, tag, group="raceway", suits=kind, trade_size=size)
    # An elbow lies between two cut ends: one goes into the socket of a length or coupling, one needs its own.
    couplings = elbows + (straight if joining.end == "coupling" else 0)
    basket.buy("coupling", f"coupling, {words}", couplings, tag, group="raceway", suits=kind, trade_size=size)
    expansions = _expansions(basket, raceway, joining, moving)
    basket.buy(
        "expansion",
        f"expansion fitting, {words}",
        expansions,
        tag,
        group="raceway",
        suits=kind,
        trade_size=size,
    )
    if joining.cement:
        bells = straight if joining.end == "bell" else 0
        add_cement(basket, joining.cement, bells + 2 * couplings + 2 * expansions + ends, tag)


def add_cement(basket: Basket, cement: str, sockets: int, tag: str) -> None:
    """Cement by the sockets that are glued."""
    part = basket.system.description.catalog.find(cement)
    if part is not None and sockets:
        basket.add(part, sockets, tag)


def _expansions(basket: Basket, raceway: Device, joining: Joining, moving: dict[str, list[str]]) -> int:
    """One where a raceway in the air changes its length by as much as the rulebook lets it."""
    system, site = basket.system, basket.system.description.site
    if raceway.spec.buried is not None or not joining.expansion_per_k:
        return 0
    limit = system.book.threshold("raceway_expansion_m")
    coldest = getattr(site, "coldest_air", None)
    hottest = getattr(site, "hottest_air", None)
    if coldest is None or hottest is None:
        basket.note(f"{raceway.tag}: without the coldest and hottest air its expansion is not worked out.")
        return 0
    change_m = joining.expansion_per_k * raceway.spec.length * (hottest - coldest)
    shown = f"{raceway.tag} by {system.show(change_m, 'short_length', 2)}"
    if not math.isfinite(limit.value):
        moving.setdefault(f"No expansion fitting is counted: {limit.source}.", []).append(shown)
        return 0
    if change_m < limit.value:
        return 0
    moving.setdefault(f"One expansion fitting each ({limit.source}).", []).append(shown)
    return 1


def _straps(basket: Basket, raceway: Device) -> str:
    """Straps of a raceway in the air; of a buried one those of its two ends. Gives their source."""
    part, system = raceway.part, basket.system
    if not has_fittings(system, raceway) and raceway.spec.buried is not None:
        return ""
    try:
        rule = system.book.raceway_support(part.raceway, part.trade_size)
    except NotInTable as lack:
        basket.note(f"{raceway.tag}: its straps are not counted; {lack}.")
        return ""
    between_m = max(0.0, raceway.spec.length - 2.0 * rule.from_end_m)
    inner = 0 if raceway.spec.buried is not None else max(0, math.ceil(between_m / rule.spacing_m) - 1)
    words = f"strap, {size_words(part.trade_size)}, for {part.name}"
    basket.buy("clip", words, 2 + inner, raceway.tag, suits=part.raceway, trade_size=part.trade_size)
    return rule.source


def add_cable_work(basket: Basket) -> None:
    """Clips of cable in the air, splices at floats and drowned pumps, warning tape over what is buried."""
    system = basket.system
    spacing = system.book.threshold("cable_support_m")
    clipped = False
    for run in system.connected.runs.values():
        if run.spec.laid in _FREE and run.raceway is None:
            clipped = True
            along = any(
                device.kind == "panel" for c in run.conductors for device in _devices(system, c.start, c.end)
            )
            words = "clip for cable" if not along else "wire clip for panel frames"
            count = math.ceil(run.spec.length / spacing.value - _ALMOST) + 1
            basket.buy("clip", words, count, run.tag, suits="panel frame" if along else "cable")
    if clipped:
        basket.practice(
            f"Clips of cable: every {system.show(spacing.value, 'short_length', 2)} ({spacing.source})."
        )
    for conductor in system.conductors:
        for device in _devices(system, conductor.start, conductor.end):
            if has_cord(device):
                words = f"submersible splice, {conductor.size}"
                basket.buy("splice", words, 1, device.tag, size=conductor.size)
    _trenches(basket)


def _trenches(basket: Basket) -> None:
    """Warning tape along every buried raceway, and every buried cable that is not in one."""
    system = basket.system
    part = basket.sundry("tape", suits="trench")
    buried = [(r.tag, float(r.spec.length)) for r in system.of_kind("raceways") if r.spec.buried is not None]
    for run in system.connected.runs.values():
        bare = all(c.wire.insulation_temperature is None for c in run.conductors)
        if run.raceway is None and (run.spec.laid == "direct buried" or run.spec.buried) and not bare:
            buried.append((run.tag, float(run.spec.length)))
    if not buried:
        return
    if part is None:
        basket.other("warning tape for trenches", "electrical").add(1, *(tag for tag, _ in buried))
        return
    line = basket.line(part)
    line.joinable = True
    for tag, length_m in buried:
        line.pieces_m.append(length_m)
        line.use(tag)
    basket.practice(
        "Warning tape: half way down each trench; once for all that lies in one (common practice, no source)."
    )
