"""Rules on functional earthing: the device that stands between a conductor and earth, and its conductors."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import protection
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._variants import BATTERY, FUNCTIONAL, FUNCTIONAL_BY_FUSE, FUNCTIONAL_INSIDE
from specc.system import bonding, clearing, earth_faults, earthing, guarding
from specc.system.bonding import Bond, Reference
from specc.system.earthing import Supply
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Path
from specc.system.system import System

# -- ground.functional-device --------------------------------------------------------------------------

_Subject = tuple[Bond, Supply]


def _functional(system: System) -> Iterator[_Subject]:
    for supply in earthing.supplies(system):
        for bond in supply.bonds:
            if bond.functional and supply.feeders:
                yield bond, supply


def _figure(through: Reference, value: float | None, what: str, key: str) -> float:
    """A figure of the device in the joint; ``MissingDatum`` where its part does not give it."""
    if value is None:
        device = through.device
        own = getattr(device.part, "functional_earth", None) is not None
        name = f"functional_earth.{key}" if own else key
        part = f"catalogue part {device.part.id}, key {name}"
        raise MissingDatum(f"{device.tag}: {what} ({part})", through.path, key)
    return value


def _device(system: System, subject: _Subject) -> Iterator[Answer]:
    bond, supply = subject
    assert bond.through is not None
    volts = max((system.electrical.highest_voltage(s) for s in supply.sources), key=lambda c: c.value)
    yield _voltage(system, bond, bond.through, volts)
    if bond.through.through == "resistor":
        yield from _resistor(system, bond, bond.through, volts)
    elif bond.through.through in ("fuse", "breaker"):
        yield _rating(system, bond, bond.through, supply)
        yield from _opens(system, bond, bond.through, supply)


def _voltage(system: System, bond: Bond, through: Reference, volts: Calculation) -> Answer:
    has = _figure(through, through.dc_voltage_v, "DC voltage of the joint with earth", "dc_voltage")
    required, actual = (system.show(v, "voltage") for v in (volts.value, has))
    told = f"{bond.tag} stands {actual} DC; opened by an earth fault it may have {required} across it."
    if reaches(has, volts.value):
        return satisfied(
            bond.tag, through.path, told, required=required, actual=actual, calculations=(volts,)
        )
    return violated(
        bond.tag,
        through.path,
        told,
        required=f"at least {required}",
        actual=actual,
        fix=f"Take a device for at least {required} DC.",
        severity=Severity.DANGER,
        calculations=(volts,),
    )


def _array_w(system: System, supply: Supply) -> float:
    watts = 0.0
    for device in (d for s in supply.sources if s.kind == "array" for d in s.devices):
        one_w = float(device.part.power or device.part.vmp * device.part.imp)
        watts += one_w * device.spec.series * device.spec.parallel
    return watts


def _rating(system: System, bond: Bond, through: Reference, supply: Supply) -> Answer:
    has = _figure(through, through.rating_a, "rating of what opens the joint with earth", "rating")
    watts = _array_w(system, supply)
    limit = system.book.functional_earth_rating_a(watts)
    show = system.show
    required, actual = f"at most {show(limit.value, 'current')}", show(has, "current")
    told = (
        f"{bond.tag} opens the joint with earth by a {through.through} of {actual}; for an array of "
        f"{show(watts, 'power')} it may be {required} ({limit.source})."
    )
    if keeps_to(has, limit.value):
        return satisfied(bond.tag, through.path, told, required=required, actual=actual)
    return violated(
        bond.tag,
        through.path,
        told,
        required=required,
        actual=actual,
        fix=f"Take a {through.through} of {show(limit.value, 'current')}: it carries nothing in normal work.",
    )


def _opens(system: System, bond: Bond, through: Reference, supply: Supply) -> Iterator[Answer]:
    """Does a fault on each other conductor open the device, and does the device break it?"""
    show = system.show
    has = _figure(through, through.rating_a, "rating of what opens the joint with earth", "rating")
    breaks = _figure(through, through.breaking_a, "DC breaking capacity of the joint", "breaking_capacity")
    kind = through.device.part.fuse_class if through.device.kind == "fuse" else through.through
    limit = system.book.functional_earth_rating_a(_array_w(system, supply))
    factor = clearing.opening_factor(system, kind, has)
    least = protection.fusing_current_a(has, factor.value)
    for fault in earth_faults.faults_against(system, supply, bond):
        where = f"A fault to earth on the {fault.side} of {fault.tag}"
        flows, most = show(fault.sure_a, "current"), show(fault.most_a, "current")
        number = Calculation(
            "current of an earth fault through the functional joint",
            bond.tag,
            "Ie",
            fault.most_a,
            "current",
            "ΣImax of arrays and controllers, plus Ik of batteries without their cable",
            tuple(Input(f"Ik {n.subject}", n.value, "current", n.source) for n in fault.numbers),
            "; ".join(dict.fromkeys(n.source for n in fault.numbers)) or "limited sources",
        )
        if not keeps_to(fault.most_a, breaks):
            yield violated(
                bond.tag,
                through.path,
                f"{where} drives up to {most} through {bond.tag}, which breaks {show(breaks, 'current')}.",
                required=f"breaks at least {most}",
                actual=show(breaks, "current"),
                fix=f"Take a device whose DC breaking capacity is at least {most}.",
                severity=Severity.DANGER,
                related=fault.paths,
                calculations=(number,),
            )
        elif not reaches(fault.sure_a, least) and keeps_to(has, limit.value):
            yield violated(
                bond.tag,
                through.path,
                f"{where} drives only {flows}, even in full sun; {bond.tag} is sure to open from "
                f"{show(least, 'current')} ({factor.source}): the fault stays.",
                required=f"opens below {flows}",
                actual=f"opens from {show(least, 'current')}",
                fix=f"Take a {through.through} below {show(fault.sure_a / factor.value, 'current')}, "
                "or a detector.",
                related=fault.paths,
                calculations=(number,),
            )
        elif keeps_to(has, limit.value):
            yield satisfied(
                bond.tag,
                through.path,
                f"{where} opens {bond.tag}.",
                required=f"from {show(least, 'current')}, up to {most}",
                actual=f"{flows} at least; breaks {show(breaks, 'current')}",
                calculations=(number,),
            )


def _resistor(system: System, bond: Bond, through: Reference, volts: Calculation) -> Iterator[Answer]:
    show = system.show
    has = _figure(through, through.resistance_ohm, "resistance of the joint with earth", "resistance")
    limit = system.book.threshold("functional_resistor_a")
    wanted = protection.functional_earth_least_ohm(volts.value, limit.value)
    number = Calculation(
        "least resistance of the functional joint",
        bond.tag,
        "R",
        wanted,
        "resistance",
        f"Vmax / {limit.value * 1e3:g} mA",
        (Input("Vmax", volts.value, "voltage", volts.subject),),
        limit.source,
    )
    required, actual = f"at least {show(wanted, 'resistance')}", show(has, "resistance")
    if not reaches(has, wanted):
        yield violated(
            bond.tag,
            through.path,
            f"{bond.tag} has {actual}: an earth fault drives {show(volts.value / has, 'current')} through it "
            f"for as long as it lasts ({limit.source}).",
            required=required,
            actual=actual,
            fix=f"Take a resistor of {required}.",
            calculations=(number,),
        )
        return
    heat = protection.resistor_heat_w(volts.value, has)
    stands = _figure(through, through.power_w, "power that the resistor stands for hours", "power")
    if not reaches(stands, heat):
        yield violated(
            bond.tag,
            through.path,
            f"An earth fault heats {bond.tag} with {show(heat, 'power')}; it stands {show(stands, 'power')}.",
            required=f"at least {show(heat, 'power')}",
            actual=show(stands, "power"),
            fix=f"Take a resistor for at least {show(heat, 'power')}.",
            calculations=(number,),
        )
        return
    yield satisfied(
        bond.tag,
        through.path,
        f"{bond.tag} holds an earth fault to {show(volts.value / has, 'current')}.",
        required=required,
        actual=actual,
        calculations=(number,),
    )


_RESISTOR = {"terminal": "system", "through": "resistor", "resistance": "2 kohm", "power": "5 W"}
_BY_RESISTOR: dict[str, object] = {
    **FUNCTIONAL,
    "part:functional-r.functional_earth": {**_RESISTOR, "dc_voltage": "100 V"},
}
# On a battery of 24 V, 8 mΩ: a fault to earth beside its post drives 3 150 A.
_ON_BATTERY: dict[str, object] = {
    **BATTERY,
    "job.earthing": "functionally grounded",
    "grounding.GB1": None,
    "grounding.GF1": {"part": "functional-r", "location": "pump house", "spare": ["1", "2"]},
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1", "GF1"],
    "runs.R5.conductors": [
        {"from": "GF1.system", "to": "CC1.pv-", "color": "black"},
        {"from": "GF1.ground", "to": "BOX1.ground", "color": "green"},
    ],
}

FUNCTIONAL_DEVICE = Rule(
    id="ground.functional-device",
    severity=Severity.ERROR,
    title="Device of a functional earth that does not suit the supply",
    checks="DC voltage >= Vmax of the supply. Fuse or breaker: rating <= the book's (1 A up to 25 kW of "
    "array); DC breaking capacity >= what a fault to earth on any other conductor drives (batteries "
    "included); that fault, in full sun, >= the current from which the device is sure to open. "
    "Resistor: R >= Vmax / 30 mA, power >= Vmax² / R.",
    why="The device is there for the day of an earth fault. Too large, or on too weak a source, it never "
    "opens; too weak for the voltage or the battery behind it, it bursts.",
    clauses={
        "us-2023": "690.41(B), 690.42(A); 110.9",
        "iec": "62548-1 functional earthing; 62109-2 4.8.2.2; 60364-7-712 712.411",
    },
    look=_functional,
    examine=_device,
    fires=(
        Case("a 15 A fuse in the lead", FUNCTIONAL_BY_FUSE, subject="F9"),
        Case(
            "a device for 30 V, array of 49.28 V",
            {**FUNCTIONAL, "part:functional-r.functional_earth.dc_voltage": "30 V"},
            severity=Severity.DANGER,
            subject="GF1",
        ),
        Case(
            "a battery behind it: 3.15 kA, it breaks 1.5 kA",
            {**_ON_BATTERY, "part:functional-r.functional_earth.breaking_capacity": "1.5 kA"},
            severity=Severity.DANGER,
            subject="GF1",
        ),
        Case(
            "a string of 1.2 A never opens 1 A",
            {**FUNCTIONAL, "part:panel-r.isc": "0.6 A", "part:panel-r.imp": "0.55 A"},
            subject="GF1",
        ),
        Case(
            "a resistor of 1 kohm: 49.28 V / 30 mA = 1.643 kohm",
            {**_BY_RESISTOR, "part:functional-r.functional_earth.resistance": "1 kohm"},
            subject="GF1",
        ),
        Case(
            "a resistor of 2 kohm for 1 W: 49.28² / 2000 = 1.214 W",
            {**_BY_RESISTOR, "part:functional-r.functional_earth.power": "1 W"},
            subject="GF1",
        ),
    ),
    keeps_still=(
        Case("1 A, 600 V, 10 kA", FUNCTIONAL),
        Case("1 A inside the booster", FUNCTIONAL_INSIDE),
        Case("a battery behind it: it breaks 10 kA", _ON_BATTERY),
        Case("a resistor of 2 kohm, 5 W", _BY_RESISTOR),
    ),
    sees_not="The time that the device takes; a fault of high resistance; a fault on the earthed conductor "
    "itself (ground.fault-protection).",
)


# -- ground.functional-lead ----------------------------------------------------------------------------

_GUARDED = ("in enclosure", "in raceway")


def _leads(system: System) -> Iterator[tuple[Conductor, Bond]]:
    found = bonding.leads(system.walked)
    for conductor in system.conductors:
        bond = found.get(conductor.tag)
        if bond is not None and bond.functional:
            yield conductor, bond


def _lead(system: System, subject: tuple[Conductor, Bond]) -> Answer:
    conductor, bond = subject
    path: Path = guarding.size_path(conductor)
    laid = conductor.run.spec.laid
    if conductor.run.raceway is None and laid is None:
        return unchecked(conductor.tag, path, f"how {conductor.run.tag} is laid is not said.")
    least = system.book.functional_earth_least(conductor.run.raceway is not None or laid in _GUARDED)
    index = system.book.size_index
    told = f"{conductor.tag} leads {bond.tag} to earth in {conductor.size}; {least.value} is the least."
    required = f"at least {least.value}"
    if index(conductor.size) >= index(least.value):
        return satisfied(conductor.tag, path, told, required=required, actual=conductor.size)
    return violated(
        conductor.tag,
        path,
        told,
        required=required,
        actual=conductor.size,
        fix=f"Take {least.value} for {conductor.tag}, or lay it in raceway or enclosure.",
        related=(bond.path,),
    )


FUNCTIONAL_LEAD = Rule(
    id="ground.functional-lead",
    severity=Severity.ERROR,
    title="Conductor of a functional earth too small",
    checks="Each conductor between the circuit, the device and the grounding net >= the book's least size, "
    "guarded (raceway, enclosure) or in the open. The rating of the device, 5 A at most, asks for no more.",
    why="Where the lead breaks, the system floats without a word, and the ground-fault device is blind.",
    clauses={"us-2023": "Table 250.122; 250.120(C)", "iec": "60364-5-54 543.1.3, 545"},
    look=_leads,
    examine=_lead,
    fires=(
        Case("18 AWG from the device to the bar", {**FUNCTIONAL, "runs.R5.size": "18 AWG"}, subject="R5.2"),
        Case("10 AWG in the open: 6 AWG", {**FUNCTIONAL, "runs.R5.laid": "out of reach"}, subject="R5.2"),
    ),
    keeps_still=(
        Case("10 AWG in the box", FUNCTIONAL),
        Case("14 AWG in the box", {**FUNCTIONAL, "runs.R5.size": "14 AWG"}),
        Case("no functional earth"),
    ),
)

RULES = (FUNCTIONAL_DEVICE, FUNCTIONAL_LEAD)
