"""Template files: those that come with the package, and a firm's own laid over them, file by file.

A template is known by its name, "packet/cover.html.j2". Only names that the package itself has exist, so no
name that a template asks for ever becomes a path. Whose files count is set around a build by
:func:`laid_over`; what is made from template files is kept with :func:`per_templates`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache, lru_cache, wraps
from pathlib import PurePosixPath
from types import MappingProxyType
from typing import Any, TypeVar

from specc.reading.suggest import did_you_mean
from specc.reading.toml_positions import TomlDocument, read_toml
from specc.resources import templates_dir

T = TypeVar("T")
FOLDERS = ("charts", "drawing", "packet", "symbols")  # what a firm may replace something of
FIXED = frozenset({"packet/packet.js"})  # the only program in a packet
MOST_TIMES = 20.0  # a size of a look may be so many times the house's, or that part of it


class TemplateProblem(Exception):
    """A template that cannot be used: one sentence that begins with the file and the line."""

    def __init__(self, place: str, line: int | None, says: str) -> None:
        self.place, self.line, self.says = place, line, says
        where = place if line is None else f"{place}, line {line}"
        super().__init__(f"{where}: {says}" if where else says)


@dataclass(frozen=True, eq=False)
class Templates:
    """Every template file by name: the package's, with ``own`` in their place; ``folder`` names the own."""

    own: Mapping[str, bytes] = field(default_factory=lambda: MappingProxyType({}))
    folder: str = ""

    def data(self, name: str) -> bytes:
        """The bytes of a template. Raises KeyError for a name that the package has not."""
        if name in self.own:
            return self.own[name]
        if name not in known_names():
            raise KeyError(name)
        return (templates_dir() / name).read_bytes()

    def text(self, name: str) -> str:
        """The text of a template. Raises KeyError, and TemplateProblem for bytes that are no UTF-8."""
        data = self.data(name)
        try:
            return data.decode("utf-8").replace("\r\n", "\n")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            raise TemplateProblem(
                self.place(name), line, "this is not UTF-8 text; save it as UTF-8."
            ) from None

    def place(self, name: str) -> str:
        """How messages name a template."""
        return f"{self.folder}/{name}" if name in self.own else f"templates/{name}"


BUILT_IN = Templates()
_current: ContextVar[Templates] = ContextVar("templates", default=BUILT_IN)


@cache
def known_names() -> frozenset[str]:
    """The names of every template of the package that a firm may replace, and of those in ``FIXED``."""
    root = templates_dir()
    return frozenset(
        path.relative_to(root).as_posix()
        for folder in FOLDERS
        for path in (root / folder).iterdir()
        if path.is_file()
    )


def templates() -> Templates:
    """The templates that count now."""
    return _current.get()


@contextmanager
def laid_over(own: Templates) -> Iterator[None]:
    """These templates count until the block ends."""
    token = _current.set(own)
    try:
        yield
    finally:
        _current.reset(token)


def per_templates(make: Callable[[], T]) -> Callable[[], T]:
    """Keeps what a function makes from template files: once for each set of templates."""
    kept = lru_cache(maxsize=4)(lambda _templates: make())
    of_the_house: list[T] = []  # layouts ask for it thousands of times

    @wraps(make)
    def made() -> T:
        current = _current.get()
        if current is not BUILT_IN:
            return kept(current)
        if not of_the_house:
            of_the_house.append(make())
        return of_the_house[0]

    return made


def names_in(folder: str, ending: str) -> tuple[str, ...]:
    """The stems of the templates of a folder, sorted."""
    found = (PurePosixPath(name) for name in known_names())
    return tuple(sorted(path.stem for path in found if path.parts[0] == folder and path.suffix == ending))


def read_toml_template(name: str, make: Callable[[dict[str, Any]], T], *, sizes: bool = False) -> T:
    """A TOML template as a value.

    ``sizes``: it must have the keys of the package's own file, and numbers of the same order.

    Raises:
        TemplateProblem: text that is not TOML, or from which ``make`` cannot make anything.
    """
    all_templates = templates()
    if name not in all_templates.own:
        return make(tomllib.loads(all_templates.text(name)))
    place = all_templates.place(name)
    document = read_toml(all_templates.text(name).encode("utf-8"), place)
    if document.findings:
        first = document.findings[0]
        raise TemplateProblem(place, first.places[0].line if first.places else None, first.message)
    if sizes:
        ours = read_toml(BUILT_IN.data(name), name).data
        for path, says in _unlike(ours, document.data, ()):
            raise TemplateProblem(place, _line(document, path), says)
    try:
        return make(document.data)
    except KeyError as error:
        raise TemplateProblem(place, None, f"the key {error.args[0]!r} is missing, or unknown.") from None
    except (TypeError, ValueError, AttributeError, LookupError) as error:
        raise TemplateProblem(place, None, f"{str(error).rstrip('.')}.") from None


def _line(document: TomlDocument, path: tuple[str | int, ...]) -> int:
    return document.positions.span(path).line


def _unlike(
    ours: Any, theirs: Any, path: tuple[str | int, ...]
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Where a file differs from the package's own in more than the size of its numbers."""
    name = ".".join(str(step) for step in path)
    if isinstance(ours, dict):
        if not isinstance(theirs, dict):
            yield path, f'"{name}" is a table here.'
            return
        for key in theirs:
            if key not in ours:
                guess = did_you_mean(key, ours)
                yield (*path, key), f'"{key}" is no key here; ' + (guess or f"there are {', '.join(ours)}.")
        for key, value in ours.items():
            if key not in theirs:
                yield path, f'"{".".join((*map(str, path), key))}" is missing; write {key} = {_shown(value)}.'
            else:
                yield from _unlike(value, theirs[key], (*path, key))
    elif isinstance(ours, list):
        if not isinstance(theirs, list) or not theirs:
            yield path, f'"{name}" is a list here, and not an empty one.'
            return
        for number, item in enumerate(theirs):
            yield from _unlike(_counterpart(ours, item, number), item, (*path, number))
    elif isinstance(ours, int | float) and not isinstance(ours, bool):
        if isinstance(theirs, bool) or not isinstance(theirs, int | float):
            yield path, f'"{name}" is a number, for instance {ours:g}.'
        elif ours > 0 and not ours / MOST_TIMES <= theirs <= ours * MOST_TIMES:
            low, high = ours / MOST_TIMES, ours * MOST_TIMES
            yield path, f'"{name}" is between {low:g} and {high:g} (the package has {ours:g}).'
    elif type(ours) is not type(theirs):
        yield path, f'"{name}" is written like {_shown(ours)}.'


def _counterpart(ours: list[Any], item: Any, number: int) -> Any:
    """The item of ours that one of theirs stands for: that of the same id, else that of the same place."""
    if isinstance(item, dict) and "id" in item:
        return next(
            (our for our in ours if isinstance(our, dict) and our.get("id") == item["id"]),
            ours[min(number, len(ours) - 1)],
        )
    return ours[min(number, len(ours) - 1)]


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    return "..." if isinstance(value, dict | list) else str(value)
