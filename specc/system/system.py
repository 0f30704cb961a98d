"""The solved installation: the graph, its walk ready to run, and what both sides compute to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from specc import units
from specc.amendments import Amendment
from specc.calculation import Calculation
from specc.diagnostics import Span
from specc.reading.read import Description
from specc.rulebooks import Handbook, Rulebook, load_handbook, load_rulebook
from specc.system.connect import Connected
from specc.system.electrical import Electrical
from specc.system.model import Conductor, Device, Path, Pole, Port, Terminal
from specc.system.network import DesignPoint, design_point
from specc.system.once import once
from specc.system.states import Situations, circuits, part_around, wiring_of
from specc.system.walk import State, Walk, walk
from specc.system.water import Water


@dataclass
class System:
    """Everything that rules, schedules and drawings look at. Treat as frozen."""

    connected: Connected
    book: Rulebook
    handbook: Handbook
    walked: Walk
    electrical: Electrical
    water: Water
    _made: dict[Any, Any] = field(default_factory=dict)

    @property
    def description(self) -> Description:
        return self.connected.description

    @property
    def job(self) -> Any:
        return self.description.job

    @property
    def site(self) -> Any:
        return self.description.site

    @property
    def devices(self) -> dict[str, Device]:
        return self.connected.devices

    @property
    def conductors(self) -> tuple[Conductor, ...]:
        return self.connected.conductors

    @property
    def floating(self) -> bool:
        """Does the job say that no conductor of the DC system is referred to earth?"""
        return bool(self.job.earthing == "floating")

    @property
    def solidly_grounded(self) -> bool:
        """Does the job say that the negative is bonded to earth with nothing between?"""
        return bool(self.job.earthing == "negative grounded")

    @property
    def functional(self) -> bool:
        """Does the job say that a conductor is earthed for operation only, through something that opens?"""
        return bool(self.job.earthing == "functionally grounded")

    def of_kind(self, *kinds: str) -> tuple[Device, ...]:
        return self.connected.of_kind(*kinds)

    def terminal(self, name: str) -> Terminal:
        return self.connected.terminals[name]

    def place_of(self, device: Device) -> Any:
        """What [[locations]] says of the place of a device; None where the spec does not say.

        A box without a location of its own stands where what it holds stands.
        """
        held = (d.location for d in self.connected.held_by(device))
        name = device.location or next((location for location in held if location), None)
        return self.connected.places.locations.get(name) if name else None

    def poles_of(self, device: Device) -> tuple[Pole, ...]:
        return self._poles_by_device().get(device, ())

    @once
    def _poles_by_device(self) -> dict[Device, tuple[Pole, ...]]:
        found: dict[Device, list[Pole]] = {}
        for pole in self.connected.poles:
            found.setdefault(pole.device, []).append(pole)
        return {device: tuple(poles) for device, poles in found.items()}

    @once
    def show(self, value: float, dimension: str, digits: int = 4) -> str:
        """A physical value for people, in the units of the job ("49.28 V", "180 ft")."""
        return units.format_quantity(value, dimension, self.job.units, digits)

    def span(self, path: Path) -> Span:
        """Where a value stands in the spec."""
        return self.description.span(path)

    @once
    def design_point(self) -> DesignPoint:
        """Volts and amperes at the design point, in standard sun."""
        return design_point(self.electrical)

    @once
    def night_point(self) -> DesignPoint:
        """The same by night: batteries alone carry their loads."""
        return design_point(self.electrical, night=True)

    @once
    def circuits(self) -> dict[Port, frozenset[Port]]:
        """For each port, the ports that share a closed circuit with it, ready to run."""
        return circuits(self.walked)

    @once
    def wiring(self) -> dict[str, int]:
        """Tag of each electrical device -> number of the wiring that it belongs to."""
        return wiring_of(self.connected)

    def situations(self, pump: Device) -> Situations:
        """In which situations of the switches a pump runs, and whatever hangs together with it."""
        return self._situations(self.around(t.id for t in self.connected.terminals_of(pump)))

    @once
    def _situations(self, part: Connected) -> Situations:
        return Situations(part)

    def around(self, terminals: Iterable[str]) -> Connected:
        """The part of the installation that any state of its poles can join to these terminals."""
        return part_around(self.connected, frozenset(terminals))

    def afresh(self) -> System:
        """The system with nothing worked out yet, where something is amended; else itself.

        What is asked of the tables from then on is known to be asked anew (``amendments_used``).
        """
        amended = self.book.amendments or self.handbook.amendments
        return solve(self.connected, self.book.id) if amended else self

    def amendments_used(self) -> tuple[Amendment, ...]:
        """Amendments that a figure or limit asked for so far rests on."""
        used = self.book.used | self.handbook.used
        return tuple(a for a in (*self.book.amendments, *self.handbook.amendments) if a in used)

    def in_state(self, closed: State, part: Connected | None = None) -> Walk:
        """The electrical side, or a part of it, walked in another state of its poles; once for each state."""
        walked = part or self.connected
        return self._in_state(walked, tuple(closed(pole) for pole in walked.poles))

    @once
    def _in_state(self, part: Connected, closed: tuple[bool, ...]) -> Walk:
        clear = all(shut == pole.clear_closed for shut, pole in zip(closed, part.poles, strict=True))
        if clear and part is self.connected:
            return self.walked
        state = dict(zip((pole.key for pole in part.poles), closed, strict=True))
        # A pole of another part stands as in the clear.
        return walk(part, lambda pole: state.get(pole.key, pole.clear_closed))

    def calculations(self) -> tuple[Calculation, ...]:
        """Every figure for the calculation sheet, electrical side first."""
        return tuple(dict.fromkeys((*self.electrical.all_calculations(), *self.water.all_calculations())))


def solve(connected: Connected, rulebook: str | None = None) -> System:
    """The system with its figures ready to be asked for, by its own rulebook or by another one.

    What an authority amends is laid over rulebook and handbook.
    """
    amendments = connected.description.amendments
    book = load_rulebook(rulebook or connected.description.job.rulebook).amended(amendments)
    handbook = load_handbook().amended(amendments)
    walked = walk(connected)
    return System(
        connected,
        book,
        handbook,
        walked,
        Electrical(connected, walked, book),
        Water(connected, handbook),
    )
