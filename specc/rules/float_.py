"""Rules on float and other sensing switches: their action, their contact, where it lies, their band."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics.pumps import stall_current_a
from specc.rules._questions import ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._switches import (
    EVENTS,
    action,
    contacts,
    figures,
    in_power_path,
    loops,
    pump_pairs,
    switches,
)
from specc.system.electrical import Electrical
from specc.system.missing import MissingDatum, need
from specc.system.model import Device, Pole
from specc.system.states import TooManySwitches
from specc.system.stops import must_stop
from specc.system.system import System
from specc.system.walk import Branch

_OTHER = {"rise": "fall", "fall": "rise"}

# -- wrong way -----------------------------------------------------------------------------------------


def _with_action(system: System) -> Iterator[tuple[Device, Device | None]]:
    yield from pump_pairs(system)
    for switch in switches(system):
        if switch.part.closes_on is not None:
            yield switch, None


def _wrong_way(system: System, subject: tuple[Device, Device | None]) -> Answer:
    switch, pump = subject
    if pump is None:
        return _as_made(switch)
    try:
        does = action(system, switch, pump).does
    except TooManySwitches as many:
        return unchecked(switch.tag, switch.path, str(many))
    event, closes = EVENTS[switch.spec.guards], switch.spec.closes_on
    path = switch.path + ("closes_on",)
    required = f"{pump.tag} stops when {event}"
    actual = f"closes on {closes}"
    if does == "stops" or does == "sometimes stops":
        return satisfied(
            switch.tag, path, f"{switch.tag} works to stop {pump.tag}.", required=required, actual=actual
        )
    if does == "starts":
        return violated(
            switch.tag,
            path,
            f"{switch.tag} closes on {closes}: so wired it runs {pump.tag} when {event}, and stops it when "
            "not.",
            required=required,
            actual=actual,
            fix=f"Use the contact that closes on {_OTHER[closes]} (hang the float the other way, or take "
            "the other "
            "contact), or a remote input of the other sense.",
            related=(pump.path,),
            mends=((path, _OTHER[closes]),),
        )
    because = "never runs" if does == "never runs" else f"does not heed {switch.tag}"
    return unchecked(switch.tag, switch.path, f"{pump.tag} {because}; see control.stop-logic.")


def _as_made(switch: Device) -> Answer:
    made, said = switch.part.closes_on, switch.spec.closes_on
    path = switch.path + ("closes_on",)
    required, actual = f"closes on {made}, as it is made", f"closes on {said}"
    if made == said:
        return satisfied(
            switch.tag, path, f"{switch.tag} is made to close on {said}.", required=required, actual=actual
        )
    return violated(
        switch.tag,
        path,
        f"{switch.tag} is said to close on {said}, but {switch.part.id} is made to close on {made}.",
        required=required,
        actual=actual,
        fix=f"Take a switch that is made to close on {said}, or wire for one that closes on {made}.",
    )


WRONG_WAY = Rule(
    id="float.wrong-way",
    severity=Severity.ERROR,
    title="Switch that acts the wrong way round",
    checks="The contact's action at the guarded event stops the pump: source low, tank full, pump hot, "
    "pressure high. "
    "Worked out from the contact, the wiring and the sense of the remote input; and a contact whose action "
    "is fixed "
    "by its making is used as it is made.",
    why="The wrong way round the pump runs dry or overflows, and stands still while there is water.",
    clauses={"us-2023": "common practice", "iec": "common practice"},
    look=_with_action,
    examine=_wrong_way,
    fires=(
        Case("a tank float that closes on rise", {"switches.LS1.closes_on": "rise"}, subject="LS1"),
        Case("a well float that closes on fall", {"switches.LS2.closes_on": "fall"}, subject="LS2"),
        Case(
            "a remote input that stops when closed, with the contacts for the other sense",
            {
                "part:booster-r.remote.runs_when": "open",
                "switches.LS2": None,
                "switches.TS1": None,
                "runs.R4.conductors": [
                    {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
                    {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
                ],
            },
            subject="LS1",
        ),
        Case(
            "a switch made to close on fall, said to close on rise",
            {"part:float-r.closes_on": "fall"},
            subject="LS2",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "the tank float that closes on rise, where the remote input stops when closed",
            {
                "part:booster-r.remote.runs_when": "open",
                "switches.LS1.closes_on": "rise",
                "switches.LS2": None,
                "switches.TS1": None,
                "runs.R4.conductors": [
                    {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
                    {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
                ],
            },
        ),
    ),
    sees_not="A float that is hung against what the job says.",
)

# -- contact rating ------------------------------------------------------------------------------------


def _contact_rating(system: System, pole: Pole) -> Answer:
    if in_power_path(system, pole):
        electrical, branch = figures(system, pole)
        assert branch is not None
        return _in_power(system, electrical, branch, pole)
    lying_in = loops(system).get(pole.a, ()) or loops(system).get(pole.b, ())
    if not lying_in:
        return unchecked(
            pole.device.tag, pole.device.path, f"{pole.a} and {pole.b} switch no load and no remote input."
        )
    return _in_loop(system, pole, lying_in[0])


def _in_power(system: System, electrical: Electrical, branch: Branch, pole: Pole) -> Answer:
    switch, contact = pole.device, pole.device.part.contact
    volts, amps = electrical.voltage_of(branch), _current_there(electrical, branch, pole)
    motors = electrical.motors_through(branch)
    show = system.show
    required = f"{show(volts.value, 'voltage')} and {show(amps.value, 'current')} DC" + (
        ", motor load" if motors else ""
    )
    path = switch.path + ("part",)
    if contact.dc_voltage is None or contact.dc_current is None:
        if contact.ac_voltage is None and contact.ac_current is None:
            raise MissingDatum(
                f"{switch.tag}: DC rating of its contact (catalogue part {switch.part.id}, key contact)",
                path,
                "contact",
            )
        faults, actual = ["it has no DC rating (an AC rating does not count)"], "no DC rating"
    else:
        actual = f"{show(contact.dc_voltage, 'voltage')} and {show(contact.dc_current, 'current')} DC"
        actual += ", motor load" if contact.motor_load else ""
        faults = []
        if not contact.dc_voltage >= volts.value:
            faults.append(f"{show(contact.dc_voltage, 'voltage')} DC is below {show(volts.value, 'voltage')}")
        if not contact.dc_current >= amps.value:
            faults.append(f"{show(contact.dc_current, 'current')} DC is below {show(amps.value, 'current')}")
        if motors and not contact.motor_load:
            faults.append("it has no rating for a motor (inductive) load")
    if not faults:
        return satisfied(
            switch.tag,
            path,
            f"The contact of {switch.tag} can break its circuit.",
            required=required,
            actual=actual,
            calculations=(volts, amps),
        )
    return violated(
        switch.tag,
        path,
        f"The contact of {switch.tag} lies in the power path and cannot break it: {'; '.join(faults)}.",
        required=required,
        actual=actual,
        fix="Move it to the remote terminals of the controller or let it work a relay; or take a contact "
        f"for {required}.",
        calculations=(volts, amps),
    )


def _current_there(electrical: Electrical, branch: Branch, pole: Pole) -> Calculation:
    """Current to break: what the array can drive in its line, else the motor's label current [A]."""
    if electrical.arrays_through(branch):
        carried = electrical.continuous_current(pole)
    else:
        carried = electrical.design_current(pole)
    assert carried is not None  # a pole in the power path carries what some source gives
    return carried


def _in_loop(system: System, pole: Pole, controller: Device) -> Answer:
    switch, remote = pole.device, controller.part.remote
    path = switch.path + ("part",)
    drives = need(
        remote.test_current,
        f"{controller.tag}: current that its remote input drives (catalogue part {controller.part.id}, key "
        "remote.test_current)",
        controller.path + ("part",),
        "remote.test_current",
    )
    least = need(
        switch.part.contact.least_current,
        f"{switch.tag}: least current of its contact (catalogue part {switch.part.id}, key "
        "contact.least_current)",
        path,
        "contact.least_current",
    )
    required, actual = f"at least {system.show(least, 'current')}", system.show(drives, "current")
    if drives >= least:
        return satisfied(
            switch.tag,
            path,
            f"{controller.tag} drives enough through {switch.tag}.",
            required=required,
            actual=actual,
        )
    stuck = remote.runs_when == "open"
    return violated(
        switch.tag,
        path,
        f"{controller.tag} drives {actual} through {switch.tag}, whose contact needs {required}: it "
        "tarnishes and goes "
        f"blind, and the pump {'never stops' if stuck else 'stands still'}.",
        required=required,
        actual=actual,
        fix=f"Take a switch with gold contacts, for {actual} or less.",
        related=(controller.path,),
        severity=None if stuck else Severity.ERROR,
    )


_FLOAT_IN_MOTOR_LINE = {
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
    "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
    "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
}

_FLOAT_IN_PV_LINE = {
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
    "runs.R2.conductors[0]": {"from": "Q1.2", "to": "LS1.1", "color": "red"},
    "runs.R2.conductors[3]": {"from": "LS1.2", "to": "CB1.pv+", "color": "red"},
}

CONTACT_RATING = Rule(
    id="float.contact-rating",
    severity=Severity.DANGER,
    title="Switch contact that cannot break, or feel, its current",
    checks="In the power path: DC volts of the contact >= Vmax there, DC amperes >= the current there (an "
    "array's "
    "Imax, else the motor's label current), and a motor (inductive) rating where a motor hangs on it; AC "
    "ratings do "
    "not count. In a dry loop: the current of the remote input >= the least of the contact (else an error; "
    "a danger "
    "where closed stops the pump).",
    why="A contact without a DC rating draws an arc and welds: then nothing stops the pump, or the float "
    "burns.",
    clauses={"us-2023": "404.14; 430.83, 430.109", "iec": "60947-5-1 DC-13; 60947-5-4 (low energy)"},
    look=contacts,
    examine=_contact_rating,
    fires=(
        Case(
            '"10 A 250 V AC" in the motor line (8 A, 28 V DC)',
            {**_FLOAT_IN_MOTOR_LINE, "part:float-r.contact": {"ac_voltage": "250 V", "ac_current": "10 A"}},
            subject="LS1",
        ),
        Case("10 A 30 V DC in the array line: 15 A, 49.28 V", _FLOAT_IN_PV_LINE, subject="LS1"),
        Case(
            "10 A 30 V DC without a motor rating in the motor line",
            {**_FLOAT_IN_MOTOR_LINE, "part:float-r.contact.motor_load": False},
            subject="LS1",
        ),
        Case(
            "a contact for 100 mA and more in a loop of 10 mA",
            {"part:float-r.contact.least_current": "100 mA"},
            severity=Severity.ERROR,
            subject="LS1",
        ),
    ),
    keeps_still=(
        Case("as it stands: in the dry loop"),
        Case("10 A 30 V DC in the motor line", _FLOAT_IN_MOTOR_LINE),
    ),
    sees_not="Inrush at each closing (float.in-power-path), and the wear of many operations.",
)

# -- in the power path ---------------------------------------------------------------------------------


def _power_path(system: System, pole: Pole) -> Answer:
    switch = pole.device
    electrical, branch = figures(system, pole)
    required = "in the remote loop of a controller"
    if branch is None or not in_power_path(system, pole):
        if pole.a in loops(system) or pole.b in loops(system):
            return satisfied(
                switch.tag,
                switch.path,
                f"{switch.tag} lies in the remote loop.",
                required=required,
                actual="there",
            )
        return unchecked(
            switch.tag, switch.path, f"{pole.a} and {pole.b} switch no load and no remote input."
        )
    volts = electrical.voltage_of(branch)
    motors = electrical.motors_through(branch)
    numbers: tuple[Calculation, ...] = (volts,)
    if electrical.arrays_through(branch) and not motors:
        amps = electrical.continuous_current(pole)
        assert amps is not None
        numbers += (amps,)
        line = "array line"
        what = (
            f"breaks {system.show(volts.value, 'voltage')} and {system.show(amps.value, 'current')} DC, "
            "and the "
            "controller starts anew each time"
        )
    elif motors:
        line = "motor line"
        most = electrical.maximum_current(arrays) if (arrays := electrical.arrays_through(branch)) else None
        inrush = [_inrush(motor, volts, most) for motor in motors if motor.part.armature_resistance]
        numbers += tuple(inrush)
        what = "breaks the arc of an inductance" + "".join(
            f", and closes on up to {system.show(i.value, 'current')} into {i.subject}" for i in inrush
        )
    else:
        line, what = "battery line", f"breaks {system.show(volts.value, 'voltage')} DC"
    there_is_one = any(
        d.part.remote is not None
        for d in system.of_kind("controller")
        if system.wiring().get(d.tag) == system.wiring().get(switch.tag)
    )
    return violated(
        switch.tag,
        switch.path,
        f"{switch.tag} lies in the {line}: its contact {what}.",
        required=required,
        actual=f"in the {line}",
        fix="Move it to the remote terminals of the controller."
        if there_is_one
        else "Let it work a DC contactor, or take a controller with remote terminals.",
        severity=None if there_is_one else Severity.ADVICE,
        calculations=numbers,
    )


def _inrush(motor: Device, volts: Calculation, most: Calculation | None) -> Calculation:
    """Current into a motor at rest; an array, where it alone feeds, gives no more than its maximum [A]."""
    ohms = float(motor.part.armature_resistance)
    stalled = stall_current_a(volts.value, ohms)
    inputs = [
        Input("Vmax", volts.value, "voltage", volts.subject),
        Input("Ra", ohms, "resistance", f"{motor.tag}, catalogue"),
    ]
    if most is not None:
        inputs.append(Input("Imax", most.value, "current", most.subject))
    return Calculation(
        "inrush through the contact at closing",
        motor.tag,
        "Iin",
        stalled if most is None else min(stalled, most.value),
        "current",
        "Vmax / Ra" if most is None else "Vmax / Ra, at most Imax of the array",
        tuple(inputs),
        "Ohm's law, motor at rest" if most is None else f"Ohm's law, motor at rest; {most.source}",
    )


IN_POWER_PATH = Rule(
    id="float.in-power-path",
    severity=Severity.WARNING,
    title="Sensing switch in the power path",
    checks="Each sensing contact lies in the remote loop of a controller, not in the line of array, battery "
    "or motor. In a motor line the inrush at closing goes up to Vmax / Ra (no more than an array alone "
    "gives). Advice only where no controller on this wiring has remote terminals.",
    why="In the array line the contact breaks full DC and restarts the controller each time; in the motor "
    "line it "
    "closes on a motor at rest with the controller at full output.",
    clauses={"us-2023": "430.83; common practice", "iec": "60947-4-1 DC-3, DC-5"},
    look=contacts,
    examine=_power_path,
    fires=(
        Case("10 A 30 V DC float in the array line: 49.28 V, 15 A", _FLOAT_IN_PV_LINE, subject="LS1"),
        Case("a float in the motor line: 28 V / 0.6 ohm = 46.7 A", _FLOAT_IN_MOTOR_LINE, subject="LS1"),
    ),
    keeps_still=(Case("the same float in the remote loop"),),
    sees_not="How often the switch works in a day.",
    acceptable=True,
)

# -- differential --------------------------------------------------------------------------------------


def _tank_floats(system: System) -> Iterator[object]:
    floats = (s for s in switches(system) if s.spec.guards == "tank full" and s.part.senses == "level")
    return each(floats, _band, _below_overflow)


def _tank_of(system: System, switch: Device) -> Device:
    """The tank that a switch senses: the one that its pumps fill, or of several the one where it stands."""
    filled = dict.fromkeys(
        way.end for pump in must_stop(system, switch) for way in system.water.deliveries(pump)
    )
    tanks = list(filled) or list(system.of_kind("tank"))
    if len(tanks) > 1:
        tanks = [tank for tank in tanks if tank.location is not None and tank.location == switch.location]
    if len(tanks) != 1:
        raise MissingDatum(
            f"{switch.tag}: the tank in which it hangs (the same location in both tables)",
            switch.path,
            "location",
        )
    return tanks[0]


def _band(system: System, switch: Device) -> Answer:
    tank = _tank_of(system, switch)
    spec, wanted = tank.spec, system.handbook.threshold("float_band_s")
    area = need(
        spec.plan_area or getattr(tank.part, "plan_area", None),
        f"{tank.tag}: plan area",
        tank.path,
        "plan_area",
    )
    band, inputs, source = _band_m(system, switch, tank)
    pumps = must_stop(system, switch)
    flow = sum(system.water.flow(pump).value for pump in pumps)
    if not flow > 0.0:
        return unchecked(
            switch.tag, switch.path, f"{tank.tag} is not filled: no flow to work the band out with."
        )
    worked = Calculation(
        "time to fill the float's band",
        switch.tag,
        "t",
        area * band / flow,
        "short_time",
        "A · Δz / Q",
        (
            Input("A", area, "plan_area", f"{tank.tag}, plan_area"),
            *inputs,
            Input("Q", flow, "flow", "pump curve = pipe curve"),
        ),
        f"{wanted.source}; {source}",
    )
    show = system.show
    required, actual = f"at least {show(wanted.value, 'short_time')}", show(worked.value, "short_time")
    path = tank.path + ("float_band",) if switch.spec.tether is None else switch.path + ("tether",)
    litres = show(area * band, "volume")
    if worked.value >= wanted.value * (1.0 - 1e-9):
        return satisfied(
            switch.tag,
            path,
            f"The band of {switch.tag} holds {litres}, {actual} of pumping.",
            required=required,
            actual=actual,
            calculations=(worked,),
        )
    return violated(
        switch.tag,
        path,
        f"The band of {switch.tag}, {show(band, 'short_length')}, holds {litres}: {actual} of pumping, and "
        "the pump "
        "starts over and over.",
        required=required,
        actual=actual,
        fix="Lengthen the tether or move its pivot to a band of "
        f"{show(wanted.value * flow / area, 'short_length')} or more.",
        related=(switch.path,),
        calculations=(worked,),
    )


def _band_m(system: System, switch: Device, tank: Device) -> tuple[float, tuple[Input, ...], str]:
    """Height between start and stop, from the tether where it is given, else as the tank's table says [m]."""
    if switch.spec.tether is not None:
        travel = system.handbook.threshold("tether_travel_per_length")
        tether = Input("tether", switch.spec.tether, "short_length", f"{switch.tag}, tether")
        band = travel.value * switch.spec.tether
        return band, (tether, Input("Δz", band, "short_length", f"{travel.value:g} · tether")), travel.source
    band = need(tank.spec.float_band, f"{tank.tag}: band of its float", tank.path, "float_band")
    return band, (Input("Δz", band, "short_length", f"{tank.tag}, float_band"),), "geometry"


def _below_overflow(system: System, switch: Device) -> Answer:
    tank = _tank_of(system, switch)
    least = system.handbook.threshold("float_below_overflow_m")
    gap = need(
        tank.spec.stop_below_overflow,
        f"{tank.tag}: how far below the overflow its float stops",
        tank.path,
        "stop_below_overflow",
    )
    required, actual = (
        f"at least {system.show(least.value, 'short_length')}",
        system.show(gap, "short_length"),
    )
    path = tank.path + ("stop_below_overflow",)
    if gap >= least.value * (1.0 - 1e-9):
        return satisfied(
            switch.tag,
            path,
            f"{switch.tag} stops {actual} below the overflow of {tank.tag}.",
            required=required,
            actual=actual,
        )
    return violated(
        switch.tag,
        path,
        f"{switch.tag} stops {actual} below the overflow of {tank.tag}: water runs to waste before the "
        "pump stops."
        if gap >= 0.0
        else f"{switch.tag} stops {system.show(-gap, 'short_length')} above the overflow of {tank.tag}: it "
        "never does.",
        required=required,
        actual=actual,
        fix=f"Lower the pivot of {switch.tag} until it stops {system.show(least.value, 'short_length')} "
        "below the overflow.",
        related=(switch.path,),
    )


DIFFERENTIAL = Rule(
    id="float.differential",
    severity=Severity.WARNING,
    title="Float band too small, or its stop too high",
    checks="The band of a tank float holds at least 5 minutes of pumping, t = A · Δz / Q, with Δz as given "
    "or 1.4 · "
    "tether; it stops at least 50 mm below the overflow.",
    why="With a narrow band ripples on the water start and stop the pump all day; with the stop above the "
    "overflow the "
    "pump never stops.",
    clauses={"us-2023": "common practice", "iec": "common practice"},
    look=_tank_floats,
    examine=ask,
    fires=(
        Case("a band of 20 mm: 40 L, 4.0 min", {"tank.TK1.float_band": "20 mm"}, subject="LS1"),
        Case("a stop above the overflow", {"tank.TK1.stop_below_overflow": "-20 mm"}, subject="LS1"),
        Case("a tether of 10 mm: 28 L, 2.8 min", {"switches.LS1.tether": "10 mm"}, subject="LS1"),
    ),
    keeps_still=(
        Case("a band of 100 mm: 200 L, 20 min"),
        Case("a tether of 70 mm: 98 mm of travel, 19.6 min", {"switches.LS1.tether": "70 mm"}),
    ),
    sees_not="Whether the float swings free of inlet, wall and ladder; how fast a well recovers.",
    acceptable=True,
)

RULES = (WRONG_WAY, CONTACT_RATING, IN_POWER_PATH, DIFFERENTIAL)
