"""A battery bank between its charge controllers and its pumps: the moment's balance of currents.

Source of the charging current that a bank accepts: no more amperes than it lacks in ampere-hours
(Woodbridge's law for lead-acid, 1935; from memory, unverified); faster for other kinds. Between two
moments the voltage at rest is taken half way, so that what is stored is the work of the current.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.installation import Charger, Store
from specc.operation.sharing import Lit

_CLOSE_A: Final = 1e-7
_LEAST_OHM: Final = 1e-6
_MOST_TURNS: Final = 60
_NEWTON: Final = 40


class Charging:
    """One charge controller through the year: what it gives at a voltage of the bank, step by step."""

    def __init__(self, charger: Charger, panels: Lit) -> None:
        self.charger = charger
        self.lit: list[bool] = (np.max([c.light_a for c in panels.bare], axis=0) > 0.0).tolist()
        self.power_w: list[float] = []
        self.curves: list[tuple[list[float], list[float], list[float], list[float], float]] = []
        if charger.tracks:
            volts, amperes = panels.maximum()
            power = np.where(np.array(self.lit), np.maximum(volts * amperes, 0.0), 0.0)
            self.power_w = power.tolist()
        else:
            # Amperes in are amperes out: what lies behind the switch counts for more by its efficiency.
            behind = charger.bank_wire_ohm / charger.efficiency * len(panels.arrays)
            for curve in panels.wired:
                listed = (curve.light_a, curve.diode_a, curve.slope_v, curve.shunt_s)
                light, diode, slope, shunt = (values.tolist() for values in listed)
                self.curves.append((light, diode, slope, shunt, curve.series_ohm + behind))
        self._junction_v = [0.0] * len(self.curves)
        self.array_a = [0.0] * len(self.curves)  # of each array, as last worked out; before the limit

    def current_a(self, step: int, bank_v: float) -> float:
        """What could flow into the bank's posts at this voltage, its limit counted [A]."""
        charger = self.charger
        if not self.lit[step]:
            return 0.0
        if charger.tracks:
            power, ohm = charger.efficiency * self.power_w[step], charger.bank_wire_ohm
            if ohm > 0.0:
                amperes = (math.sqrt(bank_v**2 + 4.0 * ohm * power) - bank_v) / (2.0 * ohm)
            else:
                amperes = power / bank_v
            return min(amperes, charger.limit_a)
        target = bank_v / charger.efficiency
        for number in range(len(self.curves)):
            self.array_a[number] = self._solved(number, step, target)
        return min(sum(self.array_a), charger.limit_a)

    def _solved(self, number: int, step: int, volts: float) -> float:
        """Current of one array, by Newton's method from where the last step stood [A]."""
        lights, diodes, slopes, shunts, ohm = self.curves[number]
        light, diode, slope, shunt = lights[step], diodes[step], slopes[step], shunts[step]
        junction = min(max(self._junction_v[number], volts), volts + ohm * light)
        amperes = 0.0
        for _ in range(_NEWTON):
            grown = diode * math.exp(min(junction / slope, 200.0))
            amperes = light - (grown - diode) - shunt * junction
            miss = junction - ohm * amperes - volts
            junction -= miss / (1.0 + ohm * (grown / slope + shunt))
            if abs(miss) < 1e-10:
                break
        self._junction_v[number] = junction
        return max(amperes, 0.0)


@dataclass(frozen=True)
class Moment:
    """What settles: volts at the posts, amperes of each charger as it could and as it does, of the bank."""

    bank_v: float
    could_a: tuple[float, ...]
    share: float  # of what the chargers could give that is taken
    load_a: float
    bank_a: float  # into the bank, below 0 out of it
    rest_v: float  # of the bank, half way through the stride


class Line:
    """A load of the bank over evenly spaced volts, with the wells at some levels.

    ``rows``: at low water, then what each well at its standing level adds; ``levels`` how far each stands.
    """

    def __init__(self, first_v: float, step_v: float, rows: list[list[float]]) -> None:
        self.first_v, self.step_v, self.rows = first_v, step_v, rows
        self.levels: tuple[float, ...] = (0.0,) * (len(rows) - 1)
        self.slope = max(0.0, (rows[0][-1] - rows[0][0]) / (step_v * (len(rows[0]) - 1)))

    def at(self, volts: float) -> float:
        place = (volts - self.first_v) / self.step_v
        low = min(max(int(place), 0), len(self.rows[0]) - 2)
        share = place - low
        row = self.rows[0]
        value = row[low] + share * (row[low + 1] - row[low])
        for level, row in zip(self.levels, self.rows[1:], strict=True):
            value += level * (row[low] + share * (row[low + 1] - row[low]))
        return value


def settle_bank(
    store: Store,
    chargers: list[Charging],
    load: Line | None,
    step: int,
    charge_c: float,
    stride_s: float,
    guess_v: float = 0.0,
) -> Moment:
    """Volts and amperes of a bank in one stride, its charge going from ``charge_c`` on.

    guess_v: volts to look first at, those of the stride before
    """
    leak_a = store.leak_per_s * charge_c
    per_c = (store.full_v - store.empty_v) / store.capacity_c
    rest_v = store.rest_v(charge_c) - 0.5 * per_c * leak_a * stride_s
    half = 0.5 * per_c * stride_s  # by what a current moves the voltage at rest until half way
    up_ohm = max(store.inner_ohm + store.rise_ohm + store.charge_share * half, _LEAST_OHM)
    down_ohm = max(store.inner_ohm + half, _LEAST_OHM)
    lacks = max(0.0, store.capacity_c - charge_c + leak_a * stride_s)
    kept_s = store.charge_share * stride_s
    accepts_a = lacks / max(store.acceptance_s + 0.5 * kept_s, kept_s)
    top_v = min((c.charger.top_v for c in chargers), default=math.inf)
    lit = any(c.lit[step] for c in chargers)

    def bank_a(volts: float) -> float:
        over = volts - rest_v
        return min(over / up_ohm, accepts_a) if over > 0.0 else over / down_ohm

    def drawn_a(volts: float) -> float:
        return load.at(volts) if load is not None else 0.0

    def could(volts: float) -> tuple[float, ...]:
        return tuple(c.current_a(step, volts) for c in chargers)

    if not lit and load is None:
        return Moment(rest_v, (0.0,) * len(chargers), 0.0, 0.0, 0.0, rest_v)
    low, high = 0.3 * store.empty_v, max(top_v if lit else rest_v, rest_v)
    volts = min(max(guess_v or rest_v, low), high)
    stiff = 0.0 if load is None else load.slope
    gives = (0.0,) * len(chargers)
    top_tried = not lit or top_v <= rest_v
    for _ in range(_MOST_TURNS):
        gives = could(volts) if lit else gives
        drawn, into = drawn_a(volts), bank_a(volts)
        excess = sum(gives) - drawn - into
        if volts == high and not top_tried:
            top_tried = True
            if excess >= 0.0:  # more than bank and pumps take at the highest voltage: throttled
                share = min(1.0, (into + drawn) / sum(gives)) if sum(gives) > 0.0 else 0.0
                return Moment(top_v, gives, share, drawn, into, rest_v + half * store.charge_share * into)
        if abs(excess) < _CLOSE_A:
            break
        if excess > 0.0:
            low = volts
        else:
            high = volts
        beyond = volts > rest_v or (volts == rest_v and excess > 0.0)
        full = beyond and (volts - rest_v) / up_ohm >= accepts_a
        ease = 0.0 if full else 1.0 / (up_ohm if beyond else down_ohm)
        fresh = volts + excess / (ease + stiff) if ease + stiff > 0.0 else high
        if fresh >= high and not top_tried:
            volts = high
        else:
            volts = fresh if low < fresh < high else 0.5 * (low + high)
    into = sum(gives) - drawn_a(volts)  # what the posts see, so that nothing is lost between them
    share_back = store.charge_share if into > 0.0 else 1.0
    return Moment(volts, gives, 1.0, drawn_a(volts), into, rest_v + half * share_back * into)
