"""The commands as a user calls them: what they print, what they write, how they end."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from specc.cli import app
from specc.resources import templates_dir
from tests.reference import EXAMPLES, edited

runner = CliRunner()
CLEAN = EXAMPLES / "reference-job.toml"


def _faulty(folder: Path, edit: dict[str, object]) -> Path:
    job, parts = edited(edit)
    (folder / "job.toml").write_bytes(job)
    (folder / "reference-parts.toml").write_bytes(parts)
    return folder / "job.toml"


def _run(*arguments: object) -> tuple[int, str]:
    result = runner.invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"})
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("flux", "capacitor"), 'no part of the catalogue holds "flux" or "capacitor"'),
        (("priming", "wormhole"), 'no part of the catalogue holds "wormhole". Try the other words alone.'),
        (("float", "diaphragm"), "no part holds all of these words together"),
        (("float", "--kind", "panel"), 'no part of the kind "panel" of the catalogue holds "float"'),
    ],
)
def test_a_search_that_finds_nothing_says_which_word_is_strange(words: tuple[str, ...], says: str) -> None:
    status, text = _run("parts", *words)

    assert status == 2
    assert says in text.replace("\n", " ")


def test_the_group_of_a_rule_alone_lists_its_rules() -> None:
    status, text = _run("explain", "drop")

    assert status == 2
    assert "of its group there are drop.control-run, drop.power-run." in text


def test_check_of_a_clean_job_ends_with_0() -> None:
    status, text = _run("check", CLEAN)

    assert status == 0
    assert "No danger or error found" in text


def test_check_of_a_dangerous_job_ends_with_1_and_says_what_to_do(tmp_path: Path) -> None:
    status, text = _run("check", _faulty(tmp_path, {"runs.R1.size": "14 AWG"}))

    assert status == 1
    assert "DANGER   ampacity.pv-circuit" in text
    assert "to do:" in text
    assert "job.toml:" in text
    assert "Do not build this yet." in text


def test_check_of_an_unreadable_spec_ends_with_2(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text("[job\ntitle = ", encoding="utf-8")
    status, text = _run("check", path)

    assert status == 2
    assert "spec.syntax" in text
    assert "could not be read" in text


@pytest.mark.parametrize("name", ["absent.toml", "."])
def test_a_file_that_is_not_there_gets_one_sentence(tmp_path: Path, name: str) -> None:
    status, text = _run("check", tmp_path / name)

    assert status == 2
    assert text.startswith("specc: ")
    assert text.count("\n") == 1


def test_output_stays_within_80_columns(tmp_path: Path) -> None:
    job = _faulty(tmp_path, {"runs.R1.size": "14 AWG", "runs.R3.size": "14 AWG", "pumps.P1.elevation": "6 m"})
    for arguments in (
        ["check", job],
        ["check", "--every", job],
        ["explain", "ampacity.pv-circuit"],
        ["parts", "fuse"],
    ):
        _, text = _run(*arguments)

        assert max(map(len, text.splitlines())) <= 80


def test_json_holds_job_and_findings_with_places(tmp_path: Path) -> None:
    status, text = _run("check", "--json", _faulty(tmp_path, {"runs.R1.size": "14 AWG"}))
    document = json.loads(text)
    fired = [
        f for f in document["findings"] if f["rule"] == "ampacity.pv-circuit" and f["verdict"] == "violated"
    ]

    assert status == 1
    assert document["job"]["title"] == "Reference job"
    assert set(fired[0]) >= {
        "rule",
        "verdict",
        "severity",
        "message",
        "required",
        "actual",
        "clause",
        "fix",
        "places",
    }
    assert set(fired[0]["places"][0]) == {"file", "line", "column", "end_line", "end_column"}
    assert fired[0]["severity"] == "danger"


def test_json_of_an_unreadable_spec_is_json_too(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xff\xfe\x00")
    status, text = _run("check", "--json", path)

    assert status == 2
    assert json.loads(text)["findings"]


def test_build_refuses_a_dangerous_job_and_writes_nothing(tmp_path: Path) -> None:
    job = _faulty(tmp_path, {"runs.R1.size": "14 AWG"})
    status, text = _run("build", job, "-o", tmp_path / "out")

    assert status == 1
    assert not (tmp_path / "out").exists()
    assert "--draft" in text


@pytest.mark.slow
def test_build_as_a_draft_marks_every_page(tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    job = _faulty(tmp_path, {"runs.R1.size": "14 AWG"})
    status, _ = _run("build", job, "--draft", "-o", tmp_path / "out")
    pages = pypdf.PdfReader(tmp_path / "out" / "packet.pdf").pages

    assert status == 1
    assert all("draft" in page.extract_text().casefold() for page in pages)


@pytest.mark.slow
def test_build_writes_the_promised_files_and_the_same_bytes_again(tmp_path: Path) -> None:
    for name in ("a", "b"):
        environment = os.environ | {
            "PYTHONHASHSEED": {"a": "1", "b": "2"}[name],
            "TZ": {"a": "UTC", "b": "Asia/Tokyo"}[name],
        }
        done = subprocess.run(
            [sys.executable, "-m", "specc", "build", str(CLEAN), "-o", str(tmp_path / name)],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
    first, second = ({p.name: p.read_bytes() for p in (tmp_path / name).iterdir()} for name in ("a", "b"))

    assert set(first) >= {
        "packet.pdf",
        "packet.html",
        "one-line.svg",
        "parts-list.csv",
        "parts-list.json",
        "conductor-schedule.csv",
        "conductor-schedule.json",
        "findings.json",
        "calculations.json",
        "system.json",
    }
    assert {name for name in first if first[name] != second[name]} == set()


@pytest.mark.slow
def test_a_build_sums_up_what_its_packet_says_with_the_year_of_water(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)  # the slow half is not needed
    job = _faulty(tmp_path, {"source.WELL.diameter": None})
    _, checked = _run("check", job)
    _, built = _run("build", job, "-o", tmp_path / "out")
    told = json.loads((tmp_path / "out" / "findings.json").read_text())
    open_points = sum(f["verdict"] == "not checked" for f in told["findings"])

    assert "0 not checked" in checked
    assert open_points >= 1
    assert f"{open_points} not checked" in " ".join(built.split())
    assert "Of the year of water" in built
    assert "diameter" in built


@pytest.mark.slow
def test_without_the_pdf_library_the_rest_is_written_and_the_status_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    status, text = _run("build", CLEAN, "-o", tmp_path / "out")

    assert status == 3
    assert "No PDF:" in text
    assert (tmp_path / "out" / "packet.html").exists()
    assert (tmp_path / "out" / "one-line.svg").exists()
    assert not (tmp_path / "out" / "packet.pdf").exists()


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("packet/cover.html.j2", "<p>\n{{ ''.__class__ }}</p>", "packet/cover.html.j2, line 2: "),
        ("packet/packet.css", "@import 'http://example.invalid/x.css';", "packet/packet.css, line 1: "),
        ("drawing/look.toml", "jump = 0.9\njmup = 1\n", "drawing/look.toml"),
        ("packet/covr.html.j2", "<p></p>", 'did you mean "packet/cover.html.j2"?'),
        ("packet/cover.html.j2", "{% include '../../etc/passwd' %}", "packet/cover.html.j2, line 1: "),
    ],
)
def test_a_template_that_will_not_do_is_one_sentence_and_nothing_is_written(
    tmp_path: Path, name: str, text: str, says: str
) -> None:
    path = tmp_path / "look" / name
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    status, told = _run("build", CLEAN, "--templates", tmp_path / "look", "-o", tmp_path / "out")

    assert status == 2
    assert says in told
    assert "Traceback" not in told
    assert len(told.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_look_of_ones_own_reaches_page_and_pdf(tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    shipped = (templates_dir() / "packet" / "cautions.html.j2").read_text(encoding="utf-8")
    path = tmp_path / "look" / "packet" / "cautions.html.j2"
    path.parent.mkdir(parents=True)
    path.write_text(shipped.replace("</h2>", " of our firm</h2>"), encoding="utf-8")
    status, _ = _run("build", CLEAN, "--templates", tmp_path / "look", "-o", tmp_path / "out")

    assert status == 0
    assert "Cautions of our firm" in (tmp_path / "out" / "packet.html").read_text(encoding="utf-8")
    pages = pypdf.PdfReader(tmp_path / "out" / "packet.pdf").pages
    assert any("Cautions of our firm" in page.extract_text() for page in pages)


def test_build_leaves_a_foreign_folder_alone(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("mine", encoding="utf-8")
    status, text = _run("build", CLEAN, "-o", tmp_path / "out")

    assert status == 2
    assert "did not write" in text
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["letter.txt"]


def test_explain_alone_lists_every_rule_one_a_line() -> None:
    status, text = _run("explain")
    ids = text.split()

    assert status == 0
    assert ids == sorted(ids)
    assert {"ampacity.pv-circuit", "polarity.reversed", "suction.npsh", "spec.duplicate-tag"} <= set(ids)
    assert len(ids) >= 45


def test_explain_of_every_rule_prints() -> None:
    for rule in _run("explain")[1].split():
        status, text = _run("explain", rule)

        assert status == 0
        assert text.startswith(rule)


def test_explain_of_an_unknown_rule_names_the_nearest() -> None:
    status, text = _run("explain", "polarity.revered")

    assert status == 2
    assert "polarity.reversed" in text


def test_new_lists_and_writes_starters_that_check_clean(tmp_path: Path) -> None:
    _, listed = _run("new")
    kinds = [line.split()[0] for line in listed.splitlines()]

    assert len(kinds) >= 3
    for kind in kinds:
        path = tmp_path / f"{kind}.toml"
        assert _run("new", kind, "-o", path)[0] == 0
        assert _run("check", path)[0] == 0


def test_new_never_overwrites(tmp_path: Path) -> None:
    kind = _run("new")[1].split()[0]
    path = tmp_path / "mine.toml"
    path.write_text("mine", encoding="utf-8")
    status, text = _run("new", kind, "-o", path)

    assert status == 2
    assert "there already" in text
    assert path.read_text(encoding="utf-8") == "mine"


def test_parts_shows_one_part_whole_by_its_id_or_where_it_is_found_alone() -> None:
    status, text = _run("parts", "fuse-10x38-dc-8a")

    assert status == 0
    assert "breaking capacity  20 kA" in text
    assert _run("parts", "150gph")[1] == _run("parts", "vane-pump-24v-150gph")[1]  # no other has the word
    assert "breaking capacity" not in _run("parts", "fuse")[1]


def test_parts_finds_by_words_and_kind() -> None:
    status, text = _run("parts", "float", "--kind", "switch")

    assert status == 0
    assert "float-switch-dc-10a" in text
    assert "fuse-" not in text
    assert _run("parts", "no-such-word-at-all")[0] == 2
    assert _run("parts", "--kind", "fusee")[0] == 2


def test_no_colour_codes_reach_a_file(tmp_path: Path) -> None:
    _, text = _run("check", _faulty(tmp_path, {"runs.R1.size": "14 AWG"}))

    assert "\033" not in text


def test_heavy_libraries_stay_off_the_check_path() -> None:
    code = (
        "import sys; from typer.testing import CliRunner; from specc.cli import app; "
        f"CliRunner().invoke(app, ['check', {str(CLEAN)!r}]); "
        "print([m for m in ('weasyprint', 'pvlib', 'fluids', 'jinja2', 'fontTools') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
