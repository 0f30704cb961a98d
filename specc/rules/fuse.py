"""Rules on fuses and breakers: what they guard, whether they open, where they stand."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import protection
from specc.rulebooks import ROUNDING, NotInTable
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._variants import ARRAY_FUSE, BATTERY, FLOATING, FUNCTIONAL, METRIC, strings
from specc.system import clearing, faults, guarding
from specc.system.bonding import Bond
from specc.system.earthing import bonds, earth_poles, polarity, solidly_grounded_nets, supply_of
from specc.system.missing import need_part
from specc.system.model import Conductor, Device, Path, Pole
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Source

_IN_CONTROLLER = "the blocking of back-current inside a controller is taken for granted"


def _rating(device: Device) -> float:
    return float(device.part.rating)


def _part_path(device: Device) -> Path:
    return device.path + ("part",)


def exceeds(value: float, limit: float) -> bool:
    """Is a value above a limit, beyond rounding? NaN always is."""
    return not value <= limit * (1.0 + ROUNDING)


def _standard(device: Device) -> str:
    """Which list of standard ratings a device is taken from."""
    if device.kind == "breaker":
        return "breaker"
    return "pv fuse" if device.part.fuse_class == "gPV" else "fuse"


def _largest_standard(system: System, device: Device, limit_a: float) -> float | None:
    return protection.largest_standard_rating_a(limit_a, system.book.standard_ratings_a(_standard(device)))


def _poles(system: System) -> Iterator[Pole]:
    """Poles of fuses and breakers that a source can drive current through, but not to earth alone."""
    to_earth = earth_poles(system)
    for pole in system.electrical.protective_poles():
        branch = system.walked.branch(pole)
        if branch is not None and pole not in to_earth and system.electrical.crossing_sources(branch):
            yield pole


def _motors_only(system: System, what: Conductor | Pole) -> bool:
    pairs = guarding.feeds(system, what)
    return bool(pairs) and all(pair.load.device.kind == "pump" for pair in pairs)


def _from_array(system: System, what: Conductor | Pole) -> bool:
    return any(pair.source.kind == "array" for pair in guarding.feeds(system, what))


def _motor_limit_a(system: System, what: Conductor | Pole, device: Device) -> Calculation:
    """The largest device of a motor circuit: factor on the largest motor, rounded up, plus the others [A]."""
    motors = list(dict.fromkeys(pair.load.device for pair in guarding.feeds(system, what)))
    currents = sorted((system.electrical.motor_current_a(m) for m in motors), reverse=True)
    factor = system.book.factor("motor_device")
    largest = protection.motor_limit_a(currents[0], factor.value)
    rounded = system.book.next_rating_up(largest, device.kind)
    return Calculation(
        "largest device of a motor circuit",
        device.tag,
        "In,max",
        rounded.value + sum(currents[1:]),
        "current",
        f"next standard rating of {factor.value:g} · Im of the largest motor, plus Im of the others",
        tuple(
            Input("Im", system.electrical.motor_current_a(m), "current", f"{m.tag}, catalogue")
            for m in motors
        ),
        f"{factor.source}; {rounded.source}",
    )


# -- fuse.too-big --------------------------------------------------------------------------------------


def _guarded(system: System) -> Iterator[tuple[Conductor, Pole]]:
    """Each conductor with the device that guards it."""
    for conductor in system.conductors:
        feeder = guarding.feeder(system, conductor)
        guard = guarding.guard(system, conductor)
        if feeder is not None:
            yield conductor, feeder
        elif guard is None or system.walked.branch(conductor) is None or _own_lead(system, conductor, guard):
            continue
        elif not _motors_only(system, conductor) or _from_array(system, conductor):
            yield conductor, guard  # a motor circuit has its own rule


def _own_lead(system: System, conductor: Conductor, guard: Pole) -> bool:
    """Is the conductor the lead of some of the arrays that meet before the device, and carries all of them?

    Then it is not the device that limits its current, but the arrays.
    """
    through = {pair.source for pair in guarding.feeds(system, guard)}
    own = {pair.source for pair in guarding.feeds(system, conductor)}
    if not own < through or any(source.kind != "array" for source in through):
        return False
    if any(guard in system.electrical.ahead(conductor, source) for source in own):
        return False
    others = clearing.limited_current_a(system, tuple(through - own))
    return not exceeds(others, guarding.ampacity_a(system, conductor))


def largest_devices(system: System, conductor: Conductor, device: Device) -> Iterator[tuple[float, str]]:
    """Each limit on the device that guards a conductor [A], and what sets it."""
    book = system.book
    cap = book.small_conductor_limit_a(conductor.size, conductor.wire.material)
    if cap is not None:
        yield cap.value, f"the cap on {conductor.size}, {cap.source}"
    corrected = system.electrical.corrected_ampacity(conductor).value
    found = book.largest_device_a(corrected)
    yield found.value, f"{system.show(corrected, 'current')} after correction, {found.source}"
    overload = book.factor("overload_opens")  # I2 <= 1.45 Iz, where the book asks for it
    opens = clearing.opening_factor(system, clearing.kind_of(device), _rating(device))
    if opens.value > overload.value:
        allowed = overload.value * corrected / opens.value
        yield (
            allowed,
            f"{device.tag} surely opens only from {opens.value:g} In, and the conductor stands "
            f"{overload.value:g} · {system.show(corrected, 'current')}, {overload.source}",
        )
    try:
        at_terminals = system.electrical.terminal_ampacity(conductor).value
    except NotInTable:
        if cap is None:
            raise
        return  # a size that the terminal column leaves out is held by its cap
    found = book.largest_device_a(at_terminals)
    yield found.value, f"{system.show(at_terminals, 'current')} at its terminals, {found.source}"


def _too_big(system: System, subject: tuple[Conductor, Pole]) -> Answer:
    conductor, pole = subject
    device, show = pole.device, system.show
    rating = _rating(device)
    behind = guarding.feeds(system, conductor) <= guarding.feeds(system, pole)
    own = _motors_only(system, conductor) and behind
    floor = _motor_limit_a(system, conductor, device).value if own else 0.0
    numbers = (system.electrical.corrected_ampacity(conductor),)
    lowest = math.inf
    for limit, because in largest_devices(system, conductor, device):
        limit = max(limit, floor)
        lowest = min(lowest, limit)
        if not exceeds(rating, limit):
            continue
        larger = guarding.smallest_size(
            system,
            conductor,
            lambda c: not any(exceeds(rating, max(a, floor)) for a, _ in largest_devices(system, c, device)),
        )
        smaller = _largest_standard(system, device, limit)
        ways = [f"a device of {show(smaller, 'current')} in place of {device.tag}"] if smaller else []
        ways += [f"{larger} for {conductor.tag}"] if larger else []
        return violated(
            conductor.tag,
            guarding.size_path(conductor),
            f"{device.tag} ({show(rating, 'current')}) lets {conductor.tag} ({conductor.size}) carry more "
            f"than it may: the largest device is {show(limit, 'current')} ({because}).",
            required=f"at most {show(limit, 'current')}",
            actual=show(rating, "current"),
            fix=f"Take {' or '.join(ways)}." if ways else "Divide the circuit: no standard device fits.",
            related=(_part_path(device),),
            calculations=numbers,
        )
    return satisfied(
        conductor.tag,
        guarding.size_path(conductor),
        f"{device.tag} guards {conductor.tag}.",
        required=f"at most {show(lowest, 'current')}",
        actual=show(rating, "current"),
        calculations=numbers,
    )


_PV_FUSE: dict[str, object] = {**ARRAY_FUSE, "part:fuse-r.rating": "20 A"}
# Of class gG, with its run in 2.5 mm2.
_GG_FUSE: dict[str, object] = {
    **_PV_FUSE,
    "part:fuse-r.fuse_class": "gG",
    "part:holder-r.wire.temperature": "70 degC",
    "runs.R1.size": "2.5 mm2",
    "runs.R1.hottest": "60 degC",
}

TOO_BIG = Rule(
    id="fuse.too-big",
    severity=Severity.DANGER,
    title="Fuse or breaker too big for the conductor that it guards",
    checks="In <= ampacity of the conductor (corrected, and at its terminals), or the next standard "
    "rating where the rulebook permits it, and In <= the cap on small conductors; IEC also: what surely "
    "opens the device <= 1.45 · ampacity (a gG fuse below 16 A opens from 1.9 In). The device may stand "
    "anywhere in the circuit, in either polarity. Motor circuits from a battery or a controller follow "
    "fuse.motor-branch. Behind a low-voltage disconnect or load terminals, which limit nothing, the fuse "
    "ahead of them counts up to the next fuse.",
    why="A device above the ampacity lets the conductor run hot enough to melt its insulation before "
    "anything opens.",
    clauses={"us-2023": "240.4(B), (D), (G)", "iec": "60364-4-43 433.1 (IB <= In <= Iz, I2 <= 1.45 Iz)"},
    look=_guarded,
    examine=_too_big,
    fires=(
        Case(
            "30 A breaker on 12 AWG",
            {
                "part:breaker-r.rating": "30 A",
                "runs.R1.size": "12 AWG",
                "runs.R2.conductors[0].size": "12 AWG",
            },
        ),
        Case(
            "14 AWG between a low-voltage disconnect and the motor fuse: the 40 A battery fuse guards it",
            {
                **BATTERY,
                "fuses.F0.part": "fuse-battery-40a",
                "runs.R2.conductors[1].size": "14 AWG",
            },
            subject="R2.2",
        ),
        Case(
            "16 AWG in the return of the breaker's circuit",
            {"runs.R1.conductors[1].size": "16 AWG"},
            subject="R1.2",
        ),
        Case(
            "IEC: a 20 A fuse of class gG on 2.5 mm2 of 21.45 A: it opens from 32 A, 31.1 A allowed",
            {**METRIC, **_GG_FUSE},
            subject="R1.1",
        ),
        Case(
            "IEC: 32 A on 2.5 mm2, which carries 28.2 A (no next size up)",
            {**METRIC, "runs.R1.size": "2.5 mm2", "part:breaker-r.rating": "32 A"},
            subject="R1.1",
        ),
    ),
    keeps_still=(
        Case("IEC: a 20 A fuse of class gPV there", {**METRIC, **_GG_FUSE, "part:fuse-r.fuse_class": "gPV"}),
        Case("IEC: 20 A on 2.5 mm2", {**METRIC, "runs.R1.size": "2.5 mm2"}),
        Case(
            "two strings of 6 A in leads of 14 AWG before a breaker of 20 A: the other string drives 7.5 A",
            {**strings(2), "runs.R1.conductors[1].size": "14 AWG"},
        ),
        Case("20 A breaker on 12 AWG", {"runs.R1.size": "12 AWG", "runs.R2.conductors[0].size": "12 AWG"}),
        Case("motor fuse above the conductor's ampacity: another rule", {"runs.R3.size": "16 AWG"}),
    ),
    sees_not="The I2t let through in a short circuit.",
)


# -- fuse.too-small ------------------------------------------------------------------------------------


def _is_string_device(system: System, pole: Pole) -> bool:
    source = faults.own_strings(system, pole)
    return source is not None and system.electrical.strings(source) == 1


def _pv_poles(system: System) -> Iterator[Pole]:
    for pole in _poles(system):
        if _from_array(system, pole) and not _is_string_device(system, pole):
            yield pole


def _string_poles(system: System) -> Iterator[Pole]:
    return (pole for pole in _poles(system) if _is_string_device(system, pole))


def _arrays_by_side(system: System, pole: Pole) -> dict[str, tuple[Source, ...]]:
    branch = system.walked.branch(pole)
    assert branch is not None
    through = system.electrical.arrays_through(branch)
    sides = guarding.sources_by_side(system, branch)
    return {side: tuple(s for s in sources if s in through) for side, sources in sides.items()}


def _isc(system: System, sources: tuple[Source, ...]) -> float:
    return sum(system.electrical.short_circuit_a(s) for s in sources)


def _too_small(system: System, pole: Pole) -> Answer:
    device, show = pole.device, system.show
    arrays = max(_arrays_by_side(system, pole).values(), key=lambda group: _isc(system, group))
    total = _isc(system, arrays)
    band = system.book.pv_fuse_band(total)
    hot = device.part.hot_factor or 1.0
    holds = _rating(device) * hot
    number = Calculation(
        "least rating in the array circuit",
        device.tag,
        "In,min",
        band.low_a,
        "current",
        "factor · ΣIsc",
        (Input("ΣIsc", total, "current", ", ".join(s.tag for s in arrays)),),
        band.source,
    )
    word = "more than" if band.low_strict else "at least"
    required = f"{word} {show(band.low_a, 'current')}"
    actual = show(_rating(device), "current") + (
        f" · {hot:g} = {show(holds, 'current')} hot" if hot < 1.0 else ""
    )
    if band.holds(holds):
        return satisfied(
            device.tag,
            _part_path(device),
            f"{device.tag} holds in bright cold sun.",
            required=required,
            actual=actual,
            calculations=(number,),
        )
    kind = _standard(device)
    fitting = next((r for r in system.book.standard_ratings_a(kind) if band.holds(r * hot)), None)
    offer = f"Take {show(fitting, 'current')}, the next standard rating" if fitting else "Divide the array"
    return violated(
        device.tag,
        _part_path(device),
        f"{device.tag} ({actual}) opens or ages on a bright cold noon: {show(total, 'current')} "
        f"short-circuit current asks for {required}.",
        required=required,
        actual=actual,
        fix=f"{offer}, if the conductors behind it carry it.",
        calculations=(number,),
    )


def _chargers(system: System, pole: Pole) -> tuple[Source, ...]:
    """Charge controllers that charge a battery through a device: one on this side of it, one on that.

    What both feed beyond it, a motor without a stop of its own, takes its own current and no charge.
    """
    branch = system.walked.branch(pole)
    if branch is None or not system.electrical.batteries_through(branch):
        return ()
    sides = [system.walked.sources_on(branch, side) for side in ("start", "end")]
    batteries = [any(s.kind == "battery" for s in side) for side in sides]
    across = [s for side, other in zip(sides, batteries[::-1], strict=True) if other for s in side]
    given = system.electrical.converters_through(branch)
    return tuple(s for s in given if s in across and s.ports[0].device.part.type == "charge controller")


def _charge_poles(system: System) -> Iterator[Pole]:
    for pole in _poles(system):
        if not _from_array(system, pole) and _chargers(system, pole):
            yield pole


def _too_small_for_charge(system: System, pole: Pole) -> Answer:
    device, show, electrical = pole.device, system.show, system.electrical
    chargers = tuple(dict.fromkeys(s.ports[0].device for s in _chargers(system, pole)))
    factor = system.book.factor("continuous_load")
    given = tuple(
        Input("Iout", electrical.output_current_a(c), "current", f"{c.tag}, catalogue part {c.part.id}")
        for c in chargers
    )
    least = factor.value * sum(i.value for i in given)
    hot = device.part.hot_factor or 1.0
    holds = _rating(device) * hot
    number = Calculation(
        "least rating in the charge circuit",
        device.tag,
        "In,min",
        least,
        "current",
        f"{factor.value:g} · ΣIout",
        given,
        factor.source,
    )
    names = " and ".join(c.tag for c in chargers)
    required, actual = f"at least {show(least, 'current')}", show(_rating(device), "current")
    if holds >= least * (1.0 - ROUNDING):
        return satisfied(
            device.tag,
            _part_path(device),
            f"{device.tag} carries the charge from {names}.",
            required=required,
            actual=actual,
            calculations=(number,),
        )
    return violated(
        device.tag,
        _part_path(device),
        f"{device.tag} ({actual}) carries the charge of {names}, {show(least / factor.value, 'current')} for "
        f"hours, which asks for {required}: it opens or ages, and the battery is cut off in full sun.",
        required=required,
        actual=actual,
        fix=f"Take {required}, if the conductors behind it carry it.",
        related=tuple(c.path for c in chargers),
        calculations=(number,),
    )


def _carrying(system: System) -> Iterator[tuple[Pole, Question[Pole]]]:
    yield from each(_pv_poles(system), _too_small)
    yield from each(_charge_poles(system), _too_small_for_charge)


TOO_SMALL = Rule(
    id="fuse.too-small",
    severity=Severity.WARNING,
    title="Fuse or breaker that opens on a bright noon",
    checks="In an array circuit In >= 1.25 · 1.25 · ΣIsc (US), In > 1.25 · ΣIsc (IEC); in a hot box In "
    "times the maker's factor, where the catalogue gives it. Between a charge controller and its battery "
    "In >= its output for hours (US 1.25 times).",
    why="An array exceeds its label at the edge of a cloud; a device near its limit opens for nothing, "
    "or ages.",
    clauses={"us-2023": "690.9(B)", "iec": "62548-1, protection of sub-arrays"},
    look=_carrying,
    examine=ask,
    fires=(
        Case("battery fuse of 15 A for a charge of 20 A", BATTERY, subject="F0"),
        Case("15 A breaker, 18.75 A wanted", {"part:breaker-r.rating": "15 A"}, subject="Q1"),
        Case("20 A breaker that holds 18 A in a hot box", {"part:breaker-r.hot_factor": 0.9}, subject="Q1"),
        Case(
            "IEC: 15 A is not above 15 A",
            {"job.rulebook": "iec", "part:breaker-r.rating": "15 A"},
            subject="Q1",
        ),
    ),
    keeps_still=(
        Case("20 A breaker"),
        Case("battery fuse of 25 A for a charge of 20 A", {**BATTERY, "fuses.F0.part": "fuse-10x38-dc-25a"}),
        Case("IEC: 16 A breaker", {"job.rulebook": "iec", "part:breaker-r.rating": "16 A"}),
    ),
    sees_not="Derating in a hot box for which the maker's factor is not in the catalogue.",
    acceptable=True,
)


# -- fuse.cannot-clear ---------------------------------------------------------------------------------


def _feeding(system: System, conductor: Conductor, sources: tuple[Source, ...]) -> tuple[Source, ...]:
    """Those of some sources whose current a conductor carries: of the tail of one string, that string."""
    own = {pair.source for pair in guarding.feeds(system, conductor)}
    return tuple(s for s in sources if s in own) or sources


def _never_opens_fix(device: Device) -> str:
    """What to make of a device that no fault opens: a load-break breaker isolates, a fuse does not."""
    if device.kind == "breaker" and device.part.load_break:
        return "Count it as an isolator, and say so on the drawing."
    part = "breaker" if device.kind == "breaker" else "fuse"
    return (
        f"Do not count on {device.tag} to clear a fault, and never as an isolator: a {part} that may not be "
        "opened under load is opened only when a load-break isolator has cut it off."
    )


def _cannot_clear(system: System, pole: Pole) -> Answer:
    device, show = pole.device, system.show
    branch = system.walked.branch(pole)
    found = clearing.clearing(system, pole)
    assert branch is not None and found is not None
    sides = guarding.sources_by_side(system, branch)
    if found.by_battery:
        return satisfied(
            device.tag, _part_path(device), f"A battery drives enough current to open {device.tag}."
        )
    opens, factor, available, most = found.opens_a, found.factor, found.available_a, found.most_a
    number = Calculation(
        "current at which the device is sure to open",
        device.tag,
        "If",
        opens,
        "current",
        f"{factor.value:g} · In",
        (Input("In", _rating(device), "current", f"{device.tag}, catalogue"),),
        factor.source,
    )
    required = f"{show(opens, 'current')} to open"
    actual = f"{show(most, 'current')} available"
    for side, together in available.items():
        if together >= opens:
            continue
        for conductor in guarding.behind(system, pole, sides[side]):
            carries = guarding.ampacity_a(system, conductor)
            amperes = clearing.limited_current_a(system, _feeding(system, conductor, sides[side]))
            if not exceeds(amperes, carries):
                continue
            tail = _largest_standard(system, device, min(carries, amperes / factor.value))
            return violated(
                device.tag,
                guarding.size_path(conductor),
                f"{device.tag} ({show(_rating(device), 'current')}) opens only from "
                f"{show(opens, 'current')}, and a fault drives {show(amperes, 'current')}: it goes on "
                f"through {conductor.tag} ({conductor.size}), which carries {show(carries, 'current')}.",
                required=required,
                actual=actual,
                fix=f"Size {conductor.tag} for {show(amperes, 'current')}"
                + (f", or fuse it at {show(tail, 'current')}." if tail else "."),
                related=(_part_path(device),),
                severity=Severity.DANGER,
                calculations=(number,),
            )
    if not found.opens:
        return violated(
            device.tag,
            _part_path(device),
            f"{device.tag} ({show(_rating(device), 'current')}) opens only from {show(opens, 'current')}; "
            f"its sources give {show(most, 'current')} at most, so that it never opens on a fault. The "
            "conductors behind it carry that.",
            required=required,
            actual=actual,
            fix=_never_opens_fix(device),
            calculations=(number,),
        )
    return satisfied(
        device.tag,
        _part_path(device),
        f"A fault opens {device.tag}.",
        required=required,
        actual=actual,
        calculations=(number,),
    )


CANNOT_CLEAR = Rule(
    id="fuse.cannot-clear",
    severity=Severity.ADVICE,
    title="Fuse or breaker that its source cannot open",
    checks="Where only arrays or controllers feed a device, a fault drives Imax or the controller's "
    "output; the device is sure to open from k · In by its class (1.45 for gPV and breakers, 1.6 to 2.1 for "
    "gG, 1.35 for blade and midget fuses). Less than that: advice. A danger where a "
    "conductor behind it carries less than the fault.",
    why="An array is a source of limited current: it feeds a fault for hours without opening a fuse.",
    clauses={"us-2023": "690.9(A)", "iec": "60269-6 (1.13 and 1.45 In); 62548-1"},
    look=_poles,
    examine=_cannot_clear,
    fires=(
        Case(
            "15 A in the array circuit with a 16 AWG tail",
            {"part:breaker-r.rating": "15 A", "runs.R2.conductors[0].size": "16 AWG"},
            severity=Severity.DANGER,
            subject="Q1",
        ),
        Case(
            "15 A in the array circuit with a 12 AWG tail",
            {"part:breaker-r.rating": "15 A", "runs.R2.conductors[0].size": "12 AWG"},
            subject="Q1",
        ),
    ),
    keeps_still=(
        Case("fuses that a battery feeds", {**BATTERY, "part:breaker-r.rating": "10 A"}),
        Case(
            "8 A in the array circuit and in the motor circuit",
            {"part:breaker-r.rating": "8 A", "part:fuse-r.rating": "8 A"},
        ),
    ),
    sees_not="Breakers of some standards are sure to open a little below 1.45 In. " + _IN_CONTROLLER + ".",
    acceptable=True,
)


# -- fuse.string-needed --------------------------------------------------------------------------------


def _arrays(system: System) -> Iterator[Source]:
    return (source for source in system.walked.sources if source.kind == "array")


def _module_limit(source: Source) -> float:
    limits = [need_part(d, "series_fuse", "maximum series fuse of the module") for d in source.devices]
    return min(float(limit) for limit in limits)


def _string_needed(system: System, source: Source) -> Answer:
    electrical, show = system.electrical, system.show
    first = source.devices[0]
    path = first.path + ("parallel",)
    number_of = electrical.strings(source)
    others, devices = faults.beside(system, source), faults.own_devices(system, source)
    if number_of == 1 and not others:
        return satisfied(
            source.tag, path, f"{source.tag} is one string alone: nothing drives current back into it."
        )
    if number_of == 1 and devices:
        return satisfied(source.tag, path, f"{devices[0].tag} guards {source.tag}, which is one string.")
    number = faults.string_fault(system, source)
    back, limit = number.value, _module_limit(source)
    fix = f"Give each string of {source.tag} its own fuse in a combiner, within the limit of the module."
    if not math.isfinite(back):
        return violated(
            source.tag,
            path,
            f"A battery drives current back into a faulty string of {source.tag} without limit; its "
            f"modules stand {show(limit, 'current')}.",
            required=f"at most {show(limit, 'current')}",
            actual="battery current",
            fix=fix,
        )
    required, actual = f"at most {show(limit, 'current')}", show(back, "current")
    if exceeds(back, limit):
        return violated(
            source.tag,
            path,
            f"The other strings drive {actual} into a faulty string of {source.tag}; its modules stand "
            f"{show(limit, 'current')} (maximum series fuse).",
            required=required,
            actual=actual,
            fix=fix,
            calculations=(number,),
        )
    return satisfied(
        source.tag,
        path,
        f"{source.tag} needs no string fuses.",
        required=required,
        actual=actual,
        calculations=(number,),
    )


STRING_NEEDED = Rule(
    id="fuse.string-needed",
    severity=Severity.DANGER,
    title="Parallel strings without string fuses",
    checks="(Np - 1) · k · Isc, plus what other sources feed back, <= the module's maximum series fuse; "
    "k = 1.25 (US), 1 (IEC). Else each string needs a fuse of its own. A battery in parallel with no "
    "controller between feeds without limit.",
    why="A fault in one string draws the current of all the others through cables and diodes made for one.",
    clauses={"us-2023": "690.9(A)", "iec": "62548-1; 60364-7-712 712.43"},
    look=_arrays,
    examine=_string_needed,
    fires=(
        Case("four strings: 22.5 A into a module for 15 A", {"panels.PV1.parallel": 4}, subject="PV1"),
        Case("IEC, four strings: 18 A", {"panels.PV1.parallel": 4, "job.rulebook": "iec"}, subject="PV1"),
        Case("two entries of two strings: 22.5 A", strings(2, parallel=2), subject="PV2"),
    ),
    keeps_still=(
        Case("three strings: 15.0 A", {"panels.PV1.parallel": 3}),
        Case("IEC, three strings: 12 A", {"panels.PV1.parallel": 3, "job.rulebook": "iec"}),
        Case("one string", {"panels.PV1.parallel": 1}),
        Case("four strings, a fuse in each", strings(4, fuse="fuse-r")),
    ),
    sees_not="Blocking diodes; " + _IN_CONTROLLER + ".",
)


# -- fuse.not-for-pv -----------------------------------------------------------------------------------


def _not_for_pv(system: System, device: Device) -> list[str]:
    """What keeps a fuse from a photovoltaic circuit; nothing for a breaker, whose part says no more."""
    if device.kind != "fuse":
        return []
    if system.book.flag("pv_fuse_class_gpv").value:
        named = device.part.fuse_class
        return [f"{device.tag} is of class {named}, not gPV"] if named != "gPV" else []
    return [] if device.part.pv_listed else [f"{device.tag} is not listed for photovoltaic circuits"]


def _pv_fuse(system: System, pole: Pole) -> Answer:
    device, path = pole.device, _part_path(pole.device)
    wrong = _not_for_pv(system, device)
    if not wrong:
        return satisfied(device.tag, path, f"{device.tag} is made for circuits of an array.")
    offer = system.show(_rating(device), "current")
    return violated(
        device.tag,
        path,
        f"In the circuit of an array, {wrong[0]}: it may not break a DC fault so little above its rating.",
        fix=f"Take a fuse of {offer} made for photovoltaic circuits (class gPV), and a holder for it.",
    )


NOT_FOR_PV = Rule(
    id="fuse.not-for-pv",
    severity=Severity.ERROR,
    title="Fuse in an array circuit that is not made for it",
    checks="A fuse in the circuit of an array, beyond its strings, is listed for photovoltaic circuits (US) "
    "or of class gPV (IEC). For those of one string see fuse.string-range.",
    why="An array drives little more than its working current into a fault, and at DC: a general fuse melts "
    "slowly there and burns on.",
    clauses={"us-2023": "690.9(B)", "iec": "62548-1; 60269-6"},
    look=lambda system: (pole for pole in _pv_poles(system) if pole.device.kind == "fuse"),
    examine=_pv_fuse,
    fires=(
        Case("20 A, not listed for it, after two strings", {**_PV_FUSE, "part:fuse-r.pv_listed": False}),
        Case("IEC: class gG", {**_PV_FUSE, "part:fuse-r.fuse_class": "gG", "job.rulebook": "iec"}),
    ),
    keeps_still=(
        Case("20 A, listed for it", _PV_FUSE),
        Case("IEC: class gPV", {**_PV_FUSE, "job.rulebook": "iec"}),
        Case("a breaker there"),
        Case("a midget fuse between charge controller and battery", BATTERY),
    ),
    sees_not="Whether a breaker is listed for photovoltaic circuits.",
)


# -- fuse.string-range ---------------------------------------------------------------------------------


def _string_range(system: System, pole: Pole) -> Answer:
    device, show = pole.device, system.show
    source = faults.own_strings(system, pole)
    assert source is not None
    isc = system.electrical.short_circuit_a(source)
    band = system.book.string_fuse_band(isc, _module_limit(source))
    low, high = show(band.low_a, "current"), show(band.high_a, "current")
    required = (
        f"{'above' if band.low_strict else 'from'} {low} {'and below' if band.high_strict else 'to'} {high}"
    )
    number = Calculation(
        "least rating of a string fuse",
        device.tag,
        "In,min",
        band.low_a,
        "current",
        "factor · Isc",
        (Input("Isc", isc, "current", f"{source.tag}, catalogue"),),
        band.source,
    )
    actual = show(_rating(device), "current")
    fitting = [r for r in system.book.standard_ratings_a("pv fuse") if band.holds(r)]
    offer = " or ".join(show(r, "current") for r in fitting) or "no standard rating: other modules"
    wrong = []
    if not band.holds(_rating(device)):
        wrong.append(f"{device.tag} ({actual}) is not {required}")
    wrong += _not_for_pv(system, device)
    if wrong:
        return violated(
            device.tag,
            _part_path(device),
            f"As the fuse of string {source.tag}: {'; '.join(wrong)}.",
            required=required,
            actual=actual,
            fix=f"Take a photovoltaic string fuse of {offer}.",
            calculations=(number,),
        )
    return satisfied(
        device.tag,
        _part_path(device),
        f"{device.tag} suits the string.",
        required=required,
        actual=actual,
        calculations=(number,),
    )


STRING_RANGE = Rule(
    id="fuse.string-range",
    severity=Severity.ERROR,
    title="String fuse outside of its band, or of the wrong kind",
    checks="US: 1.5625 · Isc <= In <= maximum series fuse of the module, listed for photovoltaic "
    "circuits. IEC: 1.5 · Isc < In < 2.4 · Isc, not above the module's limit, class gPV.",
    why="Below the band it opens in bright sun, above it the module burns first; a general fuse does not "
    "break so small a DC fault.",
    clauses={"us-2023": "690.9(B), (D)", "iec": "62548-1; 60269-6"},
    look=_string_poles,
    examine=_string_range,
    fires=(
        Case("20 A, the module stands 15 A", {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "20 A"}),
        Case("8 A, at least 9.38 A wanted", {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "8 A"}),
        Case("IEC: 15 A, below 14.4 A wanted", {**strings(4, fuse="fuse-r"), "job.rulebook": "iec"}),
        Case(
            "IEC: 12 A of class gG",
            {
                **strings(4, fuse="fuse-r"),
                "part:fuse-r.rating": "12 A",
                "part:fuse-r.fuse_class": "gG",
                "job.rulebook": "iec",
            },
        ),
        Case(
            "12 A, not listed for photovoltaic circuits",
            {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "12 A", "part:fuse-r.pv_listed": False},
        ),
    ),
    keeps_still=(
        Case("10 A", {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "10 A"}),
        Case("12 A", {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "12 A"}),
        Case("IEC: 12 A", {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "12 A", "job.rulebook": "iec"}),
    ),
)


# -- fuse.breaking-capacity ----------------------------------------------------------------------------


def _backed_by(system: System, pole: Pole, sources: tuple[Source, ...], amperes: float) -> Device | None:
    """A fuse that stands before a device towards each battery, and breaks the current by itself."""
    found: Device | None = None
    for battery, through in clearing.batteries_behind(system, sources):
        way = faults.way_of_fault(system, battery, through, pole)
        fuses = [p.device for p in way if isinstance(p, Pole) and p.device.kind == "fuse" and p is not pole]
        found = next((d for d in fuses if (d.part.breaking_capacity or 0.0) >= amperes), None)
        if found is None:
            return None
    return found


def _breaking_capacity(system: System, pole: Pole) -> Answer:
    device, show = pole.device, system.show
    branch = system.walked.branch(pole)
    assert branch is not None
    path = _part_path(device)
    sides = guarding.sources_by_side(system, branch)
    worst = max(
        ((*faults.prospective_a(system, pole, sources), sources) for sources in sides.values() if sources),
        key=lambda item: item[0],
    )
    amperes, numbers, sources = worst
    if not numbers and not exceeds(amperes, _rating(device)):
        return satisfied(
            device.tag,
            path,
            f"No battery feeds {device.tag}: it never breaks more than its own rating.",
            required=show(amperes, "current"),
            actual=show(_rating(device), "current"),
        )
    capacity = float(need_part(device, "breaking_capacity", "breaking capacity, DC"))
    required, actual = f"at least {show(amperes, 'current')}", show(capacity, "current")
    if not exceeds(amperes, capacity):
        return satisfied(
            device.tag,
            path,
            f"{device.tag} breaks a short circuit.",
            required=required,
            actual=actual,
            calculations=numbers,
        )
    backing = _backed_by(system, pole, sources, amperes)
    if backing is not None:
        return satisfied(
            device.tag,
            path,
            f"{backing.tag} breaks the short circuit before {device.tag} has to.",
            required=required,
            actual=actual,
            calculations=numbers,
        )
    return violated(
        device.tag,
        path,
        f"A short circuit behind {device.tag} reaches {show(amperes, 'current')}; it breaks {actual}.",
        required=required,
        actual=actual,
        fix=f"Put a fuse that breaks at least {show(amperes, 'current')} at the battery, ahead of "
        f"{device.tag}.",
        related=tuple(s.devices[0].path for s in sources if s.kind == "battery"),
        calculations=numbers,
    )


_WITH_BREAKER: dict[str, object] = {
    # 1 m out and 1 m back of 6 AWG between battery and breaker, which stands where the fuse stood.
    "fuses.F0": None,
    "breakers.Q2": {"part": "breaker-r", "location": "pump house"},
    "runs.R7": None,
    "runs.R8.conductors": [
        {"from": "BT1.+", "to": "Q2.1", "color": "red"},
        {"from": "BT1.-", "to": "CB1.battery-", "color": "white"},
    ],
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "6 AWG",
        "length": "0.3 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "Q2.2", "to": "CB1.battery+", "color": "red"},
            {"from": "CC1.battery+", "to": "CB1.battery+", "color": "red"},
            {"from": "CC1.battery-", "to": "CB1.battery-", "color": "white"},
        ],
    },
}

# The fuse at the battery stays, and the motor's fuse becomes such a breaker.
_BREAKER_BEHIND: dict[str, object] = {
    "fuses.F1": None,
    "breakers.F1": {"part": "breaker-r"},
}

BREAKING_CAPACITY = Rule(
    id="fuse.breaking-capacity",
    severity=Severity.DANGER,
    title="Fuse or breaker that cannot break the short-circuit current",
    checks="DC breaking capacity >= prospective current: 1.05 · Un / (Rb + Rc) from each battery, cable "
    "cold (20 °C), plus what arrays and controllers give. A fuse ahead that breaks it alone backs up a "
    "weaker device.",
    why="A battery drives thousands of amperes; a device that cannot break them bursts and goes on burning.",
    clauses={"us-2023": "110.9; 240.60, 240.83", "iec": "60364-4-43 434.5.1; 61660-1"},
    look=_poles,
    examine=_breaking_capacity,
    fires=(
        Case(
            "24 V bank of 8 mΩ, 2 m of 6 AWG, breaker for 1.5 kA", {**BATTERY, **_WITH_BREAKER}, subject="Q2"
        ),
    ),
    keeps_still=(
        Case("20 kA fuse at the battery, weak breaker behind it", {**BATTERY, **_BREAKER_BEHIND}),
        Case("arrays alone", {}),
    ),
    sees_not="The voltage at which the breaking capacity is given: that is voltage.device-rating.",
)


# -- fuse.in-grounded-conductor ------------------------------------------------------------------------


def _protective_devices(system: System) -> Iterator[Device]:
    yield from dict.fromkeys(pole.device for pole in _poles(system))


def _device_nets(system: System, device: Device) -> tuple[str, ...]:
    branches = [system.walked.branch(pole) for pole in system.poles_of(device)]
    return tuple(dict.fromkeys(b.net for b in branches if b is not None))


@once
def _lone_polarity(system: System, source: Source) -> tuple[str, tuple[Device, ...]]:
    """The polarity in which alone an array has devices; "" for none or both."""
    found: dict[str, list[Device]] = {}
    for pole in system.electrical.protective_poles():
        branch = system.walked.branch(pole)
        if branch is not None and any(pair.source is source for pair in guarding.feeds(system, pole)):
            found.setdefault(polarity(system, branch.net), []).append(pole.device)
    if len(found) != 1:
        return "", ()
    side, devices = next(iter(found.items()))
    return side, tuple(dict.fromkeys(devices))


def _alone_in_functional(system: System, device: Device) -> Bond | None:
    """The functional bond of the one net in which a device stands, with no other device in the other pole."""
    held = {bond.net: bond for bond in bonds(system) if bond.functional}
    for pole in system.poles_of(device):
        branch = system.walked.branch(pole)
        pairs = guarding.feeds(system, pole)
        if branch is None or branch.net not in held or not pairs:
            continue
        through = [b for p in guarding.carrying(system, pairs) if (b := system.walked.branch(p)) is not None]
        if all(other.net == branch.net for other in through):
            return held[branch.net]
    return None


def _in_grounded(system: System, device: Device) -> Answer:
    path = _part_path(device)
    nets = _device_nets(system, device)
    grounded = [net for net in nets if net in solidly_grounded_nets(system)]
    together = device.kind == "breaker" and len(grounded) < len(nets)
    if grounded and not together:
        return violated(
            device.tag,
            path,
            f"{device.tag} stands in the grounded conductor: when it opens, the load stays live to earth.",
            required="only ungrounded conductors",
            actual="in the grounded conductor",
            fix=f"Move {device.tag} to the ungrounded conductor, or take a breaker that opens all poles "
            "together.",
        )
    alone = _alone_in_functional(system, device)
    if alone is not None:
        permitted = system.book.flag("fuse_alone_in_functional_conductor")
        return violated(
            device.tag,
            path,
            f"{device.tag} stands alone in the conductor that {alone.tag} holds at earth: when it opens, the "
            "load stays live to earth, and a fault to earth goes round it until the joint opens.",
            required="a device in the conductor that is not earthed, or in both",
            actual="in the functionally earthed conductor alone",
            fix=f"Move {device.tag} to the other conductor, or guard both ({permitted.source}).",
            related=(alone.path,),
            severity=Severity.ADVICE if permitted.value else Severity.ERROR,
        )
    if system.book.flag("one_polarity_overcurrent").value:
        for source in _arrays(system):
            side, devices = _lone_polarity(system, source)
            if not side or device not in devices:
                continue
            supply = supply_of(system, source)
            for other in supply.feeders:
                opposite, there = _lone_polarity(system, other)
                if other.kind == "array" and opposite and opposite != side and side == "negative":
                    return violated(
                        device.tag,
                        path,
                        f"{device.tag} guards {source.tag} in the negative, {there[0].tag} guards "
                        f"{other.tag} in the positive.",
                        required="all devices of the array in one polarity",
                        actual="in both",
                        fix=f"Move {device.tag} to the positive of {source.tag}.",
                        related=(_part_path(there[0]),),
                    )
    return satisfied(device.tag, path, f"{device.tag} stands in an ungrounded conductor, or opens all poles.")


# The motor fuse of the reference job in the return instead of the feed.
_FUSE_IN_RETURN: dict[str, object] = {
    "runs.R2.conductors[1]": {"from": "CB1.motor+", "to": "DS1.1", "color": "red"},
    "runs.R2.conductors[2]": {"from": "CB1.motor-", "to": "F1.1", "color": "white"},
    "runs.R3.conductors[1].from": "F1.2",
}

IN_GROUNDED = Rule(
    id="fuse.in-grounded-conductor",
    severity=Severity.DANGER,
    title="Fuse or single-pole breaker in the grounded conductor",
    checks="No fuse, and no breaker pole, in a conductor that is solidly bonded to earth, unless the same "
    "breaker opens the ungrounded conductor too; none alone in one that is functionally earthed (IEC: "
    "error; US, which permits one polarity: advice). Where the rulebook asks for it, single devices of one "
    "array all stand in one polarity.",
    why="Opening the grounded conductor stops the pump and leaves every part of it live to earth.",
    clauses={"us-2023": "240.22; 690.9(C)", "iec": "60364-4-43 431; 62548-1"},
    look=_protective_devices,
    examine=_in_grounded,
    fires=(
        Case("the motor fuse in the negative", _FUSE_IN_RETURN, subject="F1"),
        Case(
            "IEC: the motor fuse in the functionally earthed negative alone",
            {**FUNCTIONAL, **_FUSE_IN_RETURN, "job.rulebook": "iec"},
            severity=Severity.ERROR,
            subject="F1",
        ),
        Case(
            "US: the motor fuse in the functionally earthed negative alone",
            {**FUNCTIONAL, **_FUSE_IN_RETURN},
            severity=Severity.ADVICE,
            subject="F1",
        ),
    ),
    keeps_still=(
        Case("the motor fuse in the positive"),
        Case("functionally earthed, the motor fuse in the positive", FUNCTIONAL),
        Case(
            "floating, the motor fuse in the negative",
            {**FLOATING, **_FUSE_IN_RETURN, "runs.R2.conductors[2].color": "black"},
        ),
    ),
)


# -- fuse.motor-branch ---------------------------------------------------------------------------------

_Part = Callable[[System, Pole], Answer]


def _motor_poles(system: System) -> Iterator[tuple[Pole, _Part]]:
    for pole in _poles(system):
        if _motors_only(system, pole) and not _from_array(system, pole):
            yield pole, _motor_branch
            yield pole, _motor_start


def _motor_branch(system: System, pole: Pole) -> Answer:
    device, show = pole.device, system.show
    number = _motor_limit_a(system, pole, device)
    least = sum(i.value for i in number.inputs)
    rating = _rating(device)
    required = f"{show(least, 'current')} to {show(number.value, 'current')}"
    if exceeds(rating, number.value) or exceeds(least, rating):
        fitting = protection.largest_standard_rating_a(
            number.value, system.book.standard_ratings_a(device.kind)
        )
        word = "too large to guard" if rating > number.value else "too small to carry"
        return violated(
            device.tag,
            _part_path(device),
            f"{device.tag} ({show(rating, 'current')}) is {word} a motor circuit of "
            f"{show(least, 'current')}: it may be {required}.",
            required=required,
            actual=show(rating, "current"),
            fix=f"Take {show(fitting, 'current') if fitting else required}; overload protection is a "
            "separate matter.",
            calculations=(number,),
        )
    return satisfied(
        device.tag,
        _part_path(device),
        f"{device.tag} suits the motor circuit.",
        required=required,
        actual=show(rating, "current"),
        calculations=(number,),
    )


def _motor_start(system: System, pole: Pole) -> Answer:
    """Does the device carry the start? Advice only: a start lasts seconds, a rating speaks of hours."""
    device, show = pole.device, system.show
    path = _part_path(device)
    motors = list(dict.fromkeys(pair.load.device for pair in guarding.feeds(system, pole)))
    unknown = [m.tag for m in motors if m.part.start_current is None]
    if unknown:
        return unchecked(
            device.tag, path, f"the starting current of {', '.join(unknown)} is not in the catalogue."
        )
    running = {m: system.electrical.motor_current_a(m) for m in motors}
    start = sum(running.values()) + max(float(m.part.start_current) - running[m] for m in motors)
    factor = clearing.holding_factor(system, clearing.kind_of(device), _rating(device))
    holds = protection.non_fusing_current_a(_rating(device), factor.value)
    required, actual = f"carries {show(start, 'current')}", f"{show(holds, 'current')} for an hour"
    if exceeds(start, holds):
        return violated(
            device.tag,
            path,
            f"The start draws {show(start, 'current')}, above the {show(holds, 'current')} that "
            f"{device.tag} is sure to carry.",
            required=required,
            actual=actual,
            fix=f"Hold the time curve of {device.tag} against the length of the start.",
            severity=Severity.ADVICE,
        )
    return satisfied(device.tag, path, f"{device.tag} carries the start.", required=required, actual=actual)


MOTOR_BRANCH = Rule(
    id="fuse.motor-branch",
    severity=Severity.ERROR,
    title="Short-circuit device of a motor out of proportion",
    checks="Im <= In <= the next standard rating from 1.50 · Im; behind one device for several motors, "
    "that of the largest plus Im of the others. The start is held against what the device surely "
    "carries for an hour (1.13 · In of a photovoltaic fuse, 1.05 · In of a breaker; advice). Circuits "
    "fed straight by an array follow the array's rules.",
    why="Too large, and a stalled or shorted motor burns; too small, and it never starts.",
    clauses={"us-2023": "430.52(C)(1) and its table; 240.4(G)", "iec": "60947-4-1 coordination; 60364-4-43"},
    look=_motor_poles,
    examine=lambda system, subject: subject[1](system, subject[0]),
    fires=(
        Case("20 A fuse, motor of 8 A", {"part:fuse-r.rating": "20 A"}, subject="F1"),
        Case("6 A fuse, motor of 8 A", {"part:fuse-r.rating": "6 A"}, subject="F1"),
    ),
    keeps_still=(
        Case("15 A fuse"),
        Case("15 A fuse above the ampacity of 16 AWG: 150 % of the motor", {"runs.R3.size": "16 AWG"}),
    ),
    sees_not="The time curve of the device against the length of a start.",
)

# -- fuse.wrong-holder ---------------------------------------------------------------------------------


def _fuses(system: System) -> Iterator[Device]:
    return iter(system.of_kind("fuse"))


def _wrong_holder(system: System, device: Device) -> Answer | None:
    holder_id = device.spec.holder or device.part.holder
    holder = system.description.catalog.find(holder_id) if holder_id else None
    if holder is None:
        return None  # a fuse with terminals of its own
    path = device.path + ("holder",) if device.spec.holder else _part_path(device)
    form = getattr(holder, "form", "")
    required, actual = f"a holder for {device.part.form}", f"{holder.id}, for {form}"
    if form == device.part.form:
        return satisfied(device.tag, path, f"{device.tag} fits its holder.", required=required, actual=actual)
    return violated(
        device.tag,
        path,
        f"{device.tag} is a fuse {device.part.form}; its holder {holder.id} is for {form}.",
        required=required,
        actual=actual,
        fix=f"Take a holder for {device.part.form}, or a fuse {form}.",
    )


WRONG_HOLDER = Rule(
    id="fuse.wrong-holder",
    severity=Severity.ERROR,
    title="Fuse that its holder does not take",
    checks="The form of each fuse (10x38, blade, ...) is that of its holder.",
    why="What does not fit is made to fit: with a nail, a piece of wire or the next larger fuse.",
    clauses={"us-2023": "240.60(B), (C); 110.3(B)", "iec": "60269-1, 60269-2 (fuse systems)"},
    look=_fuses,
    examine=_wrong_holder,
    fires=(
        Case("a 10x38 fuse in a holder for blades", {"fuses.F1.holder": "fuse-holder-blade"}, subject="F1"),
    ),
    keeps_still=(Case("in a holder of its form"),),
)

RULES = (
    TOO_BIG,
    TOO_SMALL,
    CANNOT_CLEAR,
    STRING_NEEDED,
    STRING_RANGE,
    NOT_FOR_PV,
    BREAKING_CAPACITY,
    IN_GROUNDED,
    MOTOR_BRANCH,
    WRONG_HOLDER,
)
