"""Rule on the labels that the job must carry: does each have all its values?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from specc.diagnostics import Severity
from specc.rulebooks import NotInTable
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY
from specc.system import guarding
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device, Path
from specc.system.system import System
from specc.system.walk import Source

Value = Callable[[], object]


@dataclass(frozen=True)
class _Label:
    """One label: what it is called, where it hangs, and how each of its values is found."""

    name: str
    tag: str
    path: Path
    values: tuple[Value, ...]


def _part_values(device: Device, *wanted: tuple[str, str]) -> tuple[Value, ...]:
    return tuple(lambda key=key, what=what: need_part(device, key, what) for key, what in wanted)


def _spec_value(device: Device, key: str, what: str) -> Value:
    """A datum of the spec; an empty text counts as missing."""
    value = getattr(device.spec, key, None)
    return lambda: need(None if value == "" else value, f"{device.tag}: {what}", device.path, key)


def _labels(system: System) -> Iterator[_Label]:
    for device in system.electrical.devices_with_poles():
        yield from _switchgear_labels(system, device)
    for device in system.of_kind("controller"):
        yield _controller_label(device)
    for device in system.of_kind("pump"):
        yield _pump_label(system, device)
    for device in system.of_kind("valve"):
        if device.part.type == "relief valve":
            values = (
                _spec_value(device, "setting", "setting"),
                _spec_value(device, "discharges_to", "where it discharges"),
            )
            yield _Label("relief valve", device.tag, device.path, values)
    yield from _level_labels(system)
    for source in system.walked.sources:
        if source.kind == "battery":
            yield _battery_label(system, source)
    if system.of_kind("tank"):
        yield _Label("not for drinking", "job", ("job", "use"), (_use(system),))


def _use(system: System) -> Value:
    return lambda: need(system.job.use, "the use of the water", ("job",), "use")


def _switchgear_labels(system: System, device: Device) -> Iterator[_Label]:
    pairs = {pair for pole in system.poles_of(device) for pair in guarding.feeds(system, pole)}
    if device.kind == "fuse":
        wanted = (("fuse_class", "class"), ("rating", "rating"), ("dc_voltage", "DC voltage rating"))
        yield _Label("fuse replacement", device.tag, device.path + ("part",), _part_values(device, *wanted))
    if device.kind not in ("isolator", "breaker"):
        return
    arrays = tuple(dict.fromkeys(p.source for p in pairs if p.source.kind == "array"))
    if arrays:
        values: tuple[Value, ...] = (
            *(lambda s=s: system.electrical.highest_voltage(s) for s in arrays),
            lambda: system.electrical.maximum_current(arrays),
        )
        yield _Label("array disconnect", device.tag, device.path, values)
    for motor in dict.fromkeys(p.load.device for p in pairs if p.load.device.kind == "pump"):
        data = (("nominal_voltage", "nominal voltage"), ("rated_current", "rated current"))
        yield _Label(f"disconnect of {motor.tag}", device.tag, device.path, _part_values(motor, *data))


def _controller_label(device: Device) -> _Label:
    wanted = [
        ("max_input_voltage", "highest input voltage"),
        ("max_input_current", "highest input current"),
        ("output_current", "continuous output current"),
        ("wait_time", "waiting time before it is touched"),
    ]
    if getattr(device.spec, "output_clamp", None) is None:
        wanted.append(("max_output_voltage", "highest output voltage"))
    return _Label("controller data", device.tag, device.path + ("part",), _part_values(device, *wanted))


def _pump_label(system: System, pump: Device) -> _Label:
    water = system.water
    values: tuple[Value, ...] = (
        lambda: water.flow(pump),
        lambda: water.total_head(pump, True),
        lambda: water.vacuum(pump, False),
        lambda: water.vacuum(pump, True),
        lambda: water.discharge(pump, True),
    )
    return _Label("pump data", pump.tag, pump.path, values)


def _level_labels(system: System) -> Iterator[_Label]:
    switches = [d for d in system.of_kind("switch") if d.part.senses == "level"]
    if any(d.spec.guards == "tank full" for d in switches):
        for tank in system.of_kind("tank"):
            values = (
                _spec_value(tank, "stop_below_overflow", "how far below the overflow the pump stops"),
                _spec_value(tank, "float_band", "band of the float"),
            )
            yield _Label("tank levels", tank.tag, tank.path, values)
    for device in switches:
        if device.spec.guards == "source low":
            value = _spec_value(device, "acts_at", "level at which it stops the pump")
            yield _Label("well level", device.tag, device.path, (value,))


def _battery_label(system: System, battery: Source) -> _Label:
    first = battery.devices[0]

    def disconnect() -> Device:
        pairs = [pair for pair in system.walked.pairs if pair.source is battery]
        for device in system.of_kind("isolator", "breaker", "fuse"):
            if any(set(pairs) & guarding.feeds(system, pole) for pole in system.poles_of(device)):
                return device
        return need(
            None,
            f"{battery.tag}: a disconnect, or fuses that part it from everything",
            first.path,
            "disconnects",
        )

    values: tuple[Value, ...] = (
        disconnect,
        lambda: system.electrical.highest_voltage(battery),
        lambda: system.electrical.battery_fault_current(battery, 0.0),
    )
    return _Label("battery disconnect", battery.tag, first.path, values)


def _complete(system: System, label: _Label) -> Answer:
    gaps = []
    for value in label.values:
        try:
            value()
        except MissingDatum as gap:
            gaps.append(gap)
        except NotInTable as outside:
            gaps.append(MissingDatum(str(outside), label.path, label.name))
    required = f'label "{label.name}" with all its values'
    if not gaps:
        return satisfied(
            label.tag, label.path, f'The label "{label.name}" has all its values.', required=required
        )
    missing = "; ".join(dict.fromkeys(gap.what for gap in gaps))
    keys = ", ".join(dict.fromkeys(gap.key for gap in gaps))
    return violated(
        label.tag,
        gaps[0].path or label.path,
        f'The label "{label.name}" of {label.tag} lacks: {missing}.',
        required=required,
        actual=f"without {keys}",
        fix=f"Give {keys}: read it on the label or in the maker's data, or measure it.",
        related=tuple(dict.fromkeys(gap.path for gap in gaps[1:] if gap.path)),
    )


MISSING = Rule(
    id="label.missing",
    severity=Severity.WARNING,
    title="Label that cannot be filled in",
    checks="Every label that the job must carry (disconnects, fuses, controllers, motors, pumps, relief "
    "valves, levels, battery, drinking) has all the values that are printed on it. A torque that no part "
    "gives prints as per maker.",
    why="A label without its figures tells the next person at the box nothing, and the inspector does "
    "not sign it.",
    clauses={
        "us-2023": "110.21(B), 110.14(D), 690.7(D), 690.13(B)",
        "iec": "62446-1 clause 4; 60364-5-51 514",
    },
    look=_labels,
    examine=_complete,
    fires=(
        Case(
            "battery without internal resistance",
            {**BATTERY, "part:battery-r.internal_resistance": None},
            subject="BT1",
        ),
        Case("controller without its waiting time", {"part:booster-r.wait_time": None}, subject="CB1"),
        Case("relief valve that discharges nowhere", {"valves.RV1.discharges_to": None}, subject="RV1"),
    ),
    keeps_still=(Case("all data there"), Case("battery with all its data", BATTERY)),
    sees_not="Labels that need no figures: they are printed in any case.",
)

RULES = (MISSING,)
