"""Rules on batteries that do not match: each other, what charges them, or the cold of their place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from specc.diagnostics import Severity
from specc.rulebooks import ROUNDING
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._variants import BATTERY
from specc.system.missing import need, need_part
from specc.system.model import Device
from specc.system.system import System
from specc.system.walk import Source

# -- battery.unlike ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Pair:
    """Two entries of batteries in one string, or two strings side by side."""

    first: Source
    other: Source
    one: Device
    two: Device
    in_series: bool

    @property
    def words(self) -> str:
        return "in series" if self.in_series else "side by side"


def _pairs(system: System) -> Iterator[_Pair]:
    banks = [source for source in system.walked.sources if source.kind == "battery"]
    for bank in banks:
        first, *others = sorted(bank.devices, key=lambda device: device.path)
        for two in others:
            yield _Pair(bank, bank, first, two, in_series=True)
    for index, other in enumerate(banks):
        beside = next((b for b in banks[:index] if (b.plus, b.minus) == (other.plus, other.minus)), None)
        if beside is not None:
            yield _Pair(beside, other, beside.devices[0], other.devices[0], in_series=False)


def _chemistry(device: Device) -> str:
    return " ".join(str(need_part(device, "chemistry", "chemistry")).lower().split())


_FAR_APART = 0.1  # share of the voltage: other blocks or another number of them, not another making


def _kind_of(chemistry: str) -> str:
    """What stands before the first comma: "lead-acid, flooded" is lead-acid."""
    return chemistry.split(",")[0].strip()


def _blocks(bank: Source) -> dict[str, int]:
    """Blocks in a string, by part."""
    blocks: dict[str, int] = {}
    for device in bank.devices:
        blocks[device.part.id] = blocks.get(device.part.id, 0) + int(device.spec.series)
    return blocks


def _unlike(system: System, pair: _Pair) -> Answer:
    one, two, path = pair.one, pair.two, pair.two.path + ("part",)
    required = f"batteries of one make and size {pair.words}"
    if (one.part.id == two.part.id) if pair.in_series else (_blocks(pair.first) == _blocks(pair.other)):
        return satisfied(
            two.tag, path, f"{one.tag} and {two.tag}, {pair.words}, are alike.", required=required
        )
    (here, there), show = (_chemistry(one), _chemistry(two)), system.show
    severity: Severity | None = None
    volts, others = _charged_to(pair.first), _charged_to(pair.other)
    full = f"{one.tag} is full at {show(volts, 'voltage')}, {two.tag} at {show(others, 'voltage')}"
    if abs(volts - others) > _FAR_APART * max(volts, others):
        because = full
    elif _kind_of(here) != _kind_of(there):
        because = f"{one.tag} is {here}, {two.tag} {there}"
    elif here != there:
        because, severity = f"{one.tag} is {here}, {two.tag} {there}", Severity.ERROR
    elif volts != others:
        because, severity = full, Severity.ERROR
    elif pair.in_series and (ah := _capacity(one)) != (other := _capacity(two)):
        because = f"{one.tag} holds {show(ah, 'charge')}, {two.tag} {show(other, 'charge')}"
        severity = Severity.ERROR
    else:
        return satisfied(
            two.tag, path, f"{one.tag} and {two.tag}, {pair.words}, suit each other.", required=required
        )
    why = (
        "the weaker one is overcharged on every full charge and turned over on every deep discharge"
        if pair.in_series
        else "one charge voltage cannot suit both, and each drives its current into the other"
    )
    return violated(
        two.tag,
        path,
        f"{one.tag} and {two.tag} are {pair.words} and do not match: {because}; {why}.",
        required=required,
        actual=because,
        fix=f"Take batteries of one part, bought together, for {one.tag} and {two.tag}.",
        related=(one.path + ("part",),),
        severity=severity,
    )


def _capacity(device: Device) -> float:
    return float(need_part(device, "capacity", "capacity")) * int(device.spec.parallel)


def _charged_to(bank: Source) -> float:
    return sum(
        int(d.spec.series) * float(need_part(d, "full_voltage", "voltage when full")) for d in bank.devices
    )


# The bank of two 12 V blocks as two entries, in series.
_TWO_ENTRIES: dict[str, Any] = {
    **BATTERY,
    "batteries.BT1": {"part": "battery-r", "series": 1, "location": "pump house"},
    "batteries.BT2": {"part": "battery-r", "series": 1, "location": "pump house"},
    "runs.R7.conductors[1]": {"from": "BT1.-", "to": "BT2.+", "color": "red"},
    "runs.R8.conductors[1].from": "BT2.-",
}

# A second string of its own beside the first, with a fuse of its own.
_TWO_STRINGS: dict[str, Any] = {
    **BATTERY,
    "batteries.BT2": {"part": "battery-r", "series": 2, "location": "pump house"},
    "fuses.F00": {"part": "fuse-r", "location": "pump house"},
    "runs.R7.conductors[1]": {"from": "BT2.+", "to": "F00.1", "color": "red"},
    "runs.R8.conductors[4]": {"from": "F00.2", "to": "F0.2", "color": "red"},
    "runs.R8.conductors[5]": {"from": "BT2.-", "to": "BT1.-", "color": "white"},
}

UNLIKE = Rule(
    id="battery.unlike",
    severity=Severity.DANGER,
    title="Batteries of different kinds in one bank",
    checks="Batteries in series, and strings side by side, are of one chemistry (else a danger; lead-acid of "
    "two makings is an error), in series of one capacity, side by side of one voltage when full (a danger "
    "where it is a tenth off).",
    why="A lithium battery beside a lead-acid one drives hundreds of amperes into it and is charged by a "
    "voltage made for the other. In series the smaller is overcharged and reversed: it boils, bursts or "
    "burns.",
    clauses={"us-2023": "110.3(B); 480.3; 706.30", "iec": "62485-2; maker's instructions"},
    look=_pairs,
    examine=_unlike,
    fires=(
        Case(
            "lithium beside lead-acid",
            {**_TWO_STRINGS, "batteries.BT2.part": "battery-lfp-24v-50ah", "batteries.BT2.series": 1},
            subject="BT2",
        ),
        Case(
            "one 12 V block beside two in series",
            {**_TWO_STRINGS, "batteries.BT2.series": 1, "batteries.BT2.part": "battery-agm-12v-100ah"},
            subject="BT2",
        ),
        Case(
            "55 Ah in series with 100 Ah",
            {
                **_TWO_ENTRIES,
                "part:battery-r.chemistry": "lead-acid, absorbed glass mat",
                "batteries.BT2.part": "battery-agm-12v-55ah",
            },
            severity=Severity.ERROR,
            subject="BT2",
        ),
        Case(
            "vented in series with valve-regulated",
            {**_TWO_ENTRIES, "batteries.BT2.part": "battery-flooded-12v-110ah"},
            severity=Severity.ERROR,
            subject="BT2",
        ),
    ),
    keeps_still=(
        Case("two blocks in series, as one entry", BATTERY),
        Case("two blocks in series, as two entries", _TWO_ENTRIES),
        Case("two strings side by side, each with its fuse", _TWO_STRINGS),
    ),
    sees_not="Age and wear: an old battery beside a new one of the same part.",
)

# -- battery.never-full --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Charge:
    battery: Source
    charger: Device


def _charges(system: System) -> Iterator[tuple[Any, Question[Any]]]:
    found: dict[tuple[Source, Device], None] = {}
    for battery in system.walked.sources:
        if battery.kind != "battery":
            continue
        for source in system.walked.sources:
            device = source.ports[0].device
            charges = source.kind == "converter" and device.part.type == "charge controller"
            if charges and (source.plus, source.minus) == (battery.plus, battery.minus):
                found[battery, device] = None
    yield from each((_Charge(*pair) for pair in found), _to_the_full, _from_the_array)
    yield from _idle_chargers(system)


def _idle_chargers(system: System) -> Iterator[tuple[Device, Question[Device]]]:
    """Charge controllers that feed something, none of their outputs a battery."""
    sources = system.walked.sources
    banks = {(s.plus, s.minus) for s in sources if s.kind == "battery"}
    lone: dict[Device, bool] = {}
    for source in sources:
        device = source.ports[0].device
        if source.kind == "converter" and device.part.type == "charge controller":
            lone[device] = lone.get(device, True) and (source.plus, source.minus) not in banks
    fed = {pair.source.ports[0].device for pair in system.walked.pairs}
    return each((device for device, alone in lone.items() if alone and device in fed), _idle)


def _idle(system: System, charger: Device) -> Answer:
    loads = (p.load.device for p in system.walked.pairs if p.source.ports[0].device is charger)
    names = " and ".join(dict.fromkeys(load.tag for load in loads))
    return violated(
        charger.tag,
        charger.path,
        f"{charger.tag} charges no battery: what it gives goes to {names}, past any bank, and "
        "no battery holds the voltage there.",
        required="a battery on its battery terminals",
        actual=f"feeds {names} alone",
        fix=f"Lead the battery terminals of {charger.tag} to the posts of the bank, by way of its fuse, "
        f"and feed {names} from the bank.",
        severity=Severity.ERROR,
    )


def _to_the_full(system: System, charge: _Charge) -> Answer:
    charger, show = charge.charger, system.show
    gives = float(need_part(charger, "highest_charge_voltage", "highest charge voltage"))
    full = _charged_to(charge.battery)
    path = charger.path + ("part",)
    required, actual = f"at least {show(full, 'voltage')}", show(gives, "voltage")
    if gives >= full * (1.0 - ROUNDING):
        return satisfied(
            charger.tag,
            path,
            f"{charger.tag} charges {charge.battery.tag} to the full.",
            required=required,
            actual=actual,
        )
    return violated(
        charger.tag,
        path,
        f"{charger.tag} charges to {actual} at most; {charge.battery.tag} is full at "
        f"{show(full, 'voltage')}: it never gets there.",
        required=required,
        actual=actual,
        fix=f"Take a charge controller for {show(full, 'voltage')} and more, or another bank.",
        related=(charge.battery.devices[0].path,),
        severity=Severity.ERROR,
    )


def _from_the_array(system: System, charge: _Charge) -> Iterator[Answer]:
    charger, battery, show = charge.charger, charge.battery, system.show
    if charger.part.steps_up:
        return
    full = _charged_to(battery)
    top = float(need_part(charger, "highest_charge_voltage", "highest charge voltage"))
    for array in system.electrical.feeding(charger):
        if array.kind != "array":
            continue
        path = array.devices[0].path + ("series",)
        label_v = sum(float(d.part.vmp) * int(d.spec.series) for d in array.devices)
        if label_v < full * (1.0 - ROUNDING):
            yield violated(
                charger.tag,
                path,
                f"{array.tag} works at {show(label_v, 'voltage')} in full sun; {battery.tag} is full at "
                f"{show(full, 'voltage')}, and {charger.tag} makes no more volts than it is given: it is "
                "never charged.",
                required=f"at least {show(top, 'voltage')}, hot",
                actual=show(label_v, "voltage"),
                fix=f"Put more modules of {array.tag} in series, or take a controller that steps up "
                "(steps_up = true in its part).",
                related=(charger.path, battery.devices[0].path),
                severity=Severity.ERROR,
            )
            continue
        if any(d.part.noct is None or d.part.vmp_coefficient is None for d in array.devices):
            yield unchecked(
                charger.tag, path, f"how hot {array.tag} gets is not given (noct, vmp_coefficient)."
            )
            continue
        yield _hot(system, charge, array, top)


def _hot(system: System, charge: _Charge, array: Source, top_v: float) -> Answer:
    show, charger = system.show, charge.charger
    hot = tuple(system.electrical.hot_voltage(d) for d in array.devices)
    volts = sum(number.value for number in hot)
    path = array.devices[0].path + ("series",)
    required, actual = f"at least {show(top_v, 'voltage')}", show(volts, "voltage")
    if volts >= top_v * (1.0 - ROUNDING):
        return satisfied(
            charger.tag,
            path,
            f"{array.tag}, hot, still charges {charge.battery.tag} to the top.",
            required=required,
            actual=actual,
            calculations=hot,
        )
    return violated(
        charger.tag,
        path,
        f"On the hottest day {array.tag} works at {actual}; {charger.tag} charges {charge.battery.tag} to "
        f"{show(top_v, 'voltage')}, which it does not reach then.",
        required=required,
        actual=actual,
        fix=f"Put more modules of {array.tag} in series.",
        related=(charger.path, charge.battery.devices[0].path),
        calculations=hot,
    )


NEVER_FULL = Rule(
    id="battery.never-full",
    severity=Severity.WARNING,
    title="Battery that its array or controller cannot charge to the full",
    checks="Highest charge voltage of the controller >= voltage of the full bank; Ns · Vmp of the array >= "
    "the same (else an error: it is never charged), and on the hottest day >= the charge voltage. A "
    "controller that steps the voltage up is exempt from the second. A charge controller that feeds "
    "something has a battery on its output (else an error).",
    why="A battery that never gets full hardens within a year, and the pump stands still from the first "
    "cloudy week on.",
    clauses={"us-2023": "110.3(B)", "iec": "62509; 62124"},
    look=_charges,
    examine=ask,
    fires=(
        Case(
            "the charge controller led to the pump's side of the low-voltage disconnect",
            {**BATTERY, "runs.R8.conductors[2].to": "CB1.motor+", "runs.R8.conductors[3].to": "CB1.motor-"},
            severity=Severity.ERROR,
            subject="CC1",
        ),
        Case(
            "one 18 V module on a 24 V bank",
            {**BATTERY, "panels.PV1.series": 1},
            severity=Severity.ERROR,
            subject="CC1",
        ),
        Case(
            "a controller that ends at 24.5 V, for a bank that is full at 25.8 V",
            {**BATTERY, "part:charger-r.highest_charge_voltage": "24.5 V"},
            severity=Severity.ERROR,
            subject="CC1",
        ),
        Case(
            "modules that fall to 28.0 V in the heat, for 28.8 V",
            {**BATTERY, "part:panel-r.vmp": "17.0 V"},
            subject="CC1",
        ),
    ),
    keeps_still=(
        Case("29.63 V hot, for 28.8 V", BATTERY),
        Case(
            "a controller that steps up", {**BATTERY, "panels.PV1.series": 1, "part:charger-r.steps_up": True}
        ),
    ),
    sees_not="The drop on the way from the array; shade and dirt.",
    acceptable=True,
)

# -- battery.cold-charge -------------------------------------------------------------------------------


def _batteries(system: System) -> Iterator[Device]:
    return iter(system.of_kind("battery"))


def _cold_charge(system: System, battery: Device) -> Answer:
    part, show = battery.part, system.show
    path = battery.path + ("location",)
    if "lithium" not in (part.chemistry or "").lower() and part.coldest_charge is None:
        return satisfied(battery.tag, path, f"{battery.tag} may be charged in the cold.")
    place = system.connected.places.locations.get(battery.location or "")
    own = getattr(place, "coldest_air", None)
    coldest = need(
        own if own is not None else system.site.coldest_air, "coldest air", ("site",), "coldest_air"
    )
    limit = part.coldest_charge
    if limit is None:
        limit = system.handbook.threshold("lithium_coldest_charge_k").value
    required, actual = f"{show(limit, 'temperature')} or warmer", show(coldest, "temperature")
    if coldest >= limit or part.cold_cut_out:
        cut = "cuts its charge out itself when cold" if coldest < limit else "stays warm enough"
        return satisfied(battery.tag, path, f"{battery.tag} {cut}.", required=required, actual=actual)
    return violated(
        battery.tag,
        path,
        f"{battery.tag} ({part.chemistry}) must not be charged below {show(limit, 'temperature')}; its place "
        f"gets down to {actual}, and the sun charges it on the first frosty morning.",
        required=required,
        actual=actual,
        fix="Take a battery that cuts its charge out in the cold (cold_cut_out = true in its part), or "
        "keep it warm and give the coldest air of its place (coldest_air in [[locations]]).",
        related=(battery.path + ("part",),),
    )


_LITHIUM: dict[str, Any] = {**BATTERY, "part:battery-r.chemistry": "lithium iron phosphate"}

COLD_CHARGE = Rule(
    id="battery.cold-charge",
    severity=Severity.WARNING,
    title="Lithium battery charged below freezing",
    checks="The coldest air of a lithium battery's place >= the least temperature for charging (its part, "
    "else 0 °C), or the battery cuts its charge out itself.",
    why="Charged below freezing, lithium is plated as metal: the cell loses capacity and may short inside "
    "and burn, months later and without a warning.",
    clauses={"us-2023": "110.3(B); 706.30", "iec": "62619; 62485-5; maker's instructions"},
    look=_batteries,
    examine=_cold_charge,
    fires=(Case("lithium at -15 °C", _LITHIUM, subject="BT1"),),
    keeps_still=(
        Case("lead-acid at -15 °C", BATTERY),
        Case(
            "lithium that cuts its charge out in the cold", {**_LITHIUM, "part:battery-r.cold_cut_out": True}
        ),
        Case("lithium in a heated room", {**_LITHIUM, "locations.pump house.coldest_air": "5 degC"}),
        Case(
            "lithium made for charging at -20 °C", {**_LITHIUM, "part:battery-r.coldest_charge": "-20 degC"}
        ),
    ),
    sees_not="Whether its place is really kept warm.",
    acceptable=True,
)

RULES = (UNLIKE, NEVER_FULL, COLD_CHARGE)
