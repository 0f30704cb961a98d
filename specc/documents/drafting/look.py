"""The sizes of the drawing, read from templates/drawing/look.toml."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from specc.templates import per_templates, read_toml_template


@dataclass(frozen=True)
class Paper:
    """A landscape sheet, mm. ``series`` is "us" or "iso".

    ``enlarged`` is by how much its letters are larger than those of the smallest sheet, so that it can still
    be read when it is copied down to that.
    """

    name: str
    width: float
    height: float
    series: str = ""
    enlarged: float = 1.0

    @property
    def least_scale(self) -> float:
        """The smallest scale of a diagram on it."""
        return read_look().least_scale * self.enlarged


@dataclass(frozen=True)
class Field:
    """A cell of the title block: which field, its printed name, its share of the width."""

    field: str
    name: str
    share: float


@dataclass(frozen=True)
class FieldRow:
    """A row of the title block."""

    height: float
    cells: tuple[Field, ...]


@dataclass(frozen=True)
class Look:
    """Sizes in mm at full scale; the file explains each."""

    grid: float
    track: float
    channel_edge: float
    row_gap: float
    outline_gap: float
    jump: float
    dot: float
    arrow: float
    tick: float
    caption_width: float
    label_width: float
    line_pitch: float
    least_scale: float
    most_scale: float
    least_text: float
    margin: float
    clearance: float
    gutter: float
    legend_scale: float
    legend_line: float
    text: MappingProxyType[str, float]
    line: MappingProxyType[str, float]
    wire: MappingProxyType[str, dict[str, Any]]
    outline: MappingProxyType[str, dict[str, Any]]
    wiring: MappingProxyType[str, float]
    legend: MappingProxyType[str, dict[str, str]]
    title_block_width: float
    title_block_firm: float
    title_block_rows: tuple[FieldRow, ...]
    papers: tuple[Paper, ...]


@per_templates
def read_look() -> Look:
    """The look in the templates folder."""
    return read_toml_template("drawing/look.toml", _look, sizes=True)


def _look(data: dict[str, Any]) -> Look:
    block = data.pop("title_block")
    papers = tuple(Paper(**paper) for paper in data.pop("paper"))
    tables: dict[str, Any] = {
        name: MappingProxyType(data.pop(name))
        for name in ("text", "line", "wire", "outline", "wiring", "legend")
    }
    rows = tuple(
        FieldRow(row["height"], tuple(Field(**cell) for cell in row["cells"])) for row in block["rows"]
    )
    return Look(
        **data,
        **tables,
        title_block_width=block["width"],
        title_block_firm=block["firm"],
        title_block_rows=rows,
        papers=papers,
    )


def papers_of(series: str) -> tuple[Paper, ...]:
    """The sheets of a series ("us" or "iso"), smallest first."""
    return tuple(paper for paper in read_look().papers if paper.series == series)
