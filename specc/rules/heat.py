"""Rules on heat inside enclosures."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics.enclosures import temperature_rise_k
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device
from specc.system.system import System


def _housed(system: System) -> Iterator[Device]:
    """Enclosures that hold something with a limit, and controllers that stand in the open."""
    for box in system.of_kind("enclosure"):
        if any(_has_limit(device) for device in system.connected.held_by(box)):
            yield box
    for controller in system.of_kind("controller"):
        if controller.box is None:
            yield controller


def _has_limit(device: Device) -> bool:
    """A controller always has a limit, stated or not; other devices where the catalogue states one."""
    return device.kind == "controller" or getattr(device.part, "hottest_ambient", None) is not None


def _enclosure(system: System, thing: Device) -> Answer:
    held = system.connected.held_by(thing) if thing.kind == "enclosure" else (thing,)
    limited = min(
        (device for device in held if _has_limit(device)),
        key=lambda device: float(need_part(device, "hottest_ambient", "hottest air that it stands")),
    )
    limit_k = limited.part.hottest_ambient
    shade, sun = (_inside(system, thing, held, sunlit=sunlit) for sunlit in (False, True))
    place = system.place_of(thing)
    # Where the place is not described, both ways must come to the same.
    if place is None and keeps_to(shade.value, limit_k) and not keeps_to(sun.value, limit_k):
        raise MissingDatum(
            f"{thing.tag}: whether its place lies in the sun ([[locations]] with its name)",
            thing.path,
            "location",
        )
    worked = sun if place is None or (place.outdoors and place.sunlit) else shade
    show = system.show
    required, actual = f"at most {show(limit_k, 'temperature')}", show(worked.value, "temperature")
    where = f"in {thing.tag}" if thing.kind == "enclosure" else f"at {thing.tag}"
    if not keeps_to(worked.value, limit_k):
        return violated(
            thing.tag,
            thing.path + ("part",),
            f"It gets {actual} {where}{' in the sun' if worked is sun else ''}; {limited.tag} stands "
            f"{show(limit_k, 'temperature')}.",
            required=required,
            actual=actual,
            fix=_remedy(system, thing, worked is sun, shade, limit_k),
            related=(limited.path + ("part",),),
            calculations=(worked,),
        )
    return satisfied(
        thing.tag,
        thing.path + ("part",),
        f"It gets {actual} {where}, which {limited.tag} stands.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


def _inside(system: System, thing: Device, held: tuple[Device, ...], *, sunlit: bool) -> Calculation:
    """Temperature inside a box (or of the air at a device without one), in shade or in sun."""
    air_k = _air_k(system, thing)
    gain = system.handbook.threshold("enclosure_sun_gain_k")
    transfer = system.handbook.threshold("enclosure_heat_w_m2_k")
    inputs = [Input("Tmax", air_k, "temperature", "[site] hottest_air, or the location's own")]
    value, formula = air_k, "Tmax"
    if thing.kind == "enclosure":
        losses = _losses(held)
        area = float(need_part(thing, "surface", "surface that gives off heat"))
        value += temperature_rise_k(sum(i.value for i in losses), area, transfer.value)
        formula += " + ΣP / (k · A)"
        inputs += [
            *losses,
            Input("A", area, "plan_area", f"{thing.tag}, catalogue part {thing.part.id}"),
            Input("k", transfer.value, "number", f"W/(m²·K), {transfer.source}"),
        ]
    if sunlit:
        value += gain.value
        formula += " + sun gain"
        inputs.append(Input("sun gain", gain.value, "temperature_difference", gain.source))
    return Calculation(
        f"temperature inside, {'in the sun' if sunlit else 'in the shade'}",
        thing.tag,
        "Tin",
        value,
        "temperature",
        formula,
        tuple(inputs),
        "IEC TR 60890",
    )


def _air_k(system: System, thing: Device) -> float:
    place = system.place_of(thing)
    own = place.hottest_air if place is not None else None
    return float(own or need(system.site.hottest_air, "the site's hottest air", ("site",), "hottest_air"))


def _losses(held: tuple[Device, ...]) -> tuple[Input, ...]:
    """Heat given off inside. A controller's must be known; fuses and the like count where stated."""
    found = []
    for device in held:
        loss = getattr(device.part, "loss", None)
        if device.kind == "controller":
            loss = need_part(device, "loss", "heat that it gives off")
        if loss is not None:
            found.append(Input("P", float(loss), "power", f"{device.tag}, catalogue part {device.part.id}"))
    return tuple(found)


def _remedy(system: System, thing: Device, in_sun: bool, shade: Calculation, limit_k: float) -> str:
    if in_sun and shade.value <= limit_k:
        return f"Shade it: that leaves {system.show(shade.value, 'temperature')}."
    air_k = _air_k(system, thing)
    if thing.kind != "enclosure" or limit_k <= air_k:
        return "Move it to a cooler place, or take a device for hotter air."
    area = float(thing.part.surface) * (shade.value - air_k) / (limit_k - air_k)
    return f"Shade it and take a box of {area:.2g} m² or more, or one with a metal back on a cool wall."


ENCLOSURE = Rule(
    id="heat.enclosure",
    severity=Severity.WARNING,
    title="Too hot inside an enclosure",
    checks="T = Tmax + ΣP / (k · A) + sun gain <= hottest air that everything inside stands, with k = 5.5 "
    "W/(m²·K) and 15 K of sun gain where the box stands in the sun.",
    why="Electronics above their limit derate, trip at noon, and die young.",
    clauses={"us-2023": "110.3(B)", "iec": "60890"},
    acceptable=True,
    sees_not="The small heat of fuses, breakers and terminals where the catalogue does not state it.",
    look=_housed,
    examine=_enclosure,
    fires=(
        Case(
            "16 W on 0.3 m² in the sun: 62.7 °C, limit 50 °C",
            {"part:box-r.surface": "0.3 m2", "locations.pump house.sunlit": True},
            subject="BOX1",
        ),
        Case(
            "controller without a box, in the sun: 53 °C",
            {"enclosures.BOX1.holds": [], "controllers.CB1.location": "array"},
            subject="CB1",
        ),
    ),
    keeps_still=(
        Case("the same in the shade: 47.7 °C", {"part:box-r.surface": "0.3 m2"}),
        Case("0.9 m² in the shade", {}),
    ),
)

RULES = (ENCLOSURE,)
