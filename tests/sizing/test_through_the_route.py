"""A job with "auto" through the whole route: the command, its JSON, the sheets."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from specc.cli import app
from specc.pipeline import Compiled, compile_spec, packet
from specc.rendering.html import packet_html
from tests.reference import edited
from tests.sizing.left_open import EGC, R1

FAR = {**R1, "runs.R1.length": "40 m"}


def job_in(folder: Path, edit: dict[str, object]) -> Path:
    job, parts = edited(edit)
    (folder / "reference-parts.toml").write_bytes(parts)
    (folder / "job.toml").write_bytes(job)
    return folder / "job.toml"


def compiled(edit: dict[str, object]) -> Compiled:
    job, parts = edited(edit)
    return compile_spec(job, "job.toml", lambda name: parts, strict=True)


def test_check_prints_the_choices_and_passes(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["check", str(job_in(tmp_path, {**R1, **EGC}))])

    assert result.exit_code == 0, result.output
    assert 'size = "auto"  ->  size = "10 AWG"' in result.output
    assert 'size = "auto"  ->  size = "12 AWG"' in result.output
    assert "To fix these choices" in result.output


def test_check_stops_where_nothing_passes(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["check", str(job_in(tmp_path, FAR))])

    assert result.exit_code == 1
    assert "auto.impossible" in result.output


def test_json_holds_the_choices(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["check", "--json", str(job_in(tmp_path, R1))])
    (choice,) = json.loads(result.output)["choices"]

    assert choice["tag"] == "R1"
    assert choice["chosen"] == "10 AWG"
    assert choice["next_smaller"] == "12 AWG"
    assert choice["would_fail"] == ["drop.power-run"]
    assert choice["passes"] is True
    assert choice["path"][-1] == "size"
    assert choice["place"]["line"] > 1


def test_a_job_without_auto_has_no_choices(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["check", "--json", str(job_in(tmp_path, {}))])

    assert json.loads(result.output)["choices"] == []


def test_the_packet_tells_what_was_chosen() -> None:
    with_choices = packet_html(packet(compiled(R1), draft=False))
    without = packet_html(packet(compiled({}), draft=False))

    assert "Sized by the compiler" in with_choices
    assert "10 AWG" in with_choices
    assert "Sized by the compiler" not in without


def test_the_packet_of_an_impossible_job_is_a_draft_only() -> None:
    made = compiled(FAR)

    assert made.exit_status == 1
    with pytest.raises(ValueError, match="draft"):
        packet(made, draft=False)
    assert "Sized by the compiler" in packet_html(packet(made, draft=True))


def test_explain_knows_the_rule() -> None:
    result = CliRunner().invoke(app, ["explain", "auto.impossible"])

    assert result.exit_code == 0
    assert "auto" in result.output
