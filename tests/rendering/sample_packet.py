"""An invented job as a packet, for the tests of everything that prints. Each test changes one thing."""

from __future__ import annotations

from datetime import date
from html import escape
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Finding, Severity, Span, Verdict
from specc.documents.commissioning.model import Commissioning, Dependence, Reading, Step
from specc.documents.packet import (
    CautionTexts,
    DrawingSheet,
    JobHeader,
    Packet,
    read_caution_texts,
)
from specc.documents.placards import Placard
from specc.documents.tables import Column, Table
from specc.resources import templates_dir

# Everything that has a meaning in HTML, SVG, CSS, templates, JSON or spreadsheets.
HOSTILE = (
    "</script><script>alert(1)</script>",
    "<svg onload=alert(1)>",
    "Fold & Sons",
    "\"quoted\" and 'quoted'",
    "{{7*7}}",
    "{% raw %}",
    "=cmd|' /C calc'!A0",
    "</style>",
    "]]>",
)


def header(**changes: Any) -> JobHeader:
    """The job header of the sample, with some fields changed."""
    fields: dict[str, Any] = {
        "title": "Cedar Fold orchard: dug well to header tank",
        "number": "CF-07",
        "prepared_for": "Cedar Fold growers",
        "prepared_by": "J. Installer",
        "date": date(2026, 5, 2),
        "rulebook": "US rulebook, 2023 edition",
        "units": "us",
    }
    return JobHeader(**(fields | changes))


def svg(label: str = "PV1") -> str:
    """A small drawing with text and a frame, letter landscape."""
    safe = escape(label)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" width="279.4mm" height="215.9mm"'
        ' viewBox="0 0 279.4 215.9" role="img">'
        f"<title>One-line diagram of {safe}</title>"
        '<rect x="10" y="10" width="259.4" height="195.9" fill="none" stroke="#000" stroke-width="0.5"/>'
        '<path d="M60 80H120V100H180" fill="none" stroke="#000" stroke-width="0.35"/>'
        '<rect x="30" y="70" width="30" height="20" fill="none" stroke="#000" stroke-width="0.35"/>'
        '<circle cx="190" cy="100" r="10" fill="none" stroke="#000" stroke-width="0.35"/>'
        f'<text x="32" y="66" font-family="specc Sans" font-size="4">{safe}</text>'
        '<text x="187" y="102" font-family="specc Sans" font-size="5">M</text>'
        "</svg>"
    )


def drawing(label: str = "PV1") -> DrawingSheet:
    """The sample drawing on its sheet."""
    return DrawingSheet("One-line diagram", svg(label), 279.4, 215.9, border_mm=10.0)


CONDUCTOR_COLUMNS = (
    Column("tag", "Tag"),
    Column("from", "From"),
    Column("to", "To"),
    Column("size", "Size"),
    Column("type", "Type"),
    Column("color", "Colour"),
    Column("length", "Length", "length", "right"),
    Column("current", "Design current", "current", "right"),
    Column("ampacity", "Ampacity", "current", "right"),
    Column("drop", "Voltage drop", "fraction", "right"),
    Column("raceway", "Raceway"),
    Column("note", "Note"),
)


def conductor_schedule(rows: int = 46) -> Table:
    """A schedule long enough for more than one page."""
    colors = ("red", "black", "green")
    return Table(
        name="conductor-schedule",
        title="Conductor schedule",
        columns=CONDUCTOR_COLUMNS,
        rows=tuple(
            {
                "tag": f"R{1 + i // 3}.{1 + i % 3}",
                "from": "DS1.2" if i % 3 else "PV1.string1-positive",
                "to": "CB1.pv+" if i % 3 else "BOX1.ground",
                "size": "8 AWG",
                "type": "THWN-2 copper",
                "color": colors[i % 3],
                "length": 57.912 if i % 4 else 3.0,
                "current": None if i % 3 == 2 else 18.75,
                "ampacity": None if i % 3 == 2 else 50.0,
                "drop": float("nan") if i == 4 else 0.0251,
                "raceway": "C1",
                "note": "upsized for voltage drop; pigtail of 10 AWG at the controller" if i % 9 == 0 else "",
            }
            for i in range(rows)
        ),
        notes=(
            "Lengths are one way, along the route.",
            "Voltage drop at 75 °C conductor temperature.",
        ),
    )


def parts_list(extra: tuple[str, ...] = ()) -> Table:
    """Grouped and with a total; ``extra`` adds rows with these names."""
    entries = (
        ("Array", "PV1", "Module 160 W, 36 cells", 2, 148.0),
        ("Array", "DS1", "DC isolator, 2 poles, 32 A", 1, 61.5),
        ("Control", "CB1", "Current booster 24 V, 10 A", 1, 189.0),
        ("Control", "F1", "Fuse 10x38 mm, 8 A, DC", 1, 6.2),
        ("Control", "", "Fuse holder 10x38 mm", 1, 11.4),
        ("Water", "P1", "Vane pump 24 V with motor, rated 150 gal/h", 1, 412.0),
        ("Water", "S1", "PE pipe 1-1/4 in, coil of 100 ft", 1, 73.25),
        *(("Water", "", name, 1, 1.0) for name in extra),
    )
    return Table(
        name="parts-list",
        title="Parts list",
        columns=(
            Column("group", "Group"),
            Column("tag", "Tag"),
            Column("part", "Part"),
            Column("quantity", "Quantity", "count", "right"),
            Column("each", "Price each", "money", "right"),
            Column("price", "Price", "money", "right"),
        ),
        rows=tuple(
            {"group": g, "tag": t, "part": p, "quantity": n, "each": e, "price": n * e}
            for g, t, p, n, e in entries
        ),
        totals={"part": "Total", "price": sum(n * e for _, _, _, n, e in entries)},
        notes=("Prices are catalogue estimates.",),
        group_by="group",
    )


def finding(verdict: Verdict, severity: Severity, message: str, **changes: Any) -> Finding:
    """A finding about R1 with every field filled, some of them changed."""
    fields: dict[str, Any] = {
        "rule": "drop.power-run",
        "subject": "R1",
        "required": "at most 3 %",
        "actual": "4.33 %",
        "clause": "210.19, informational note",
        "fix": "use 8 AWG, then look at the terminals again",
        "places": (Span("orchard.toml", 88, 1, 88, 12),),
    }
    return Finding(verdict=verdict, severity=severity, message=message, **(fields | changes))


def findings() -> tuple[Finding, ...]:
    """Warnings, advice, an accepted deviation, a check not made, and satisfied ones; nothing that stops."""
    return (
        finding(Verdict.VIOLATED, Severity.WARNING, "Run R1 drops 4.33 % of the motor voltage at 8 A."),
        finding(
            Verdict.VIOLATED,
            Severity.ADVICE,
            "The pump house has no spare fuse of the rating of F1.",
            rule="fuse.no-spare",
            subject="F1",
            required="",
            actual="",
            clause="",
        ),
        finding(
            Verdict.VIOLATED,
            Severity.WARNING,
            "Run R4 drops 3.20 % of the array voltage at 9.3 A.",
            subject="R4",
            actual="3.2 %",
            accepted="The booster works down to 26 V; the loss is 4 W at noon.",
        ),
        finding(
            Verdict.NOT_CHECKED,
            Severity.DANGER,
            "The breaking capacity of F1 could not be compared: the part gives none.",
            rule="fuse.breaking-capacity",
            subject="F1",
            required="at least the prospective current",
            actual="",
            fix="add breaking_capacity to the part",
        ),
        *(
            finding(Verdict.SATISFIED, Severity.ERROR, "Holds.", rule="terminal.range", subject=f"R{i}")
            for i in range(1, 9)
        ),
    )


def calculations(subjects: int = 6) -> tuple[Calculation, ...]:
    """Worked numbers of several dimensions; the figures are those of one run and one suction line."""
    drop = Calculation(
        what="Voltage drop of the run",
        subject="R1",
        symbol="ΔV",
        value=0.905,
        dimension="voltage",
        formula="ΔV = 2 · L · R′ · I",
        inputs=(
            Input("L", 10.0, "length", "[[runs]] R1 length"),
            Input("R′", 0.004068, "resistance_per_length", "conductor table, 10 AWG copper, 75 °C"),
            Input("I", 11.12, "current", "PV1, operating point"),
        ),
        source="Chapter 9, Table 8",
    )
    vacuum = Calculation(
        what="Suction vacuum at the pump inlet, filter clean",
        subject="S1",
        symbol="p",
        value=40600.0,
        dimension="pressure",
        formula="p = ρ · g · (z + h_f + h_filter)",
        inputs=(
            Input("z", 3.4, "head", "[source] low_water_level, P1 elevation"),
            Input("h_f", 0.45, "head", "friction of S1, this sheet"),
            Input("ρ", 998.6, "number", "water at 18 °C"),
        ),
        source="Energy equation between two points of a pipe",
    )
    share = Calculation(
        what="Drop as a share of the voltage",
        subject="R1",
        symbol="ΔV/V",
        value=0.0251,
        dimension="fraction",
        formula="ΔV / Vmp",
        inputs=(),
        source="Common practice, no source",
    )
    unknown = Calculation(
        what="Breaking current",
        subject="F1",
        symbol="I_k",
        value=float("nan"),
        dimension="current",
        formula="I_k = 1.05 · U / R",
        inputs=(Input("R", float("nan"), "resistance", ""),),
        source="",
    )
    more = tuple(
        Calculation(**{**vars(vacuum), "subject": f"S{i}", "inputs": vacuum.inputs})
        for i in range(2, subjects)
    )
    return (drop, vacuum, share, unknown, *more)


def caution_texts() -> CautionTexts:
    """The texts as shipped."""
    path = templates_dir() / "packet" / "cautions.toml"
    return read_caution_texts(path.read_text(encoding="utf-8"))


def commissioning_sheet(words: str = "PV1 string 1, + to -") -> Commissioning:
    """Two stages: a reading that follows the cell temperature, one that lacks a datum; ``words`` in both."""
    volts = Reading(
        "array",
        words,
        "41.36 V at Tc 45 °C",
        "39.29 V to 43.43 V",
        41.36,
        39.292,
        43.428,
        "voltage",
        ("PV1",),
        44.0,
        -0.003,
    )
    table = Dependence(words, ("Tc", "25 °C"), ((words, "44.00"),), "Voc = Ns · Voc,label")
    lacking = Reading(
        words, "P1", "not worked out; missing: P1: armature resistance", missing="P1: armature resistance"
    )
    return Commissioning(
        (
            Step(1, "no short", "Cold", "No short", words, "Find it.", (lacking,), live=False),
            Step(2, "open circuit", "Live", "Open-circuit voltage", "In light.", words, (volts,), (table,)),
        ),
        ("Do the tests in this order.",),
        "Next check: after one month.",
        ("Battery voltage",),
    )


def placards(words: str = "PV DISCONNECT DS1") -> tuple[Placard, ...]:
    """A label, and one that lacks a value."""
    return (
        Placard("DS1", "array disconnect", words, (f"{words}.", "Highest voltage 49.3 V DC.")),
        Placard("F1", "fuse replacement", "F1", ("Class not known.",), 1, 2),
    )


def sample_packet(**changes: Any) -> Packet:
    """The packet of the sample job; keyword arguments replace fields."""
    fields: dict[str, Any] = {
        "header": header(),
        "drawings": (drawing(),),
        "conductor_schedule": conductor_schedule(),
        "parts_list": parts_list(),
        "findings": findings(),
        "calculations": calculations(),
        "cautions": caution_texts().without({"battery", "building array", "potable"}),
        "commissioning": commissioning_sheet(),
        "placards": placards(),
        "accepted_by": {("drop.power-run", "R4"): "J. Installer"},
    }
    return Packet(**(fields | changes))
