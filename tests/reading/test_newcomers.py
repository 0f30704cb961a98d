"""What a newcomer reads whose spec is wrong: one clear sentence, its place, and what to write instead."""

from __future__ import annotations

from typing import Any

import pytest
import tomli_w

from specc.diagnostics import Finding
from specc.pipeline import compile_spec
from specc.rendering.findings_text import findings_text
from tests.reference import edited, reference_job

_STEERING = "\x1b[31m\x07\u202e\n\r\t\x9b"


def _findings(job: bytes, parts: bytes) -> tuple[Finding, ...]:
    compiled = compile_spec(job, "job.toml", lambda name: parts, strict=True)
    assert compiled.system is None, "the spec was read"
    return compiled.findings


def _found(edit: dict[str, Any]) -> tuple[Finding, ...]:
    return _findings(*edited(edit))


def _only(edit: dict[str, Any]) -> Finding:
    found = _found(edit)
    assert len(found) == 1, [(f.rule, f.message) for f in found]
    return found[0]


def _line(edit: dict[str, Any], text: str) -> int:
    """The line of the changed job on which a text stands."""
    lines = edited(edit)[0].decode().splitlines()
    return next(number for number, line in enumerate(lines, 1) if text in line)


# edit, rule, what the sentence says, what it tells to write
SPECS: tuple[tuple[str, dict[str, Any], str, str, str], ...] = (
    (
        "paper",
        {"job.paper": "A4"},
        "spec.unknown-key",
        'There is no key "paper" in [job].',
        'The rulebook decides the paper: Letter and Tabloid under "us-2023", A4 and A3 under "iec".',
    ),
    (
        "tee among valves",
        {"valves.V9": {"part": "tee-1"}},
        "spec.unknown-part",
        '"tee branch" and "tee run" are fittings, without a tag.',
        'fittings = ["tee branch"] or fittings = ["tee run"]',
    ),
    (
        "elbow among valves",
        {"valves.V9": {"part": "elbow-90-1.25"}},
        "spec.unknown-part",
        '"elbow 90" is a fitting',
        'fittings = ["elbow 90"]',
    ),
    (
        "foot valve among valves",
        {"valves.V9": {"part": "Foot valve 1in"}},
        "spec.unknown-part",
        '"foot valve" is a fitting',
        'fittings = ["foot valve"]',
    ),
    (
        "gate valve, which is a valve here",
        {"valves.V9": {"part": "gate-valve"}},
        "spec.unknown-part",
        'There is no valve "gate-valve" in any catalogue.',
        '"gate-valve-1"',
    ),
    (
        "check valve of a size that is not sold",
        {"valves.V9": {"part": "check-valve-3"}},
        "spec.unknown-part",
        'There is no valve "check-valve-3"',
        '"check-valve-1"',
    ),
    (
        "fitting's own id",
        {"valves.V9": {"part": "tee-branch-1"}},
        "spec.unknown-part",
        "fitting",
        'fittings = ["tee branch"]',
    ),
    (
        "words for a part",
        {"breakers.Q1.part": "20A breaker"},
        "spec.unknown-part",
        'There is no breaker "20A breaker"',
        '"dc-breaker-1p-20a"',
    ),
    (
        "part in capitals",
        {"fuses.F1.part": "Fuse-R"},
        "spec.unknown-part",
        'There is no fuse "Fuse-R"',
        'Write "fuse-r"',
    ),
    (
        "part with _",
        {"fuses.F1.part": "fuse_r"},
        "spec.unknown-part",
        'There is no fuse "fuse_r"',
        'Write "fuse-r"',
    ),
    (
        "other word for a part",
        {"grounding.GX": {"part": "spd"}},
        "spec.unknown-part",
        'There is no grounding "spd"',
        '"surge-device-dc-75v"',
    ),
    (
        "part like none",
        {"pumps.P1.part": "qqqqq"},
        "spec.unknown-part",
        "Nothing there is like it.",
        "`specc parts --kind pump` lists what there is",
    ),
    (
        "auto where nothing is chosen",
        {"pumps.P1.part": "auto"},
        "spec.unknown-part",
        '"auto" cannot stand for a part of the kind pump; in these tables it can: controllers, disconnects, ',
        "`specc parts --kind pump` lists what there is",
    ),
    (
        "share in per cent",
        {"panels.PV1.shading": "5 %"},
        "spec.wrong-type",
        '"shading" takes a number, and "5 %" is none.',
        "shading = 0.05",
    ),
    (
        "wire among fuses",
        {"fuses.F1.part": "thwn2-cu"},
        "spec.unknown-part",
        '"thwn2-cu" is of the kind wire; here stands a part of the kind fuse.',
        'wire = "thwn2-cu"',
    ),
    (
        "size that is none",
        {"runs.R1.wire": "battery-cable-cu", "runs.R1.size": "5 mm2"},
        "spec.unknown-unit",
        '"5 mm2" is not a wire size',
        '"4 mm2" or "6 mm2"',
    ),
    (
        "missing key",
        {"pumps.P1.elevation": None},
        "spec.missing-key",
        'The key "elevation" is missing from [[pumps]] "P1".',
        'elevation = "-2.7 m"',
    ),
    (
        "missing choice",
        {"switches.LS1.closes_on": None},
        "spec.missing-key",
        'The key "closes_on" is missing from [[switches]] "LS1".',
        'closes_on = "rise" or "fall"',
    ),
    (
        "missing date",
        {"job.date": None},
        "spec.missing-key",
        'The key "date" is missing from [job].',
        "date = 2026-05-02",
    ),
    (
        "missing color",
        {"runs.R1.conductors[0].color": None},
        "spec.missing-key",
        'The key "color" is missing from an entry of "conductors" in [[runs]].',
        'color = "red"',
    ),
    (
        "missing elsewhere than in the spec",
        {"part:panel-r.voc": None},
        "spec.missing-key",
        'The key "voc" is missing from [[panel]] "panel-r".',
        'voc = "24 V"',
    ),
    (
        "text for a list",
        {"switches.LS1.stops": "P1"},
        "spec.wrong-type",
        '"stops" takes a list in [ ], and "P1" is none.',
        'stops = ["P1"]',
    ),
    (
        "text for another list",
        {"breakers.Q1.spare": "2"},
        "spec.wrong-type",
        '"spare" takes a list in [ ]',
        'Write spare = ["2"].',
    ),
    (
        "one list for pairs",
        {"terminal_blocks.TB9": {"part": "block-r", "links": ["1"]}},
        "spec.wrong-type",
        '"links" takes a list',
        'links = [["1", "2"]]',
    ),
    (
        "number for a color",
        {"runs.R1.conductors[0].color": 3},
        "spec.wrong-type",
        '"color" takes a text in quotes, and 3 is none.',
        'Write color = "3".',
    ),
    (
        "number for a part",
        {"switches.LS1.part": 7},
        "spec.wrong-type",
        '"part" takes a text in quotes, and 7 is none.',
        "an id that `specc parts` lists",
    ),
    (
        "number for a name in a list",
        {"breakers.Q1.spare": [2]},
        "spec.wrong-type",
        '"spare" takes a text in quotes, and 2 is none.',
        'Write "2".',
    ),
    (
        "word for yes or no",
        {"pumps.P1.freeze_safe": "insulated"},
        "spec.wrong-type",
        '"freeze_safe" takes true or false',
        "freeze_safe = true or freeze_safe = false",
    ),
    (
        "latitude with a letter",
        {"site.latitude": "44 N"},
        "spec.wrong-type",
        '"latitude" takes a number',
        "latitude = 44.05, south of the equator negative",
    ),
    (
        "number without unit",
        {"site.elevation": 600},
        "spec.missing-unit",
        "an elevation is written in quotes with its unit",
        '"600 ft" or "600 m"',
    ),
    (
        "day's water without the day",
        {"tank.TK1.demand": "1500 L"},
        "spec.wrong-dimension",
        "L is a unit of volume",
        "L/day",
    ),
    (
        "direction in words",
        {"panels.PV1.azimuth": "South"},
        "spec.not-a-number",
        '"South" does not start with a number',
        'azimuth = "180 deg"',
    ),
    (
        "grounded positive",
        {"job.earthing": "positive grounded"},
        "spec.unknown-value",
        '"positive grounded" is not a value of "earthing"',
        "joined solidly it is not provided for here",
    ),
    (
        "not grounded",
        {"job.earthing": "not grounded"},
        "spec.unknown-value",
        '"not grounded" is not a value of "earthing"',
        'Write "floating".',
    ),
    (
        "empty tank, which nothing guards",
        {"switches.LS1.guards": "tank empty"},
        "spec.unknown-value",
        '"tank empty" is not a value of "guards"',
        'Write guards = "source low" or "tank full" or "pump hot" or "pressure high".',
    ),
    (
        "pipe from a device",
        {"pipes.S2.from": "FL1"},
        "spec.unknown-tag",
        'There is no water connection "FL1".',
        'Write from = "FL1.out".',
    ),
    (
        "pipe to a device",
        {"pipes.S3.to": "P1.inlet"},
        "spec.unknown-tag",
        'There is no water connection "P1.inlet".',
        'Write to = "P1.in".',
    ),
    (
        "pipe to a port of the tank",
        {"pipes.D3.to": "TK1.top"},
        "spec.unknown-tag",
        'There is no water connection "TK1.top".',
        'Write to = "TK1".',
    ),
    (
        "pipe to what carries no water",
        {"pipes.D3.to": "CB1.in"},
        "spec.unknown-tag",
        'There is no water connection "CB1.in".',
        "CB1 stands in [[controllers]] and carries no water. Ends to choose from:",
    ),
    (
        "fitting with its words exchanged",
        {"pipes.S1.fittings": ["90 elbow"]},
        "spec.unknown-fitting",
        'The table of fittings has no "90 elbow"',
        'Write one of: "elbow 90".',
    ),
    (
        "place that is not listed",
        {"switches.LS1.location": "cistern"},
        "spec.unknown-place",
        'There is no place "cistern". [[locations]] lists: array, pump house, well, tank.',
        'add a table [[locations]] with name = "cistern"',
    ),
    (
        "lagged pipe",
        {"pipes.D3.insulated": True},
        "spec.unknown-key",
        'There is no key "insulated" in [[pipes]].',
        "insulation alone only delays the frost",
    ),
    (
        "plural of a key that stands there already",
        {"enclosures.BOX1.parts": ["Q1"]},
        "spec.unknown-key",
        'There is no key "parts" in [[enclosures]].',
        "write holds = ".capitalize(),
    ),
    (
        "slip of the finger",
        {"panels.PV1.shadding": 0.1},
        "spec.unknown-key",
        'There is no key "shadding" in [[panels]].',
        'Did you mean "shading"?',
    ),
    (
        "table by another name",
        {"wells.W1": {"depth": "3 m"}},
        "spec.unknown-table",
        "There is no table [wells].",
        "Write [source], or [[source]] where there are several.",
    ),
    (
        "tag that begins with a digit",
        {"fuses.9F": {"part": "fuse-r"}},
        "spec.out-of-range",
        '"9F" is not a tag',
        "begins with a letter",
    ),
)


@pytest.mark.parametrize(
    ("edit", "rule", "says", "told"), [s[1:] for s in SPECS], ids=[name for name, *_ in SPECS]
)
def test_a_plausible_mistake_is_told_in_one_sentence(
    edit: dict[str, Any], rule: str, says: str, told: str
) -> None:
    finding = _only(edit)

    assert finding.rule == rule
    assert says in finding.message
    assert told in f"{finding.message} {finding.fix}"
    (place, *_) = finding.places
    assert place.file == ("reference-parts.toml" if any(k.startswith("part:") for k in edit) else "job.toml")


def test_the_place_is_the_very_value_or_key() -> None:
    unknown = {"job.paper": "A4"}
    place = _only(unknown).places[0]
    assert (place.line, place.column) == (_line(unknown, "paper ="), 1)

    wrong = {"panels.PV1.azimuth": "South"}
    place = _only(wrong).places[0]
    assert (place.line, place.column) == (_line(wrong, "azimuth ="), len("azimuth = ") + 1)


def test_a_list_whose_entries_are_wrong_is_not_called_too_short() -> None:
    found = _found({"site.sun": ["5 h"] * 12})

    assert {f.rule for f in found} == {"spec.wrong-type"}
    assert len(found) == 12


def test_a_list_that_is_too_short_is_still_told() -> None:
    assert "11 entries; 12 are wanted" in _only({"site.sun": [5.0] * 11}).message


def test_a_catalogue_is_told_its_own_tables() -> None:
    job, parts = edited({})
    (finding,) = _findings(job, parts + b'\n[[motors]]\nid = "m"\n')

    assert "[[pumps]]" not in finding.fix
    assert "pump" in finding.message


@pytest.mark.parametrize(
    "value",
    ["x" * 50_000, _STEERING, "\u0000", "", " ", "../../etc", "{}", "%s%n", "\ud7ff\ue000", "è" * 500],
    ids=["long", "steering", "nul", "empty", "blank", "path", "braces", "format", "odd letters", "accents"],
)
@pytest.mark.parametrize(
    "place",
    [
        "job.title",
        "job.rulebook",
        "job.earthing",
        "job.units",
        "site.elevation",
        "source.WELL.kind",
        "panels.PV1.part",
        "panels.PV1.azimuth",
        "panels.PV1.series",
        "fuses.F1.holder",
        "switches.LS1.location",
        "switches.LS1.guards",
        "valves.CV1.part",
        "pipes.S2.from",
        "pipes.S1.fittings[0]",
        "runs.R1.wire",
        "runs.R1.size",
        "runs.R1.raceway",
        "runs.R1.conductors[0].from",
        "enclosures.BOX1.holds[0]",
    ],
)
def test_a_hostile_value_is_told_shortly_and_steers_no_terminal(place: str, value: str) -> None:
    job, parts = edited({place: value})
    found = compile_spec(job, "job.toml", lambda name: parts, strict=True).findings
    lines = {"job.toml": job.decode().splitlines()}

    for finding in found:
        if finding.rule.startswith("spec.") and finding.stops_the_job:
            assert len(finding.message) + len(finding.fix) < 1_200
    shown = findings_text(found, lines)
    assert all(letter.isprintable() or letter == "\n" for letter in shown)
    assert all(len(line) <= 80 for line in shown.splitlines())


@pytest.mark.parametrize("value", [7, -1, 10**40, 1e308, True, [], {}, [[[]]], {"a": {"b": 1}}, [1, "x"]])
@pytest.mark.parametrize(
    "place",
    [
        "job.title",
        "job.date",
        "job.catalogs",
        "site.sun",
        "site.latitude",
        "panels.PV1.tag",
        "panels.PV1.series",
        "panels.PV1.tilt",
        "switches.LS1.stops",
        "pipes.S1.fittings",
        "pipes.S1.from",
        "runs.R1.conductors",
        "runs.R1.conductors[0]",
        "runs.R1.size",
        "locations.array.wet",
        "enclosures.BOX1.holds",
    ],
)
def test_a_value_of_any_type_is_answered(place: str, value: Any) -> None:
    job, parts = edited({place: value})
    found = compile_spec(job, "job.toml", lambda name: parts, strict=True).findings

    for finding in found:
        assert len(finding.message) < 1_200
        assert finding.message.rstrip()[-1] in '.?)"'


@pytest.mark.parametrize("key", ["k" * 5_000, _STEERING, "ключ", "a.b", " "])
def test_a_hostile_key_or_table_is_told_shortly(key: str) -> None:
    parts = edited({})[1]
    for job in (
        reference_job() | {key: [{"tag": "X"}]},
        reference_job() | {"job": reference_job()["job"] | {key: 1}},
    ):
        data = tomli_w.dumps(job).encode()
        (finding,) = _findings(data, parts)
        shown = findings_text([finding], {"job.toml": data.decode().splitlines()})

        assert len(finding.message) < 600
        assert all(letter.isprintable() or letter == "\n" for letter in shown)


def test_raw_letters_that_steer_a_terminal_are_not_repeated() -> None:
    job, parts = edited({})
    data = job + b'\n[[fuses]]\ntag = "F\x1b[2J9"\npart = \x1b]0;x\x07\n'
    found = _findings(data, parts)
    shown = findings_text(found, {"job.toml": data.decode().split("\n")})

    assert found
    assert "\x1b" not in shown
