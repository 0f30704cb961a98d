"""What every test asks for: the system, the practice figures, and how a reading is put into words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Concatenate, ParamSpec

from specc.documents.commissioning.model import Reading
from specc.physics.constants import ZERO_CELSIUS_K
from specc.rulebooks import NotInTable
from specc.system.electrical import STRANDS
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Device, Port
from specc.system.system import System

P = ParamSpec("P")
Made = Reading | Iterable[Reading]
ROOM_K = 20.0 + ZERO_CELSIUS_K  # cold resistances are taken at 20 °C, as IEC 60228 gives them
OPEN = "open circuit"


@dataclass(frozen=True)
class Bench:
    """The system under test, the practice figures, and the words of the test at hand."""

    system: System
    practice: Mapping[str, Any]
    insulation: Mapping[str, Any]
    words: Mapping[str, Any]

    def show(self, value: float, dimension: str, digits: int = 3) -> str:
        """A value as people read it; more than ten volts with four digits, as meters give them."""
        return self.system.show(value, dimension, 4 if dimension == "voltage" and value >= 10.0 else digits)

    def reading(
        self,
        place: str,
        at: str,
        value: float,
        dimension: str,
        *,
        tags: Iterable[str] = (),
        before: str = "",
        after: str = "",
        lowest: float | None = None,
        highest: float | None = None,
        **more: Any,
    ) -> Reading:
        """A reading with its number; the range is the test's own unless a limit is given."""
        if lowest is None and highest is None:
            lowest, highest = self._range(value)
        return Reading(
            place,
            at,
            f"{before}{self.show(value, dimension)}{after}",
            self.band(lowest, highest, dimension),
            value,
            lowest,
            highest,
            dimension,
            tuple(tags),
            **more,
        )

    def _range(self, value: float) -> tuple[float | None, float | None]:
        """Lowest and highest acceptable reading, by the tolerance of the test."""
        if (share := self.words.get("tolerance")) is not None:
            return value * (1.0 - share), value * (1.0 + share)
        most, least = self.words.get("at_most"), self.words.get("at_least")
        return (None if least is None else least * value), (None if most is None else most * value)

    def band(self, lowest: float | None, highest: float | None, dimension: str) -> str:
        """ "39.29 V to 43.43 V", "at most 0.1 ohm", "at least 30 %"."""
        if lowest is not None and highest is not None:
            return f"{self.show(lowest, dimension)} to {self.show(highest, dimension)}"
        if highest is not None:
            return f"at most {self.show(highest, dimension)}"
        return "" if lowest is None else f"at least {self.show(lowest, dimension)}"

    def is_open(self, place: str, at: str, *, tags: Iterable[str] = ()) -> Reading:
        """No way through: more than what counts as open."""
        least = float(self.practice["open_ohm"])
        return Reading(
            place, at, OPEN, f"over {least / 1e6:g} Mohm", least, least, None, "resistance", tuple(tags)
        )

    def place(self, device: Device) -> str:
        """The box that holds a device, else where it stands."""
        return device.box or device.location or device.tag

    def tried(
        self,
        place: str,
        at: str,
        make: Callable[Concatenate[Bench, str, str, P], Made],
        *rest: P.args,
        **more: P.kwargs,
    ) -> tuple[Reading, ...]:
        """What ``make(self, place, at, ...)`` gives, or one reading that says what is missing.

        Never an empty expectation in silence.
        """
        try:
            made = make(self, place, at, *rest, **more)
            return (made,) if isinstance(made, Reading) else tuple(made)
        except MissingDatum as lack:
            why = f"missing: {lack.what}"
        except (NotInTable, ValueError) as outside:
            why = str(outside)
        return (Reading(place, at, f"not worked out; {why}", missing=why),)

    def ohm(self, conductor: Conductor, kelvin: float = ROOM_K) -> float:
        """Resistance of one conductor, end to end, at a temperature [ohm]."""
        found = self.system.book.resistance_ohm_per_m(
            conductor.size, conductor.wire.material, STRANDS[conductor.wire.strand], kelvin
        )
        return float(found.value) * conductor.length_m

    def pump_ports(self) -> tuple[Port, ...]:
        """The motor ports of the pumps."""
        return tuple(p for p in self.system.connected.ports if p.device.kind == "pump" and p.takes)

    def reference_cell_k(self) -> float:
        """Cell temperature for which expected readings are printed [K]."""
        return float(self.practice["reference_cell_c"]) + ZERO_CELSIUS_K
