"""Templates filled in, in a sandbox. The only importer of jinja2.

A template sees values and the filters below: no attribute that leads into the interpreter, no file, no
network, no name that the package has not. What goes wrong in one of a firm's own is a ``TemplateProblem``
that names file and line.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Mapping
from contextlib import nullcontext
from functools import lru_cache
from typing import Any

from jinja2 import (
    BaseLoader,
    Environment,
    StrictUndefined,
    TemplateError,
    TemplateNotFound,
    TemplateSyntaxError,
    UndefinedError,
)
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from specc.rendering.bounds import OutOfBounds, bounded
from specc.templates import TemplateProblem, Templates, templates

MOST_CHARACTERS = 60_000_000  # of one page
MOST_BITS = 64  # of both factors of a product
LONGEST_MADE = 1_000_000  # of a text or list that a template makes by multiplying
# Filters that make markup, addresses or chance, or reach for attributes by name.
WITHOUT_FILTERS = (
    "attr",
    "center",
    "format",
    "indent",
    "pprint",
    "random",
    "safe",
    "tojson",
    "urlize",
    "xmlattr",
)
WITHOUT_GLOBALS = ("cycler", "joiner", "lipsum")
Filters = Mapping[str, Callable[..., Any]]


class _Sandbox(ImmutableSandboxedEnvironment):
    """No underscores, no change of what is given, and no text that is made huge."""

    intercepted_binops = frozenset({"*", "**", "%"})

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        if operator == "*":
            for made, times in ((left, right), (right, left)):
                if hasattr(made, "__len__") and (
                    not isinstance(times, int) or len(made) * times > LONGEST_MADE
                ):
                    raise SecurityError("a text or list is multiplied beyond measure")
            if all(isinstance(n, int) and n.bit_length() > MOST_BITS for n in (left, right)):
                raise SecurityError("a product beyond measure")
        elif operator == "**" and not (abs(left) < LONGEST_MADE and abs(right) <= 16):
            raise SecurityError("a power beyond measure")
        elif operator == "%" and isinstance(left, str):
            raise SecurityError("a text is filled in with %; join the pieces with ~")
        return super().call_binop(context, operator, left, right)


def _printable(value: Any) -> Any:
    """What is printed is one value; a list of lists of itself could be longer than any page."""
    if type(value) in (list, tuple, dict, set, frozenset):  # not a place, which prints as one
        raise SecurityError("a whole list is printed; print its values one by one")
    return value


class _Loader(BaseLoader):
    """Templates of one folder by their names; a name that leads elsewhere is not there."""

    def __init__(self, all_templates: Templates, folder: str) -> None:
        self.templates, self.folder = all_templates, folder

    def get_source(self, environment: Environment, template: str) -> tuple[str, str, Callable[[], bool]]:
        name = f"{self.folder}/{template}"
        try:
            text = self.templates.text(name)
        except KeyError:
            raise TemplateNotFound(template) from None
        return text, self.templates.place(name), lambda: True


@lru_cache(maxsize=16)
def _environment(all_templates: Templates, folder: str, filters: tuple[tuple[str, Any], ...]) -> Environment:
    # By file name, autoescaping would pass over .j2 files: it is on for every template.
    environment = _Sandbox(
        loader=_Loader(all_templates, folder),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_printable,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=folder != "packet",
    )
    for name in WITHOUT_FILTERS:
        environment.filters.pop(name, None)
    for name in WITHOUT_GLOBALS:
        environment.globals.pop(name, None)
    environment.filters.update(filters)
    return environment


def render(folder: str, name: str, filters: Filters, **values: Any) -> str:
    """A template of a folder, filled in.

    Raises:
        TemplateProblem: a template of a firm that is broken, asks for what there is not, or makes too much.
    """
    all_templates = templates()
    environment = _environment(all_templates, folder, tuple(filters.items()))
    try:
        with bounded() if all_templates.own else nullcontext():
            return _filled_in(environment, name, values)
    except TemplateProblem:
        raise
    except Exception as error:
        if not all_templates.own:
            raise
        raise _problem(error, all_templates, folder) from error


def _filled_in(environment: Environment, name: str, values: Mapping[str, Any]) -> str:
    pieces, size = [], 0
    for piece in environment.get_template(name).generate(**values):
        size += len(piece)
        if size > MOST_CHARACTERS:
            raise SecurityError(f"the page grows beyond {MOST_CHARACTERS} characters")
        pieces.append(piece)
    return "".join(pieces)


def check_syntax(all_templates: Templates) -> None:
    """Reads every own template of text. Raises TemplateProblem for the first that is broken."""
    for name in sorted(all_templates.own):
        folder, _, file = name.partition("/")
        if not file.endswith(".j2"):
            continue
        try:
            _Sandbox().parse(all_templates.text(name), file, all_templates.place(name))
        except TemplateError as error:
            raise _problem(error, all_templates, folder) from error


def _problem(error: Exception, all_templates: Templates, folder: str) -> TemplateProblem:
    """The error as one sentence with the line of the template in which it happened."""
    if isinstance(error, TemplateSyntaxError):
        return TemplateProblem(error.filename or folder, error.lineno, f"{_sentence(error.message or '')}")
    places = {all_templates.place(f"{folder}/{n.partition('/')[2]}") for n in all_templates.own}
    frames = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename in places or frame.filename.startswith(f"templates/{folder}/")
    ]
    own = [frame for frame in frames if frame.filename in places] or frames
    place, line = (own[-1].filename, own[-1].lineno) if own else (all_templates.folder, None)
    return TemplateProblem(place, line, _said(error))


def _said(error: Exception) -> str:
    if isinstance(error, TemplateNotFound):
        return f'there is no template "{error.name}"; a template may take in only those of its own folder.'
    if isinstance(error, SecurityError):
        return f"this is not allowed in a template: {_sentence(str(error))}"
    if isinstance(error, OutOfBounds):
        return _sentence(f"this is not allowed in a template: {error}")
    if isinstance(error, MemoryError):
        return "this is not allowed in a template: what it makes does not fit into memory."
    if isinstance(error, UndefinedError):
        return _sentence(str(error))
    if isinstance(error, RecursionError):
        return "the template takes itself in without end."
    return _sentence(f"{type(error).__name__}: {error}")


def _sentence(text: str) -> str:
    line = " ".join(text.split())
    return line if line.endswith((".", "?", "!")) else f"{line}."


def blamed(snippet: str, folders: tuple[str, ...]) -> tuple[str, int | None]:
    """The own template, and its line, in which a piece of output begins; else the folder of them all."""
    all_templates = templates()
    for length in (len(snippet), 24, 12, len(snippet.split(maxsplit=1)[0]) if snippet.split() else 0):
        piece = snippet[:length].strip()
        if len(piece) < 3:
            continue
        for name in sorted(all_templates.own):
            if name.partition("/")[0] in folders:
                before, found, _ = all_templates.text(name).partition(piece)
                if found:
                    return all_templates.place(name), before.count("\n") + 1
    return all_templates.folder, None
