"""What the reading of a spec refuses, explained. The findings themselves are made where the text is read.

``wrong`` and ``right`` are stretches of TOML that stand for the tables that they name in an otherwise
sound spec; of a rule on the text as a whole they are the whole file.
"""

from __future__ import annotations

from dataclasses import dataclass

from specc.diagnostics import Severity

_LONGEST_LINE = 100  # characters of a line of an example that people are shown
_MOST_LINES = 24


@dataclass(frozen=True)
class ReadingRule:
    """One rule of the reading: identity, explanation, a text that breaks it and one that does not."""

    id: str
    severity: Severity
    title: str
    checks: str
    why: str
    wrong: str
    right: str
    whole: bool = False  # the examples are whole files
    beside: tuple[str, ...] = ()  # other ids that the broken text raises too

    @property
    def group(self) -> str:
        return self.id.split(".")[0]

    @property
    def shown_wrong(self) -> str:
        """The broken example as people can read it: cut where it is long, what does not print spelled out."""
        lines = self.wrong.replace("\0", "\\0").split("\n")
        if len(lines) > _MOST_LINES:
            lines = [*lines[:_MOST_LINES], "..."]
        return "\n".join(x if len(x) <= _LONGEST_LINE else x[: _LONGEST_LINE - 4] + " ..." for x in lines)


def _error(
    name: str,
    title: str,
    checks: str,
    why: str,
    wrong: str,
    right: str,
    *,
    whole: bool = False,
    beside: tuple[str, ...] = (),
) -> ReadingRule:
    return ReadingRule(f"spec.{name}", Severity.ERROR, title, checks, why, wrong, right, whole, beside)


_SITE = '[site]\nelevation = "600 m"\n'
_WIRED = """[[switches]]
tag = "LS1"
part = "float-switch-dc-10a"
closes_on = "fall"
guards = "tank full"

[[switches]]
tag = "LS2"
part = "float-switch-dc-10a"
closes_on = "rise"
guards = "source low"

[[runs]]
tag = "R1"
wire = "float-cable-cu"
size = "18 AWG"
length = "10 m"
conductors = [{{ from = "LS1.2", to = "{end}", color = "blue" }}]
"""
_PIPE = """[[pipes]]
tag = "S1"
part = "pe-sidr-1"
from = "WELL"
to = "TK1"
length = "10 m"
fittings = ["{fitting}"]
"""
_JOB = """[job]
title = "a job"
date = 2026-03-01
rulebook = "us-2023"
units = "si"
earthing = "floating"
"""
_DIRECT = """[site]
coldest_air = "-10 degC"
hottest_air = "38 degC"

[[panels]]
tag = "PV1"
part = "pv-mono-100w-36c"

[[pumps]]
tag = "P1"
part = "vane-pump-12v-100gph"
elevation = "0 m"

[[runs]]
tag = "R1"
wire = "thwn2-cu"
size = "{size}"
length = "{length}"
laid = "in enclosure"
conductors = [
  {{ from = "PV1.+", to = "P1.+", color = "red" }},
  {{ from = "PV1.-", to = "P1.-", color = "black" }},
]
"""
_STORED = """[tank]
tag = "TK1"
inlet = "22 m"
capacity = "100 L"
demand = "1000 L/day"

[[accepted]]
rule = "{rule}"
on = "TK1"
reason = "a second tank follows next year"
by = "the designer"
"""

READING_RULES: tuple[ReadingRule, ...] = (
    _error(
        "encoding",
        "File is not UTF-8 text",
        "The bytes of the file are UTF-8 text without zero bytes.",
        "An older encoding turns degree signs and accents into other characters, a number among them.",
        'title = "a zero byte: \0"\n',
        'title = "plain text"\n',
        whole=True,
    ),
    _error(
        "too-large",
        "File too large to be a spec",
        "The file has no more than 1 MB.",
        "No job is that long: it is another file, and reading it would only take time.",
        "# " + "padding " * 130_000,
        "# a comment of ordinary length\n[job]\n",
        whole=True,
    ),
    _error(
        "too-deep",
        "Brackets nested too deep",
        "Brackets and dotted keys are nested no more than 64 deep.",
        "No job needs it, and such a text can take the reader down.",
        "[job]\nnote = " + "[" * 80 + "]" * 80,
        "[job]\nnote = [[[]]]\n",
        whole=True,
    ),
    _error(
        "empty",
        "File says nothing",
        "The file holds at least one table.",
        "An empty file has no faults, and must not count as a job without faults.",
        "# nothing but a comment\n",
        '[job]\ntitle = "a job"\n',
        whole=True,
    ),
    _error(
        "syntax",
        "Text is not TOML",
        "Every statement is TOML, and no key or heading stands twice.",
        "What cannot be read cannot be checked; the sound statements around it are still looked at.",
        '[site]\nelevation = "600 m\n',
        _SITE,
    ),
    _error(
        "unknown-table",
        "Table that nothing knows",
        "Every table has one of the known names.",
        "A mistyped heading would drop all that stands below it.",
        '[[pump]]\ntag = "P9"\n',
        _SITE,
    ),
    _error(
        "unknown-key",
        "Key that nothing knows",
        "Every key is one that its table takes.",
        "A mistyped key would leave its value unread, and the check that needs it without a datum.",
        '[site]\nelevaton = "600 m"\n',
        _SITE,
    ),
    _error(
        "missing-key",
        "Key that must be there is not",
        "Every table has the keys without which it means nothing.",
        "Such a key has no cautious default.",
        '[tank]\ninlet = "22 m"\n',
        '[tank]\ntag = "TK1"\ninlet = "22 m"\n',
    ),
    _error(
        "wrong-type",
        "Value of another type",
        "A text, a number, a list or a table stands where one is wanted.",
        "A guess at what was meant could be the wrong one.",
        "[site]\nlatitude = [40.0]\n",
        "[site]\nlatitude = 40.0\n",
    ),
    _error(
        "missing-unit",
        "Number without its unit",
        "Every physical value is a text with number and unit.",
        "Ten feet and ten metres differ by a factor of three, and both look right.",
        "[site]\nelevation = 600\n",
        _SITE,
    ),
    _error(
        "wrong-dimension",
        "Unit of another kind of quantity",
        "The unit measures what the key asks for.",
        "A pressure where a length belongs is a value in the wrong line.",
        '[site]\nelevation = "600 kPa"\n',
        _SITE,
    ),
    _error(
        "unknown-unit",
        "Unit that nothing knows",
        "The unit is one of those that the quantity takes.",
        "A mistyped unit may stand for several.",
        '[site]\nelevation = "600 mtr"\n',
        _SITE,
    ),
    _error(
        "not-a-number",
        "Value without a plain, finite number",
        "The text starts with one finite number, with a point for its decimals.",
        "Every comparison with what is no number is false, and a limit would seem to be kept.",
        '[site]\nelevation = "nan m"\n',
        _SITE,
    ),
    _error(
        "out-of-range",
        "Value beyond what can be",
        "The value lies within what makes physical sense for its key.",
        "A slipped decimal point or a wrong sign is found here rather than in the field.",
        '[site]\nelevation = "60000 m"\n',
        _SITE,
    ),
    _error(
        "unknown-value",
        "Word that is not one of the choices",
        "A key with fixed choices takes one of them.",
        "A word that nothing knows would choose nothing.",
        '[source]\ntag = "WELL"\nkind = "hand-dug hole"\n',
        '[source]\ntag = "WELL"\nkind = "dug well"\n',
    ),
    _error(
        "duplicate-tag",
        "Tag that stands twice",
        "Tags are unique over all tables; capitals and small letters do not tell two apart.",
        "A conductor to a tag that two things share could end on either.",
        '[[locations]]\nname = "well"\n\n[tank]\ntag = "well"\n\n[source]\ntag = "WELL"\nkind = "dug well"\n',
        '[tank]\ntag = "TK1"\n\n[source]\ntag = "WELL"\nkind = "dug well"\n',
    ),
    _error(
        "unknown-tag",
        "Reference to a tag that is nowhere",
        "Every tag that a conductor, a pipe, a run or an enclosure names stands in some table.",
        "A line that leads nowhere would leave its other end unconnected without a word.",
        _WIRED.format(end="LS3.1"),
        _WIRED.format(end="LS2.1"),
    ),
    _error(
        "unknown-terminal",
        "Terminal that the device does not have",
        "Every terminal that a conductor ends on is one of the device's catalogue part.",
        "Whoever wires from the schedule would look for it in vain.",
        _WIRED.format(end="LS2.9"),
        _WIRED.format(end="LS2.1"),
    ),
    _error(
        "unknown-part",
        "Part that is in no catalogue",
        "Every part stands in a catalogue, and is of the kind that its table takes.",
        "Without its ratings nothing about a part can be checked.",
        '[[filters]]\ntag = "FL1"\npart = "no-such-filter"\n',
        '[[raceways]]\ntag = "C1"\npart = "pvc-sch40-0.75"\nlength = "10 m"\n',
    ),
    _error(
        "unknown-fitting",
        "Fitting without a loss",
        "Every fitting of a pipe stands in the table of fittings.",
        "A fitting that nothing knows would lose no head.",
        _PIPE.format(fitting="elbow 77"),
        _PIPE.format(fitting="elbow 90"),
    ),
    _error(
        "unreadable-catalog",
        "Catalogue or amendments that cannot be read",
        "Every catalogue and every file of amendments that the job names can be opened.",
        "The parts and limits that it holds, or replaces, would be others than meant.",
        _JOB + 'catalogs = ["nowhere.toml"]\n',
        _JOB + "catalogs = []\n",
    ),
    _error(
        "unknown-place",
        "Place that is not among the listed ones",
        "Where the job lists places under [[locations]], every `location` and every end of a sightline is "
        "one of them.",
        "A misspelt place is one of which nothing is known: not whether it rains there, not how far it is.",
        '[[locations]]\nname = "pump house"\n\n[tank]\ntag = "TK1"\nlocation = "pump huose"\n',
        '[[locations]]\nname = "pump house"\n\n[tank]\ntag = "TK1"\nlocation = "pump house"\n',
    ),
    _error(
        "duplicate-place",
        "Place described twice",
        "No two tables of [[locations]] have the same name.",
        "Of two descriptions only one could count, and nobody would know which.",
        '[[locations]]\nname = "well"\nwet = true\n\n[[locations]]\nname = "well"\n',
        '[[locations]]\nname = "well"\nwet = true\n\n[[locations]]\nname = "array"\n',
    ),
    _error(
        "unusable-logo",
        "Logo that cannot be printed safely",
        "The logo of [firm] is a file beside the spec: a PNG, or an SVG of shapes and text that runs no "
        "program and refers to nothing outside it; at most 200 kB.",
        "It is taken into the packet, which must work offline and ask for nothing from outside.",
        '[firm]\nname = "A firm"\nlogo = "../elsewhere/logo.gif"\n',
        '[firm]\nname = "A firm"\naddress = ["12 Mill Lane", "Harrow"]\n',
    ),
    _error(
        "more-mistakes",
        "More mistakes than are listed",
        "The file has no more mistakes than people read.",
        "A list without end hides the first mistake, from which the others often follow.",
        "[site]\n" + "".join(f"nonsense_{number} = 1\n" for number in range(250)),
        _SITE,
        beside=("spec.unknown-key",),
    ),
    _error(
        "nothing-checked",
        "Nothing in the job to check",
        "At least one rule finds something to look at.",
        "A job without panels, wiring and pipes has no faults, and must not count as a job without faults.",
        _JOB + _SITE,
        _JOB + _SITE + '[tank]\ntag = "TK1"\ncapacity = "5000 L"\ndemand = "1500 L/day"\n',
        whole=True,
    ),
    _error(
        "outside-tables",
        "Beyond the tables of the rulebook",
        "Sizes, temperatures and ratings lie within the tables by which the rules decide.",
        "What a table does not hold it does not permit either; the check is left undone and says so.",
        _DIRECT.format(size="24 AWG", length="10 m"),
        _DIRECT.format(size="8 AWG", length="10 m"),
    ),
    _error(
        "check-failed",
        "Check that failed by a fault of the program",
        "Every check comes to an answer. No spec should ever bring this about: please report it.",
        "The point that was to be checked is open, and is to be judged by hand.",
        "",
        "",
    ),
    ReadingRule(
        "spec.amendment-loosens",
        Severity.ADVICE,
        "Amendment that asks for less than the book",
        "Each amended value is as strict as the table's, or stricter. What is looser is said on the cover "
        "and "
        "beside the clause; what is looser by more than half, or against physics, is refused when it is "
        "read.",
        "An authority may loosen its own rules. Whoever reads the packet has to see that somebody did.",
        "",
        "",
    ),
    ReadingRule(
        "auto.impossible",
        Severity.ERROR,
        "Nothing to choose that passes every rule",
        'For every "auto" there is a choice that passes every rule at once, warnings counted. The choices of '
        "one job are made together: a larger wire may ask for another fuse, grounding conductor or raceway. "
        "Where none passes, what is at odds is told: the rules, and the terminal or device whose limit is in "
        "the way. The check goes on with what breaks least.",
        "A compiler that chose something all the same would hand on a fault that nobody chose.",
        _DIRECT.format(size="auto", length="300 m"),
        _DIRECT.format(size="auto", length="2 m"),
    ),
    _error(
        "acceptance",
        "Acceptance that is not permitted or accepts nothing",
        "Each [[accepted]] table names a rule that allows a deviation and a thing on which it is found. A "
        "danger can never be accepted. Advice where nothing of the kind was found.",
        "An acceptance that outlives its cause would hide the next fault of its kind.",
        _STORED.format(rule="storage.no-such-rule"),
        _STORED.format(rule="storage.days"),
    ),
)
