"""Charts: round axes, series at their places, labels that meet nothing, and the same picture every time."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specc.documents.charts import Axis, Chart, Note, Series, chart_table, draw_chart
from specc.documents.figures import Figure, clipped, hatched, read_chart_look, round_ticks
from specc.documents.shapes import Rect
from tests.documents.figure_faults import figure_faults

X = tuple(float(n) for n in range(11))


def chart(*series: Series, **more: object) -> Chart:
    return Chart("test", "A test", Axis("across, m"), Axis("up, ft", low=0.0), series, **more)  # type: ignore[arg-type]


def line(label: str = "a", y: tuple[float, ...] = X, **more: object) -> Series:
    return Series(label, "line", X[: len(y)], y, **more)  # type: ignore[arg-type]


def traced(figure: Figure, role: str) -> list[tuple[tuple[float, float], ...]]:
    return [trace.points for trace in figure.traces if trace.role == role]


# -- axes ----------------------------------------------------------------------------------------


@given(st.floats(-1e6, 1e6), st.just(0.0) | st.floats(1.0, 1e6))
def test_ticks_are_round_and_enclose_their_values(low: float, span: float) -> None:
    ticks = round_ticks(low, low + span)
    step = ticks.values[1] - ticks.values[0]
    leading = step / 10.0 ** math.floor(math.log10(step) + 1e-9)

    assert min(abs(leading - round_one) for round_one in (1.0, 2.0, 5.0, 10.0)) < 1e-6
    assert ticks.low <= low + 1e-6 * step
    assert ticks.high >= low + span - 1e-6 * step
    assert 2 <= len(ticks.values) <= 12
    assert len(set(ticks.labels)) == len(ticks.labels)


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (0.0, 3.0, ("0.0", "0.5", "1.0", "1.5", "2.0", "2.5", "3.0")),
        (-16.0, 74.0, ("\N{MINUS SIGN}20", "0", "20", "40", "60", "80")),
        (0.0, 0.012, ("0.000", "0.002", "0.004", "0.006", "0.008", "0.010", "0.012")),
    ],
)
def test_ticks_are_written_as_people_write_them(low: float, high: float, labels: tuple[str, ...]) -> None:
    assert round_ticks(low, high).labels == labels


def test_an_axis_that_begins_at_nothing_shows_nothing_below_it_where_all_is_nothing() -> None:
    figure = draw_chart(chart(line(y=(0.0,) * 11)), 120.0, 80.0)

    words = [text.content for text in figure.texts]
    assert "0.0" in words or "0" in words
    assert not [word for word in words if word[:1] in ("-", "\N{MINUS SIGN}")]


def test_an_axis_to_nowhere_is_refused() -> None:
    with pytest.raises(ValueError, match="no axis"):
        round_ticks(0.0, math.inf)
    with pytest.raises(ValueError, match="nothing to show"):
        draw_chart(chart(line(y=(math.nan, math.nan))), 100.0, 70.0)


# -- series --------------------------------------------------------------------------------------


def test_a_line_stands_where_its_values_say() -> None:
    figure = draw_chart(chart(line()), 120.0, 80.0)
    (points,) = traced(figure, "series")
    (frame,) = traced(figure, "frame")
    left, top = min(x for x, _ in frame), min(y for _, y in frame)
    right, bottom = max(x for x, _ in frame), max(y for _, y in frame)

    assert points[0] == pytest.approx((left, bottom))
    assert points[-1] == pytest.approx((right, top))
    assert points[5] == pytest.approx(((left + right) / 2, (top + bottom) / 2))


def test_the_right_axis_has_a_scale_of_its_own() -> None:
    made = chart(
        line(), line("b", tuple(100.0 * v for v in X), right=True, style=1), right=Axis("W", low=0.0)
    )
    one, other = traced(draw_chart(made, 120.0, 80.0), "series")

    assert [y for _, y in one] == pytest.approx([y for _, y in other])


def test_a_series_without_its_axis_is_refused() -> None:
    with pytest.raises(ValueError, match="right axis"):
        chart(line(right=True))


def test_a_gap_parts_a_line() -> None:
    values = (1.0, 2.0, math.nan, 2.0, 1.0)

    assert len(traced(draw_chart(chart(line(y=values)), 100.0, 70.0), "series")) == 2


def test_a_step_holds_its_value_until_the_next() -> None:
    step = Series("s", "step", (0.0, 1.0, 2.0), (1.0, 3.0, 2.0))
    (points,) = traced(draw_chart(chart(step), 100.0, 70.0), "series")

    assert all(a[0] == pytest.approx(b[0]) or a[1] == pytest.approx(b[1]) for a, b in pairwise(points))
    assert len(points) == 5


def test_bars_of_two_series_stand_side_by_side_from_nothing() -> None:
    places = (0.0, 1.0, 2.0)
    bars = [Series(name, "bars", places, (3.0, 1.0, 2.0), style=n) for n, name in enumerate("ab")]
    made = Chart("b", "Bars", Axis("month", names=("Jan", "Feb", "Mar")), Axis("L"), tuple(bars))
    figure = draw_chart(made, 120.0, 80.0)
    rects = [area.points for area in figure.areas if area.role == "bar"][2:]  # two are samples
    edges = sorted((min(x for x, _ in r), max(x for x, _ in r)) for r in rects)

    assert len(rects) == 6
    assert all(before[1] <= after[0] + 1e-9 for before, after in pairwise(edges))
    floors = {round(max(y for _, y in r), 6) for r in rects}
    assert len(floors) == 1


def test_a_band_needs_both_edges() -> None:
    with pytest.raises(ValueError, match="band"):
        Series("b", "band", X, X, upper=X[:3])
    with pytest.raises(ValueError, match="go together"):
        Series("b", "band", X, X)
    gap = (*X[:-1], math.nan)
    with pytest.raises(ValueError, match="gaps"):
        draw_chart(chart(Series("b", "band", X, X, upper=gap), line()), 100.0, 70.0)


def test_many_points_keep_their_peaks() -> None:
    many = tuple(float(n) for n in range(8760))
    peak = tuple(50.0 if n == 4321 else math.sin(n / 300.0) for n in range(8760))
    figure = draw_chart(chart(Series("year", "line", many, peak)), 150.0, 90.0)
    (points,) = traced(figure, "series")

    assert len(points) < 1500
    top = min(y for _, y in points)
    assert top == pytest.approx(min(y for _, y in traced(figure, "frame")[0]), abs=0.01)


def test_series_are_told_apart_without_colour() -> None:
    figure = draw_chart(chart(*(line(str(n), style=n) for n in range(4))), 150.0, 90.0)

    assert len({t.dash for t in figure.traces if t.role == "series"}) == 4
    assert len({read_chart_look().fill_of(n) for n in range(4)}) == 4


@pytest.mark.parametrize("fill", ["diagonal", "crossed", "upright"])
def test_hatching_stays_inside_its_bar(fill: str) -> None:
    rect = Rect(10.0, 20.0, 17.0, 60.0)
    _, lines = hatched(rect, fill)

    assert len(lines) > 3
    assert all(rect.grown(1e-6).contains(Rect(x, y, x, y)) for trace in lines for x, y in trace.points)


def test_a_line_is_cut_at_its_frame() -> None:
    frame = Rect(0.0, 0.0, 10.0, 10.0)
    parts = list(clipped(((-5.0, 5.0), (5.0, 5.0), (5.0, 15.0), (8.0, 15.0), (8.0, 5.0)), frame))

    assert parts == [((0.0, 5.0), (5.0, 5.0), (5.0, 10.0)), ((8.0, 10.0), (8.0, 5.0))]


# -- words ---------------------------------------------------------------------------------------


def test_labels_meet_neither_one_another_nor_the_lines() -> None:
    notes = tuple(Note(f"point {n}", float(n), float(n)) for n in range(1, 10))
    figure = draw_chart(chart(line(), notes=notes), 150.0, 100.0)
    (points,) = traced(figure, "series")
    labels = [text for text in figure.texts if text.role == "label"]

    assert figure_faults(figure) == []
    assert len(labels) == len(notes)
    assert all(not list(clipped(points, text.box)) for text in labels)


def test_what_a_legend_lists_is_what_is_to_be_listed() -> None:
    figure = draw_chart(chart(line("one"), line("two", listed=False), line("three")), 150.0, 90.0)

    assert [t.content for t in figure.texts if t.role == "legend"] == ["one", "three"]


@pytest.mark.parametrize("width", [60.0, 90.0, 200.0])
def test_nothing_overlaps_on_any_paper(width: float) -> None:
    series = [line(f"a series with a long name, number {n}", style=n) for n in range(4)]
    made = chart(*series, notes=(Note("here", 4.0, 4.0),), remarks=("A remark that says a little more.",))

    assert figure_faults(draw_chart(made, width, 120.0)) == []


def test_no_room_is_refused() -> None:
    with pytest.raises(ValueError, match="no room"):
        draw_chart(chart(line()), 30.0, 20.0)


def test_the_same_chart_is_the_same_picture() -> None:
    made = chart(line(), notes=(Note("here", 4.0, 4.0),))

    assert draw_chart(made, 150.0, 90.0) == draw_chart(made, 150.0, 90.0)


def test_curves_are_rows_of_a_table() -> None:
    band = Series("b", "band", (0.0, 1.0), (1.0, math.nan), upper=(2.0, 3.0))
    table = chart_table(chart(line(y=(5.0,)), band))

    assert table.name == "test-curve"
    assert [tuple(row.values()) for row in table.rows] == [
        ("a", 0.0, 5.0, None),
        ("b", 0.0, 1.0, 2.0),
        ("b", 1.0, None, 3.0),
    ]
