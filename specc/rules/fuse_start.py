"""Rule on fuses and breakers and the start of a motor: held against a typical time-current curve."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rulebooks import Sourced
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY
from specc.system import guarding, worst
from specc.system.model import Device, Pole
from specc.system.system import System


def _motor_fuses(system: System) -> Iterator[tuple[Pole, tuple[Device, ...]]]:
    """Each fuse or breaker with the motors that start through it, from a battery, array or controller."""
    seen: set[Device] = set()
    for pole in system.electrical.protective_poles():
        if pole.device in seen:
            continue  # one pole stands for all that trip together
        loads = (pair.load.device for pair in guarding.feeds(system, pole))
        motors = tuple(dict.fromkeys(device for device in loads if device.kind == "pump"))
        if motors:
            seen.add(pole.device)
            yield pole, motors


def _opens_on_start(system: System, subject: tuple[Pole, tuple[Device, ...]]) -> Answer:
    pole, motors = subject
    fuse, show = pole.device, system.show
    path = fuse.path + ("part",)
    lasts_s, said = _lasts(system, motors)
    curve, kind, opens = _curve(system, fuse, lasts_s)
    start = worst.start_current(system, pole)
    assert start is not None  # a motor is fed
    hot = fuse.part.hot_factor or 1.0
    rating = float(fuse.part.rating) * hot
    melts = Calculation(
        f"current that {opens} within the start",
        fuse.tag,
        "Imelt" if fuse.kind == "fuse" else "Itrip",
        rating * curve.value,
        "current",
        "In · m(t)",
        (
            Input("In", rating, "current", f"{fuse.tag}, catalogue part {fuse.part.id}"),
            Input("m", curve.value, "number", f"{curve.source}, typical"),
            Input("t in s", lasts_s, "number", said),
        ),
        curve.source,
    )
    numbers = (start.number, melts)
    does = "melts" if fuse.kind == "fuse" else "may trip"
    required = f"carries {show(start.value, 'current')} for {lasts_s:g} s"
    actual = show(melts.value, "current")
    label = f"{show(float(fuse.part.rating), 'current')}, {kind}"
    told = (
        f"{fuse.tag} ({label}) {does} at about {actual} after {lasts_s:g} s; the "
        f"start draws {show(start.value, 'current')} for so long."
    )
    if keeps_to(start.value, melts.value):
        return satisfied(fuse.tag, path, told, required=required, actual=actual, calculations=numbers)
    return violated(
        fuse.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Take a slower {'class' if fuse.kind == 'fuse' else 'curve'}, the next rating that the motor "
        "circuit allows, or a motor that starts softer; hold the maker's curve against the start.",
        related=tuple(motor.path for motor in motors),
        calculations=numbers,
    )


def _curve(system: System, device: Device, lasts_s: float) -> tuple[Sourced[float], str, str]:
    """Multiple of the rating at which a device may open after that time, its kind, and what it then does."""
    if device.kind == "fuse":
        curve = system.handbook.fuse_melting_multiple(device.part.fuse_class, lasts_s)
        return curve, f"class {device.part.fuse_class}", "melts the fuse"
    mark = device.part.curve
    kind = f"curve {mark}" if mark else "curve not given"
    return system.handbook.breaker_trip_multiple(mark, lasts_s), kind, "trips the breaker"


def _lasts(system: System, motors: tuple[Device, ...]) -> tuple[float, str]:
    """How long a start lasts [s], the longest of the motors, and where that stands."""
    practice = system.handbook.threshold("motor_start_s")
    lasting = [
        (float(m.part.start_time), f"{m.tag}, catalogue part {m.part.id}")
        if m.part.start_time is not None
        else (practice.value, practice.source)
        for m in motors
    ]
    return max(lasting)


def _breaker(curve: str | None, start: str) -> dict[str, object]:
    """The motor fuse as a breaker of 15 A on a battery, and a motor that draws so much at its start."""
    return {
        **BATTERY,
        "fuses.F1": None,
        "breakers.F1": {"part": "breaker-r-free", "location": "pump house"},
        "part:breaker-r-free.rating": "15 A",
        "part:breaker-r-free.curve": curve,
        "part:pump-r.start_current": start,
        "part:low-voltage-r.peak_output_current": "200 A",
    }


OPENS_ON_START = Rule(
    id="fuse.opens-on-start",
    severity=Severity.WARNING,
    title="Fuse or breaker that may open when the motor starts",
    checks="Starting current (of the largest motor, the others running, held to what a controller lets "
    "through) <= In · m(t), the fast edge of a typical melting curve of the fuse's class at the length of "
    "the start: the pump's start_time, else 1 s by practice. For a breaker the lower edge of its trip band "
    "(B, C or hydraulic-magnetic on direct current; the lowest of them where its part gives no curve). In "
    "counts with the maker's factor for a hot box.",
    why="A device that opens now and then on a start looks like a bad pump, and somebody ends up fitting a "
    "larger one.",
    clauses={
        "us-2023": "430.52(C)(1), Exception 2; 430.57",
        "iec": "60947-4-1 8.2.5 (co-ordination with the start); 60269-1; 60898-2",
    },
    look=_motor_fuses,
    examine=_opens_on_start,
    fires=(
        Case(
            "a 15 A breaker of curve B straight on a battery, a start of 40 A for 1 s: it holds 38.25 A",
            _breaker("B", "40 A"),
            subject="F1",
        ),
        Case(
            "curve B, a start of 100 A for 0.1 s: its magnetic release may act from 60 A",
            {**_breaker("B", "100 A"), "part:pump-r.start_time": "0.1 s"},
            subject="F1",
        ),
        Case("a breaker without a curve: 36 A", _breaker(None, "37 A"), subject="F1"),
        Case(
            "15 A fuse straight on a battery, a start of 45 A for 1 s: it melts at 40.5 A",
            {
                **BATTERY,
                "part:pump-r.start_current": "45 A",
                "part:low-voltage-r.peak_output_current": "60 A",
            },
            subject="F1",
        ),
        Case(
            "a start of 25 A that lasts 60 s on a 10 A blade fuse",
            {
                **BATTERY,
                "part:fuse-r.fuse_class": "blade",
                "part:fuse-r.rating": "10 A",
                "part:pump-r.start_current": "25 A",
                "part:pump-r.start_time": "60 s",
            },
            subject="F1",
        ),
        Case(
            "a slow start on a 10 A fuse, metric rulebook",
            {
                "job.rulebook": "iec",
                "part:fuse-r.rating": "6 A",
                "part:pump-r.start_time": "60 s",
            },
            subject="F1",
        ),
    ),
    keeps_still=(
        Case("a 15 A breaker of curve B, a start of 38 A for 1 s: it holds 38.25 A", _breaker("B", "38 A")),
        Case(
            "curve C, a start of 100 A for 0.1 s: it holds 105 A",
            {**_breaker("C", "100 A"), "part:pump-r.start_time": "0.1 s"},
        ),
        Case("15 A fuse, 11 A for 1 s behind a booster"),
        Case(
            "a start of 40 A for 1 s on 15 A: it melts at 40.5 A",
            {
                **BATTERY,
                "part:pump-r.start_current": "40 A",
                "part:low-voltage-r.peak_output_current": "60 A",
            },
        ),
        Case(
            "a motor of 45 A at the start, held to 12 A by the booster", {"part:pump-r.start_current": "45 A"}
        ),
    ),
    sees_not="The maker's own curve, which comes first; many starts shortly after one another.",
    acceptable=True,
)

RULES = (OPENS_ON_START,)
