"""Specs that are TOML but not a job: each with the rule that must say so and a word it must say."""

from __future__ import annotations

from typing import Any, NamedTuple


class BrokenSpec(NamedTuple):
    """A change to the reference job that makes it unreadable."""

    name: str
    edit: dict[str, Any]
    rule: str
    says: str


BROKEN_SPECS = (
    BrokenSpec("unknown table", {"fusses.F9": {"part": "fuse-r"}}, "spec.unknown-table", "fuses"),
    BrokenSpec("unknown key", {"runs.R1.lenght": "10 m"}, "spec.unknown-key", "length"),
    BrokenSpec("unknown key far from all", {"site.zzz": 1}, "spec.unknown-key", "it takes latitude, "),
    BrokenSpec(
        "unknown key in a conductor", {"runs.R1.conductors[0].colour": "red"}, "spec.unknown-key", "color"
    ),
    BrokenSpec("missing key", {"runs.R1.length": None}, "spec.missing-key", "length"),
    BrokenSpec("missing end of a conductor", {"runs.R1.conductors[0].to": None}, "spec.missing-key", "to"),
    BrokenSpec("missing job table", {"job": None}, "spec.missing-key", "[job]"),
    BrokenSpec("missing site table", {"site": None}, "spec.missing-key", "[site]"),
    BrokenSpec("missing unit", {"runs.R1.length": 10}, "spec.missing-unit", '"10 ft" or "10 m"'),
    BrokenSpec("missing unit in a text", {"runs.R1.length": "10"}, "spec.missing-unit", "ft"),
    BrokenSpec("feet for a current", {"part:booster-r.output_current": "10 ft"}, "spec.wrong-dimension", "A"),
    BrokenSpec("volts for a length", {"runs.R1.length": "10 V"}, "spec.wrong-dimension", "ft"),
    BrokenSpec("amperes for a head", {"pumps.P1.elevation": "3 A"}, "spec.wrong-dimension", "m"),
    BrokenSpec("unknown unit", {"runs.R1.length": "10 cubits"}, "spec.unknown-unit", "cubits"),
    BrokenSpec("misspelt unit", {"source.WELL.inflow": "15 galons/min"}, "spec.unknown-unit", "gal"),
    BrokenSpec("letter O for zero", {"runs.R1.length": "1O m"}, "spec.unknown-unit", "O m"),
    BrokenSpec("not a number", {"runs.R1.length": "nan m"}, "spec.not-a-number", "nan"),
    BrokenSpec("no end", {"runs.R1.length": "inf m"}, "spec.not-a-number", "inf"),
    BrokenSpec("an expression", {"runs.R1.length": "3*4 m"}, "spec.not-a-number", "3*4"),
    BrokenSpec("negative length", {"runs.R1.length": "-10 m"}, "spec.out-of-range", "below"),
    BrokenSpec("air of 300 degF", {"site.hottest_air": "300 degF"}, "spec.out-of-range", "above"),
    BrokenSpec("boiling water", {"source.WELL.water_temperature": "99 degC"}, "spec.out-of-range", "above"),
    BrokenSpec("latitude past the pole", {"site.latitude": 91.0}, "spec.out-of-range", "90"),
    BrokenSpec("no strings", {"panels.PV1.parallel": 0}, "spec.out-of-range", "1"),
    BrokenSpec("eleven months", {"site.sun": [3.0] * 11}, "spec.out-of-range", "12"),
    BrokenSpec("half a module", {"panels.PV1.series": 1.5}, "spec.wrong-type", "whole number"),
    BrokenSpec("number for a text", {"job.title": 7}, "spec.wrong-type", "quotes"),
    BrokenSpec("text for a list", {"enclosures.BOX1.holds": "Q1"}, "spec.wrong-type", "list"),
    BrokenSpec("text for a date", {"job.date": "some day"}, "spec.wrong-type", "date"),
    BrokenSpec("text for yes or no", {"pumps.P1.drain_back": "perhaps"}, "spec.wrong-type", "true or false"),
    BrokenSpec("list for a conductor", {"runs.R1.conductors[0]": ["PV1.+"]}, "spec.wrong-type", "table"),
    BrokenSpec("empty title", {"job.title": ""}, "spec.out-of-range", "empty"),
    BrokenSpec("endless title", {"job.title": "x" * 500}, "spec.out-of-range", "longer"),
    BrokenSpec("tag with a blank", {"panels.PV 9": {"part": "panel-r"}}, "spec.out-of-range", "PV 9"),
    BrokenSpec(
        "terminal without a dot", {"runs.R1.conductors[0].to": "Q1"}, "spec.out-of-range", 'to = "P1.+"'
    ),
    BrokenSpec("unknown rulebook", {"job.rulebook": "us-1899"}, "spec.unknown-value", "us-2023"),
    BrokenSpec("unknown unit system", {"job.units": "metric"}, "spec.unknown-value", "si"),
    BrokenSpec("unknown earthing", {"job.earthing": "grounded"}, "spec.unknown-value", "negative grounded"),
    BrokenSpec(
        "half the word",
        {"job.earthing": "functional"},
        "spec.unknown-value",
        "functionally grounded",
    ),
    BrokenSpec("unknown guard", {"switches.LS1.guards": "tank ful"}, "spec.unknown-value", "tank full"),
    BrokenSpec("unknown size", {"runs.R1.size": "9 gauge"}, "spec.unknown-unit", "AWG"),
    BrokenSpec("size that nobody draws", {"runs.R1.size": "7 AWG"}, "spec.unknown-unit", "8 AWG"),
    BrokenSpec("unknown part", {"panels.PV1.part": "panel-q"}, "spec.unknown-part", "panel-r"),
    BrokenSpec("part of another kind", {"panels.PV1.part": "fuse-r"}, "spec.unknown-part", "[[fuses]]"),
    BrokenSpec("unknown wire", {"runs.R1.wire": "thwn3-r"}, "spec.unknown-part", "thwn2-r"),
    BrokenSpec(
        "unknown wire of a conductor",
        {"runs.R1.conductors[0].wire": "thwn3-r"},
        "spec.unknown-part",
        "thwn2-r",
    ),
    BrokenSpec("unknown holder", {"fuses.F1.holder": "holder-x"}, "spec.unknown-part", "holder-r"),
    BrokenSpec("unknown tag", {"runs.R1.conductors[0].to": "Q9.1"}, "spec.unknown-tag", "Q1"),
    BrokenSpec("unknown terminal", {"runs.R1.conductors[0].to": "Q1.7"}, "spec.unknown-terminal", "1, 2"),
    BrokenSpec(
        "terminal of a thing without any",
        {"runs.R1.conductors[0].to": "FL1.in"},
        "spec.unknown-terminal",
        "no terminals",
    ),
    BrokenSpec("unknown raceway", {"runs.R1.raceway": "C9"}, "spec.unknown-tag", "C1"),
    BrokenSpec(
        "unknown thing in a box", {"enclosures.BOX1.holds": ["Q1", "CB1", "F9"]}, "spec.unknown-tag", "F1"
    ),
    BrokenSpec("unknown end of a pipe", {"pipes.S1.to": "FL9.in"}, "spec.unknown-tag", "FL1"),
    BrokenSpec("unknown spare terminal", {"breakers.Q1.spare": ["9"]}, "spec.unknown-terminal", "9"),
    BrokenSpec(
        "unknown jumper",
        {"terminal_blocks.TB9": {"part": "block-r", "links": [["1", "9"]]}},
        "spec.unknown-terminal",
        "9",
    ),
    BrokenSpec("tag used twice", {"breakers.F1": {"part": "breaker-r"}}, "spec.duplicate-tag", "F1"),
    BrokenSpec(
        "tag used twice but for case", {"breakers.f1": {"part": "breaker-r"}}, "spec.duplicate-tag", "F1"
    ),
    BrokenSpec("one table for many", {"panels": {"tag": "PV1"}}, "spec.wrong-type", "[[panels]]"),
    BrokenSpec("many tables for one", {"job": [{"title": "x"}]}, "spec.wrong-type", "[job]"),
    BrokenSpec(
        "missing catalogue", {"job.catalogs": ["nowhere.toml"]}, "spec.unreadable-catalog", "nowhere.toml"
    ),
    BrokenSpec("unknown key in a catalogue", {"part:panel-r.vocc": "22 V"}, "spec.unknown-key", "voc"),
    BrokenSpec("wrong dimension in a catalogue", {"part:panel-r.voc": "22 m"}, "spec.wrong-dimension", "V"),
    BrokenSpec("missing key in a catalogue", {"part:panel-r.voc": None}, "spec.missing-key", "voc"),
    BrokenSpec(
        "port of a part on no terminal of it",
        {"part:booster-r.ports[1].plus": "motor"},
        "spec.unknown-terminal",
        "motor+",
    ),
    BrokenSpec(
        "pole of a part on no terminal of it",
        {"part:breaker-r.poles": [{"between": ["1", "3"]}]},
        "spec.unknown-terminal",
        '"3"',
    ),
    BrokenSpec(
        "join of a part on no terminal of it",
        {"part:block-r.joined": [["1", "2"], ["3", "5"]]},
        "spec.unknown-terminal",
        '"5"',
    ),
    BrokenSpec(
        "remote input on no terminal",
        {"part:booster-r.remote.terminals": ["remote1", "remote3"]},
        "spec.unknown-terminal",
        "remote3",
    ),
    BrokenSpec(
        "panel without a plus",
        {"part:panel-r.terminals": [{"name": "p"}, {"name": "-"}]},
        "spec.unknown-terminal",
        '"+"',
    ),
    BrokenSpec(
        "terminal of a part twice",
        {"part:breaker-r.terminals": [{"name": "1"}, {"name": "2"}, {"name": "2"}]},
        "spec.duplicate-tag",
        "twice",
    ),
    BrokenSpec(
        "fuse holder that senses",
        {"part:holder-r.poles": [{"between": ["1", "2"], "closes": "as mounted"}]},
        "spec.unknown-value",
        "as mounted",
    ),
    BrokenSpec(
        "plus of a panel marked minus",
        {"part:panel-r.terminals[0].marked": "-"},
        "spec.unknown-value",
        'marked = "+"',
    ),
    BrokenSpec(
        "minus of a controller's port marked plus",
        {"part:booster-r.terminals[3].marked": "+"},
        "spec.unknown-value",
        "negative",
    ),
    BrokenSpec(
        "port of a controller with its poles exchanged",
        {"part:booster-r.ports[1].plus": "motor-", "part:booster-r.ports[1].minus": "motor+"},
        "spec.unknown-value",
        "motor+",
    ),
    BrokenSpec(
        "pump whose negative is joined to its case",
        {"part:pump-r.joined": [["-", "case"]]},
        "spec.unknown-value",
        "grounding",
    ),
    BrokenSpec(
        "place that is not listed",
        {"enclosures.BOX1.location": "pump huose"},
        "spec.unknown-place",
        "pump house",
    ),
    BrokenSpec(
        "place of a sightline that is not listed",
        {"sightlines.0.between": ["array", "Pump house"]},
        "spec.unknown-place",
        "pump house",
    ),
    BrokenSpec(
        "place of a run that is not listed", {"runs.R1.location": "the hill"}, "spec.unknown-place", "array"
    ),
)
