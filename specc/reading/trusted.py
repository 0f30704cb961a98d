"""Builds a model from data that is known to be sound, without the schema that would check it.

The built-in catalogue is checked whole by the tests; building pydantic's schemas for it at every
start would cost more than all else that reading does. A user's own catalogue never comes this way.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, partial
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel

from specc.reading.quantities import Read

M = TypeVar("M", bound=BaseModel)
Convert = Callable[[Any], Any]


def trusted(model: type[M], data: Mapping[str, Any]) -> M:
    """The model of these data, texts with units read; nothing else is looked at."""
    converters = _converters(model)
    values = {}
    for key, value in data.items():
        name, convert = converters[key]
        values[name] = value if convert is None else convert(value)
    return model.model_construct(**values)


@cache
def _converters(model: type[BaseModel]) -> Mapping[str, tuple[str, Convert | None]]:
    """Key as written -> name of the field, and how its value is read."""
    found = {}
    for name, info in model.model_fields.items():
        reads = [meta.function for meta in info.metadata if isinstance(meta, Read)]
        annotation: Any = info.annotation
        found[info.alias or name] = (name, reads[0] if reads else _converter(annotation))
    return found


@cache
def _converter(annotation: Any) -> Convert | None:
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        reads = [meta.function for meta in inner[1:] if isinstance(meta, Read)]
        return reads[0] if reads else _converter(inner[0])
    if origin in (Union, UnionType):
        found = [_converter(arg) for arg in inner if arg is not NoneType]
        return next((convert for convert in found if convert is not None), None)
    if origin is tuple:
        return partial(_each, _converter(inner[0]))
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return partial(trusted, annotation)
    return None


def _each(convert: Convert | None, values: Any) -> tuple[Any, ...]:
    # Every list of a part holds things of one kind.
    return tuple(values) if convert is None else tuple(convert(value) for value in values)
