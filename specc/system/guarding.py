"""Which overcurrent device guards what, what stands behind it, and what a conductor may carry."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from specc.rulebooks import NotInTable
from specc.system.model import Conductor, Path, Pole
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Branch, Crossing, Source

SIDES = ("start", "end")


@once
def feeds(system: System, what: Conductor | Pole) -> frozenset[Crossing]:
    """What feeds what through a conductor or pole."""
    branch = system.walked.branch(what)
    return frozenset(system.walked.crossings(branch)) if branch is not None else frozenset()


def carrying(system: System, pairs: Iterable[Crossing]) -> tuple[Pole, ...]:
    """Fuses and breakers through which all of these pairs feed."""
    wanted = frozenset(pairs)
    return tuple(p for p in system.electrical.protective_poles() if wanted and wanted <= feeds(system, p))


def guard(system: System, conductor: Conductor) -> Pole | None:
    """The overcurrent device that limits what a conductor carries, on either of the two polarities.

    None where a source reaches the conductor with no device in the circuit; but a controller that limits
    its own output asks for none where a battery feeds beside it.
    """
    pairs = feeds(system, conductor)
    strong = (
        p
        for p in pairs
        if "battery" in (p.source.kind, p.load.device.kind) or system.electrical.only_switches(p.source)
    )
    in_series = carrying(system, pairs) or carrying(system, strong)
    if in_series:
        return min(in_series, key=lambda pole: float(pole.device.part.rating))
    return system.electrical.guards(conductor)


@once
def feeder(system: System, conductor: Conductor) -> Pole | None:
    """The device ahead of whatever only switches a battery, where none stands nearer before a conductor.

    Such an output limits nothing: that device alone opens on a short circuit in the conductor.
    """
    branch = system.walked.branch(conductor)
    pairs = feeds(system, conductor)
    sources = {pair.source for pair in pairs}
    electrical = system.electrical
    if branch is None or not sources or not all(electrical.only_switches(s) for s in sources):
        return None
    if any(electrical.ahead(conductor, source) for source in sources):
        return None
    nets = {b.net for pole in carrying(system, pairs) if (b := system.walked.branch(pole)) is not None}
    if nets and branch.net not in nets:
        return None  # the return of a circuit that is guarded in its feed
    devices = {source.ports[0].device for source in sources}
    before = (p for p in system.walked.pairs if p.load.device in devices and p.source.kind == "battery")
    return min(carrying(system, before), key=lambda pole: float(pole.device.part.rating), default=None)


@once
def opens_for(system: System, conductor: Conductor) -> tuple[Pole, ...]:
    """What opens on a fault in a conductor, in its own leg: one device for each source that can burn it.

    Batteries, straight or through what only switches them, count before all that limits its own current.
    Empty where one of the sources that count reaches the conductor with nothing ahead.
    """
    electrical, branch = system.electrical, system.walked.branch(conductor)
    if branch is None:
        return ()
    sources = electrical.crossing_sources(branch)
    strong = tuple(s for s in sources if s.kind == "battery" or electrical.only_switches(s))
    found: list[Pole] = []
    for source in strong or sources:
        ahead = electrical.ahead(conductor, source) or _ahead_of_switching(system, conductor, branch, source)
        if not ahead:
            return ()
        found.append(min(ahead, key=lambda pole: float(pole.device.part.rating)))
    return tuple(dict.fromkeys(found))


def _ahead_of_switching(
    system: System, conductor: Conductor, branch: Branch, source: Source
) -> tuple[Pole, ...]:
    """Devices between a battery and what only switches it, in the leg that goes on to a conductor."""
    electrical, device = system.electrical, source.ports[0].device
    if not electrical.only_switches(source):
        return ()
    for battery in (s for s in electrical.feeding(device) if s.kind == "battery"):
        if electrical.source_ends(battery, branch.net):  # this leg is led through unbroken
            return electrical.ahead(conductor, battery)
        for port in (p for p in system.connected.ports_of(device) if p.takes):
            end = port.plus if branch.net == source.plus else port.minus
            for start in electrical.source_ends(battery, system.walked.net(end) or ""):
                way = system.walked.paths(start, end)
                return tuple(p for p in way if isinstance(p, Pole) and p.device.kind in ("fuse", "breaker"))
    return ()


def sources_by_side(system: System, branch: Branch) -> dict[str, tuple[Source, ...]]:
    """Sources on either side of a branch, by "start" and "end"."""
    return {side: system.walked.sources_on(branch, side) for side in SIDES}


def behind(system: System, pole: Pole, sources: Iterable[Source]) -> tuple[Conductor, ...]:
    """Conductors, out and return, that carry a fault which these sources feed through a pole."""
    sources = tuple(sources)
    branch = system.walked.branch(pole)
    if branch is None:
        return ()
    pairs = frozenset(pair for pair in feeds(system, pole) if pair.source in sources)
    found = []
    for conductor in system.conductors:
        own = system.walked.branch(conductor)
        if own is None:
            continue
        if own.net == branch.net:
            through = any(pole in system.electrical.ahead(conductor, source) for source in sources)
        else:
            through = bool(feeds(system, conductor)) and feeds(system, conductor) <= pairs
        if through:
            found.append(conductor)
    return tuple(found)


def ampacity_a(system: System, conductor: Conductor) -> float:
    """What a conductor may carry: corrected, at its terminals, and under the cap on small conductors [A].

    Sizes that the terminal column leaves out are held by their cap; without a cap ``NotInTable``.
    """
    cap = system.book.small_conductor_limit_a(conductor.size, conductor.wire.material)
    limits = [] if cap is None else [cap.value]
    limits.append(system.electrical.corrected_ampacity(conductor).value)
    try:
        limits.append(system.electrical.terminal_ampacity(conductor).value)
    except NotInTable:
        if cap is None:
            raise
    return min(limits)


def smallest_size(system: System, conductor: Conductor, fits: Callable[[Conductor], bool]) -> str | None:
    """The smallest size of the rulebook in which a conductor would fit; None where none does."""
    for size in system.book.sizes():
        try:
            if fits(replace(conductor, size=size)):
                return size
        except NotInTable:
            continue
    return None


def size_path(conductor: Conductor) -> Path:
    """Where the size of a conductor is written: on itself, or on its run."""
    return (conductor.path if conductor.size != conductor.run.spec.size else conductor.run.path) + ("size",)
