"""Heat inside an enclosure, and ventilation of a battery box."""

from __future__ import annotations

from specc.physics._range import require_between, require_count, require_not_negative, require_positive


def temperature_rise_k(loss_w: float, area_m2: float, transfer_w_m2_k: float = 5.5) -> float:
    """Rise of the inside temperature of a closed box above the air around it, without sun.

    Formula: ΔT = P / (k A).

    loss_w: heat given off inside [W], 0 or more
    area_m2: surface that gives off heat [m²], above 0
    transfer_w_m2_k: heat transfer coefficient k [W/(m²·K)], 1 to 50; 5.5 painted steel, still air
    Returns: temperature rise [K].

    >>> round(temperature_rise_k(16.0, 0.3), 1)
    9.7

    Source: method of IEC TR 60890; k from memory, unverified.
    """
    require_not_negative(loss_w=loss_w)
    require_positive(area_m2=area_m2)
    require_between(1.0, 50.0, transfer_w_m2_k=transfer_w_m2_k)
    return loss_w / (transfer_w_m2_k * area_m2)


def battery_ventilation_m3_s(cells: int, gassing_current_a: float) -> float:
    """Air flow that keeps the hydrogen of a charging lead-acid battery thin enough.

    Formula: Qv = 0.05 n I m³/h, I = Igas C / 1000 with Igas = 20 (vented) or 8 (valve-regulated)
    mA per Ah at boost charge.

    cells: cells in series n [-], 1 or more
    gassing_current_a: current that makes gas in each cell I [A], 0 or more
    Returns: air flow [m³/s].

    12 vented cells of 100 Ah, 20 mA/Ah:

    >>> round(battery_ventilation_m3_s(12, 2.0) * 3600, 2)
    1.2

    Source: IEC 62485-2, clause 7; from memory, unverified.
    """
    require_count(cells=cells)
    require_not_negative(gassing_current_a=gassing_current_a)
    return 0.05 * cells * gassing_current_a / 3600.0


def ventilation_opening_m2(air_flow_m3_s: float) -> float:
    """Free area of the inlet, and again of the outlet, for natural ventilation.

    Formula: A = 28 Qv cm², Qv in m³/h.

    air_flow_m3_s: air flow needed [m³/s], 0 or more
    Returns: free area of each opening [m²].

    >>> round(ventilation_opening_m2(1.2 / 3600) * 1e4, 1)
    33.6

    Source: IEC 62485-2, clause 7; from memory, unverified.
    """
    require_not_negative(air_flow_m3_s=air_flow_m3_s)
    return 28e-4 * 3600.0 * air_flow_m3_s
