"""``specc water`` from the outside: what it prints, and its exit status."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from specc.cli import app

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    for name in ("reference-job.toml", "reference-parts.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "reference-job.toml"


def _water(job: Path) -> tuple[int, str]:
    made = CliRunner().invoke(app, ["water", str(job)])
    return made.exit_code, made.output


def test_it_prints_twelve_months(job: Path) -> None:
    status, text = _water(job)

    assert status == 0
    assert [line[:3] for line in text.splitlines() if line[:3] in ("Jan", "Jun", "Dec")] == [
        "Jan",
        "Jun",
        "Dec",
    ]


def test_a_shortfall_is_told(job: Path) -> None:
    job.write_text(job.read_text().replace('demand = "1500 L/day"', 'demand = "6000 L/day"'))
    status, text = _water(job)

    assert status == 0
    assert "yield.daily-shortfall" in text


def test_a_missing_datum_is_named(job: Path) -> None:
    job.write_text(job.read_text().replace('inflow = "15 L/min"\n', ""))
    status, text = _water(job)

    assert status == 1
    assert "inflow" in text


def test_a_weather_file_that_is_not_there_is_a_wrong_call(job: Path) -> None:
    job.write_text(job.read_text().replace("latitude = 40.0", 'weather = "none.csv"\nlatitude = 40.0'))
    status, text = _water(job)

    assert status == 2
    assert "none.csv" in text


def test_a_broken_weather_file_says_why(job: Path) -> None:
    (job.parent / "odd.csv").write_text("hello\n")
    job.write_text(job.read_text().replace("latitude = 40.0", 'weather = "odd.csv"\nlatitude = 40.0'))
    status, text = _water(job)

    assert status == 1
    assert "odd.csv, line 1: neither" in " ".join(text.split())
