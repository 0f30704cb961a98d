"""Rule on surge protection of long routes."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics.protection import surge_critical_length_m
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules.ground import array_on_building
from specc.system.missing import need
from specc.system.model import Conductor, Device, Port, Run
from specc.system.system import System
from specc.system.walk import Source


def _routes(system: System) -> Iterator[tuple[Source, Port] | Run]:
    """Each array with what it feeds, and each control run that hangs in the open."""
    for pair in system.walked.pairs:
        if pair.source.kind == "array":
            yield pair.source, pair.load
    for run in system.connected.runs.values():
        if run.spec.laid == "out of reach" and any(_is_control(system, c) for c in run.conductors):
            yield run


def _is_control(system: System, conductor: Conductor) -> bool:
    branch = system.walked.branch(conductor)
    return branch is not None and system.electrical.circuit(branch) == "control"


def _protectors(system: System, nets: set[str]) -> tuple[list[Device], list[str]]:
    """Surge devices on some nets that are earthed by short leads, and what is wrong with the others."""
    longest = system.book.threshold("surge_lead_m").value
    good, wrong = [], []
    for device in system.of_kind("grounding"):
        own = {t.id for t in system.connected.terminals.values() if t.device is device}
        if device.part.type != "surge device" or not {system.walked.net(t) for t in own} & nets:
            continue
        leads = [c for c in system.conductors if own & {c.start, c.end}]
        if not any(c.tag in system.walked.ground_conductors for c in leads):
            wrong.append(f"{device.tag} is not earthed")
        elif any(c.length_m > longest for c in leads):
            limit = system.show(longest, "length")
            wrong.append(f"{device.tag} has leads longer than {limit}")
        else:
            good.append(device)
    return good, wrong


def _route_m(system: System, source: Source, load: Port) -> float:
    """Length of the conductors from an array to what it feeds, the longer of the two polarities [m]."""
    lengths = []
    for net, end in ((source.plus, load.plus), (source.minus, load.minus)):
        for start in system.electrical.source_ends(source, net):
            way = system.walked.paths(start, end)
            lengths.append(sum(c.length_m for c in way if isinstance(c, Conductor)))
    return max(lengths, default=0.0)


def _surge(system: System, subject: tuple[Source, Port] | Run) -> Answer:
    if isinstance(subject, Run):
        return _overhead(system, subject)
    source, load = subject
    device, show = source.devices[0], system.show
    density = need(
        system.site.lightning_density, "the site's lightning density", ("site",), "lightning_density"
    )
    place = "dwelling" if array_on_building(system, source) else "ground_array"
    factor = system.book.threshold(f"surge_length_{place}_m")
    route = _route_m(system, source, load)
    # No flashes at all: no route is long enough to need a device.
    critical = surge_critical_length_m(density, factor.value) if density > 0.0 else float("inf")
    if route <= critical:
        return satisfied(
            source.tag,
            device.path,
            f"The route of {source.tag} is short enough.",
            actual=show(route, "length"),
        )
    number = Calculation(
        "longest route without surge protection",
        source.tag,
        "Lcrit",
        critical,
        "length",
        f"{factor.value:g} m / Ng",
        (Input("Ng", density, "number", "[site] lightning_density, per km² and year"),),
        factor.source,
    )
    good, wrong = _protectors(system, {source.plus, source.minus})
    required = f"a surge device above {show(critical, 'length')}"
    if good:
        return satisfied(
            source.tag,
            device.path,
            f"{good[0].tag} protects the route of {source.tag}.",
            required=required,
            actual=show(route, "length"),
            calculations=(number,),
        )
    because = f"; {'; '.join(wrong)}" if wrong else ""
    return violated(
        source.tag,
        device.path,
        f"The route from {source.tag} to {load.device.tag} is {show(route, 'length')}, longer than "
        f"{show(critical, 'length')}, and no surge device protects it{because}.",
        required=required,
        actual=f"{show(route, 'length')}, no surge device",
        fix="Put a surge device at both ends, its leads at most "
        f"{show(system.book.threshold('surge_lead_m').value, 'length')} long, earthed to the same "
        "electrode.",
        related=(("site", "lightning_density"),),
        calculations=(number,),
    )


def _overhead(system: System, run: Run) -> Answer:
    nets = {system.walked.net(c.start) for c in run.conductors if _is_control(system, c)}
    good, wrong = _protectors(system, nets)
    if good:
        return satisfied(run.tag, run.path, f"{good[0].tag} protects the control run {run.tag}.")
    because = f" ({'; '.join(wrong)})" if wrong else ""
    return violated(
        run.tag,
        run.path + ("laid",),
        f"The control run {run.tag} hangs in the open and no surge device protects it{because}.",
        required="a surge device",
        actual="none",
        fix=f"Bury {run.tag}, or put a surge device at both ends.",
    )


_DENSE: dict[str, object] = {"site.lightning_density": 8.0}

MISSING = Rule(
    id="surge.missing",
    severity=Severity.ADVICE,
    title="Long route without a surge device",
    checks="Route length, array to controller, <= 200 m / Ng (115 m / Ng on a building), with Ng ground "
    "flashes per km² and year, or an earthed surge device with leads of 0.5 m at most. Control runs out "
    "of reach (overhead) always want one.",
    why="A flash nearby drives thousands of volts along a long loop, into the controller.",
    clauses={"us-2023": "242; common practice, no source", "iec": "60364-7-712 712.443.5; 60364-5-53 534"},
    look=_routes,
    examine=_surge,
    fires=(
        Case("40 m at 8 flashes per km² and year: 25 m", {**_DENSE, "runs.R1.length": "40 m"}, subject="PV1"),
        Case("control run overhead", {"runs.R4.laid": "out of reach"}, subject="R4"),
    ),
    keeps_still=(
        Case("19 m and a jumper at 8 flashes", {**_DENSE, "runs.R1.length": "19 m"}),
        Case(
            "40 m with a surge device",
            {
                **_DENSE,
                "runs.R1.length": "40 m",
                "grounding.SP1": {"part": "surge-r", "location": "pump house"},
                "runs.R9": {
                    "wire": "thwn2-r",
                    "size": "10 AWG",
                    "length": "0.3 m",
                    "laid": "in enclosure",
                    "conductors": [
                        {"from": "SP1.+", "to": "CB1.pv+", "color": "red"},
                        {"from": "SP1.-", "to": "CB1.pv-", "color": "white"},
                        {"from": "SP1.ground", "to": "BOX1.ground", "color": "green"},
                    ],
                },
            },
        ),
    ),
    sees_not="Surge devices inside controllers; whether there is a device at both ends.",
    acceptable=True,
)

RULES = (MISSING,)
