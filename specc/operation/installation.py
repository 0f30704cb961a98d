"""A whole installation as the numbers that decide its year: any pumps, wells, tanks, arrays and banks.

Pumps that hang on one array or battery, or whose water meets in a pipe, settle together; such a group is
an *island*. Islands meet in nothing but the levels of wells and tanks.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from specc.operation.motor import PumpFit
from specc.operation.operating import Booster
from specc.operation.panel import Module
from specc.operation.plant import Plant, Tank, Well


@dataclass(frozen=True)
class Pumpset:
    """A pump with its motor, what feeds it, what it draws from, and what stops it.

    Wells, tanks, buses and guards by their place in the lists of the installation.
    """

    tag: str
    fit: PumpFit
    start_a: float
    rest_ohm: float  # of the armature at rest
    nominal_v: float
    lead_ohm: float  # wires that carry its current alone
    bus: int
    well: int
    tanks: tuple[int, ...]  # that it can fill
    stops_when_full: tuple[int, ...]  # tanks whose floats stop it
    stops_when_low: bool
    guard: int | None = None  # the low-voltage disconnect before it

    @property
    def loop_ohm(self) -> float:
        """Resistance from the bus through the motor at rest [ohm]."""
        return self.rest_ohm + self.lead_ohm


@dataclass(frozen=True)
class Array:
    """Panels of one kind and direction, and the wire up to where the buses part."""

    tag: str
    module: Module
    series: int
    parallel: int
    tilt_rad: float | None
    azimuth_rad: float | None
    light_share: float  # what shade and dirt leave of the light
    wire_ohm: float  # wire that n arrays share counts n times in each, which is exact where they are alike

    @property
    def rated_w(self) -> float:
        """Power at standard conditions [W]."""
        return self.series * self.parallel * self.module.label.vmp_v * self.module.label.imp_a


@dataclass(frozen=True)
class Bus:
    """Where pumps meet that are fed as one: on the arrays themselves, behind one booster, or on a bank."""

    feed: int
    wire_ohm: float  # behind the booster (or the panels), before the pumps part
    booster: Booster | None = None
    tag: str = ""


@dataclass(frozen=True)
class Charger:
    """A charge controller between arrays and a bank.

    One that does not track the best voltage is a switch: amperes in are amperes out, and its efficiency
    is a drop of volts.
    """

    tag: str
    arrays: tuple[Array, ...]
    bank_wire_ohm: float  # controller to bank and back
    efficiency: float
    limit_a: float
    tracks: bool
    top_v: float


@dataclass(frozen=True)
class Guard:
    """A low-voltage disconnect, at its own terminals."""

    tag: str
    stops_below_v: float
    restarts_above_v: float
    wire_ohm: float  # from the bank


@dataclass(frozen=True)
class Store:
    """A battery bank. Its voltage at rest rises by a straight line from empty to full.

    Charging, it stands over that by ``current · (inner_ohm + rise_ohm)``, and takes no more than what it
    lacks in ``acceptance_s``. ``charge_share`` of the charge put in can be taken out again;
    ``leak_per_s`` of what it holds is lost each second.
    """

    tag: str
    capacity_c: float
    full_v: float
    empty_v: float
    inner_ohm: float
    rise_ohm: float
    charge_share: float
    acceptance_s: float
    leak_per_s: float

    def rest_v(self, charge_c: float) -> float:
        """Voltage at rest [V]."""
        return self.empty_v + (self.full_v - self.empty_v) * charge_c / self.capacity_c

    def energy_j(self, charge_c: float) -> float:
        """Energy that lies in a charge: the sum of volts at rest over it [J]."""
        return charge_c * (self.empty_v + 0.5 * (self.full_v - self.empty_v) * charge_c / self.capacity_c)


@dataclass(frozen=True)
class Feed:
    """Arrays that meet, or a bank with its chargers and disconnects: what buses hang on."""

    tag: str
    arrays: tuple[Array, ...]
    store: Store | None = None
    chargers: tuple[Charger, ...] = ()
    guards: tuple[Guard, ...] = ()

    def every_array(self) -> Iterator[Array]:
        yield from self.arrays
        for charger in self.chargers:
            yield from charger.arrays


@dataclass(frozen=True)
class Piece:
    """Pipe and fittings between two nodes, in flow order: head lost at some flows, from none upwards."""

    start: str
    end: str
    flows_m3_s: tuple[float, ...]
    losses_m: tuple[float, ...]
    one_way: bool


@dataclass(frozen=True)
class Installation:
    """Everything that the year needs. SI throughout.

    The nodes of ``pieces`` are the tags of wells and tanks, ``TAG.in`` and ``TAG.out`` of pumps, and any
    others between. Levels: where pumping stops and where the water stands, of each well; the height to
    which each tank asks water to be lifted.
    """

    pumps: tuple[Pumpset, ...]
    buses: tuple[Bus, ...]
    feeds: tuple[Feed, ...]
    wells: tuple[Well, ...]
    low_m: tuple[float, ...]
    high_m: tuple[float, ...]
    tanks: tuple[Tank, ...]
    top_m: tuple[float, ...]
    pieces: tuple[Piece, ...]
    weight_n_m3: float

    @property
    def rated_w(self) -> float:
        return math.fsum(array.rated_w for feed in self.feeds for array in feed.every_array())

    @property
    def fits(self) -> tuple[tuple[str, PumpFit], ...]:
        """The pumps by tag."""
        return tuple((pump.tag, pump.fit) for pump in self.pumps)

    @property
    def has_bank(self) -> bool:
        return any(feed.store is not None for feed in self.feeds)

    @property
    def boosted(self) -> bool:
        return any(bus.booster is not None for bus in self.buses)

    def islands(self) -> tuple[tuple[int, ...], ...]:
        """Pumps that settle together: on one feed, or joined by a node of the pipes that is free."""
        fixed = {well.tag for well in self.wells} | {tank.tag for tank in self.tanks}
        group = list(range(len(self.pumps)))

        def merge(a: int, b: int) -> None:
            old, new = group[a], group[b]
            for n, number in enumerate(group):
                if number == old:
                    group[n] = new

        reached = [self._reached(f"{pump.tag}.in", fixed) | self._reached(f"{pump.tag}.out", fixed)
                   for pump in self.pumps]  # fmt: skip
        for a, one in enumerate(self.pumps):
            for b in range(a):
                same_feed = self.buses[one.bus].feed == self.buses[self.pumps[b].bus].feed
                if same_feed or reached[a] & reached[b]:
                    merge(a, b)
        return tuple(
            tuple(n for n, number in enumerate(group) if number == which) for which in dict.fromkeys(group)
        )

    def _reached(self, node: str, fixed: set[str]) -> set[str]:
        """Free nodes that hang together with one of them."""
        seen, waiting = {node}, [node]
        while waiting:
            here = waiting.pop()
            for piece in self.pieces:
                for a, b in ((piece.start, piece.end), (piece.end, piece.start)):
                    if a == here and b not in fixed and b not in seen:
                        seen.add(b)
                        waiting.append(b)
        return seen


Works = Plant | Installation
