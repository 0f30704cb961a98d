"""The pipe schedule: every pipe and what stands in line with it, in the order of the water."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable

from specc.documents.one_line import size_words
from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system.missing import MissingDatum
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Way

NOT_KNOWN = "not known"

COLUMNS = (
    Column("tag", "Tag"),
    Column("from", "From"),
    Column("to", "To"),
    Column("part", "Part"),
    Column("size", "Size"),
    Column("length", "Length", "length", "right"),
    Column("fittings", "Fittings"),
    Column("flow", "Flow", "flow", "right"),
    Column("velocity", "Velocity", "velocity", "right", decimals=2),
    Column("head_loss", "Head lost", "head", "right", decimals=2),
    Column("cover", "Buried", "short_length", "right"),
)


def pipe_schedule(system: System) -> Table:
    """Pipes and in-line devices, suction before delivery, with flow and loss where pump and pipe meet."""
    ways = _ways(system)
    steps = dict.fromkeys(step for way in ways for step in way.steps)
    water = dict.fromkeys(step for step in system.connected.pipes.values() if step not in steps)
    in_line = [
        d for d in system.of_kind("filter", "valve", "gauge") if d not in steps and system.water.piped(d)
    ]
    rows = tuple(_row(system, step, ways) for step in (*steps, *water, *in_line))
    losses = [row.get("head_loss") for row in rows]
    whole = all(
        isinstance(loss, float) for row, loss in zip(rows, losses, strict=True) if row.get("flow") is not None
    )
    total = math.fsum(loss for loss in losses if isinstance(loss, float))
    return Table(
        "pipe-schedule",
        "Pipes and fittings",
        COLUMNS,
        rows,
        (
            "Flow is that at which pump curve and pipe meet, motor at its nominal voltage, filter clean, "
            "every pump that shares the pipe running; head lost includes the fittings.",
            "Without a flow: no water passes there on its way to a tank.",
        ),
        totals={"tag": "Total", "head_loss": total} if whole and len(ways) == 2 else {},
    )


def _ways(system: System) -> tuple[Way, ...]:
    """Suction and delivery of every pump, as far as they are there."""
    water = system.water
    return tuple(way for pump in water.pumps for way in (*water.ways_in(pump), *water.ways_out(pump)))


def _row(system: System, step: Pipe | Device, ways: tuple[Way, ...]) -> dict[str, Cell]:
    part = step.part
    row: dict[str, Cell] = {
        "tag": step.tag,
        "part": part.name,
        "size": size_words(part.size) if getattr(part, "size", None) else None,
    }
    passing = [way for way in ways if step in way.steps]
    if isinstance(step, Pipe):
        row |= {
            "from": step.start,
            "to": step.end,
            "length": step.spec.length,
            "fittings": _fittings(step),
            "cover": step.spec.buried,
        }
    if not passing:
        return row
    flow = _known(lambda: _flow_m3_s(system, passing))
    row["flow"] = flow
    if not isinstance(flow, float):
        return {**row, "velocity": NOT_KNOWN, "head_loss": NOT_KNOWN}
    if isinstance(step, Pipe):
        row["velocity"] = _known(lambda: system.water.velocity_m_s(step, flow))
    row["head_loss"] = _known(lambda: _loss_m(system, step, flow, passing[0]))
    return row


def _fittings(pipe: Pipe) -> str | None:
    """Names and counts, alike ones together."""
    counts: Counter[str] = Counter()
    for fitting in pipe.spec.fittings:
        counts[fitting.name] += fitting.count
    return ", ".join(name if n == 1 else f"{n} × {name}" for name, n in counts.items()) or None


def _known(work: Callable[[], float]) -> Cell:
    try:
        return float(work())
    except (MissingDatum, NotInTable):
        return NOT_KNOWN


def _flow_m3_s(system: System, passing: list[Way]) -> float:
    """Flow of all pumps whose water passes."""
    pumps = dict.fromkeys(way.pump for way in passing)
    return math.fsum(system.water.operating(pump, False).flow_m3_s for pump in pumps)


def _loss_m(system: System, step: Pipe | Device, flow_m3_s: float, way: Way) -> float:
    water = system.water
    if not isinstance(step, Pipe):
        return water.device_loss_m(step, flow_m3_s, dirty=False)
    source = way.start if way.start.table == "source" else water.suction(way.pump).start
    return water.friction_m(step, flow_m3_s, source) + water.fittings_m(step, flow_m3_s)
