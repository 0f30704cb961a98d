"""Profile, water diagram and charts of whole jobs: figures at their places, nothing on top of anything."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, partial
from itertools import pairwise
from typing import Any

import pytest
from syrupy.assertion import SnapshotAssertion

from specc.documents.charts import Chart, draw_chart
from specc.documents.diagram import TitleBlock
from specc.documents.drafting.look import papers_of
from specc.documents.layout import lay_out
from specc.documents.plates import plate
from specc.documents.water_charts import head_flow
from specc.documents.water_diagram import water_diagram
from specc.documents.water_profile import course, energy_line, water_profile
from specc.documents.water_year_charts import tightest_month, year_charts
from specc.operation.described import plant_of
from specc.operation.made import sun_of
from specc.operation.year import settle, water_year
from specc.rendering.charts import render_figure
from specc.rendering.html import plain_svg
from specc.rendering.svg import render_drawing
from specc.rendering.water_sheets import water_sheets
from specc.system.missing import MissingDatum
from specc.system.model import Device
from specc.system.system import System
from tests.documents.figure_faults import figure_faults
from tests.documents.geometry import faults
from tests.reference import EXAMPLES, read_edited
from tests.test_examples import compiled

NAMES = ("cedar-fold-orchard", "hazel-hollow-spring", "saltbush-paddock")
SECOND_TANK: Mapping[str, Any] = {
    "tank.TK2": {"inlet": "19 m"},
    "pipes.D4": {"part": "pipe-r", "from": "CV1.out", "to": "TK2.inlet", "length": "60 m"},
}


@cache
def example(name: str) -> System:
    system = compiled(EXAMPLES / f"{name}.toml").system
    assert system is not None
    return system


@cache
def charts_of_the_year(name: str) -> tuple[Chart, ...]:
    system = example(name)
    plant = plant_of(system)
    sun = sun_of(system, plant, steps_an_hour=1)
    return year_charts(system, water_year(plant, sun), settle(plant, sun))


def pump(system: System) -> Device:
    return system.water.pumps[0]


# -- profile -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("size", [(400.0, 210.0), (258.0, 150.0)])
def test_nothing_overlaps_on_a_profile(name: str, size: tuple[float, float]) -> None:
    figure = water_profile(example(name), pump(example(name)), *size)

    assert figure_faults(figure) == []


def test_a_pipe_lies_at_the_elevations_of_the_spec() -> None:
    system = read_edited({"pipes.D3.low_point": "-1 m", "pipes.D3.high_point": "24 m"})
    lie = course(system.water, system.water.delivery(pump(system)))

    assert lie.length_m == pytest.approx(120.0)
    assert lie.stands[0] == (0.0, 0.0)
    assert lie.stands[-1] == (120.0, 22.0)
    assert {z for _, z in lie.stands} == {0.0, -1.0, 24.0, 22.0}
    assert [s for s, _ in lie.stands] == sorted(s for s, _ in lie.stands)
    suction = course(system.water, system.water.suction(pump(system)))
    assert suction.stands[0] == (0.0, -4.5)  # the intake
    assert suction.stands[-1] == (6.0, 0.0)  # the pump


def test_the_energy_line_loses_what_the_way_loses() -> None:
    system = read_edited({})
    water, way = system.water, system.water.delivery(pump(system))
    flow = water.operating(pump(system), False).flow_m3_s
    points = energy_line(water, course(water, way), flow, 30.0)

    assert all(after[1] <= before[1] for before, after in pairwise(points))
    assert points[0][1] - points[-1][1] == pytest.approx(water.loss_m(way, flow, dirty=False))
    # Worked reference job (own arithmetic): friction 0.93 m and fittings 0.3 m.
    assert points[0][1] - points[-1][1] == pytest.approx(1.23, abs=0.01)


def test_vacuum_and_pressure_stand_on_the_profile() -> None:
    system = read_edited({})
    texts = {text.content for text in water_profile(system, pump(system), 400.0, 210.0).texts}

    # Worked reference job (own arithmetic): clean 40.6 kPa of vacuum, 227 kPa at the pump.
    assert {"vacuum 40.6 kPa", "227 kPa at the pump", "standing -3 m", "low -3.4 m"} <= texts


def test_a_profile_without_a_level_names_what_lacks() -> None:
    system = read_edited({"source.WELL.low_water_level": None})

    with pytest.raises(MissingDatum, match="low water level"):
        water_profile(system, pump(system), 400.0, 210.0)


# -- diagram -------------------------------------------------------------------------------------


@pytest.mark.parametrize("series", ["us", "iso"])
def test_letters_on_the_larger_paper_can_be_read_on_a_copy_of_the_smaller(series: str) -> None:
    """Capitals of 1.4 mm on the copy (own rule, as for drawings): 0.729 of a text size by the font."""
    small, large = papers_of(series)[:2]
    system = example("cedar-fold-orchard")
    charts = [partial(draw_chart, chart) for chart in charts_of_the_year("cedar-fold-orchard")]
    for makers in ([partial(water_profile, system, pump(system))], charts):
        made = plate("Figures", makers, TitleBlock("Cedar Fold"), large)
        for placed in made.figures:
            least = min(text.size for text in placed.figure.texts) * placed.scale
            assert least * 0.729 * small.width / large.width >= 1.4
            assert figure_faults(placed.figure) == []
            assert placed.box.right <= made.frame.right
            assert placed.box.bottom <= made.frame.bottom


@pytest.mark.parametrize("name", NAMES)
def test_a_water_diagram_is_drawn_without_fault(name: str) -> None:
    diagram = water_diagram(example(name))

    assert faults(diagram, lay_out(diagram, papers_of("us"))) == []


@pytest.mark.parametrize("name", NAMES)
def test_every_pipe_and_everything_that_water_passes_is_on_it(name: str) -> None:
    system, diagram = example(name), water_diagram(example(name))
    tables = ("source", "tank", "pumps", "filters", "valves", "gauges")
    wet = {d.tag for d in system.devices.values() if d.table in tables}

    assert wet <= {device.tag for device in diagram.devices}
    assert set(system.connected.pipes) <= {link.tag for link in diagram.links}


def test_floats_tell_the_levels_at_which_they_act() -> None:
    captions = {
        device.tag: device.captions for device in water_diagram(example("cedar-fold-orchard")).devices
    }

    # Cedar Fold: overflow 73.6 ft, stop 4 in below it, 6 in of band.
    assert captions["LS1"] == ("stops on tank full", "stops at 73.27 ft", "runs again at 72.77 ft")
    assert captions["LS2"] == ("stops on source low", "stops at -12 ft")


def test_a_foot_valve_among_the_fittings_is_drawn() -> None:
    diagram = water_diagram(read_edited({}))
    (foot,) = [device for device in diagram.devices if device.symbol == "foot-valve"]

    assert [
        (link.from_tag, link.to_tag) for link in diagram.links if foot.tag in (link.from_tag, link.to_tag)
    ] == [
        ("WELL", foot.tag),
        (foot.tag, "FL1"),
    ]


def test_a_pipe_written_from_its_far_end_still_points_with_the_water() -> None:
    diagram = water_diagram(read_edited({"pipes.D3.from": "TK1.inlet", "pipes.D3.to": "CV1.out"}))

    assert [(link.from_tag, link.to_tag) for link in diagram.links if link.tag == "D3"] == [("CV1", "TK1")]


def test_two_tanks_share_and_say_what_each_gets() -> None:
    system = read_edited(SECOND_TANK)
    diagram = water_diagram(system)
    captions = {device.tag: " ".join(device.captions) for device in diagram.devices}

    assert faults(diagram, lay_out(diagram)) == []
    assert "all tanks open" in captions["TK1"]
    assert "all tanks open" in captions["TK2"]


# -- charts --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_pump_and_pipe_cross_where_the_label_says(name: str) -> None:
    chart = head_flow(example(name), pump(example(name)))
    (note,) = chart.notes
    for label in (chart.series[0].label, "pipe, filter clean", "pipe"):
        for series in (s for s in chart.series if s.label == label):
            gaps = [
                abs((note.x - x1) * (y2 - y1) - (note.y - y1) * (x2 - x1))
                / max(1e-9, ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5)
                for (x1, y1), (x2, y2) in pairwise(zip(series.x, series.y, strict=True))
                if min(y1, y2) - 1.0 <= note.y <= max(y1, y2) + 1.0
                and min(x1, x2) <= note.x <= max(x1, x2) + 0.1
            ]
            assert min(gaps) < 0.02 * max(note.x, note.y)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_overlaps_on_the_charts(name: str) -> None:
    for chart in (head_flow(example(name), pump(example(name))), *charts_of_the_year(name)):
        assert figure_faults(draw_chart(chart, 180.0, 110.0)) == [], chart.name


def test_the_charts_of_a_year_say_what_the_year_says() -> None:
    system = example("cedar-fold-orchard")
    plant = plant_of(system)
    year = water_year(plant, sun_of(system, plant, steps_an_hour=1))
    charts = {chart.name: chart for chart in charts_of_the_year("cedar-fold-orchard")}
    bars = charts["water-month"].series[0]

    assert set(charts) == {"water-month", "tank-level", "clear-and-dull-day", "panel-curve"}
    assert bars.y[6] == pytest.approx(year.months[6].water_m3 / 0.003785411784)  # litres in a US gallon
    assert tightest_month(year) == 12  # least sun, same demand all year
    assert charts["clear-and-dull-day"].title.endswith("December")
    tank = charts["tank-level"].series[0]
    level = year.tanks[0].level_m3
    assert level is not None
    assert min(tank.y) == pytest.approx(float(level.min()) / 0.003785411784)


def test_the_charts_of_a_battery_show_its_charge() -> None:
    charts = {chart.name: chart for chart in charts_of_the_year("saltbush-paddock")}
    charge = charts["battery-charge"].series[0]

    assert set(charts) == {"water-month", "tank-level", "battery-charge", "clear-and-dull-day", "panel-curve"}
    assert charge.upper is not None
    assert 0.0 < min(charge.y) < max(charge.upper) <= 100.0
    # A controller that tracks works at the panels' greatest power: five lights, five knees.
    (best,) = [series for series in charts["panel-curve"].series if series.kind == "points"]
    assert best.label == "best power"
    assert len(best.x) == 5


def test_a_clear_day_brings_more_light_than_a_dull_one() -> None:
    chart = next(c for c in charts_of_the_year("cedar-fold-orchard") if c.name == "clear-and-dull-day")
    clear, dull = (series for series in chart.series if series.right)

    assert max(clear.y) > 2.0 * max(dull.y)
    assert clear.y[0] == clear.y[-1] == 0.0  # at night


def test_panels_and_pump_settle_on_the_curve() -> None:
    chart = next(c for c in charts_of_the_year("hazel-hollow-spring") if c.name == "panel-curve")
    motor = next(series for series in chart.series if "with its wire" in series.label)
    (settles,) = [series for series in chart.series if series.kind == "points"]

    for volts, amperes in zip(settles.x, settles.y, strict=True):
        near = [
            a1 + (a2 - a1) * (volts - v1) / (v2 - v1)
            for (v1, a1), (v2, a2) in pairwise(zip(motor.x, motor.y, strict=True))
            if v1 <= volts < v2
        ]
        assert near[0] == pytest.approx(amperes, rel=0.02)


# -- sheets --------------------------------------------------------------------------------------


def test_sheets_and_files_of_a_job_without_a_year() -> None:
    made = water_sheets(read_edited({}), draft=True)

    assert [sheet.title for sheet in made.sheets] == [
        "Water diagram",
        "Hydraulic profile",
        "Pump and panels",
    ]
    assert set(made.files) == {"profile.svg", "head-flow.svg"}
    assert [curve.name for curve in made.curves] == ["head-flow-curve"]
    for sheet in made.sheets:
        assert plain_svg(sheet.svg)
        assert "DRAFT" in sheet.svg


def test_a_pump_without_data_has_no_curve_and_stops_nothing() -> None:
    made = water_sheets(read_edited({"part:pump-r.table": []}), draft=False)

    assert [sheet.title for sheet in made.sheets] == ["Water diagram"]
    assert made.files == {}


@pytest.mark.parametrize("name", NAMES)
def test_a_profile_is_as_it_was(name: str, snapshot: SnapshotAssertion) -> None:
    assert render_figure(water_profile(example(name), pump(example(name)), 400.0, 210.0)) == snapshot


@pytest.mark.parametrize("name", NAMES)
def test_a_water_diagram_is_as_it_was(name: str, snapshot: SnapshotAssertion) -> None:
    assert render_drawing(lay_out(water_diagram(example(name)), papers_of("us"))) == snapshot


@pytest.mark.parametrize("name", NAMES)
def test_head_against_flow_is_as_it_was(name: str, snapshot: SnapshotAssertion) -> None:
    chart = head_flow(example(name), pump(example(name)))
    assert render_figure(draw_chart(chart, 180.0, 110.0)) == snapshot
