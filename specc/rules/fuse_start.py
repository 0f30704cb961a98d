"""Rule on fuses and the start of a motor: held against a typical time-current curve."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY
from specc.system import guarding, worst
from specc.system.model import Device, Pole
from specc.system.system import System


def _motor_fuses(system: System) -> Iterator[tuple[Pole, tuple[Device, ...]]]:
    """Each fuse with the motors that start through it, straight from a battery, array or controller."""
    for pole in system.electrical.protective_poles():
        if pole.device.kind != "fuse":
            continue
        loads = (pair.load.device for pair in guarding.feeds(system, pole))
        motors = tuple(dict.fromkeys(device for device in loads if device.kind == "pump"))
        if motors:
            yield pole, motors


def _opens_on_start(system: System, subject: tuple[Pole, tuple[Device, ...]]) -> Answer:
    pole, motors = subject
    fuse, show = pole.device, system.show
    path = fuse.path + ("part",)
    lasts_s, said = _lasts(system, motors)
    curve = system.handbook.fuse_melting_multiple(fuse.part.fuse_class, lasts_s)
    start = worst.start_current(system, pole)
    assert start is not None  # a motor is fed
    hot = fuse.part.hot_factor or 1.0
    rating = float(fuse.part.rating) * hot
    melts = Calculation(
        "current that melts the fuse within the start",
        fuse.tag,
        "Imelt",
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
    required = f"melts above {show(start.value, 'current')} after {lasts_s:g} s"
    actual = show(melts.value, "current")
    label = f"{show(float(fuse.part.rating), 'current')}, class {fuse.part.fuse_class}"
    told = (
        f"{fuse.tag} ({label}) melts at about {actual} after {lasts_s:g} s; the "
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
        fix="Take a slower class, the next rating that the motor circuit allows, or a motor that starts "
        "softer; hold the maker's curve against the start.",
        related=tuple(motor.path for motor in motors),
        calculations=numbers,
    )


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


OPENS_ON_START = Rule(
    id="fuse.opens-on-start",
    severity=Severity.WARNING,
    title="Fuse that may open when the motor starts",
    checks="Starting current (of the largest motor, the others running, held to what a controller lets "
    "through) <= In · m(t), the fast edge of a typical melting curve of the fuse's class at the length of "
    "the start: the pump's start_time, else 1 s by practice. In counts with the maker's factor for a hot "
    "box.",
    why="A fuse that opens now and then on a start looks like a bad pump, and somebody ends up fitting a "
    "larger one.",
    clauses={
        "us-2023": "430.52(C)(1), Exception 2; 430.57",
        "iec": "60947-4-1 8.2.5 (co-ordination with the start); 60269-1",
    },
    look=_motor_fuses,
    examine=_opens_on_start,
    fires=(
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
    sees_not="The maker's own curve, which comes first; breakers; many starts shortly after one another.",
    acceptable=True,
)

RULES = (OPENS_ON_START,)
