"""A diagram over several sheets: which device stands on which, and match marks where a wire is cut.

An enclosure stays whole where a sheet holds it; beside that, as few wires are cut as can be, those of the
energy last. A place has its outline on every sheet that shows a part of it. Small parts are put together
until no two of them fit one sheet, and each stands on the smallest paper that holds it.
A cut wire ends on both sheets at the same letter, which says on which sheet it goes on and at what.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from specc.documents.diagram import Band, Diagram, DiagramDevice, DiagramLink
from specc.documents.drafting.cells import caption_lines
from specc.documents.drafting.lettering import block_height, block_width
from specc.documents.drafting.look import Paper, papers_of, read_look
from specc.documents.drafting.plan import label_lines, symbol_of
from specc.documents.drafting.ranking import rank_devices
from specc.documents.drafting.sheet import Around, around, empty_sheet, fitting_scale
from specc.documents.layout import Fit, Foldings, draw, fit_on, try_on
from specc.documents.shapes import Drawing, Rect
from specc.documents.tag_index import Entry, index_note, index_sheets

SYMBOL = "match-mark"
ANY_SHEET = 88  # stands for the number of a sheet while devices are still shared out
# What it counts that two devices stand on one sheet: the link between them, and beside it their one place.
TIES = {"power": 1.0, "water": 1.0, "control": 0.75, "signal": 0.5, "ground": 0.25}
SAME_PLACE = 0.1
# Shares of a sheet, as foretold:
FULL = 0.9  # what is joined in the first go
LESS = 0.6  # of what was too much, in the next
HOPELESS = 1.4  # what is not even tried
SURE = 0.7  # what will most likely fit, and is tried first afterwards, to fill a sheet
MERGED = 1.2  # what is tried at all then
TRIES = 20  # that may fail, at that
FEW = 4  # sheets, at which a smaller paper is tried too
# Share of a drawing's area that symbols and words take:
BRIM_FULL = 0.4  # never reached
FULLNESS = 0.2  # before any is laid out
REMEMBERED = 6  # drawings from which it is learned, of at least so many devices:
ENOUGH = 6
MARK_AREA = 350.0  # mm2 that a match mark with its words takes

Part = frozenset[str]


def lay_out_sheets(diagram: Diagram, papers: Sequence[Paper] = ()) -> tuple[Drawing, ...]:
    """The sheets of a diagram: one where it is legible on one of the papers (the first two of the US ones).

    Else several, and behind them an index of tags where there is no room for it beside the diagram. What
    cannot be parted and is too large for the papers stands on a larger one of the same series.

    Raises DiagramError when a device names a symbol that does not exist.
    """
    fits, index = fit_sheets(diagram, papers)
    return (*(draw(fit) for fit in fits), *index)


def fit_sheets(diagram: Diagram, papers: Sequence[Paper] = ()) -> tuple[tuple[Fit, ...], tuple[Drawing, ...]]:
    """The same before it is drawn: what stands on each sheet, and the sheets of the index."""
    papers = tuple(papers) or papers_of("us")[:2]
    whole = _numbered(diagram, 1, 1)
    stock = _Stock(diagram)
    if stock.rough(stock.every) < BRIM_FULL * max(area_of(diagram, paper) for paper in papers):
        single = fit_on(whole, papers)
        if single.sheet.paper in papers:
            return (single,), ()
    desk, parts = _fewest(stock, papers)
    parts = _in_order(diagram, parts)
    larger = (p for p in papers_of(desk.paper.series) if p.width > desk.paper.width)
    usable = (*papers[: papers.index(desk.paper) + 1], *larger)
    if len(parts) == 1:
        return (fit_on(whole, usable),), ()
    return _with_marks(diagram, parts, usable, desk.made)


def _with_marks(
    diagram: Diagram, parts: Sequence[Part], papers: Sequence[Paper], ready: Mapping[Part, Foldings]
) -> tuple[tuple[Fit, ...], tuple[Drawing, ...]]:
    sheet_of = {tag: number for number, part in enumerate(parts, 1) for tag in part}
    entries = _entries(diagram, sheet_of)
    made = [
        fit_on(_numbered(_page(diagram, part, sheet_of), n, len(parts)), papers, ready.get(part))
        for n, part in enumerate(parts, 1)
    ]
    with_note = _with_index(made, index_note(entries))
    if with_note is not None:
        return with_note, ()
    block = replace(diagram.title_block, drawing=f"{diagram.title_block.drawing}: index of tags".lstrip(": "))
    count = len(parts) + len(index_sheets(entries, block, papers[0], 1, 1))
    return (
        tuple(_renumbered(fit, n, count) for n, fit in enumerate(made, 1)),
        index_sheets(entries, block, papers[0], len(parts) + 1, count),
    )


def _with_index(made: Sequence[Fit], note: str) -> tuple[Fit, ...] | None:
    """The sheets with the index among the notes of one: of that which is drawn largest with it.

    None where it would make any too small to read.
    """
    longer = [_noting(fit, note) for fit in made]
    best = max(range(len(made)), key=lambda n: longer[n].sheet.scale / longer[n].sheet.paper.least_scale)
    if longer[best].sheet.scale < longer[best].sheet.paper.least_scale:
        return None
    return (*made[:best], longer[best], *made[best + 1 :])


def _noting(fit: Fit, note: str) -> Fit:
    """The same arrangement with one more note, as large as it can be above it."""
    diagram = replace(fit.diagram, notes=(*fit.diagram.notes, note))
    strip, extent = empty_sheet(around(diagram), fit.sheet.paper), fit.arrangement.extent
    scale = min(fit.sheet.scale, fitting_scale(strip.room, extent.width, extent.height))
    return replace(fit, diagram=diagram, sheet=replace(strip, scale=scale))


def _numbered(diagram: Diagram, number: int, count: int) -> Diagram:
    return replace(diagram, title_block=replace(diagram.title_block, sheet=f"{number} of {count}"))


def _renumbered(fit: Fit, number: int, count: int) -> Fit:
    """The same arrangement with another number on its sheet."""
    diagram = _numbered(fit.diagram, number, count)
    sheet = replace(empty_sheet(around(diagram), fit.sheet.paper), scale=fit.sheet.scale)
    return replace(fit, diagram=diagram, sheet=sheet)


# -- one page --------------------------------------------------------------------------------------------


def cut_links(diagram: Diagram, sheet_of: Mapping[str, int]) -> dict[int, str]:
    """The letter of each link that is cut, by its number in the diagram."""
    cut = [n for n, link in enumerate(diagram.links) if sheet_of[link.from_tag] != sheet_of[link.to_tag]]
    return dict(zip(cut, _letters(), strict=False))


def _letters() -> Iterator[str]:
    """A, B ... Z, AA, AB ...; without I and O, which look like numbers."""
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    for length in itertools.count(1):
        for letters in itertools.product(alphabet, repeat=length):
            yield "".join(letters)


def _page(diagram: Diagram, part: Part, sheet_of: Mapping[str, int]) -> Diagram:
    """What stands on the sheet of these devices, with a match mark for the far end of every cut link."""
    letters = cut_links(diagram, sheet_of)
    device_of = {device.tag: device for device in diagram.devices}
    devices = [device for device in diagram.devices if device.tag in part]
    links = []
    for number, link in enumerate(diagram.links):
        here = [tag in part for tag in (link.from_tag, link.to_tag)]
        if all(here):
            links.append(link)
        elif any(here):
            far = device_of[link.to_tag if here[0] else link.from_tag]
            mark = _mark(number, link, letters[number], far, sheet_of[far.tag], leaves=here[0])
            devices.append(mark)
            links.append(replace(link, to_tag=mark.tag) if here[0] else replace(link, from_tag=mark.tag))
    boxes = [replace(box, holds=tuple(tag for tag in box.holds if tag in part)) for box in diagram.boxes]
    return replace(
        diagram, devices=tuple(devices), links=tuple(links), boxes=tuple(box for box in boxes if box.holds)
    )


def _mark(
    number: int, link: DiagramLink, letter: str, far: DiagramDevice, sheet: int, *, leaves: bool
) -> DiagramDevice:
    bands: dict[str, Band] = {"water": "water", "ground": "ground"}
    where = f"to sheet {sheet}" if leaves else f"from sheet {sheet}"
    # No tag of a spec holds a blank, so that of a mark is none of them.
    return DiagramDevice(
        f"mark {number}", SYMBOL, (where, far.tag), band=bands.get(link.kind, "energy"), mark=letter
    )


def _entries(diagram: Diagram, sheet_of: Mapping[str, int]) -> tuple[Entry, ...]:
    """Every tag with what it is and the sheets on which it stands: devices, enclosures, runs and pipes."""
    sheets: dict[str, set[int]] = defaultdict(set)
    words: dict[str, str] = {}
    for device in diagram.devices:
        for tag in (device.tag, *device.twins):
            sheets[tag].add(sheet_of[device.tag])
            words[tag] = symbol_of(device).words
    for box in diagram.boxes:
        sheets[box.tag] |= {sheet_of[tag] for tag in box.holds}
        words[box.tag] = f"enclosure {box.title}".strip()  # its ground bar has no tag of its own
    for link in diagram.links:
        for tag in filter(None, link.tags.split(", ")):
            sheets[tag] |= {sheet_of[link.from_tag], sheet_of[link.to_tag]}
            words.setdefault(tag, "pipe" if link.kind == "water" else "run")
    return tuple(Entry(tag, words[tag], tuple(sorted(sheets[tag]))) for tag in sheets)


# -- which device on which page ----------------------------------------------------------------------------


def _fewest(stock: _Stock, papers: Sequence[Paper]) -> tuple[_Desk, list[Part]]:
    """The parts and the paper that they fit: the largest, unless a smaller one takes no more sheets."""
    best = _Desk(stock, papers[-1])
    parts = share_out(best)
    for paper in papers[:-1]:
        desk = _Desk(stock, paper)
        # Looked at in earnest only where it may turn out so.
        if len(parts) <= FEW and stock.rough(stock.every) / stock.fullness <= len(parts) * desk.area:
            found = share_out(desk)
            if len(found) <= len(parts):
                return desk, found
    return best, parts


def share_out(desk: _Desk) -> list[Part]:
    """The devices in parts that fit the paper, as few wires cut as can be.

    What cannot be parted, one device with all its wires, may be too large for it.
    """
    parts = [part for component in _components(desk.stock.diagram) for part in _parted(desk, component)]
    return _merged(desk, parts)


def _parted(desk: _Desk, part: Part) -> list[Part]:
    """The part whole where the paper holds it; else parted anew into parts that are a little smaller."""
    if len(part) == 1 or desk.holds(part):
        return [part]
    units = _units(desk.stock.diagram, part)
    if len(units) == 1:
        return _along_the_path(desk, part)
    most = min(FULL, LESS * desk.share(part))
    smaller = _joined(desk, units, most)
    if len(smaller) == 1:
        smaller = units
    return [piece for each in smaller for piece in _parted(desk, each)]


def _along_the_path(desk: _Desk, unit: Part) -> list[Part]:
    """An enclosure or place that is too large for a sheet, in pieces along the path of energy."""
    pieces: list[Part] = []
    current: Part = frozenset()
    for tag in sorted(unit, key=lambda tag: (desk.stock.ranks[tag], desk.stock.number[tag])):
        longer = current | {tag}
        if current and (desk.share(longer) > FULL or not desk.holds(longer)):
            pieces.append(current)
            longer = frozenset({tag})
        current = longer
    return [*pieces, current]


def _components(diagram: Diagram) -> list[Part]:
    """What hangs together by links, in the order of the devices."""
    near: dict[str, set[str]] = {device.tag: set() for device in diagram.devices}
    for link in diagram.links:
        near[link.from_tag].add(link.to_tag)
        near[link.to_tag].add(link.from_tag)
    found: list[Part] = []
    left = dict.fromkeys(near)
    while left:
        waiting = [next(iter(left))]
        part = set(waiting)
        for tag in waiting:
            waiting += near[tag] - part
            part |= near[tag]
        found.append(frozenset(part))
        left = {tag: None for tag in left if tag not in part}
    return found


def _units(diagram: Diagram, among: Part) -> list[Part]:
    """Devices of one enclosure in one place, and any other alone."""
    box_of = {tag: box.tag for box in diagram.boxes for tag in box.holds}
    units: dict[tuple[str, str], list[str]] = defaultdict(list)
    for device in diagram.devices:
        if device.tag in among:
            box = box_of.get(device.tag)
            units[(device.place, box) if box else ("", device.tag)].append(device.tag)
    return [frozenset(unit) for unit in units.values()]


def _joined(desk: _Desk, units: Sequence[Part], most: float) -> list[Part]:
    """Units joined two by two, those with most links between them first, up to ``most`` of a sheet."""
    parts = dict(enumerate(units))
    bonds = desk.stock.bonds(units)
    fresh = len(parts)
    while bonds:
        pair = max(bonds, key=lambda each: (bonds[each], -each[1], -each[0]))
        del bonds[pair]
        both = parts[pair[0]] | parts[pair[1]]
        if desk.share(both) > most:
            continue
        for number in pair:
            del parts[number]
        moved: dict[int, float] = defaultdict(float)
        for old in [old for old in bonds if pair[0] in old or pair[1] in old]:
            moved[old[0] if old[1] in pair else old[1]] += bonds.pop(old)
        parts[fresh] = both
        bonds |= {(number, fresh): strength for number, strength in moved.items()}
        fresh += 1
    return list(parts.values())


def _merged(desk: _Desk, parts: Sequence[Part]) -> list[Part]:
    """The parts put together two by two while a sheet holds them: those with most between them first."""
    kept = _in_order(desk.stock.diagram, parts)
    tries = TRIES
    while True:
        bonds = desk.stock.bonds(kept)
        pairs = [
            pair
            for pair in itertools.combinations(range(len(kept)), 2)
            if desk.share(kept[pair[0]] | kept[pair[1]]) < MERGED
            and (pair in bonds or pair[1] - pair[0] == 1)
        ]
        likely = {pair: desk.share(kept[pair[0]] | kept[pair[1]]) < SURE for pair in pairs}
        for one, other in sorted(pairs, key=lambda pair: (not likely[pair], -bonds.get(pair, 0.0))):
            both = kept[one] | kept[other]
            known = both in desk.answers
            if (tries or known) and desk.holds(both):
                kept = [*kept[:one], both, *kept[one + 1 : other], *kept[other + 1 :]]
                break
            tries -= tries > 0 and not known
        else:
            return kept


def _in_order(diagram: Diagram, parts: Sequence[Part]) -> list[Part]:
    """Along the path of energy, then that of water."""
    ranks = rank_devices(diagram)
    number = {device.tag: place for place, device in enumerate(diagram.devices)}
    wet = {device.tag for device in diagram.devices if device.band == "water"}

    def place(part: Part) -> tuple[bool, float, int]:
        on_path = [ranks[tag] for tag in part - wet] or [ranks[tag] for tag in part]
        return part <= wet, sum(on_path) / len(on_path), min(number[tag] for tag in part)

    return sorted(parts, key=place)


class _Stock:
    """The devices and links of a diagram by the area that they take at least, and how full a drawing is.

    The latter is learned from the drawings that were laid out.
    """

    def __init__(self, diagram: Diagram) -> None:
        self.diagram = diagram
        self.every: Part = frozenset(device.tag for device in diagram.devices)
        self.number = {device.tag: number for number, device in enumerate(diagram.devices)}
        self.ranks = rank_devices(diagram)
        self.sizes = {device.tag: _size_of_device(device) for device in diagram.devices}
        self.labels = [_size_of_label(link) for link in diagram.links]
        self.links_of: dict[str, list[int]] = defaultdict(list)
        for number, link in enumerate(diagram.links):
            for tag in {link.from_tag, link.to_tag}:
                self.links_of[tag].append(number)
        self.place_of = {device.tag: device.place for device in diagram.devices}
        self.seen: list[float] = []

    def rough(self, part: Part) -> float:
        """The area of symbols, captions, labels and marks, mm2 at full scale."""
        links = {number for tag in part for number in self.links_of[tag]}
        area = sum(self.sizes[tag] for tag in part) + sum(self.labels[number] for number in links)
        for number in links:
            link = self.diagram.links[number]
            area += MARK_AREA * ((link.from_tag in part) != (link.to_tag in part))
        return area

    @property
    def fullness(self) -> float:
        """The share of a drawing's area that its symbols and words take, as seen so far."""
        return sum(self.seen) / len(self.seen) if self.seen else FULLNESS

    def learn(self, part: Part, extent: Rect) -> None:
        """What a drawing of these devices took."""
        if len(part) >= ENOUGH:
            fullness = self.rough(part) / (extent.width * extent.height)
            self.seen = [*self.seen, fullness][-REMEMBERED:]

    def bonds(self, units: Sequence[Part]) -> dict[tuple[int, int], float]:
        """How much pairs of units belong together: by the links between them."""
        unit_of = {tag: number for number, unit in enumerate(units) for tag in unit}
        found: dict[tuple[int, int], float] = defaultdict(float)
        for link in self.diagram.links:
            pair = sorted({unit_of[tag] for tag in (link.from_tag, link.to_tag) if tag in unit_of})
            if len(pair) == 2:
                together = self.place_of[link.from_tag] == self.place_of[link.to_tag] != ""
                found[pair[0], pair[1]] += TIES[link.kind] + SAME_PLACE * together
        return dict(found)


class _Desk:
    """A paper and what was laid out on it."""

    def __init__(self, stock: _Stock, paper: Paper) -> None:
        self.stock = stock
        self.paper = paper
        self.area = area_of(stock.diagram, paper)
        self.answers: dict[Part, bool] = {}
        self.made: dict[Part, Foldings] = {}

    def share(self, part: Part) -> float:
        """The part of a sheet that these devices will most likely take."""
        return self.stock.rough(part) / self.stock.fullness / self.area

    def holds(self, part: Part) -> bool:
        """Do these devices fit one sheet, with marks for the links that lead away?"""
        if part not in self.answers:
            self.answers[part] = self.share(part) < HOPELESS and self.lay_out(part)
        return self.answers[part]

    def lay_out(self, part: Part) -> bool:
        """The same, but always tried."""
        sheet_of = {tag: 1 if tag in part else ANY_SHEET for tag in self.stock.number}
        page = _numbered(_page(self.stock.diagram, part, sheet_of), ANY_SHEET, ANY_SHEET)
        self.made[part] = Foldings(page)
        extent, does_fit = try_on(page, self.made[part], self.paper)
        self.stock.learn(part, extent)
        return does_fit


def area_of(diagram: Diagram, paper: Paper) -> float:
    """The room on a sheet, mm2 at the least scale."""
    room = empty_sheet(Around(diagram.title_block, diagram.notes), paper).room
    return room.width * room.height / paper.least_scale**2


def _size_of_device(device: DiagramDevice) -> float:
    symbol, caption = symbol_of(device), caption_lines(device)
    gap = 4 * read_look().outline_gap
    width = max(symbol.width, block_width(caption)) + gap
    return width * (symbol.height + block_height(caption) + gap)


def _size_of_label(link: DiagramLink) -> float:
    lines = label_lines(replace(link, captions=link.all_captions))
    return (block_width(lines) + 4.0) * (block_height(lines) + 4.0)
