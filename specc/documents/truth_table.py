"""The control truth table: what every switch sees, which pump then runs, and what decides it."""

from __future__ import annotations

from collections.abc import Iterator

from specc.documents.tables import Cell, Column, Table
from specc.system.charging import BY_HAND, bereft, opened_first
from specc.system.model import Device
from specc.system.system import System
from specc.system.truth import TruthRow, truth_rows

MOST_COLUMNS = 8  # switches with a column of their own; with more the state in words says it


def truth_table(system: System) -> Table | None:
    """Every state of the controls; None where the job has no pump."""
    pumps, switches = system.of_kind("pump"), system.of_kind("switch")
    if not pumps:
        return None
    own = switches if len(switches) <= MOST_COLUMNS else ()
    columns = (
        Column("state", "State"),
        *(Column(f"switch_{s.tag}", s.tag) for s in own),
        *(
            column
            for p in pumps
            for column in (Column(f"pump_{p.tag}", p.tag), Column(f"why_{p.tag}", "Because"))
        ),
    )
    rows = tuple(_row(row, own) for row in truth_rows(system))
    notes = (*_notes(switches), *_charger_notes(system))
    return Table("control-truth-table", "Control truth table", columns, rows, notes)


def _row(row: TruthRow, switches: tuple[Device, ...]) -> dict[str, Cell]:
    cells: dict[str, Cell] = {"state": row.state}
    for switch in switches:
        cells[f"switch_{switch.tag}"] = "STOP" if row.happened[switch.tag] else "clear"
    for pump in row.pumps:
        cells[f"pump_{pump.pump.tag}"] = "runs" if pump.runs else "stands"
        cells[f"why_{pump.pump.tag}"] = pump.why
    return cells


def _notes(switches: tuple[Device, ...]) -> list[str]:
    notes = [
        "Every hand-worked device is closed and every fuse whole, unless the row says otherwise. A pump runs "
        "when it hangs on a closed circuit with an array or a battery, or with a controller that is switched "
        "on and fed.",
        "Try each row before handing over: move the float by hand, and open each isolator in turn, in the "
        "order of its row.",
    ]
    notes += [f"{s.tag} guards: {s.spec.guards}; closes on {s.spec.closes_on}." for s in switches]
    return notes


def _charger_notes(system: System) -> Iterator[str]:
    for device in system.of_kind(*BY_HAND):
        left = ", ".join(c.tag for c in bereft(system, (device,)))
        if left:
            before = " and ".join(d.tag for d in opened_first(system, device))
            order = f"open {before} first, close it last" if before else "cover the array first"
            yield (
                f"{device.tag}: {order}. {left} must not lose its battery while its array is on it (common "
                "practice, no source; its maker's instructions govern)."
            )
