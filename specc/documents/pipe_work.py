"""What pipes need beside themselves: fittings, couplings, adapters, glue, clips, and ports for gauges."""

from __future__ import annotations

import math
import re
from collections import Counter
from fractions import Fraction

from specc.documents.basket import Basket
from specc.documents.commissioning.model import Commissioning
from specc.documents.one_line import size_words
from specc.documents.raceway_work import add_cement, joints
from specc.rulebooks import Joining, NotInTable
from specc.system.model import Device, Pipe
from specc.system.system import System

_GAUGE_AT = re.compile(r"^gauge at ([^\s,]+)\.(in|out)\b")
_PORTED = ("pump", "filter", "valve", "gauge")
# What may stand between a pump and the gauge that is read for it: it takes no head worth reading.
_NO_HEAD = ("relief valve", "priming tee")


def add_pipe_work(basket: Basket, sheet: Commissioning) -> None:
    """Everything that the pipes of a job need."""
    threads: Counter[str] = Counter()
    for pipe in basket.system.connected.pipes.values():
        _pipe(basket, pipe, threads)
    for gauge in basket.system.of_kind("gauge"):
        beside = [p for p in basket.system.connected.pipes.values() if _tag(p.start) == gauge.tag]
        if beside and gauge.part.measures in ("pressure", "vacuum"):
            _tee(basket, beside[0], gauge.tag)
            threads[gauge.tag] += 1
    for tag, port in ports_without_gauge(basket.system, sheet):
        _gauge_port(basket, tag, port, threads)
    words = "thread tape, a roll for 20 threads"
    for tag, count in threads.items():
        basket.buy("tape", words, count, tag, group="plumbing", suits="threads")
    for valve in basket.system.of_kind("valve"):
        if valve.part.type == "relief valve" and valve.spec.discharges_to:
            basket.note(
                f"The pipe from {valve.tag} to {valve.spec.discharges_to} is not in the spec and not counted."
            )
    if basket.system.of_kind("tank"):
        basket.practice("A pipe ends free over its tank: a fitting through a wall is not counted.")


def _tag(node: str) -> str:
    return node.rpartition(".")[0]


def _pipe(basket: Basket, pipe: Pipe, threads: Counter[str]) -> None:
    line = basket.line(pipe.part, "plumbing")
    line.pieces_m.append(pipe.spec.length)
    line.joinable = True
    line.use(pipe.tag)
    written: Counter[str] = Counter()
    for fitting in pipe.spec.fittings:
        if basket.system.handbook.fitting_duty(fitting.name) != "no part":
            written[fitting.name] += fitting.count
    for name, count in written.items():
        _fitting(basket, pipe, name, count)
    adapters, reducers = _at_ports(basket, pipe, threads)
    # Adapters and reducers that the spec names among the fittings are those at the ports.
    more = {"adapter": adapters - written["adapter"], "reducer": reducers - written["reducer"]}
    try:
        joining = basket.system.handbook.pipe_joining(pipe.part.family)
    except NotInTable:
        joining = Joining("coupling", "", "", "", 0.0, 0.0, "")
        basket.note(f"Clips for {pipe.part.family} pipe are not in the tables and not counted.")
    lengths = joints(pipe.spec.length, pipe.part.pack_length)
    if joining.end == "coupling":
        more["coupling"] = lengths - written["coupling"]
    for name, count in more.items():
        if count > 0:
            _fitting(basket, pipe, name, count)
            written[name] += count
    if joining.cement:
        sockets = sum(basket.system.handbook.fitting_sockets(name) * n for name, n in written.items())
        bells = lengths if joining.end == "bell" else 0
        add_cement(basket, joining.cement, sockets + bells, pipe.tag)
    if pipe.spec.buried is None and joining.hanger_m and pipe.spec.length > joining.hanger_m:
        basket.buy(
            "hanger",
            f"pipe clip, {size_words(pipe.part.size)}",
            math.ceil(pipe.spec.length / joining.hanger_m),
            pipe.tag,
            group="plumbing",
            suits=pipe.part.family,
            trade_size=pipe.part.size,
        )
        basket.practice(
            f"Pipe clips every {_far(basket.system, joining)} where it is not buried ({joining.source})."
        )


def _far(system: System, joining: Joining) -> str:
    return system.show(joining.hanger_m, "length", 2)


def _fitting(basket: Basket, pipe: Pipe, name: str, count: int) -> None:
    part = basket.system.description.catalog.fitting(name, pipe.part.size, pipe.part.family)
    if part is not None:
        basket.add(part, count, pipe.tag, group="plumbing")
    else:
        words = f"{name}, {size_words(pipe.part.size)}, for {pipe.part.name}"
        basket.other(words, "plumbing").add(count, pipe.tag)


def _at_ports(basket: Basket, pipe: Pipe, threads: Counter[str]) -> tuple[int, int]:
    """Ends of a pipe that are screwed into a device, and those that a reducer joins to a smaller one.

    Where threads differ, what goes between is bought at once.
    """
    found = reducers = 0
    size = pipe.part.size
    for node in (pipe.start, pipe.end):
        tag, _, port = node.rpartition(".")
        device = basket.system.devices.get(tag)
        if device is None or device.kind not in _PORTED:
            continue
        if device.kind == "gauge" and device.part.measures != "flow":
            continue  # it sits in a tee of the pipe's own size
        own = _port_size(device, port)
        if own is None or own == size:
            if own is None or not own.endswith("mm"):
                found += 1
                threads[tag] += 1
            continue
        if own.endswith("mm"):
            if _next_smaller(basket.system, pipe) == own:
                reducers += 1
            else:
                words = f"reducer, {size_words(size)} pipe to {size_words(own)}"
                basket.other(words, "plumbing").add(1, tag)
            continue
        found += 1
        threads[tag] += 1
        thread = basket.system.handbook.thread_of_pipe(size)
        if thread.endswith("mm"):
            words = f"adapter, {size_words(thread)} pipe to {size_words(own)} thread"
            basket.other(words, "plumbing").add(1, tag)
        elif thread != own:
            small, large = sorted((thread, own), key=_inches)
            words = f"thread reducer, {size_words(large)} to {size_words(small)}"
            basket.buy("reducer", words, 1, tag, group="plumbing", suits=small, trade_size=large)
            threads[tag] += 1
    return found, reducers


def _inches(size: str) -> Fraction:
    """A trade size as a number: "1-1/4" is five quarters."""
    return sum((Fraction(piece) for piece in size.split("-")), Fraction(0))


def _next_smaller(system: System, pipe: Pipe) -> str | None:
    """The size below that of a pipe, in its family."""
    try:
        sizes = system.handbook.pipe_sizes(pipe.part.family)
    except NotInTable:
        return None
    at = sizes.index(pipe.part.size) if pipe.part.size in sizes else 0
    return sizes[at - 1] if at else None


def _port_size(device: Device, port: str) -> str | None:
    """Size of a port; None where the catalogue does not give it: that of the pipe."""
    key = {"in": "inlet", "out": "outlet"}.get(port, "") if device.kind == "pump" else "size"
    size: str | None = getattr(device.part, key, None)
    return size


def gauge_readings(sheet: Commissioning) -> dict[tuple[str, str], str]:
    """Ports of pumps at which the commissioning sheet reads a gauge, and what it measures there."""
    found: dict[tuple[str, str], str] = {}
    for step in sheet.steps:
        for reading in step.readings:
            at = _GAUGE_AT.match(reading.at)
            if at is not None and (reading.dimension in ("pressure", "vacuum") or reading.missing):
                found.setdefault((at[1], at[2]), reading.dimension)
    return found


def ports_without_gauge(system: System, sheet: Commissioning) -> tuple[tuple[str, str], ...]:
    """Ports that the sheet reads a gauge at and the spec has none for."""
    return tuple((tag, port) for tag, port in gauge_readings(sheet) if not _gauge_stands(system, tag, port))


def _gauge_stands(system: System, tag: str, port: str) -> bool:
    """Does the spec have a gauge at a port, with nothing between that takes head?"""
    pump = system.devices[tag]
    ways = system.water.ways_in(pump) if port == "in" else system.water.ways_out(pump)
    wanted = ("vacuum", "pressure") if port == "in" else ("pressure",)
    for way in ways:
        devices = way.devices[::-1] if port == "in" else way.devices
        for device in devices:
            if device.kind == "gauge" and device.part.measures in wanted:
                return True
            if device.kind == "gauge" or getattr(device.part, "type", "") in _NO_HEAD:
                continue
            break
    return False


def _gauge_port(basket: Basket, tag: str, port: str, threads: Counter[str]) -> None:
    """A tee with a port, in the pipe that ends there."""
    node = f"{tag}.{port}"
    pipe = next((p for p in basket.system.connected.pipes.values() if node in (p.start, p.end)), None)
    threads[tag] += 1
    if pipe is None:
        basket.other(f"gauge port at {node}", "plumbing").add(1, tag)
        return
    _tee(basket, pipe, node)
    basket.note(
        "Gauge tees: where the commissioning sheet reads a gauge and the spec has none; the head "
        "that each loses is not in the sums. For the gauges see the instruments."
    )


def _tee(basket: Basket, pipe: Pipe, where: str) -> None:
    part, size = pipe.part, pipe.part.size
    chosen = basket.sundry("gauge port", suits=part.family, trade_size=size) or basket.sundry(
        "gauge port", trade_size=size
    )
    if chosen is None:
        words = f"tee with a gauge port, {size_words(size)}, for {part.name}"
        basket.other(words, "plumbing").add(1, where)
    else:
        basket.add(chosen, 1, where)
    try:
        joining = basket.system.handbook.pipe_joining(part.family)
    except NotInTable:
        return
    if joining.cement:
        add_cement(basket, joining.cement, 2, where)
