"""The parts list: everything to buy once, with what each part needs beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from specc.documents.alternatives import alternatives
from specc.documents.buying import Bought, Pack, cheapest, packs_of
from specc.documents.label_schedule import labels_of
from specc.documents.tables import Cell, Column, Table
from specc.system.model import Device, Pipe
from specc.system.system import System

COLUMNS = (
    Column("group", "Group"),
    Column("part", "Part"),
    Column("what", "Description"),
    Column("needed", "Needed", "", "right"),
    Column("packs", "Buy", "count", "right"),
    Column("pack", "Sold as"),
    Column("price", "Unit price", "money", "right"),
    Column("total", "Total", "money", "right"),
    Column("weight", "Weight", "mass", "right", on_paper=False),
    Column("used", "Where used"),
    Column("instead", "Would do as well", on_paper=False),
)

# Shop visits, in the order in which a job is bought.
_GROUPS = {
    "solar": "1 Solar",
    "pump": "2 Pump",
    "electrical": "3 Electrical",
    "wire": "4 Wire",
    "raceway": "5 Raceway and boxes",
    "plumbing": "6 Plumbing",
}
_NOT_PRICED = "not in the catalogue"


@dataclass
class _Line:
    """A line while it is gathered: a count, or pieces [m], and the tags that use it."""

    part: Any
    what: str
    group: str
    count: float = 0.0
    pieces_m: list[float] = field(default_factory=list)
    joinable: bool = False  # pieces are joined: only their sum counts
    packs: tuple[Pack, ...] = ()
    used: dict[str, None] = field(default_factory=dict)

    def use(self, *tags: str) -> None:
        self.used.update(dict.fromkeys(tags))


def parts_list(system: System) -> Table:
    """Everything to buy, rolled up by part; wire by size and colour, pipe by part, whole packs."""
    gathered = _Gatherer(system).lines()
    rows = tuple(row for line in sorted(gathered, key=_order) for row in _rows(system, line))
    priced = [row["total"] for row in rows if isinstance(row["total"], float)]
    unpriced = len(rows) - len(priced)
    wire = system.handbook.threshold("wire_waste_fraction").value
    pipe = system.handbook.threshold("pipe_waste_fraction").value
    notes = [
        f"Wire and raceway with {wire:.0%} allowance, pipe with {pipe:.0%}; the cheapest packs that serve, "
        "each piece of wire from one length.",
        f"Prices in {system.job.currency} as the catalogue has them; ask your dealer.",
    ]
    if system.connected.pipes:
        notes.append(
            "Adapters from the pipe to the ports of pump, filter, valves and tank are here where the spec "
            "names them among the fittings of a pipe, and not otherwise: count them at the sheet of pipes."
        )
    if unpriced:
        notes.append(f"{unpriced} lines have no price in the catalogue and are not in the total.")
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


def _order(line: _Line) -> tuple[str, str, str]:
    return (line.group, getattr(line.part, "kind", ""), line.what)


class _Gatherer:
    def __init__(self, system: System) -> None:
        self.system = system
        self.found: dict[tuple[str, ...], _Line] = {}

    def lines(self) -> list[_Line]:
        for device in self.system.devices.values():
            self._device(device)
        for run in self.system.connected.runs.values():
            for conductor in run.conductors:
                line = self._wire(conductor.wire, conductor.size, conductor.color)
                line.pieces_m.append(conductor.length_m)
                line.use(conductor.tag)
        for pipe in self.system.connected.pipes.values():
            self._pipe(pipe)
        self._implied()
        return list(self.found.values())

    def _device(self, device: Device) -> None:
        if device.part is None:
            return
        if device.table == "raceways":
            line = self._line(device.part, _GROUPS["raceway"])
            line.pieces_m.append(device.spec.length)
            line.joinable = True
        else:
            count = getattr(device.spec, "series", 1) * getattr(device.spec, "parallel", 1)
            line = self._line(device.part)
            line.count += count
        line.use(device.tag)
        wanted = list(device.part.needs)
        if device.table == "fuses" and device.spec.holder:
            wanted = [n for n in wanted if n != device.part.holder] + [device.spec.holder]
        elif device.table == "fuses" and device.part.holder and device.part.holder not in wanted:
            wanted.append(device.part.holder)
        for part in self._with_needs(wanted):
            beside = self._line(part)
            beside.count += getattr(device.spec, "series", 1) * getattr(device.spec, "parallel", 1)
            beside.use(device.tag)

    def _with_needs(self, ids: list[str]) -> Iterator[Any]:
        """The parts of these ids and, in turn, what they need; each part once per chain."""
        seen: set[str] = set()
        waiting = list(ids)
        while waiting:
            part_id = waiting.pop(0)
            part = self.system.description.catalog.find(part_id)
            if part is None:
                continue
            yield part
            if part_id not in seen:
                seen.add(part_id)
                waiting += part.needs

    def _line(self, part: Any, group: str | None = None) -> _Line:
        if group is None:
            group = _GROUPS["raceway" if part.kind in ("enclosure", "raceway") else part.buy_with]
        return self.found.setdefault((part.id,), _Line(part, part.name, group, packs=packs_of(part)))

    def _wire(self, wire: Any, size: str, color: str) -> _Line:
        key = (wire.id, size, color)
        if key not in self.found:
            priced = next((s for s in wire.sizes if s.size == size), None)
            self.found[key] = _Line(
                wire,
                f"{wire.name}, {size}, {color}",
                _GROUPS["wire"],
                packs=packs_of(wire, priced) if priced else (),
            )
        return self.found[key]

    def _pipe(self, pipe: Pipe) -> None:
        line = self._line(pipe.part, _GROUPS["plumbing"])
        line.pieces_m.append(pipe.spec.length)
        line.joinable = True
        line.use(pipe.tag)
        for fitting in pipe.spec.fittings:
            if self.system.handbook.fitting_duty(fitting.name) == "no part":
                continue
            part = self.system.description.catalog.fitting(fitting.name, pipe.part.size, pipe.part.family)
            if part is not None:
                line = self._line(part, _GROUPS["plumbing"])
            else:
                words = f"{fitting.name}, {pipe.part.size}, for {pipe.part.name}"
                line = self.found.setdefault((words,), _Line(None, words, _GROUPS["plumbing"]))
            line.count += fitting.count
            line.use(pipe.tag)
            for beside in self._with_needs(list(part.needs) if part is not None else []):
                more = self._line(beside, _GROUPS["plumbing"])
                more.count += fitting.count
                more.use(pipe.tag)

    def _implied(self) -> None:
        """What the spec implies without saying: entries of boxes, lugs on studs, labels, conductor tags."""
        sundries = self.system.description.catalog.parts("sundry")
        for device in self.system.of_kind("enclosure"):
            self._entries(sundries, device)
        for label in labels_of(self.system):
            part = next((p for p in sundries if p.type == "label" and label.name in p.suits), None)  # type: ignore[attr-defined]
            line = (
                self._line(part)
                if part is not None
                else self.found.setdefault(
                    (label.name,), _Line(None, f"label: {label.name}", _GROUPS["electrical"])
                )
            )
            line.count += label.count
            line.use(label.tag)
        for conductor in self.system.conductors:
            for end in (conductor.start, conductor.end):
                wire = self.system.terminal(end).wire
                if getattr(wire, "stud", False):
                    self._lug(sundries, conductor.size, conductor.tag)

    def _entries(self, sundries: Any, box: Device) -> None:
        """One connector for each raceway that ends at a box, one gland for each run that comes without."""
        connectors: dict[str, Any] = {}
        glands = []
        for run in self.system.connected.runs.values():
            if not self._enters(run, box):
                continue
            connector = run.raceway and _connector(sundries, run.raceway.part)
            if run.raceway and connector:
                connectors[run.raceway.tag] = connector
            else:
                glands.append(run.tag)
        for tag, part in connectors.items():
            line = self._line(part)
            line.count += 1
            line.use(tag)
        gland = box.part.gland_part and self.system.description.catalog.find(box.part.gland_part)
        if gland and glands:
            line = self._line(gland)
            line.count += len(glands)
            line.use(*glands)

    def _lug(self, sundries: Any, size: str, tag: str) -> None:
        index = self.system.book.size_index
        for part in sundries:
            if part.type != "lug" or not (part.smallest and part.largest):
                continue
            try:
                fits = index(part.smallest) <= index(size) <= index(part.largest)
            except LookupError:
                continue
            if fits:
                line = self._line(part)
                line.count += 1
                line.use(tag)
                return
        words = f"ring lug for {size}"
        line = self.found.setdefault((words,), _Line(None, words, _GROUPS["electrical"]))
        line.count += 1
        line.use(tag)

    def _enters(self, run: Any, box: Device) -> bool:
        held = set(box.spec.holds) | {box.tag}
        ends = {t.split(".")[0] in held for c in run.conductors for t in (c.start, c.end)}
        return ends == {True, False} and run.spec.laid != "in enclosure"


def _connector(sundries: Any, raceway: Any) -> Any:
    """What joins a raceway of this kind and size to a box; None for one that ends short of it, as a duct."""
    fits = (p for p in sundries if p.type == "gland" and raceway.raceway in p.suits)
    return next((p for p in fits if p.trade_size == raceway.trade_size), None)


def _rows(system: System, line: _Line) -> Iterator[dict[str, Cell]]:
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


def _needed(system: System, line: _Line) -> list[float]:
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
    return pack.sold_as if pack.count == 1 else f"pack of {pack.count}"


def _without_pack(system: System, pack: Pack, pieces: list[float], known: bool) -> str:
    """What is said where no pack of the catalogue serves."""
    if not known:
        return pack.sold_as
    return f"in one length of {system.show(max(pieces), 'length', 3)}: longer than any pack, ask the dealer"


def _row(system: System, line: _Line, bought: Bought | None, needed: float, sold: str) -> dict[str, Cell]:
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
        "used": ", ".join(line.used),
        "instead": _instead(system, part),
    }


def _weight_kg(line: _Line) -> float | None:
    """Weight of all pieces of a line, where the catalogue gives that of one."""
    if line.pieces_m or getattr(line.part, "weight", None) is None:
        return None
    return float(line.part.weight) * line.count
