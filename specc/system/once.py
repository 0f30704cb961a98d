"""Work out once, on demand: a figure that needs a missing datum fails only for whoever asks for it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

P = ParamSpec("P")
R = TypeVar("R")
S = TypeVar("S")


def once(method: Callable[Concatenate[S, P], R]) -> Callable[Concatenate[S, P], R]:
    """Remembers what a method returned for its arguments, on the object itself (``_made``).

    A function does as well whose first argument is such an object.
    """
    name = f"{method.__module__}.{method.__qualname__}"
    unknown = object()

    @wraps(method)
    def remembered(self: S, *args: P.args, **kwargs: P.kwargs) -> R:
        made: dict[Any, Any] = self._made  # type: ignore[attr-defined]
        key = (name, args, tuple(sorted(kwargs.items()))) if kwargs else (name, args)
        found = made.get(key, unknown)
        if found is unknown:
            found = made[key] = method(self, *args, **kwargs)
        return found  # type: ignore[no-any-return]

    return cast(Callable[Concatenate[S, P], R], remembered)
