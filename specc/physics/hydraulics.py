"""Flow in pipes, heads, suction, surge, and the simple hydraulics of wells and tanks."""

from __future__ import annotations

import math

from specc.physics._range import require_between, require_not_negative, require_positive
from specc.physics.constants import ATMOSPHERE_PA, G_M_S2, WATER_BULK_MODULUS_PA

LAMINAR_REYNOLDS = 2300.0  # below: 64/Re
TURBULENT_REYNOLDS = 5000.0  # above: Colebrook; in between the larger of both


def circle_area_m2(diameter_m: float) -> float:
    """Area of a circle, as the bore of a pipe or a round well.

    Formula: A = π D² / 4.

    diameter_m: diameter [m], above 0
    Returns: area [m²].

    >>> round(circle_area_m2(0.9), 4)
    0.6362

    Source: geometry.
    """
    require_positive(diameter_m=diameter_m)
    return math.pi * diameter_m**2 / 4.0


def velocity_m_s(flow_m3_s: float, bore_m: float) -> float:
    """Mean velocity in a full round pipe.

    Formula: v = Q / (π D² / 4).

    flow_m3_s: flow [m³/s], 0 or more
    bore_m: inside diameter [m], above 0
    Returns: velocity [m/s].

    >>> round(velocity_m_s(10.0 / 60000, 0.025), 3)
    0.34

    Source: continuity.
    """
    require_not_negative(flow_m3_s=flow_m3_s)
    return flow_m3_s / circle_area_m2(bore_m)


def reynolds_number(velocity_m_s: float, bore_m: float, density_kg_m3: float, viscosity_pa_s: float) -> float:
    """Reynolds number of pipe flow.

    Formula: Re = ρ v D / μ.

    velocity_m_s: mean velocity [m/s], 0 or more
    bore_m: inside diameter [m], above 0
    density_kg_m3: density of the water [kg/m³], above 0
    viscosity_pa_s: dynamic viscosity of the water [Pa·s], above 0
    Returns: Reynolds number [-].

    >>> round(reynolds_number(0.3395, 0.025, 998.6, 1.0527e-3), -1)
    8050.0

    Source: definition; ISO 80000-11.
    """
    require_not_negative(velocity_m_s=velocity_m_s)
    require_positive(bore_m=bore_m, density_kg_m3=density_kg_m3, viscosity_pa_s=viscosity_pa_s)
    return density_kg_m3 * velocity_m_s * bore_m / viscosity_pa_s


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a round pipe.

    Formula: 64/Re below Re 2300; above, 1/sqrt(f) = -2 log10(ε/(3.7 D) + 2.51/(Re sqrt(f))),
    solved by iteration; up to Re 5000 the larger of the two.

    reynolds: Reynolds number [-], above 0, up to 1e8
    relative_roughness: ε/D [-], 0 to 0.05
    Returns: friction factor [-].

    >>> round(friction_factor(1e5, 0.0), 4)
    0.018

    Source: C. F. Colebrook, J. Inst. Civ. Eng. 11 (1939) 133; Hagen-Poiseuille for laminar flow.
    """
    require_positive(reynolds=reynolds)
    require_between(0.0, 1e8, reynolds=reynolds)
    require_between(0.0, 0.05, relative_roughness=relative_roughness)
    laminar = 64.0 / reynolds
    if reynolds < LAMINAR_REYNOLDS:
        return laminar
    turbulent = _colebrook(reynolds, relative_roughness)
    return turbulent if reynolds > TURBULENT_REYNOLDS else max(laminar, turbulent)


def full_turbulence_friction_factor(relative_roughness: float) -> float:
    """Darcy friction factor of fully rough flow, the base of equivalent fitting resistances.

    Formula: fT = 0.25 / log10(ε/(3.7 D))².

    relative_roughness: ε/D [-], above 0, up to 0.05
    Returns: friction factor [-].

    1 in commercial steel pipe, 0.0018 in roughness on 1.049 in; the table prints 0.023:

    >>> round(full_turbulence_friction_factor(0.0018 / 1.049), 4)
    0.0225

    Source: L. F. Moody, Trans. ASME 66 (1944) 671; Crane TP-410, A-26 (fT).
    """
    require_positive(relative_roughness=relative_roughness)
    require_between(0.0, 0.05, relative_roughness=relative_roughness)
    return 0.25 / math.log10(relative_roughness / 3.7) ** 2


def friction_head_m(
    flow_m3_s: float,
    bore_m: float,
    length_m: float,
    roughness_m: float,
    density_kg_m3: float,
    viscosity_pa_s: float,
) -> float:
    """Head lost to friction in a straight pipe.

    Formula: h = f (L/D) v² / (2 g); 0 at rest.

    flow_m3_s: flow [m³/s], 0 or more
    bore_m: inside diameter [m], above 0
    length_m: length [m], 0 or more
    roughness_m: equivalent sand roughness ε [m], 0 to 0.05 bore
    density_kg_m3: density of the water [kg/m³], above 0
    viscosity_pa_s: dynamic viscosity of the water [Pa·s], above 0
    Returns: head lost [m].

    >>> round(friction_head_m(10.0 / 60000, 0.025, 120.0, 1.5e-6, 998.6, 1.0527e-3), 2)
    0.93

    Source: Darcy-Weisbach; roughness of drawn plastic 0.0015 mm, galvanised steel 0.15 mm (handbooks).
    """
    require_not_negative(length_m=length_m, roughness_m=roughness_m)
    velocity = velocity_m_s(flow_m3_s, bore_m)
    reynolds = reynolds_number(velocity, bore_m, density_kg_m3, viscosity_pa_s)
    kinetic_m = velocity_head_m(velocity)
    if kinetic_m == 0.0:  # at rest 64/Re has no value, but nothing is lost
        return 0.0
    return friction_factor(reynolds, roughness_m / bore_m) * length_m / bore_m * kinetic_m


def velocity_head_m(velocity_m_s: float) -> float:
    """Head of moving water.

    Formula: h = v² / (2 g).

    velocity_m_s: mean velocity [m/s], 0 or more
    Returns: head [m].

    >>> round(velocity_head_m(1.0), 4)
    0.051

    Source: Bernoulli; g of the 3rd CGPM, 1901.
    """
    require_not_negative(velocity_m_s=velocity_m_s)
    return velocity_m_s**2 / (2.0 * G_M_S2)


def minor_head_m(resistance: float, velocity_m_s: float) -> float:
    """Head lost in fittings.

    Formula: h = K v² / (2 g).

    resistance: sum of the resistance coefficients K [-], 0 or more
    velocity_m_s: mean velocity in the pipe that K refers to [m/s], 0 or more
    Returns: head lost [m].

    >>> round(minor_head_m(10.0, 1.0), 3)
    0.51

    Source: Crane TP-410, equation 2-2.
    """
    require_not_negative(resistance=resistance)
    return resistance * velocity_head_m(velocity_m_s)


def fitting_resistance(equivalent_diameters: float, full_turbulence_factor: float) -> float:
    """Resistance coefficient of a fitting from its equivalent length in diameters.

    Formula: K = n fT.

    equivalent_diameters: n = Le/D [-], 0 or more
    full_turbulence_factor: fT of the pipe size [-], above 0, up to 0.1
    Returns: K [-].

    A 90° threaded elbow (n = 30) in 1 in pipe (fT = 0.023):

    >>> round(fitting_resistance(30.0, 0.023), 2)
    0.69

    Source: Crane TP-410, A-26 to A-29.
    """
    require_not_negative(equivalent_diameters=equivalent_diameters)
    require_positive(full_turbulence_factor=full_turbulence_factor)
    require_between(0.0, 0.1, full_turbulence_factor=full_turbulence_factor)
    return equivalent_diameters * full_turbulence_factor


def hazen_williams_head_m(flow_m3_s: float, bore_m: float, length_m: float, coefficient: float) -> float:
    """Head lost by Hazen-Williams: only to compare with hand sheets, it reads low at small flows.

    Formula: h = 10.67 L Q^1.852 / (C^1.852 D^4.8704).

    flow_m3_s: flow [m³/s], 0 or more
    bore_m: inside diameter [m], above 0
    length_m: length [m], 0 or more
    coefficient: C [-], 60 to 160; 150 for plastic
    Returns: head lost [m].

    >>> round(hazen_williams_head_m(10.0 / 60000, 0.025, 120.0, 150.0), 2)
    0.76

    Source: Hazen-Williams in SI, as in hydraulics handbooks; from memory, unverified.
    """
    require_not_negative(flow_m3_s=flow_m3_s, length_m=length_m)
    require_positive(bore_m=bore_m)
    require_between(60.0, 160.0, coefficient=coefficient)
    slope: float = 10.67 * (flow_m3_s / coefficient) ** 1.852 / bore_m**4.8704
    return slope * length_m


def pressure_from_head_pa(head_m: float, density_kg_m3: float) -> float:
    """Pressure under a column of water.

    Formula: p = ρ g h.

    head_m: head [m], finite; negative for a suction
    density_kg_m3: density of the water [kg/m³], above 0
    Returns: pressure above that at the top [Pa].

    >>> round(pressure_from_head_pa(22.0, 998.6), -3)
    215000.0

    Source: hydrostatics; g of the 3rd CGPM, 1901.
    """
    require_between(-1e5, 1e5, head_m=head_m)
    require_positive(density_kg_m3=density_kg_m3)
    return density_kg_m3 * G_M_S2 * head_m


def head_from_pressure_m(pressure_pa: float, density_kg_m3: float) -> float:
    """Column of water that a pressure holds up.

    Formula: h = p / (ρ g).

    pressure_pa: pressure [Pa], finite; negative for a suction
    density_kg_m3: density of the water [kg/m³], above 0
    Returns: head [m].

    >>> round(head_from_pressure_m(410e3, 998.6), 2)
    41.87

    Source: hydrostatics; g of the 3rd CGPM, 1901.
    """
    require_between(-1e9, 1e9, pressure_pa=pressure_pa)
    require_positive(density_kg_m3=density_kg_m3)
    return pressure_pa / (density_kg_m3 * G_M_S2)


def suction_vacuum_pa(lift_m: float, losses_m: float, density_kg_m3: float) -> float:
    """Vacuum that a gauge shows at the inlet of a pump above its water.

    Formula: Δp = ρ g (z + Σ h).

    lift_m: pump inlet above the pumping water level z [m], negative where the source floods it
    losses_m: all losses in the suction line, filter included [m], 0 or more
    density_kg_m3: density of the water [kg/m³], above 0
    Returns: pressure below atmospheric [Pa], negative above atmospheric.

    >>> round(suction_vacuum_pa(3.4, 0.75, 998.6), -2)
    40600.0

    Source: Bernoulli, velocity head neglected; common practice, no source.
    """
    require_between(-1e4, 1e4, lift_m=lift_m)
    require_not_negative(losses_m=losses_m)
    return pressure_from_head_pa(lift_m + losses_m, density_kg_m3)


def npsh_available_m(
    atmosphere_pa: float, vapour_pressure_pa: float, density_kg_m3: float, lift_m: float, losses_m: float
) -> float:
    """Net positive suction head that a site offers a pump.

    Formula: NPSHa = (patm - pv) / (ρ g) - z - Σ h.

    atmosphere_pa: air pressure at the site [Pa], above 0
    vapour_pressure_pa: vapour pressure at the water temperature [Pa], 0 up to the air pressure
    density_kg_m3: density of the water [kg/m³], above 0
    lift_m: pump inlet above the pumping water level z [m], negative where the source floods it
    losses_m: all losses in the suction line, dirty filter and acceleration included [m], 0 or more
    Returns: head [m]; 0 or less means that the water boils before the pump.

    >>> round(npsh_available_m(94322.0, 2064.7, 998.6, 3.4, 0.75), 2)
    5.27

    Source: ANSI/HI 9.6.1; ISO 9906; from memory, unverified.
    """
    require_positive(atmosphere_pa=atmosphere_pa)
    require_between(0.0, atmosphere_pa, vapour_pressure_pa=vapour_pressure_pa)
    require_between(-1e4, 1e4, lift_m=lift_m)
    require_not_negative(losses_m=losses_m)
    return head_from_pressure_m(atmosphere_pa - vapour_pressure_pa, density_kg_m3) - lift_m - losses_m


def self_priming_lift_m(dry_lift_m: float, atmosphere_pa: float) -> float:
    """Dry lift of a self-priming pump at the air pressure of the site.

    Formula: z = z0 patm / 101325.

    dry_lift_m: dry suction lift of the data sheet, at sea level [m], 0 to 10
    atmosphere_pa: air pressure at the site [Pa], above 0
    Returns: dry lift at the site [m].

    >>> round(self_priming_lift_m(3.0, 94322.0), 2)
    2.79

    Source: common practice, no source.
    """
    require_between(0.0, 10.0, dry_lift_m=dry_lift_m)
    require_positive(atmosphere_pa=atmosphere_pa)
    return dry_lift_m * atmosphere_pa / ATMOSPHERE_PA


def acceleration_head_m(
    length_m: float, velocity_m_s: float, speed_rev_s: float, pump_factor: float, liquid_factor: float = 1.4
) -> float:
    """Head that accelerates the suction column of a reciprocating pump; short rigid lines only.

    Formula: h = L v n C / (K g), n in rev/min.

    length_m: length of the suction line L [m], 0 to 15
    velocity_m_s: mean velocity in it v [m/s], 0 or more
    speed_rev_s: crank speed [1/s], 0 to 10 (600 rev/min); above, use the maker's lift
    pump_factor: C [-], above 0, up to 0.4: 0.200 single double-acting, 0.066 triplex
    liquid_factor: K [-], 1 to 2.5: 1.4 to 1.5 for water
    Returns: head [m].

    >>> round(acceleration_head_m(6.0, 0.34, 1.0, 0.200, 1.5), 2)
    1.66

    Source: ANSI/HI 6.1-6.5; constants and limits from memory, unverified.
    """
    require_between(0.0, 15.0, length_m=length_m)
    require_not_negative(velocity_m_s=velocity_m_s)
    require_between(0.0, 10.0, speed_rev_s=speed_rev_s)
    require_positive(pump_factor=pump_factor)
    require_between(0.0, 0.4, pump_factor=pump_factor)
    require_between(1.0, 2.5, liquid_factor=liquid_factor)
    return length_m * velocity_m_s * 60.0 * speed_rev_s * pump_factor / (liquid_factor * G_M_S2)


def hydraulic_power_w(flow_m3_s: float, head_m: float, density_kg_m3: float) -> float:
    """Power that the water takes up.

    Formula: P = ρ g Q H.

    flow_m3_s: flow [m³/s], 0 or more
    head_m: total head [m], 0 or more
    density_kg_m3: density of the water [kg/m³], above 0
    Returns: power [W].

    >>> round(hydraulic_power_w(10.0 / 60000, 28.58, 998.6), 1)
    46.6

    Source: definition; ISO 9906.
    """
    require_not_negative(flow_m3_s=flow_m3_s, head_m=head_m)
    return flow_m3_s * pressure_from_head_pa(head_m, density_kg_m3)


def wave_celerity_m_s(
    density_kg_m3: float,
    pipe_modulus_pa: float,
    dimension_ratio: float,
    bulk_modulus_pa: float = WATER_BULK_MODULUS_PA,
) -> float:
    """Speed of a pressure wave in a full pipe.

    Formula: c = 1 / sqrt(ρ (1/K + (SDR - 2)/E)).

    density_kg_m3: density of the water [kg/m³], above 0
    pipe_modulus_pa: short-term elastic modulus of the pipe wall E [Pa], above 0
    dimension_ratio: outside diameter over wall SDR [-], 3 to 100
    bulk_modulus_pa: bulk modulus of the water K [Pa], above 0
    Returns: celerity [m/s].

    Polyethylene, SDR 11, E = 0.8 GPa:

    >>> round(wave_celerity_m_s(998.6, 0.8e9, 11.0), -1)
    290.0

    Source: Korteweg; surge chapters of plastic pipe handbooks; from memory, unverified.
    """
    require_positive(
        density_kg_m3=density_kg_m3, pipe_modulus_pa=pipe_modulus_pa, bulk_modulus_pa=bulk_modulus_pa
    )
    require_between(3.0, 100.0, dimension_ratio=dimension_ratio)
    compliance = 1.0 / bulk_modulus_pa + (dimension_ratio - 2.0) / pipe_modulus_pa
    return 1.0 / math.sqrt(density_kg_m3 * compliance)


def surge_pressure_pa(density_kg_m3: float, celerity_m_s: float, velocity_change_m_s: float) -> float:
    """Pressure rise where flow is stopped at once.

    Formula: Δp = ρ c Δv.

    density_kg_m3: density of the water [kg/m³], above 0
    celerity_m_s: speed of the pressure wave c [m/s], above 0
    velocity_change_m_s: velocity that is stopped Δv [m/s], 0 or more
    Returns: pressure rise [Pa].

    >>> round(surge_pressure_pa(998.6, 250.0, 0.3395), -3)
    85000.0

    Source: N. Joukowsky, 1898; any hydraulics handbook.
    """
    require_positive(density_kg_m3=density_kg_m3, celerity_m_s=celerity_m_s)
    require_not_negative(velocity_change_m_s=velocity_change_m_s)
    return density_kg_m3 * celerity_m_s * velocity_change_m_s


def orifice_flow_m3_s(diameter_m: float, head_m: float, discharge_coefficient: float = 0.6) -> float:
    """Flow through an opening under a head: an overflow runs with its own bore as the head.

    Formula: Q = C A sqrt(2 g h).

    diameter_m: diameter of the opening [m], above 0
    head_m: head over the opening h [m], 0 or more
    discharge_coefficient: C [-], above 0, at most 1; 0.6 for a sharp edge
    Returns: flow [m³/s].

    >>> round(orifice_flow_m3_s(0.025, 0.025) * 60000, 1)
    12.4

    Source: Torricelli; coefficient of a sharp-edged orifice in any hydraulics handbook.
    """
    require_not_negative(head_m=head_m)
    require_positive(discharge_coefficient=discharge_coefficient)
    require_between(0.0, 1.0, discharge_coefficient=discharge_coefficient)
    return discharge_coefficient * circle_area_m2(diameter_m) * math.sqrt(2.0 * G_M_S2 * head_m)


def overflow_bore_m(flow_m3_s: float, discharge_coefficient: float = 0.6) -> float:
    """Bore of an overflow that carries a flow with its own bore as the head.

    Formula: d = (4 Q / (π C sqrt(2 g)))^(2/5), from Q = C π/4 d² sqrt(2 g d).

    flow_m3_s: flow to be carried Q [m³/s], 0 or more
    discharge_coefficient: C [-], above 0, at most 1; 0.6 for a sharp edge
    Returns: bore [m].

    >>> round(overflow_bore_m(10.0 / 60000) * 1000, 1)
    23.0

    Source: Torricelli; coefficient of a sharp-edged orifice in any hydraulics handbook.
    """
    require_not_negative(flow_m3_s=flow_m3_s)
    require_positive(discharge_coefficient=discharge_coefficient)
    require_between(0.0, 1.0, discharge_coefficient=discharge_coefficient)
    return float((4.0 * flow_m3_s / (math.pi * discharge_coefficient * math.sqrt(2.0 * G_M_S2))) ** 0.4)


def submergence_m(bore_m: float, velocity_m_s: float) -> float:
    """Water needed above an intake so that it draws no air.

    Formula: S = D (1 + 2.3 v / sqrt(g D)).

    bore_m: diameter of the intake D [m], above 0
    velocity_m_s: velocity at the intake v [m/s], 0 or more
    Returns: depth above the intake [m].

    >>> round(submergence_m(0.025, 0.3395), 3)
    0.064

    Source: ANSI/HI 9.8; from memory, unverified.
    """
    require_positive(bore_m=bore_m)
    require_not_negative(velocity_m_s=velocity_m_s)
    return bore_m * (1.0 + 2.3 * velocity_m_s / math.sqrt(G_M_S2 * bore_m))


def round_well_volume_m3(diameter_m: float, drawdown_m: float) -> float:
    """Water stored between two levels of a round well.

    Formula: V = π D² / 4 · Δz.

    diameter_m: inside diameter of the well [m], above 0
    drawdown_m: upper level less lower level [m], 0 or more
    Returns: volume [m³].

    >>> round(round_well_volume_m3(0.9, 1.2), 3)
    0.763

    Source: geometry.
    """
    require_not_negative(drawdown_m=drawdown_m)
    return circle_area_m2(diameter_m) * drawdown_m


def storage_time_s(volume_m3: float, pump_flow_m3_s: float, inflow_m3_s: float) -> float:
    """How long stored water lasts while pumping.

    Formula: t = V / (Q - q).

    volume_m3: water stored above the stop level [m³], 0 or more
    pump_flow_m3_s: flow of the pump Q [m³/s], 0 or more
    inflow_m3_s: inflow of the source q [m³/s], 0 or more
    Returns: time [s]; infinity where the inflow keeps up with the pump.

    >>> round(storage_time_s(0.763, 10.0 / 60000, 6.0 / 60000) / 60)
    191

    Source: water balance.
    """
    require_not_negative(volume_m3=volume_m3, pump_flow_m3_s=pump_flow_m3_s, inflow_m3_s=inflow_m3_s)
    if inflow_m3_s >= pump_flow_m3_s:
        return math.inf
    return volume_m3 / (pump_flow_m3_s - inflow_m3_s)


def float_band_m(tether_m: float) -> float:
    """Height between the on and off levels of a tethered float that swings 45° up and down.

    Formula: Δz = 2 l sin 45°.

    tether_m: free length of the tether l [m], 0 to 10
    Returns: band [m].

    >>> round(float_band_m(1.0), 1)
    1.4

    Source: geometry; common practice, no source.
    """
    require_between(0.0, 10.0, tether_m=tether_m)
    return tether_m * math.sqrt(2.0)


def float_band_time_s(area_m2: float, band_m: float, flow_m3_s: float) -> float:
    """Time that a flow takes to fill or empty the band between two float levels.

    Formula: t = A Δz / Q.

    area_m2: plan area of the tank or well [m²], above 0
    band_m: height between the levels Δz [m], 0 or more
    flow_m3_s: flow [m³/s], above 0
    Returns: time [s].

    >>> round(float_band_time_s(2.0, 0.1, 10.0 / 60000) / 60, 1)
    20.0

    Source: water balance.
    """
    require_positive(area_m2=area_m2, flow_m3_s=flow_m3_s)
    require_not_negative(band_m=band_m)
    return area_m2 * band_m / flow_m3_s


def _colebrook(reynolds: float, relative_roughness: float) -> float:
    """Turbulent friction factor by Newton's method on x = 1/sqrt(f), from an explicit start."""
    rough, smooth = relative_roughness / 3.7, 2.51 / reynolds
    x = -1.8 * math.log10(rough**1.11 + 6.9 / reynolds)
    for _ in range(50):
        inside = rough + smooth * x
        slope = 1.0 + 2.0 * smooth / (math.log(10.0) * inside)
        step = (x + 2.0 * math.log10(inside)) / slope
        x -= step
        if abs(step) < 1e-12 * x:
            return x**-2
    raise ValueError(f"no friction factor for Re {reynolds!r}, roughness {relative_roughness!r}")
