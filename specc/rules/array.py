"""Rules on how an array is strung: strings in parallel alike, modules in series alike."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rules._questions import ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import need_part
from specc.system.model import Device, Path
from specc.system.system import System
from specc.system.walk import Source


@dataclass(frozen=True)
class _Group:
    """Array sources in parallel on the same two nets."""

    sources: tuple[Source, ...]

    @property
    def tag(self) -> str:
        return " and ".join(source.tag for source in self.sources)

    @property
    def path(self) -> Path:
        return self.sources[0].devices[0].path


def _arrays(system: System) -> tuple[Source, ...]:
    return tuple(source for source in system.walked.sources if source.kind == "array")


def _look(system: System) -> Iterator[object]:
    groups: dict[frozenset[str], list[Source]] = defaultdict(list)
    for source in _arrays(system):
        groups[frozenset((source.plus, source.minus))].append(source)
    yield from each((_Group(tuple(sources)) for sources in groups.values()), _alike_in_parallel)
    in_series = [source for source in _arrays(system) if len(source.devices) > 1]
    yield from each((_Group((source,)) for source in in_series), _alike_in_series)
    modules = ((source, sum(d.spec.series for d in source.devices)) for source in _arrays(system))
    yield from each((d for source, count in modules if count > 1 for d in source.devices), _bypassed)


def _mean(values: Iterable[tuple[float, int]]) -> float:
    pairs = list(values)
    return sum(value * count for value, count in pairs) / sum(count for _, count in pairs)


def _alike_in_parallel(system: System, group: _Group) -> Iterator[Answer]:
    strings = sum(system.electrical.strings(source) for source in group.sources)
    if len(group.sources) == 1:
        if strings > 1:
            yield satisfied(group.tag, group.path, f"The {strings} strings of {group.tag} are alike.")
        return
    for symbol, volts in (("Voc", _open_v), ("Vmp", _working_v)):
        yield _compare_volts(system, group, symbol, volts)


def _open_v(source: Source) -> float:
    return float(sum(d.part.voc * d.spec.series for d in source.devices))


def _working_v(source: Source) -> float:
    return float(sum(d.part.vmp * d.spec.series for d in source.devices))


def _compare_volts(system: System, group: _Group, symbol: str, volts: Callable[[Source], float]) -> Answer:
    limit = system.handbook.threshold("string_voltage_mismatch_fraction")
    found = {source: volts(source) for source in group.sources}
    mean = _mean((found[s], system.electrical.strings(s)) for s in group.sources)
    worst = max(
        group.sources, key=lambda s: (round(abs(found[s] - mean), 6), -found[s])
    )  # of equals the lower
    fraction = abs(found[worst] - mean) / mean
    inputs = tuple(
        Input(f"{symbol} {s.tag}", v, "voltage", f"{s.tag}, series × {symbol}") for s, v in found.items()
    )
    worked = Calculation(
        f"{symbol} of the string furthest from the mean",
        group.tag,
        "u",
        fraction,
        "fraction",
        f"|{symbol} - mean| / mean, over the strings in parallel",
        inputs,
        limit.source,
    )
    listed = ", ".join(f"{s.tag} {system.show(v, 'voltage')}" for s, v in found.items())
    required = f"within {system.show(limit.value, 'fraction')} of the mean"
    actual = f"{system.show(fraction, 'fraction')} from the mean {system.show(mean, 'voltage')}"
    if not fraction <= limit.value:
        return violated(
            worst.tag,
            worst.devices[0].path + ("series",),
            f"Strings in parallel are unlike: {symbol} is {listed}; {worst.tag} is {actual}.",
            required=required,
            actual=actual,
            fix=f"Give every string the same modules in series ({_usual_series(group)} as in the others), "
            "or each string its own controller.",
            related=tuple(s.devices[0].path for s in group.sources if s is not worst),
            calculations=(worked,),
        )
    return satisfied(
        group.tag,
        group.path,
        f"{symbol} of the strings: {listed}.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


def _usual_series(group: _Group) -> int:
    """Modules in series of the longest string."""
    return max(sum(int(d.spec.series) for d in source.devices) for source in group.sources)


def _alike_in_series(system: System, group: _Group) -> Answer:
    (source,) = group.sources
    limit = system.handbook.threshold("series_current_mismatch_fraction")
    found = {d: float(d.part.isc * d.spec.parallel) for d in source.devices}
    mean = _mean((amps, d.spec.series) for d, amps in found.items())
    worst = max(found, key=lambda d: abs(found[d] - mean))
    fraction = abs(found[worst] - mean) / mean
    worked = Calculation(
        "Isc of the module furthest from the mean",
        source.tag,
        "i",
        fraction,
        "fraction",
        "|Isc - mean| / mean, over the modules in series",
        tuple(
            Input(f"Isc {d.tag}", amps, "current", f"{d.tag}, parallel × Isc") for d, amps in found.items()
        ),
        limit.source,
    )
    listed = ", ".join(f"{d.tag} {system.show(amps, 'current')}" for d, amps in found.items())
    required = f"within {system.show(limit.value, 'fraction')} of the mean"
    actual = f"{system.show(fraction, 'fraction')} from the mean {system.show(mean, 'current')}"
    if not fraction <= limit.value:
        weakest = min(found.values())
        return violated(
            worst.tag,
            worst.path + ("part",),
            f"Modules in series are unlike: Isc is {listed}; {worst.tag} is {actual}. The weakest, "
            f"{system.show(weakest, 'current')}, limits the string.",
            required=required,
            actual=actual,
            fix="Put modules of the same Isc in series, and the others in a string of their own.",
            related=tuple(d.path for d in found if d is not worst),
            calculations=(worked,),
        )
    return satisfied(
        source.tag,
        group.path,
        f"Isc of the modules: {listed}.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


def _bypassed(system: System, device: Device) -> Answer:
    if need_part(device, "bypass_diodes", "bypass diodes, fitted or not"):
        return satisfied(
            device.tag, device.path + ("part",), f"The modules of {device.tag} have bypass diodes."
        )
    return violated(
        device.tag,
        device.path + ("part",),
        f"The modules of {device.tag} stand in series without bypass diodes: one shaded module stops its "
        "string and "
        "is heated by the others.",
        required="bypass diodes",
        actual="none",
        fix="Take modules with bypass diodes, or fit a diode across each module.",
        severity=Severity.ADVICE,
    )


_TWO_STRINGS = {
    "panels.PV1.parallel": 1,
    "panels.PV2": {"part": "panel-r", "series": 2, "parallel": 1, "location": "array"},
    "runs.R1.conductors[3]": {"from": "PV2.+", "to": "Q1.1", "color": "red"},
    "runs.R1.conductors[4]": {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
}

UNLIKE_STRINGS = Rule(
    id="array.unlike-strings",
    severity=Severity.WARNING,
    title="Strings or modules that do not match",
    checks="Strings in parallel: Voc and Vmp of each within 5 % of their mean. Modules in series: Isc "
    "within 5 % of "
    "their mean, else the weakest limits. Modules in series without bypass diodes are an advice.",
    why="An odd string gives nothing, or takes current from the others; an odd module throttles its whole "
    "string.",
    clauses={
        "us-2023": "110.3(B); the limits are common practice",
        "iec": "62548-1 (array configuration); 5 % is common practice",
    },
    look=_look,
    examine=ask,
    fires=(
        Case(
            "a second string of one module: 22 V against 44 V",
            {**_TWO_STRINGS, "panels.PV2.series": 1},
            subject="PV2",
        ),
        Case(
            "modules in series without bypass diodes",
            {"part:panel-r.bypass_diodes": False},
            severity=Severity.ADVICE,
            subject="PV1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "strings of 43.0 V and 44.0 V: 1.1 % from the mean",
            {
                **_TWO_STRINGS,
                "part:panel-r.voc": "21.5 V",
                "panels.PV2.part": "pv-mono-120w-72c",
                "panels.PV2.series": 1,
            },
        ),
    ),
    sees_not="Shade, soiling, and strings that look different ways. Strings of unlike length pass where "
    "their volts agree.",
    acceptable=True,
)

RULES = (UNLIKE_STRINGS,)
