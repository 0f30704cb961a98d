"""The commands. With ``publish``, the only code that reads or writes a disk or a terminal."""

from __future__ import annotations

import gc
import shutil
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

import specc

if TYPE_CHECKING:
    from specc.pipeline import Compiled
    from specc.system.system import System

app = typer.Typer(
    name="specc",
    help="Checks the spec of a small off-grid water system and prints the papers to build it from.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

JobFile = Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job spec.", show_default=False)]
WIDEST = 100
SLOW_S = 1.0
MOST_WEATHER_BYTES = 20_000_000


def main() -> None:
    """The console script."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    # Nearly all that a check makes and imports lives to its end: there is no garbage to look for.
    gc.disable()
    app()


def _fail(message: str) -> NoReturn:
    """A wrong call: one sentence on stderr, status 2."""
    typer.echo(f"specc: {message}", err=True)
    raise typer.Exit(2)


def _width() -> int:
    return max(40, min(WIDEST, shutil.get_terminal_size((80, 24)).columns))


def _colour() -> bool:
    import os

    return sys.stdout.isatty() and "NO_COLOR" not in os.environ


def _read(path: Path) -> bytes:
    """The bytes of a file, and never more than a spec may have."""
    from specc.reading.toml_positions import MOST_BYTES

    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)


def _compile(job: Path) -> tuple[Compiled, Mapping[str, list[str]]]:
    """The compiled job, and the lines of every file that a finding may point into."""
    from specc.pipeline import compile_spec

    lines: dict[str, list[str]] = {}

    def keep(name: str, data: bytes) -> bytes:
        lines[name] = data.decode("utf-8", errors="replace").splitlines()
        return data

    try:
        data = keep(job.name, _read(job))
    except OSError as error:
        _fail(f'"{job}" cannot be read: {(error.strerror or str(error)).lower()}.')
    return compile_spec(data, job.name, lambda name: keep(name, _read(job.parent / name))), lines


def _report(compiled: Compiled, lines: Mapping[str, list[str]], *, every: bool = False) -> None:
    from specc.rendering.findings_text import findings_text, summary_text

    text = findings_text(compiled.findings, lines, width=_width(), colour=_colour(), every=every)
    if text:
        typer.echo(text + "\n")
    if compiled.choices:
        from specc.rendering.choices_text import choices_text

        typer.echo(choices_text(compiled.choices, width=_width()) + "\n")
    import textwrap

    typer.echo(textwrap.fill(summary_text(compiled.findings, read=compiled.system is not None), _width()))
    if compiled.also is not None:
        second = compiled.also.findings
        text = findings_text(second, lines, width=_width(), colour=_colour(), every=every)
        typer.echo(f"\nAlso under {compiled.also.title} (does not count for the result):\n")
        typer.echo(text + "\n" if text else "", nl=bool(text))
        typer.echo(textwrap.fill(summary_text(second, read=True), _width()))


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"specc {specc.__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    pass


@app.command()
def check(
    job: JobFile,
    json: Annotated[bool, typer.Option("--json", help="Print every answer as JSON.")] = False,
    every: Annotated[bool, typer.Option("--every", help="Print what holds, too.")] = False,
) -> None:
    """Check a job: what is wrong, where, and what to do about it.

    Ends with 0 (no danger or error), 1 (such findings) or 2 (the spec could not be read, or the call was
    wrong).
    """
    compiled, lines = _compile(job)
    if json:
        from specc.rendering.files_json import findings_json

        about = compiled.system.job if compiled.system is not None else None
        data = findings_json(compiled.file, about, compiled.findings, compiled.choices, compiled.also)
        typer.echo(data.decode(), nl=False)
    else:
        _report(compiled, lines, every=every)
    raise typer.Exit(compiled.exit_status)


@app.command()
def build(
    job: JobFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="DIR",
            help="Folder for the packet; else JOB-packet beside the spec.",
            show_default=False,
        ),
    ] = None,
    draft: Annotated[
        bool, typer.Option("--draft", help="Publish a job with dangers or errors; every page says so.")
    ] = False,
    own_look: Annotated[
        Path | None,
        typer.Option(
            "--templates",
            metavar="DIR",
            help="A folder of your own template files, laid over the built-in ones.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Check a job and write its packet into one folder.

    Ends with 0 (no danger or error), 1 (such findings: nothing is written without --draft), 2 (the spec could
    not be read, or the call was wrong) or 3 (all but the PDF is written).
    """
    from specc import pipeline
    from specc.own_templates import read_own_templates
    from specc.publish import PublishError, publish
    from specc.templates import TemplateProblem

    compiled, lines = _compile(job)
    if compiled.system is None:
        _report(compiled, lines)
        raise typer.Exit(compiled.exit_status)
    stopped = compiled.exit_status != 0
    if stopped and not draft:
        _report(compiled, lines)
        typer.echo("Nothing was written. With --draft the packet is made, and every page says so.")
        raise typer.Exit(compiled.exit_status)
    folder = output if output is not None else job.with_name(job.stem + "-packet")
    gc.enable()  # setting pages makes garbage enough
    weather = _weather(job, compiled.system)
    try:
        templates = read_own_templates(own_look) if own_look is not None else None
        made = pipeline.build(compiled, draft=draft, tell=_progress(), weather=weather, templates=templates)
    except TemplateProblem as problem:
        _fail(f"{problem} Nothing was written.")
    try:
        publish(folder, made.contents)
    except PublishError as error:
        _fail(f"{error}.")
    import textwrap

    from specc.rendering.findings_text import findings_text, summary_text

    of_the_year = findings_text(made.findings, lines, width=_width(), colour=_colour())
    if of_the_year:
        typer.echo(f"Of the year of water, which only this command and water work out:\n\n{of_the_year}\n")
    # What the cover of the packet says.
    told = summary_text((*compiled.findings, *made.findings), read=True)
    typer.echo(textwrap.fill(told, _width()))
    typer.echo(f"Wrote {len(made.contents)} files to {folder}.")
    if made.no_water:
        typer.echo(f"No year of water: {made.no_water}.", err=True)
    if made.no_pdf:
        typer.echo(f"No PDF: {made.no_pdf}", err=True)
        raise typer.Exit(max(compiled.exit_status, 3))
    raise typer.Exit(compiled.exit_status)


def _progress() -> Callable[[str], None]:
    """Says what is going on, on a terminal only, once the build has taken a second."""
    import time

    start = time.monotonic()

    def tell(step: str) -> None:
        # The slow step is the last: say it at once, or nobody sees it before it is done.
        if sys.stderr.isatty() and (time.monotonic() - start > SLOW_S or step.startswith("setting")):
            typer.echo(f"{step} ...", err=True)

    return tell


@app.command()
def water(job: JobFile) -> None:
    """Work out the water of a year, month by month.

    Ends with 0 (done), 1 (it cannot be worked out) or 2 (the spec could not be read).
    """
    from specc import pipeline
    from specc.rendering.findings_text import findings_text
    from specc.rendering.water_text import water_text

    compiled, lines = _compile(job)
    if compiled.system is None:
        _report(compiled, lines)
        raise typer.Exit(compiled.exit_status)
    system = compiled.system
    made = pipeline.water(system, _weather(job, system))
    if made.table is None:
        typer.echo(f"The year cannot be worked out: {made.why_not}. {made.to_do}".rstrip(), err=True)
        raise typer.Exit(1)
    typer.echo(water_text(made.table, system.job.units, width=_width()))
    text = findings_text(made.findings, lines, width=_width(), colour=_colour())
    if text:
        typer.echo("\n" + text)
    if compiled.exit_status:
        typer.echo("\nThis job has dangers or errors to mend first: specc check lists them.", err=True)


def _weather(job: Path, system: System) -> bytes | None:
    """The bytes of the weather file beside the spec, where it names one."""
    name = system.site.weather
    if name is None:
        return None
    try:
        with (job.parent / name).open("rb") as file:
            data: bytes = file.read(MOST_WEATHER_BYTES + 1)
    except OSError as error:
        _fail(f'"{name}" cannot be read: {(error.strerror or str(error)).lower()}.')
    if len(data) > MOST_WEATHER_BYTES:
        _fail(f'"{name}" is too large for a year of weather.')
    return data


@app.command()
def explain(
    rule: Annotated[str | None, typer.Argument(metavar="RULE", help="A rule id.", show_default=False)] = None,
) -> None:
    """Explain a rule, or list every rule id.

    Without a rule: one id a line.
    """
    from specc.reading.suggest import did_you_mean
    from specc.rendering.explain_text import explain_rule
    from specc.rules import ALL_RULES, YEAR_RULES
    from specc.rules.reading import READING_RULES

    every: tuple[Any, ...] = (*ALL_RULES, *YEAR_RULES, *READING_RULES)
    known = {r.id: r for r in every}
    if rule is None:
        typer.echo("\n".join(sorted(known)))
        return
    if rule not in known:
        group = [name for name in sorted(known) if name.startswith(f"{rule}.")]
        guess = f"of its group there are {', '.join(group)}." if group else did_you_mean(rule, sorted(known))
        _fail(f'there is no rule "{rule}"' + (f": {guess}" if guess else "; specc explain lists them all."))
    typer.echo(explain_rule(known[rule], width=_width()))


@app.command()
def new(
    kind: Annotated[
        str | None,
        typer.Argument(metavar="KIND", help="Which starter; without it, list them.", show_default=False),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", help="Write here, not to the terminal.", show_default=False
        ),
    ] = None,
) -> None:
    """Write a commented starter spec."""
    from specc.resources import templates_dir

    starters = {path.stem: path for path in sorted((templates_dir() / "starters").glob("*.toml"))}
    if kind is None:
        for name, path in starters.items():
            typer.echo(f"{name:<22}{path.read_text(encoding='utf-8').splitlines()[0].lstrip('# ')}")
        return
    if kind not in starters:
        _fail(f'there is no starter "{kind}"; there are: {", ".join(starters)}.')
    text = starters[kind].read_text(encoding="utf-8")
    if output is None:
        typer.echo(text, nl=False)
        return
    try:
        with output.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        _fail(f'"{output}" is there already; choose another name.')
    except OSError as error:
        _fail(f'"{output}" cannot be written: {(error.strerror or str(error)).lower()}.')
    typer.echo(f"Wrote {output}. Next: specc check {output}")


@app.command()
def parts(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[WORDS]", help="Words that id or description hold, or one id.", show_default=False
        ),
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="Only parts of this kind.", show_default=False)
    ] = None,
) -> None:
    """Search the built-in catalogue.

    What is found alone, or named by its id, is shown whole: its terminals, ratings, and what it needs.
    """
    from specc.reading.catalog import Catalog, built_in_table
    from specc.reading.parts import PART_KINDS
    from specc.rendering.part_text import part_text
    from specc.rendering.parts_text import parts_text

    if kind is not None and kind not in PART_KINDS:
        _fail(f'there is no kind "{kind}"; there are: {", ".join(PART_KINDS)}.')
    wanted = [word.casefold() for word in words or ()]
    parts = list(Catalog().parts(*([kind] if kind else [])))
    searched = [f"{part.id} {part.name} {getattr(part, 'kind', '')}".casefold() for part in parts]
    found = [
        part
        for part, words_of in zip(parts, searched, strict=True)
        if all(word in words_of for word in wanted)
    ]
    if not found:
        _fail(_no_part(wanted, [w for w in wanted if any(w in part for part in searched)], kind))
    alone = words[0] if words and len(words) == 1 and built_in_table(words[0]) else ""
    if not alone and len(found) == 1:
        alone = found[0].id
    if alone and (table := built_in_table(alone)) is not None:

        def named(part_id: str) -> tuple[str, float | None] | None:
            part = Catalog().find(part_id)
            return None if part is None else (part.name, part.price)

        typer.echo(part_text(*table, named, width=_width()))
        return
    typer.echo(parts_text(found, width=_width()))


def _no_part(wanted: list[str], met: list[str], kind: str | None) -> str:
    """Why a search found nothing: the words that no part has, or that none has together."""
    among = f' of the kind "{kind}"' if kind else ""
    strange = [word for word in wanted if word not in met]
    if not strange:
        return f"no part{among} holds all of these words together; try fewer."
    listed = " or ".join(f'"{word}"' for word in strange)
    more = " Try the other words alone." if met else " `specc parts` without a word lists them all."
    return f"no part{among} of the catalogue holds {listed}.{more}"


if __name__ == "__main__":
    main()
