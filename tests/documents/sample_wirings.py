"""Wiring diagrams to lay out: random ones of any size, and one with names that nobody would choose."""

from __future__ import annotations

import itertools
import random
from typing import Literal

from specc.documents.diagram import TitleBlock
from specc.documents.wiring import Inner, InnerKind, Post, WiredConductor, WiredDevice, Wiring

TITLE = TitleBlock("Random job", "N-1", "Somebody", "Somebody else", "2026-01-02", "A", "a rulebook")
COLOURS = ("red", "white", "black", "green-yellow", "bare", "yellow")
SIZES = ("10 AWG", "6 mm2", "18 AWG", "2.5 mm2")


def random_wiring(seed: int, size: int) -> Wiring:
    """``size`` devices in places and boxes, wired as a tree with some loops, some terminals left free."""
    chance = random.Random(seed)
    devices = tuple(_device(chance, number, size) for number in range(size))
    boxes = {box: f"type {number}" for number, box in enumerate(sorted({d.box for d in devices if d.box}))}
    pairs = [(number, chance.randrange(number)) for number in range(1, size)]
    pairs += [(chance.randrange(size), chance.randrange(size)) for _ in range(size // 2)]
    return Wiring(TITLE, devices, tuple(_conductors(chance, devices, pairs)), boxes, ("A note.", "Another."))


def _device(chance: random.Random, number: int, size: int) -> WiredDevice:
    marks = ("", "", "+", "-")
    count = chance.choice((1, 2, 2, 4, 8))
    posts = tuple(Post(str(n + 1), chance.choice(marks)) for n in range(count))
    names = [post.name for post in posts]
    kind: InnerKind = chance.choice(("contact", "fuse", "breaker", "join"))
    match chance.randrange(4):
        case 0:
            pairs = list(zip(names[::2], names[1::2], strict=False))
        case 1:
            pairs = list(itertools.pairwise(names))
        case 2:  # crosswise, and a change-over
            pairs = [(a, b) for a, b in zip(names, names[2:], strict=False)]
        case _:
            pairs = []
    box = chance.choice(("", f"BOX{number * 3 // size}"))
    place = f"place {number * 4 // size}" if box or chance.random() < 0.6 else ""
    if box:
        place = f"place {int(box[3:])}"
    captions = tuple(chance.sample(("24 V DC", "rated 40 A 120 V DC", "closes on rise", "terminal block"), 2))
    return WiredDevice(f"D{number}", posts, tuple(Inner(a, b, kind) for a, b in pairs), captions, place, box)


def _conductors(
    chance: random.Random, devices: tuple[WiredDevice, ...], pairs: list[tuple[int, int]]
) -> list[WiredConductor]:
    made = []
    for number, (one, other) in enumerate(pairs):
        ends = [(devices[n].tag, chance.choice(devices[n].posts).name) for n in (one, other)]
        kind: Literal["power", "control", "ground"] = chance.choice(("power", "control", "ground"))
        if ends[0] != ends[1]:
            made.append(
                WiredConductor(
                    f"R{number}.1", ends[0], ends[1], chance.choice(COLOURS), chance.choice(SIZES), kind
                )
            )
    return made


def long_named() -> Wiring:
    """Names as long as the reader of a spec allows, and with signs that mean something elsewhere."""
    tag = "A" + "b" * 31
    posts = (Post("terminal-with-24-letters", "+"), Post("-"))
    devices = (
        WiredDevice(
            tag, posts, (Inner(posts[0].name, "-", "fuse"),), ("</text><script>",), 'shed & "barn"', "B1"
        ),
        WiredDevice("T2", posts, (), ("{{7*7}} =cmd",), "<svg onload=x>", ""),
    )
    conductor = WiredConductor("R1.1", (tag, posts[0].name), ("T2", "-"), "green & yellow <b>", "10 AWG")
    return Wiring(TITLE, devices, (conductor,), {"B1": "]]> type 4X"})
