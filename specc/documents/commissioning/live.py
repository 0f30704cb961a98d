"""The live tests: polarity, the array in the light of the moment, volts and amperes while the pump runs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from specc.documents.commissioning.bench import Bench
from specc.documents.commissioning.model import Dependence, Reading
from specc.documents.commissioning.power import (
    arrays,
    direct_point,
    feeders,
    highest_feed_v,
    input_feed,
    light_needed_w_m2,
    motor_feed,
    open_voltage_v,
    power_voltage_v,
    running_current_a,
)
from specc.documents.commissioning.reach import fed_inputs, is_dead_beyond, steps_from_sources
from specc.physics.constants import STANDARD_CELL_TEMPERATURE_K, STANDARD_IRRADIANCE_W_M2, ZERO_CELSIUS_K
from specc.physics.pumps import stall_current_a
from specc.system.charging import bereft, opened_first
from specc.system.earthing import bonds, polarity
from specc.system.guarding import feeds
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Conductor, Device, Pole, Port
from specc.system.states import Logic, TooManySwitches
from specc.system.stops import must_stop
from specc.system.walk import Crossing, Source
from specc.system.worst import stall_current

SIGNS = {"positive": "plus", "negative": "minus", "": "between"}


def polarities(bench: Bench) -> Iterator[Reading]:
    """At every device that arrays alone feed, then at every load on them, and at the posts of batteries."""
    return _signs(bench, later=False)


def _signs(bench: Bench, *, later: bool) -> Iterator[Reading]:
    """Devices, fuses and loads from the source on: those on arrays alone, or the later ones."""
    found = [*_signs_at_poles(bench, later=later), *_signs_at_loads(bench, later=later)]
    return _from_the_source_on(bench, found)


Met = tuple[Iterable[tuple[str, ...]], Reading]  # the ends of each pole or lead, and the reading


def _from_the_source_on(bench: Bench, found: Iterable[Met]) -> Iterator[Reading]:
    """Readings in the order in which the last of their poles or leads is met; alike near, as given."""
    steps = steps_from_sources(bench.system)
    far = len(steps)

    def met_at(met: Met) -> int:
        return max(min(steps.get(end, far) for end in ends) for ends in met[0])

    for _, reading in sorted(found, key=met_at):
        yield reading


def _signs_at_poles(bench: Bench, *, later: bool) -> Iterator[Met]:
    system = bench.system
    for device in system.of_kind("isolator", "breaker", "fuse"):
        poles = system.poles_of(device)
        sources = [pair.source for pole in poles for pair in feeds(system, pole)]
        if _is_live_later(sources) != later:
            continue
        ends = [end for pole in poles for end in (pole.a, pole.b)]
        live = [end for end in ends if system.walked.net(end) in system.walked.potentials]
        if live:
            words = ", ".join(f"{end} {SIGNS[polarity(system, system.walked.net(end))]}" for end in live)
            place = bench.place(device)
            reading = Reading(place, words, "sign as named", "every terminal", tags=(device.tag,))
            yield [(pole.a, pole.b) for pole in poles], reading


def _signs_at_loads(bench: Bench, *, later: bool) -> Iterator[Met]:
    for port in bench.system.connected.ports:
        if not port.takes:
            continue
        if (port.device.kind != "battery" and _is_live_later(bench.system.walked.feeds(port))) == later:
            at, place = f"{port.plus} (red lead) to {port.minus}", bench.place(port.device)
            reading = Reading(place, at, "plus", "plus", tags=(port.device.tag,))
            yield _leads(port), reading


def _leads(port: Port) -> list[tuple[str, ...]]:
    return [(port.plus,), (port.minus,)]


def _is_live_later(sources: Iterable[Source]) -> bool:
    """Dead while only the array is uncovered, or live before its time: a battery or controller feeds it."""
    return bool({source.kind for source in sources} - {"array"})


def _strings(bench: Bench) -> Iterator[tuple[Source, Device, int]]:
    for source in arrays(bench):
        for device in source.devices:
            for number in range(1, device.spec.parallel + 1):
                yield source, device, number


def open_circuit(bench: Bench) -> Iterator[Reading]:
    """Each string at the reference cell temperature, by the temperature coefficient."""
    for _, device, number in _strings(bench):
        at, place = f"{device.tag} string {number}, + to -", bench.place(device)
        yield from bench.tried(place, at, _open_voltage, device)


def _open_voltage(bench: Bench, place: str, at: str, device: Device) -> Reading:
    cell_k = bench.reference_cell_k()
    return bench.reading(
        place,
        at,
        open_voltage_v(device, cell_k),
        "voltage",
        tags=(device.tag,),
        after=_at_cell(bench),
        standard=open_voltage_v(device, STANDARD_CELL_TEMPERATURE_K),
        cell_coefficient_per_k=float(device.part.voc_coefficient),
    )


def _at_cell(bench: Bench) -> str:
    return f" at Tc {bench.show(bench.reference_cell_k(), 'temperature')}"


def short_circuit(bench: Bench) -> Iterator[Reading]:
    """Each string in the reference light, then the strings of an array together."""
    light = float(bench.practice["reference_light_w_m2"])

    def line(device: Device, at: str, strings: int) -> Reading:
        standard = float(device.part.isc) * strings
        return bench.reading(
            bench.place(device),
            at,
            standard * light / STANDARD_IRRADIANCE_W_M2,
            "current",
            tags=(device.tag,),
            after=f" at {bench.show(light, 'irradiance')}",
            standard=standard,
            with_light=True,
        )

    for _, device, number in _strings(bench):
        yield line(device, f"{device.tag} string {number}", 1)
        if number == device.spec.parallel > 1:
            yield line(device, f"{device.tag}, all {number} strings", number)


def by_cell_temperature(bench: Bench) -> Iterator[Dependence]:
    """Open-circuit voltage of each string by cell temperature."""
    cells = [celsius + ZERO_CELSIUS_K for celsius in bench.practice["cell_c"]]
    rows = []
    for device in dict.fromkeys(device for _, device, _ in _strings(bench)):
        if device.part.voc_coefficient is None:
            continue
        rows.append(
            (f"{device.tag}, V", *(f"{open_voltage_v(device, k):.2f}" for k in cells)),
        )
    if rows:
        heads = ("Cell temperature Tc", *(bench.show(k, "temperature") for k in cells))
        formula = "Voc = Ns · Voc,label · [1 + β · (Tc - 25 °C)]"
        yield Dependence("Open-circuit volts of a string", heads, tuple(rows), formula)


def by_light(bench: Bench) -> Iterator[Dependence]:
    """Short-circuit current of each string, and of all, by the light."""
    lights = [float(g) for g in bench.practice["light_w_m2"]]
    rows = []
    for device in dict.fromkeys(device for _, device, _ in _strings(bench)):
        for words, strings in (("one string", 1), ("all strings", device.spec.parallel)):
            if strings > 1 or words == "one string":
                amps = [device.part.isc * strings * g / STANDARD_IRRADIANCE_W_M2 for g in lights]
                rows.append((f"{device.tag}, {words}, A", *(f"{a:.2f}" for a in amps)))
    if rows:
        heads = ("Light G, W/m²", *(f"{g:.0f}" for g in lights))
        yield Dependence("Short-circuit amperes", heads, tuple(rows), "I = Isc · G / 1000 W/m²")


def insulation(bench: Bench) -> Iterator[Reading]:
    """Each array, by its highest voltage."""
    for source in arrays(bench):
        place, at = bench.place(source.devices[0]), f"{source.tag}, both poles joined, to the earth bar"
        yield from bench.tried(place, at, _insulation, source)


def _insulation(bench: Bench, place: str, at: str, source: Source) -> Iterator[Reading]:
    volts = bench.system.electrical.highest_voltage(source).value
    level = next((row for row in bench.insulation["levels"] if volts < row["up_to_v"]), None)
    if level is None:
        raise ValueError(f"{source.tag} shows {volts:.0f} V: beyond the table of test voltages")
    least = float(level["least_ohm"])
    for weather in ("dry", "wetted"):
        yield Reading(
            place,
            f"{at}, {weather}",
            f"at {bench.show(level['test_v'], 'voltage')} test voltage",
            f"at least {least / 1e6:g} Mohm",
            None,
            least,
            None,
            "resistance",
            tuple(d.tag for d in source.devices),
        )


def volts_to_earth(bench: Bench) -> Iterator[Reading]:
    """Each pole of the array circuits to the earth bar, a functional joint holding one of them there."""
    system = bench.system
    for bond in bonds(system):
        if bond.through is None or not bond.functional:
            continue
        place, tags = bench.place(bond.through.device), (bond.through.device.tag,)
        side = polarity(system, bond.net)
        yield Reading(
            place, f"{side} to the earth bar", "0 V", "at most 1 V", 0.0, None, 1.0, "voltage", tags
        )
        for source in arrays(bench):
            if bond.net in (source.plus, source.minus):
                yield from bench.tried(
                    place, f"other pole of {source.tag} to the earth bar", _off_earth, source
                )


def _off_earth(bench: Bench, place: str, at: str, source: Source) -> Reading:
    volts = sum(open_voltage_v(d, bench.reference_cell_k()) for d in source.devices)
    return Reading(
        place,
        at,
        f"{bench.show(volts, 'voltage')}{_at_cell(bench)}",
        "within 5 % of the string voltage just read",
        volts,
        dimension="voltage",
        tags=tuple(d.tag for d in source.devices),
    )


def battery(bench: Bench) -> Iterator[Reading]:
    """Each bank, between empty and full."""
    for device in bench.system.of_kind("battery"):
        place, at = bench.place(device), f"{device.tag}.+ to {device.tag}.-"
        yield from bench.tried(place, at, _bank, device)


def _bank(bench: Bench, place: str, at: str, device: Device) -> Reading:
    series = device.spec.series
    low = series * float(need_part(device, "empty_voltage", "voltage when empty"))
    full = series * float(need_part(device, "full_voltage", "voltage when full"))
    nominal = series * float(device.part.nominal)
    return bench.reading(
        place, at, nominal, "voltage", before="nominal ", lowest=low, highest=full, tags=(device.tag,)
    )


def _array_loads(bench: Bench) -> Iterator[tuple[Port, Source]]:
    for pair in bench.system.walked.pairs:
        if pair.source.kind == "array":
            yield pair.load, pair.source


def input_voltage(bench: Bench) -> Iterator[Reading]:
    """What reaches the load end of each array circuit, with nothing drawn."""
    for load, source in _array_loads(bench):
        place, at = bench.place(load.device), f"{load.plus} to {load.minus}"
        yield from bench.tried(place, at, _input_voltage, load, source)


def _input_voltage(bench: Bench, place: str, at: str, load: Port, source: Source) -> Reading:
    volts = sum(open_voltage_v(d, bench.reference_cell_k()) for d in source.devices)
    standard = sum(open_voltage_v(d, STANDARD_CELL_TEMPERATURE_K) for d in source.devices)
    slope = (volts / standard - 1.0) / (bench.reference_cell_k() - STANDARD_CELL_TEMPERATURE_K)
    share = float(bench.words["tolerance"])
    reading = bench.reading(
        place,
        at,
        volts,
        "voltage",
        tags=(load.device.tag,),
        after=_at_cell(bench),
        standard=standard,
        cell_coefficient_per_k=slope,
    )
    return Reading(
        **{**vars(reading), "accept": f"within {share * 100:.0f} % of the string voltage just read"}
    )


def output_voltage(bench: Bench) -> Iterator[Reading]:
    """From the source on: the signs of all that is live later than the array, and in between the output of
    each controller, unloaded: never over its clamp.
    """
    found = [*_signs_at_poles(bench, later=True), *_signs_at_loads(bench, later=True)]
    for source in bench.system.walked.sources:
        if source.kind == "converter":
            port = source.ports[0]
            place, at = bench.place(port.device), f"{port.plus} to {port.minus}"
            outputs = bench.tried(place, at, _output_voltage, source)
            found += [(_leads(port), reading) for reading in outputs]
    return _from_the_source_on(bench, found)


def _output_voltage(bench: Bench, place: str, at: str, source: Source) -> Reading:
    highest = bench.system.electrical.highest_voltage(source).value
    return bench.reading(
        place,
        at,
        highest,
        "voltage",
        before="plus, not over ",
        lowest=None,
        highest=highest,
        tags=tuple(d.tag for d in source.devices),
    )


def cut_off(bench: Bench) -> Iterator[Reading]:
    """Where each controller on a battery stops its load, and lets it run again."""
    system = bench.system
    for device in system.of_kind("controller"):
        part, spec = device.part, device.spec
        bank = [p for p in system.connected.ports_of(device) if p.takes and _on_bank(system.walked.feeds(p))]
        stops = spec.stops_below or part.stops_below
        if not bank or stops is None:
            continue
        place, tags = bench.place(device), (device.tag,)
        at = f"{bank[0].plus} to {bank[0].minus}, {device.tag}"
        yield bench.reading(place, f"{at} opens its load", float(stops), "voltage", tags=tags)
        if part.restarts_above is not None:
            again = float(part.restarts_above)
            yield bench.reading(place, f"{at} closes it again", again, "voltage", tags=tags)


def _on_bank(sources: Iterable[Source]) -> bool:
    return any(source.kind == "battery" for source in sources)


def first_start(bench: Bench) -> Iterator[Reading]:
    """Each pump."""
    for port in bench.pump_ports():
        yield Reading(
            bench.place(port.device),
            port.device.tag,
            "turns the way it is marked; steady flow",
            "no bubbles, no leak, prime holds",
            tags=(port.device.tag,),
        )


def stops(bench: Bench) -> Iterator[Reading]:
    """Each sensing switch on each pump it must stop, each remote loop cut, each load-break device opened."""
    system = bench.system
    for device in system.of_kind("switch"):
        for pump in must_stop(system, device):
            yield _stop(bench, device, pump)
    for controller in system.of_kind("controller"):
        remote = controller.part.remote
        if remote is not None:
            at = f"{controller.tag}: each wire of the remote loop pulled, one at a time"
            safe = remote.runs_when == "closed"
            expected = "pump stops" if safe else "pump runs on: this input runs when open; do not rely on it"
            yield Reading(bench.place(controller), at, expected, "seen", tags=(controller.tag,))
    ready = Logic(system.connected, lambda pole: pole.clear_closed).running(frozenset())
    for device in system.of_kind("isolator", "breaker"):
        if device.part.load_break and any(feeds(system, pole) for pole in system.poles_of(device)):
            yield _opened(bench, device, ready)


def _opened(bench: Bench, device: Device, ready: frozenset[str]) -> Reading:
    """What a load-break device does when it is opened with the pumps running.

    What parts a charge controller from its battery is opened after what parts it from its array.
    """
    system = bench.system
    before = opened_first(system, device)

    def without(pole: Pole) -> bool:
        return pole.clear_closed and pole.device is not device and pole.device not in before

    stopped = sorted(ready - Logic(system.connected, without).running(frozenset()))
    words = (
        f"{', '.join(stopped)} stops"
        if stopped
        else "no current through it; pumps run on from the other source"
    )
    opened = system.in_state(without)
    if is_dead_beyond(opened, device):
        fed = fed_inputs(opened)
        lost = [port.device for port in fed_inputs(system.walked) if port not in fed]
        accept = f"seen; dead beyond it{_once_discharged(bench, lost)}"
    else:
        accept = "seen; it stays live on both sides"
    at = f"{device.tag} opened under load"
    if before:
        at = f"{', '.join(d.tag for d in before)} opened, then {device.tag}"
    elif bereft(system, (device,)):
        at = f"{device.tag} opened, the array covered first"
    return Reading(bench.place(device), at, words, accept, tags=(device.tag,))


def _once_discharged(bench: Bench, controllers: Iterable[Device]) -> str:
    """ " after 5 min (CB1)": what the capacitors of controllers that have lost their source need."""
    waits = {device: device.part.wait_time for device in controllers if device.part.wait_time != 0.0}
    if not waits:
        return ""
    tags = ", ".join(device.tag for device in waits)
    known = [wait for wait in waits.values() if wait is not None]
    if len(known) < len(waits):
        return f" once {tags} has discharged"
    return f" after {bench.show(max(known), 'short_time')} ({tags})"


def _stop(bench: Bench, switch: Device, pump: Device) -> Reading:
    system, place = bench.system, bench.place(switch)
    wiring = system.wiring()
    others = [s for s in system.of_kind("switch") if wiring.get(s.tag) == wiring.get(pump.tag)]
    at = f"{switch.tag} by hand to: {switch.spec.guards}"
    try:
        does = system.situations(pump).action(pump, switch, others).does
    except TooManySwitches as many:
        return Reading(place, at, f"not worked out; {many}", missing=str(many), tags=(switch.tag,))
    if does != "stops":
        why = f"as wired {switch.tag} does not stop {pump.tag} in every case"
        return Reading(
            place, at, f"{why}: do not commission", "rewire first", missing=why, tags=(switch.tag,)
        )
    if switch.part.reset == "manual":
        again = f"runs again only when {switch.tag} is reset by hand"
    else:
        again = "runs again by itself when it clears"
    return Reading(place, at, f"{pump.tag} stops; {again}", "seen", tags=(switch.tag, pump.tag))


def working_point(bench: Bench) -> Iterator[Reading]:
    """Volts and amperes at each motor and at each controller input."""
    for port in bench.pump_ports():
        place = bench.place(port.device)
        yield from bench.tried(place, port.device.tag, _at_motor, port)
    for controller in bench.system.of_kind("controller"):
        place = bench.place(controller)
        yield from bench.tried(place, f"{controller.tag} input", _at_input, controller)


def _at_motor(bench: Bench, place: str, _at: str, port: Port) -> Iterator[Reading]:
    feed, tags = motor_feed(bench, port), (port.device.tag,)
    light = bench.show(float(bench.practice["reference_light_w_m2"]), "irradiance")
    moment = f" at {light},{_at_cell(bench).removeprefix(' at')}" if feed.kind == "array" else ""
    at, more = f"{port.plus} to {port.minus}", highest_feed_v(bench, port)
    if feed.kind == "array" or more <= feed.voltage_v:
        yield bench.reading(place, at, feed.voltage_v, "voltage", tags=tags, after=moment)
    else:
        yield _between(bench, place, at, feed.voltage_v, more, _more_when(bench, port), tags)
    yield bench.reading(place, f"amperes in {port.plus}", feed.current_a, "current", tags=tags, after=moment)


def _more_when(bench: Bench, port: Port) -> str:
    kinds = {source.kind for source in bench.system.electrical.upstream(port)}
    return "more while the battery charges" if "battery" in kinds else "more in bright light"


def _held_v(controller: Device) -> float | None:
    """The array volts at which a booster holds its input in little light [V]."""
    held = controller.spec.hold_voltage or controller.part.hold_voltage
    return None if held is None else float(held)


def _between(
    bench: Bench,
    place: str,
    at: str,
    volts: float,
    highest: float,
    when: str,
    tags: tuple[str, ...],
    *,
    least: float = 0.0,
) -> Reading:
    """Volts that rise with the light or the charge, up to what the source gives at most.

    Not under ``least``, where the device itself has to have stopped.
    """
    low = max(volts * (1.0 - float(bench.words["tolerance"])), least)
    after = f"; {when}, up to {bench.show(highest, 'voltage')}"
    return bench.reading(place, at, volts, "voltage", tags=tags, after=after, lowest=low, highest=highest)


def _at_input(bench: Bench, place: str, _at: str, controller: Device) -> Iterator[Reading]:
    port = next(p for p in bench.system.connected.ports if p.device is controller and p.takes)
    try:
        feed = input_feed(bench, controller, bench.reference_cell_k())
    except MissingDatum as lack:
        if "how full" not in lack.what:
            raise
        yield Reading(
            place,
            f"amperes in {port.plus}",
            "what the battery takes: falls as it fills",
            f"at most {bench.show(_most_from(bench, port), 'current')}",
            None,
            None,
            _most_from(bench, port),
            "current",
            (controller.tag,),
        )
        return
    tags = (controller.tag,)
    at = f"{port.plus} to {port.minus}"
    miss = float(bench.words["tolerance"])
    most = _most_watts(bench, controller) / feed.power_w
    if feed.kind == "array":
        # More light raises the volts, and the watts with those that the motor gets, up to its highest.
        source = feeders(bench, port)[0]
        light = light_needed_w_m2(source, feed.current_a)
        moment = f"{_at_cell(bench)}, in the least light that will do, {bench.show(light, 'irradiance')}"
        held = _held_v(controller) or feed.voltage_v
        if held < feed.voltage_v:
            moment += f"; in less {controller.tag} holds {bench.show(held, 'voltage')} and the pump slows"
        yield bench.reading(
            place,
            at,
            feed.voltage_v,
            "voltage",
            tags=tags,
            before="about ",
            after=moment,
            lowest=min(
                feed.voltage_v * (1.0 - miss), held * (1.0 - float(bench.practice["setting_tolerance"]))
            ),
            highest=sum(open_voltage_v(d, bench.reference_cell_k()) for d in source.devices),
        )
    else:
        most_v = max(feed.voltage_v, highest_feed_v(bench, port))
        stops = controller.spec.stops_below or controller.part.stops_below
        when = _more_when(bench, port)
        yield _between(bench, place, at, feed.voltage_v, most_v, when, tags, least=stops or 0.0)
    for words, value, dimension, share in (
        (f"amperes in {port.plus}", feed.current_a, "current", most if feed.kind == "array" else 1.0),
        ("volts times amperes", feed.power_w, "power", most),
    ):
        low, high = value * (1.0 - miss), value * share * (1.0 + miss)
        yield bench.reading(place, words, value, dimension, tags=tags, lowest=low, highest=high)


def _most_watts(bench: Bench, controller: Device) -> float:
    """Watts into a controller whose motors get the highest volts, their amperes held by the head [W]."""
    feed = input_feed(bench, controller, bench.reference_cell_k())
    ratios = [
        highest_feed_v(bench, load) / motor_feed(bench, load).voltage_v
        for source in bench.system.walked.sources
        if source.kind == "converter" and source.ports[0].device is controller
        for load in bench.system.electrical.fed_by(source)
        if load.device.kind == "pump"
    ]
    return feed.power_w * max(1.0, *ratios) if ratios else feed.power_w


def _most_from(bench: Bench, port: Port) -> float:
    sources = feeders(bench, port)
    return sum(bench.system.electrical.short_circuit_a(s) for s in sources if s.kind == "array")


def by_input(bench: Bench) -> Iterator[Dependence]:
    """Into each controller on an array, by cell temperature; at a motor straight on one, by light."""
    cells = [celsius + ZERO_CELSIUS_K for celsius in bench.practice["cell_c"]]
    for load, source in _array_loads(bench):
        if load.device.kind == "controller":
            try:
                power_w = input_feed(bench, load.device, bench.reference_cell_k()).power_w
                volts = [power_voltage_v(source, k) for k in cells]
            except (MissingDatum, LookupError, ValueError):
                continue
            yield Dependence(
                f"Into {load.device.tag} in the least light that will do",
                ("Cell temperature Tc", *(bench.show(k, "temperature") for k in cells)),
                (
                    ("volts", *(f"{v:.1f}" for v in volts)),
                    ("amperes", *(f"{power_w / v:.2f}" for v in volts)),
                    ("light, W/m²", *(f"{light_needed_w_m2(source, power_w / v):.0f}" for v in volts)),
                ),
                "V = Ns · Vmp · [1 + γ · (Tc - 25 °C)], I = P / V; brighter: volts and watts rise",
            )
        elif load.device.kind == "pump":
            yield from _direct(bench, load)


def _direct(bench: Bench, load: Port) -> Iterator[Dependence]:
    """Volts, amperes, water and pressure of a pump straight on an array, by the light."""
    pump, water = load.device, bench.system.water
    found = []
    for light in map(float, bench.practice["light_w_m2"]):
        try:
            point = direct_point(bench, load, light, bench.reference_cell_k())
            flow = water.operating_at(pump, point.voltage_v, False).flow_m3_s
            outlet = water.outlet_pa(pump, flow, dirty=False)
        except ValueError:
            found.append((f"{light:.0f}", "at rest", "-", "-", "-"))
        except (MissingDatum, LookupError):
            return
        else:
            wet = (bench.show(flow, "flow"), bench.show(outlet, "pressure")) if flow > 0.0 else ("none", "-")
            found.append((f"{light:.0f}", f"{point.voltage_v:.1f}", f"{point.current_a:.2f}", *wet))
    lights, volts, amps, flows, outlets = zip(*found, strict=True)
    yield Dependence(
        f"{load.device.tag} straight on the array,{_at_cell(bench)}",
        ("Light G, W/m²", *lights),
        (
            ("volts at the motor", *volts),
            ("amperes", *amps),
            ("water", *flows),
            (f"gauge at {pump.tag}.out", *outlets),
        ),
        "where the curve of the array meets pump and pipe",
    )


def drops(bench: Bench) -> Iterator[Reading]:
    """Each run outside boxes that carries power: both ways together, at the current of the working point."""
    electrical = bench.system.electrical
    live = [
        c
        for c in bench.system.conductors
        if electrical.carries_current(c) and c.run.spec.laid != "in enclosure"
    ]
    for run, group in groupby(live, key=lambda c: c.run):
        members = list(group)
        yield from bench.tried(run.tag, run.tag, _drop, members)


def _drop(bench: Bench, place: str, _at: str, members: list[Conductor]) -> Iterator[Reading]:
    kelvin = float(bench.practice["run_temperature_c"]) + ZERO_CELSIUS_K
    alike: dict[frozenset[Crossing], list[Conductor]] = {}
    for conductor in members:
        alike.setdefault(feeds(bench.system, conductor), []).append(conductor)
    for wires in _measured_together(bench, alike.values()):
        amps = running_current_a(bench, wires[0])
        ohm = sum(bench.ohm(wire, kelvin) for wire in wires)
        tags = tuple(wire.tag for wire in wires)
        ends = ("/".join(w.start for w in wires), "/".join(w.end for w in wires))
        at = f"{', '.join(tags)}: {ends[0]} {'and' if len(wires) > 1 else 'to'} {ends[1]}"
        times = f"{ohm * 1e3:.3g} mohm × amperes"
        if amps is None:
            yield Reading(place, at, times, f"at most {1.2 * ohm * 1e3:.3g} mohm × amperes", tags=tags)
        else:
            after = f" at {bench.show(amps, 'current')}; {times}"
            yield bench.reading(place, at, ohm * amps, "voltage", tags=tags, after=after)


def _measured_together(bench: Bench, groups: Iterable[list[Conductor]]) -> Iterator[list[Conductor]]:
    """A plus and a minus wire side by side: volts at one end less volts at the other. Else wire by wire.

    Two wires of one polarity, out to a float and back, have no volts between them.
    """
    for wires in groups:
        signs = sorted(polarity(bench.system, bench.system.walked.net(wire.start)) for wire in wires)
        if signs == ["negative", "positive"]:
            yield wires
        else:
            yield from ([wire] for wire in wires)


def low_light(bench: Bench) -> Iterator[Reading]:
    """Pumps that the sun starts: at rest they must not sit stalled; lines that drain must have drained."""
    for port in bench.pump_ports():
        pump, place = port.device, bench.place(port.device)
        kinds = {s.kind for s in bench.system.electrical.upstream(port)}
        if "array" not in kinds:
            continue
        if "battery" not in kinds:  # on a battery it runs in any light
            yield from bench.tried(place, pump.tag, _at_rest, port)
        if pump.spec.drain_back:
            yield Reading(
                place, f"{pump.tag}, line after stopping", "drains back", "heard to run out", tags=(pump.tag,)
            )


def _at_rest(bench: Bench, place: str, _at: str, port: Port) -> Reading:
    """Far from what flows into a blocked rotor, as among the worst cases: its sources hold it down."""
    pump = port.device
    lead = next((c for c in bench.system.conductors if port.plus in (c.start, c.end)), None)
    worst = stall_current(bench.system, lead) if lead is not None else None
    most, held = (worst.value, worst.condition) if worst is not None else (_stall_a(pump), "rotor blocked")
    return Reading(
        place,
        f"{pump.tag}, amperes when it no longer turns",
        "at rest, no hum",
        f"well under {bench.show(most, 'current')}: {held}",
        None,
        None,
        most,
        "current",
        (pump.tag,),
    )


def _stall_a(pump: Device) -> float:
    ohm = float(need_part(pump, "armature_resistance", "armature resistance of the motor"))
    return stall_current_a(float(pump.part.nominal_voltage), ohm)
