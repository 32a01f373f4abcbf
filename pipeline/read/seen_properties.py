"""What properties the features of a file have, of which kinds; objects among them whose members are columns."""

from collections import Counter
from collections.abc import Iterator
from typing import Any, NoReturn

from msgspec import Struct, field

from pipeline.limits import COLUMNS
from pipeline.read.findings import Unusable
from pipeline.words import counted

#: Objects within objects whose members are properties.
_DEEPEST = 8


class Seen:
    """The types of a property's values, and the ends of its whole numbers."""

    def __init__(self) -> None:
        self.kinds: set[type] = set()
        self.least = self.most = 0
        self._numbered = False

    def add(self, value: Any) -> None:
        """Note one more value."""
        kind = type(value)
        self.kinds.add(kind)
        if kind is int:
            self.least = min(self.least, value) if self._numbered else value
            self.most = max(self.most, value) if self._numbered else value
            self._numbered = True


class SeenProperties(Struct):
    """The properties of features, taken up one after the other, in the order in which they come.

    ``inner`` are the members of those that are objects, by dotted names; ``whole`` those that are to stay objects.
    """

    seen: dict[str, Seen] = field(default_factory=dict)
    inner: dict[str, dict[str, Seen]] = field(default_factory=dict)
    whole: set[str] = field(default_factory=set)

    def add(self, properties: dict[str, Any], row: int) -> None:
        """Take up those of one feature, the ``row``th. Raises `Unusable` for too many, and for a name with a NUL."""
        names = len(self.seen) + sum(map(len, self.inner.values()))
        if len(properties) > COLUMNS or names > COLUMNS:
            _too_many(max(len(properties), names), row)
        if not properties.keys() <= self.seen.keys():
            _check_names(properties, row)
        for name, value in properties.items():
            self.seen.setdefault(name, Seen()).add(value)
            if type(value) is dict and name not in self.whole:
                self._add_members(name, value, row)

    def _add_members(self, name: str, value: dict[str, Any], row: int) -> None:
        members = list(_members(name, value, _DEEPEST))
        if len({each for each, _ in members}) < len(members):
            self.whole.add(name)
        _check_names(dict(members), row)
        for each, of_member in members:
            self.inner.setdefault(name, {}).setdefault(each, Seen()).add(of_member)

    def columns(self) -> tuple[frozenset[str], dict[str, Seen]]:
        """Return the properties whose members are columns, and the columns of all."""
        apart = self._apart()
        columns: dict[str, Seen] = {}
        for name, one in self.seen.items():
            columns |= self.inner[name] if name in apart else {name: one}
        return apart, columns

    def _apart(self) -> frozenset[str]:
        """Return the properties whose members are columns: always objects, and no name of theirs is another column's.

        Those that are to stay ``whole`` are none.
        """
        taken = Counter([*self.seen, *(each for members in self.inner.values() for each in members)])
        return frozenset(
            name
            for name, members in self.inner.items()
            if self.seen[name].kinds <= {dict, type(None)}
            and name not in self.whole
            and all(taken[each] == 1 for each in members)
        )


def _members(name: str, value: dict[str, Any], deepest: int) -> Iterator[tuple[str, Any]]:
    """Yield the members of an object by dotted names, those of objects within it too, down to so many."""
    for key, inner in value.items():
        if type(inner) is dict and inner and deepest > 1:
            yield from _members(f"{name}.{key}", inner, deepest - 1)
        else:
            yield f"{name}.{key}", inner


def flat(properties: dict[str, Any], apart: frozenset[str]) -> dict[str, Any]:
    """Return properties with the objects among them taken apart."""
    if not apart:
        return properties
    found: dict[str, Any] = {}
    for name, value in properties.items():
        found |= dict(_members(name, value or {}, _DEEPEST)) if name in apart else {name: value}
    return found


def _too_many(names: int, row: int) -> NoReturn:
    what = f"the features have {counted(names, 'property', 'properties')}; the limit is {COLUMNS:,}"
    raise Unusable(row, what, "export it without the properties that are not needed")


def _check_names(properties: dict[str, Any], row: int) -> None:
    """Refuse names that no layer can bear: libraries in C would take what stands before a NUL for the whole name."""
    if any("\0" in name for name in properties):
        raise Unusable(row, f"feature {row} has a property with a NUL character in its name", "export it again")
