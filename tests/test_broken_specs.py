"""Every broken spec gets sentences with places, never a traceback, and soon."""

from __future__ import annotations

import pytest
import tomli_w

from specc.diagnostics import Verdict
from specc.pipeline import Compiled, compile_spec
from tests.broken_specs import BROKEN_SPECS, BrokenSpec
from tests.patience import ends_in_sensible_time
from tests.reading.broken_texts import BROKEN_TEXTS, BrokenText
from tests.reference import EXAMPLES, edited, reference_job


def _compile(job: bytes, parts: bytes = b"") -> Compiled:
    def read_file(name: str) -> bytes:
        if name == "reference-parts.toml":
            return parts
        raise FileNotFoundError(2, "No such file or directory", name)

    return compile_spec(job, "job.toml", read_file, strict=True)


def _is_refused(compiled: Compiled) -> None:
    assert compiled.system is None
    assert compiled.exit_status == 2
    assert compiled.findings
    for finding in compiled.findings:
        assert finding.verdict is Verdict.VIOLATED
        assert finding.rule.startswith("spec.")
        assert finding.message.rstrip().endswith((".", "?", ")", '"')), finding.message
        assert "Traceback" not in finding.message
        assert finding.places, finding.message
        assert finding.places[0].line >= 1
        assert finding.places[0].column >= 1


@pytest.mark.parametrize("case", BROKEN_SPECS, ids=lambda case: case.name)
def test_says_what_is_wrong_and_what_would_do(case: BrokenSpec) -> None:
    if set(case.edit) <= {"job", "site", "panels"}:
        changed = {k: v for k, v in (reference_job() | case.edit).items() if v is not None}
        compiled = _compile(tomli_w.dumps(changed).encode(), edited({})[1])
    else:
        compiled = _compile(*edited(case.edit))

    _is_refused(compiled)
    mine = [f for f in compiled.findings if f.rule == case.rule]
    assert mine, [(f.rule, f.message) for f in compiled.findings]
    said = " ".join(f"{f.message} {f.fix}" for f in mine)
    assert case.says in said, said


@pytest.mark.parametrize("case", BROKEN_TEXTS, ids=lambda case: case.name)
def test_refuses_broken_text_through_the_whole_route(case: BrokenText) -> None:
    _is_refused(_compile(case.data))


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"\x00" * 50_000_000, id="50 MB of zeros"),
        pytest.param(b'a = "' + b"x" * 50_000_000 + b'"\n', id="50 MB of text"),
        pytest.param(b"[" * 900_000, id="brackets without end"),
        pytest.param(b"a = " + b"[" * 30_000 + b"]" * 30_000, id="nested arrays"),
        pytest.param(b"a = " + b"{ b = " * 5_000 + b"1" + b" }" * 5_000, id="nested tables"),
        pytest.param(b"[" + b"a." * 20_000 + b"b]\nc = 1\n", id="a long dotted heading"),
        pytest.param(b"\n".join(b"k%d = 1" % n for n in range(30_000)), id="thirty thousand unknown keys"),
        pytest.param(b"[[runs]]\n" * 20_000, id="twenty thousand empty runs"),
        pytest.param(bytes(range(256)) * 2_000, id="every byte"),
    ],
)
def test_large_and_hostile_files_are_refused_in_sensible_time(data: bytes) -> None:
    with ends_in_sensible_time():
        compiled = _compile(data)

    _is_refused(compiled)


def _truncations(text: bytes, share: int, of: int) -> list[bytes]:
    return [text[:end] for end in range(share, len(text), of)]


@pytest.mark.slow
@pytest.mark.parametrize("share", range(4))
def test_an_example_cut_off_at_any_byte_never_raises(share: int) -> None:
    path = min(EXAMPLES.glob("*.toml"), key=lambda p: (p.name.endswith("parts.toml"), p.stat().st_size))
    text = path.read_bytes()
    for cut in _truncations(text, share, 4):
        compiled = compile_spec(cut, "job.toml", lambda name: (EXAMPLES / name).read_bytes(), strict=True)
        assert compiled.findings
        assert all(
            f.places for f in compiled.findings if f.rule.startswith("spec.") and compiled.system is None
        )


def test_all_mistakes_of_a_file_are_reported_together() -> None:
    compiled = _compile(
        *edited(
            {
                "runs.R1.length": "10 A",
                "runs.R3.size": "9 gauge",
                "panels.PV1.part": "panel-q",
                "job.units": "metric",
                "fusses.F9": {"part": "fuse-r"},
            }
        )
    )

    assert {f.rule for f in compiled.findings} >= {
        "spec.wrong-dimension",
        "spec.unknown-unit",
        "spec.unknown-part",
        "spec.unknown-value",
        "spec.unknown-table",
    }


def test_a_syntax_error_does_not_hide_a_wrong_value_elsewhere() -> None:
    job, parts = edited({"runs.R1.length": "10 A"})
    compiled = _compile(job + b"\n[[runs]\ntag = \n", parts)

    assert {"spec.syntax", "spec.wrong-dimension"} <= {f.rule for f in compiled.findings}


def test_places_are_exact() -> None:
    text = (
        b'[job]\ntitle = "x"\ndate = 2026-01-01\nrulebook = "us-2023"\nunits = "us"\n'
        b'earthing = "floating"\n[site]\nelevation = "10 A"\n'
    )
    finding = next(f for f in _compile(text).findings if f.rule == "spec.wrong-dimension")
    place = finding.places[0]

    assert (place.line, place.column, place.end_line, place.end_column) == (8, 13, 8, 19)


def test_there_are_enough_broken_specs() -> None:
    assert len(BROKEN_SPECS) + len(BROKEN_TEXTS) >= 60
