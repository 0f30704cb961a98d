"""The parts list: everything to buy once, with what each part needs beside it."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from specc.documents.alternatives import alternatives
from specc.documents.basket import Basket, Line, by_area
from specc.documents.box_entries import has_cord
from specc.documents.buying import Bought, Pack, cheapest
from specc.documents.commissioning import commissioning
from specc.documents.commissioning.model import Commissioning
from specc.documents.label_schedule import labels_of
from specc.documents.pipe_work import add_pipe_work
from specc.documents.raceway_work import add_cable_work, add_entries, add_raceway_work
from specc.documents.tables import Cell, Column, Table
from specc.system.model import Conductor, Device
from specc.system.system import System

COLUMNS = (
    Column("group", "Group"),
    Column("part", "Part"),
    Column("what", "Description"),
    Column("needed", "Needed", "", "right"),
    Column("packs", "Buy", "count", "right"),
    Column("pack", "Sold as"),
    Column("price", "Unit price", "money", "right", sign="Price"),
    Column("total", "Total", "money", "right"),
    Column("weight", "Weight", "mass", "right", on_paper=False),
    Column("used", "Where used"),
    Column("instead", "Would do as well", on_paper=False),
)

_NOT_PRICED = "no part"


def parts_list(system: System, sheet: Commissioning | None = None) -> Table:
    """Everything to buy, rolled up by part; wire by size and colour, pipe by part, whole packs.

    ``sheet``: the commissioning sheet, for which gauge ports are bought; made where it is not given.
    """
    basket = gathered(system, sheet or commissioning(system))
    lines = sorted(basket.lines.values(), key=_order)
    rows = tuple(row for line in lines for row in _rows(system, line))
    priced = [row["total"] for row in rows if isinstance(row["total"], float)]
    unpriced = len(rows) - len(priced)
    wire = system.handbook.threshold("wire_waste_fraction").value
    pipe = system.handbook.threshold("pipe_waste_fraction").value
    notes = [
        f"Wire and raceway with {wire:.0%} allowance, pipe with {pipe:.0%}; the cheapest packs that serve, "
        f"each piece of wire from one length. Prices in {system.job.currency}; ask your dealer.",
    ]
    notes += [*basket.notes, *filter(None, [" ".join(basket.practices)])]
    if unpriced:
        notes.append(
            "One line has no price in the catalogue and is not in the total."
            if unpriced == 1
            else f"{unpriced} lines have no price in the catalogue and are not in the total."
        )
    instead = "; ".join(f"for {row['part']} {row['instead']}" for row in rows if row["instead"])
    if instead:
        notes.append(
            f"Alike and rated no lower, the next cheaper and the next dearer: {instead}. Check the job again "
            "with what you take."
        )
    weights = [row["weight"] for row in rows if isinstance(row["weight"], float)]
    if weights:
        total = system.show(math.fsum(weights), "mass", 3)
        notes.append(f"The {len(weights)} lines of which the catalogue has the weight weigh {total}.")
    return Table(
        "parts-list",
        "Parts list",
        COLUMNS,
        rows,
        tuple(notes),
        totals={"what": "Total of priced lines", "total": math.fsum(priced)},
        group_by="group",
        subtotals=_subtotals(rows),
        apart=True,
    )


def _instead(system: System, part: Any) -> str | None:
    """What would do as well, with its price: "isolator-b (38.00)"."""
    others = alternatives(system.description.catalog, part) if part is not None else ()
    return ", ".join(f"{other.id} ({other.price:.2f})" for other in others) or None


def _subtotals(rows: tuple[dict[str, Cell], ...]) -> dict[str, dict[str, Cell]]:
    """The sum of the priced lines of each group."""
    groups = dict.fromkeys(str(row["group"]) for row in rows)
    return {
        group: {
            "what": "Subtotal",
            "total": math.fsum(
                row["total"] for row in rows if row["group"] == group and isinstance(row["total"], float)
            ),
        }
        for group in groups
    }


def _order(line: Line) -> tuple[str, str, str]:
    return (line.group, getattr(line.part, "kind", ""), line.what)


def gathered(system: System, sheet: Commissioning) -> Basket:
    """What the spec names, what that needs beside it, and what follows from both."""
    basket = Basket(system)
    for device in system.devices.values():
        _device(basket, device)
    _spare_fuses(basket)
    for conductor in system.conductors:
        line = basket.wire(conductor.wire, conductor.size, conductor.color)
        line.pieces_m.append(conductor.length_m)
        line.use(conductor.tag)
        _marks(basket, conductor)
        for end in (conductor.start, conductor.end):
            _end(basket, conductor, end)
    for device in system.of_kind("panel"):
        _links_of_modules(basket, device)
    add_entries(basket)
    add_raceway_work(basket)
    add_cable_work(basket)
    add_pipe_work(basket, sheet)
    for label in labels_of(system):
        part = basket.sundry("label", suits=label.name)
        line = basket.line(part) if part else basket.other(f"label: {label.name}", "electrical")
        line.add(label.count, label.tag)
    return basket


def _device(basket: Basket, device: Device) -> None:
    if device.part is None:
        return
    count = getattr(device.spec, "series", 1) * getattr(device.spec, "parallel", 1)
    if device.table == "raceways":
        line = basket.line(device.part)
        line.pieces_m.append(device.spec.length)
        line.joinable = True
    else:
        line = basket.line(device.part)
        line.count += count
    line.use(device.tag)
    wanted = list(device.part.needs)
    if device.table == "fuses":
        holder = device.spec.holder or device.part.holder
        wanted = [n for n in wanted if n != device.part.holder] + ([holder] if holder else [])
    for beside in basket.with_needs(wanted):
        basket.line(beside).add(count, device.tag)
    if device.kind == "terminal_block":
        basket.buy("jumper", "jumper between terminals", len(device.spec.links), device.tag)
    elif device.kind == "battery":
        _links_of_batteries(basket, device)
    elif device.kind == "enclosure":
        _rail(basket, device)


def _at(system: System, terminal: str) -> list[Conductor]:
    return [c for c in system.conductors if terminal in (c.start, c.end)]


def _links_of_modules(basket: Basket, device: Device) -> None:
    """Wires from module to module, and from frame to frame, alike to those that lead away."""
    system, spec = basket.system, device.spec
    in_strings, strings = (spec.series - 1) * spec.parallel, spec.parallel - 1
    links = (("+", in_strings + strings), ("-", strings), ("frame", spec.series * spec.parallel - 1))
    length_m = system.handbook.threshold("module_link_m").value
    for name, count in links:
        leads = _at(system, f"{device.tag}.{name}")
        if count and leads:
            line = basket.wire(leads[0].wire, leads[0].size, leads[0].color)
            line.pieces_m += [length_m] * count
            line.use(f"{device.tag} links")
            basket.note(
                f"Links between the modules of an array are of the wire that leads away from it, "
                f"{system.show(length_m, 'length', 2)} each (common practice, no source); of the "
                "schedules the termination schedule alone has them."
            )


def _links_of_batteries(basket: Basket, device: Device) -> None:
    """From block to block in each string, and two from string to string."""
    system, spec = basket.system, device.spec
    count = (spec.series - 1) * spec.parallel + 2 * (spec.parallel - 1)
    leads = [c for name in ("+", "-") for c in _at(system, f"{device.tag}.{name}")]
    if count and leads:
        size = max((c.size for c in leads), key=by_area)
        basket.buy("link", f"battery link, {size}", count, device.tag, size=size)


def _rail(basket: Basket, box: Device) -> None:
    """A rail for what stands on one, where the box comes without."""
    held = basket.system.connected.held_by(box)
    widths = [float(d.part.rail_width) for d in held if getattr(d.part, "rail_width", None)]
    part = basket.sundry("rail", suits="rail")
    if widths and box.part.rail is None and part is not None:
        line = basket.line(part)
        line.pieces_m.append(math.fsum(widths))
        line.joinable = True
        line.use(box.tag)


def _spare_fuses(basket: Basket) -> None:
    """Of every kind of fuse that the job uses."""
    spares = basket.system.handbook.threshold("spare_fuses_each").value
    kinds = Counter(device.part.id for device in basket.system.of_kind("fuse"))
    for part_id in kinds:
        part = basket.system.description.catalog.find(part_id)
        if part is not None and spares:
            basket.line(part).add(spares, f"{spares:g} spare")


_TAPES = {"white": ("white",), "green": ("green",), "green-yellow": ("green-yellow",)}


def _marks(basket: Basket, conductor: Conductor) -> None:
    """Tape for both ends of a conductor that is marked there."""
    said = conductor.run.spec.conductors[conductor.path[-1]].marked
    for colour in _TAPES.get(said, ()):
        basket.buy("tape", f"marking tape, {colour}", 2, conductor.tag, suits=colour)


def _end(basket: Basket, conductor: Conductor, end: str) -> None:
    """A ring lug on a stud, a ferrule on fine strands under a screw."""
    terminal = basket.system.terminal(end)
    size = conductor.size
    if getattr(terminal.wire, "stud", False):
        basket.buy("lug", f"ring lug for {size}", 1, conductor.tag, size=size)
    elif conductor.wire.strand == "fine" and not has_cord(terminal.device):
        basket.buy("ferrule", f"ferrule for {size}", 1, conductor.tag, size=size, suits="fine")


def _rows(system: System, line: Line) -> Iterator[dict[str, Cell]]:
    """One row for each pack that is bought of a line; the first has its weight."""
    pieces = _needed(system, line)
    packs = line.packs or (Pack(_NOT_PRICED, None),)
    known = packs[0].length_m is not None or not line.pieces_m
    bought = cheapest(pieces, packs, joinable=line.joinable or not line.pieces_m) if known else None
    if bought is None:
        yield _row(system, line, None, math.fsum(pieces), _without_pack(system, packs[0], pieces, known))
        return
    for number, each in enumerate(bought):
        row = _row(system, line, each, each.serves, _sold(system, each.pack))
        yield row if number == 0 else {**row, "weight": None}


def _needed(system: System, line: Line) -> list[float]:
    """The pieces with their allowance [m]; of what is counted, the count."""
    if not line.pieces_m:
        return [line.count]
    allowance = "pipe_waste_fraction" if getattr(line.part, "kind", "") == "pipe" else "wire_waste_fraction"
    more = 1.0 + system.handbook.threshold(allowance).value
    return [piece * more for piece in line.pieces_m]


def _sold(system: System, pack: Pack) -> str:
    if pack.length_m is not None:
        of = "per" if pack.is_cut else "of"
        return f"{pack.sold_as} {of} {system.show(pack.length_m, 'length', 3)}"
    if pack.sold_as == "each" and pack.count > 1:
        return f"each, for {pack.count}"
    return pack.sold_as if pack.count == 1 else f"pack of {pack.count}"


def _without_pack(system: System, pack: Pack, pieces: list[float], known: bool) -> str:
    """What is said where no pack of the catalogue serves."""
    if not known:
        return pack.sold_as
    return f"in one length of {system.show(max(pieces), 'length', 3)}: longer than any pack, ask the dealer"


def _row(system: System, line: Line, bought: Bought | None, needed: float, sold: str) -> dict[str, Cell]:
    part, price = line.part, None if bought is None else bought.pack.price
    total = None if bought is None or price is None else float(bought.number * price)
    return {
        "group": line.group,
        "part": getattr(part, "id", None),
        "what": line.what,
        "needed": system.show(needed, "length", 3) if line.pieces_m else f"{needed:g}",
        "packs": None if bought is None else bought.number,
        "pack": sold,
        "price": price,
        "total": total,
        "weight": _weight_kg(line),
        "used": _tags(line.used) if _is_label(part) else ", ".join(line.used),
        "instead": _instead(system, part),
    }


_NUMBERED = re.compile(r"([A-Za-z_\-]+)(\d+)")
_MANY = 5  # tags in a row that are written as the first to the last


def _is_label(part: Any) -> bool:
    return getattr(part, "type", "") == "label"


def _tags(used: Iterable[str]) -> str:
    """Tags in a row, "R0 to R9", where there are many of one letter."""
    rows: list[list[str]] = []
    for tag in used:
        now, last = _NUMBERED.fullmatch(tag), _NUMBERED.fullmatch(rows[-1][-1]) if rows else None
        if now and last and now[1] == last[1] and int(now[2]) == int(last[2]) + 1:
            rows[-1].append(tag)
        else:
            rows.append([tag])
    return ", ".join(f"{row[0]} to {row[-1]}" if len(row) >= _MANY else ", ".join(row) for row in rows)


def _weight_kg(line: Line) -> float | None:
    """Weight of all pieces of a line, where the catalogue gives that of one."""
    if line.pieces_m or getattr(line.part, "weight", None) is None:
        return None
    return float(line.part.weight) * line.count
