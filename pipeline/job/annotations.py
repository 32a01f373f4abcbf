"""What is inside the annotation of a key: plain types, tables of keys, and the words of a choice."""

from collections.abc import Iterator
from enum import Enum
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo


def origins(annotation: Any) -> Iterator[Any]:
    """The types inside unions and annotated types, tuples as they are."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from origins(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for part in get_args(annotation):
            yield from origins(part)
    else:
        yield annotation


def leaves(annotation: Any) -> Iterator[Any]:
    """The plain types inside unions, tuples and annotated types."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from leaves(get_args(annotation)[0])
    elif origin in (Union, UnionType, tuple):
        for part in get_args(annotation):
            yield from leaves(part)
    elif annotation is not Ellipsis:
        yield annotation


def models(annotation: Any) -> list[type[BaseModel]]:
    """The tables of keys that a key may be, each once, be it alone or in a list."""
    found = [leaf for leaf in leaves(annotation) if isinstance(leaf, type) and issubclass(leaf, BaseModel)]
    return list(dict.fromkeys(found))


def choices(annotation: Any) -> list[object]:
    """The words that a key may be, where it is a choice of words."""
    found: list[object] = []
    for leaf in leaves(annotation):
        if get_origin(leaf) is Literal:
            found += get_args(leaf)
        elif isinstance(leaf, type) and issubclass(leaf, Enum):
            found += leaf
    return found


def marks(annotation: Any) -> Iterator[Any]:
    """What is said beside the types inside unions and lists: limits, units."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *said = get_args(annotation)
        for one in said:
            yield from one.metadata if isinstance(one, FieldInfo) else (one,)
        yield from marks(inner)
    elif origin in (Union, UnionType, tuple):
        for part in get_args(annotation):
            yield from marks(part)
