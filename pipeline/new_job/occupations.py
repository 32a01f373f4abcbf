"""Which readings stand on marks, session by session, and which of them tie and which check."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.intake.check_words import mentions_check
from pipeline.new_job.agreement import TOLERANCE, Agreement, agreement
from pipeline.new_job.bases import Stretch
from pipeline.new_job.rows import TimedRows

#: Codes and parts of names of readings on control and temporary marks.
_ON_MARKS = re.compile(
    r"(?:^|[^a-z])(?:cm|cp|bm|tm|tp|tbm|gcp|ctrl|control|mark|fp|pp|hp|kp|ktp|fix(?:punkt)?|fest(?:punkt)?|rep|osn)\d*"
    r"(?:$|[^a-z])",
    re.IGNORECASE,
)
#: How far a base may lie from where it says, metres; so far the shift of a session is looked for.
FAR = 60.0
#: Readings that are looked through where no name or code tells which stand on marks.
_MOST = 20_000


@dataclass
class Occupied:
    """The occupations of one session: places in the rows with their mark's name, in order of time.

    ``by`` says how they were found; ``astray`` are readings that name a mark which they do not stand on, with the
    mark and the distance in metres.
    """

    ties: list[tuple[int, str]] = field(default_factory=list)
    checks: list[tuple[int, str]] = field(default_factory=list)
    by: str = ""
    astray: list[tuple[int, str, float]] = field(default_factory=list)

    @property
    def every(self) -> list[tuple[int, str]]:
        """Ties and checks."""
        return [*self.ties, *self.checks]


class Marks:
    """The marks of a register: their names, and their places in the plane in which readings are compared, if any."""

    def __init__(self, names: Sequence[str], places: Floats | None) -> None:
        self.names, self.places = list(names), places
        self._folded = {name.casefold(): number for number, name in reversed(list(enumerate(names)))}
        # longest first: CM12 is not CM1
        ordered = sorted((re.escape(name) for name in self._folded), key=len, reverse=True)
        self._within = re.compile(rf"(?<![a-z0-9])(?:{'|'.join(ordered)})(?![a-z0-9])") if ordered else None

    def named(self, reading: str, mark: str) -> int | None:
        """Return the mark that a reading's own column of marks or its name says, None where none does."""
        if (found := self._folded.get(mark.casefold())) is not None and mark:
            return found
        said = self._within.findall(reading.casefold()) if self._within is not None and reading else []
        known = list(dict.fromkeys(self._folded[each] for each in said))
        return known[0] if len(known) == 1 else None


def likely(rows: TimedRows, marks: Marks) -> tuple[Integers, Integers]:
    """Return the readings that say that they stand on a mark, and which they name (-1 for none)."""
    named: dict[tuple[str, str], int | None] = {}
    coded: dict[tuple[str, str], bool] = {}
    found, which = [], []
    for at, (name, mark, code) in enumerate(zip(rows.name, rows.mark, rows.code, strict=True)):
        if (name, mark) not in named:
            named[name, mark] = marks.named(name, mark)
        if (name, code) not in coded:
            coded[name, code] = _says_mark(name, code)
        number = named[name, mark]
        if number is not None or coded[name, code]:
            found.append(at)
            which.append(-1 if number is None else number)
    return np.array(found, np.int64), np.array(which, np.int64)


def _says_mark(name: str, code: str) -> bool:
    return any(mentions_check(text, True) or _ON_MARKS.search(text) for text in (name, code) if text)


def is_check(rows: TimedRows, at: int) -> bool:
    """Tell whether a reading says by code or name that it is a check."""
    return mentions_check(rows.code[at], True) or mentions_check(rows.name[at])


def occupied(
    one: Stretch, rows: TimedRows, places: Floats | None, marks: Marks, says: tuple[Integers, Integers]
) -> Occupied:
    """Return the occupations of marks in a stretch.

    Args:
        one: the stretch.
        rows: all rows.
        places: (n, 2) of the rows in the marks' plane, metres; None where it is not known.
        marks: the register's.
        says: what `likely` gave.
    """
    inside = np.isin(says[0], one.members)
    some, named = says[0][inside], says[1][inside]
    if places is None or marks.places is None:
        pairs = [(int(at), int(mark)) for at, mark in zip(some, named, strict=True) if mark >= 0]
        return _roles(pairs, rows, marks, "by their names; where they lie was not compared")
    found, by = _agreed(some, named, one.members, places, marks.places)
    if found is None:
        astray = [(int(at), marks.names[mark], float("nan")) for at, mark in zip(some, named, strict=True) if mark >= 0]
        return Occupied(astray=astray)
    occupations = _roles(list(zip(found.readings.tolist(), found.marks.tolist(), strict=True)), rows, marks, by)
    on = set(found.readings.tolist())
    for at, mark in zip(some.tolist(), named.tolist(), strict=True):
        if mark >= 0 and at not in on:
            off = float(np.hypot(*(places[at] + found.shift - marks.places[mark])))
            occupations.astray.append((at, marks.names[mark], off))
    return occupations


def _agreed(
    some: Integers, named: Integers, members: Integers, places: Floats, marks: Floats
) -> tuple[Agreement | None, str]:
    """Find the shift by names, else by codes, else by all readings; then the likely readings that it puts on marks."""
    by_name = some[named >= 0]
    if len(by_name):
        between = marks[named[named >= 0]] - places[by_name]
        near = np.hypot(*between.T) <= FAR
        if near.any():
            middle = between[near][_most_alike(between[near])]
            return _placed(some, places, marks, middle), "by name and place"
    found = _whole(agreement(places[some], marks, FAR, TOLERANCE), some)
    if found is not None:
        return found, "by code and place"
    every = members[:_MOST]
    found = _whole(agreement(places[every], marks, FAR / 2, TOLERANCE / 5), every)
    return (found, "by place alone") if found is not None and found.distinct > 1 else (None, "")


def _most_alike(between: Floats) -> int:
    count = [int((np.hypot(*(between - each).T) <= TOLERANCE).sum()) for each in between[:200]]
    return int(np.argmax(count))


def _placed(some: Integers, places: Floats, marks: Floats, shift: Floats) -> Agreement | None:
    return _whole(agreement(places[some] + shift, marks, TOLERANCE, TOLERANCE), some, shift)


def _whole(found: Agreement | None, some: Integers, shift: Floats | None = None) -> Agreement | None:
    """Return an agreement with places in the rows instead of among some."""
    if found is None:
        return None
    whole = found.shift if shift is None else found.shift + shift
    return Agreement(some[found.readings], found.marks, whole, found.distinct, found.spread)


def _roles(pairs: list[tuple[int, int]], rows: TimedRows, marks: Marks, by: str) -> Occupied:
    """Let the first occupation tie and those on other marks check; one that says that it is a check ties only if none
    else does.

    A name that is there twice in a session names no reading: such occupations are left out.
    """
    names: dict[str, int] = {}
    for at, _ in pairs:
        names[rows.name[at]] = names.get(rows.name[at], 0) + 1
    pairs = sorted(
        ((at, mark) for at, mark in pairs if rows.name[at] and names[rows.name[at]] == 1),
        key=lambda pair: (rows.time[pair[0]], pair[0]),
    )
    if not pairs:
        return Occupied()
    plain = [pair for pair in pairs if not is_check(rows, pair[0])]
    first = (plain or pairs)[0]
    checked = {mark for at, mark in pairs if is_check(rows, at)}
    ties = [pair for pair in plain if pair[1] not in checked] if plain and checked - {first[1]} else []
    ties = ties if first in ties else [first, *ties]
    return Occupied(
        [(at, marks.names[mark]) for at, mark in ties],
        [(at, marks.names[mark]) for at, mark in pairs if (at, mark) not in ties],
        by,
    )


def joined(
    lacking: Stretch, found: Iterable[tuple[Stretch, Occupied]], rows: TimedRows, places: Floats | None, some: Integers
) -> list[tuple[int, int, str]]:
    """Return readings of a session without a mark and of another that share a temporary mark: both and its name.

    A temporary mark is a part of names with letters and figures that both have once, at places within `FAR`, among
    ``some`` readings that say that they stand on a mark.
    """
    mine = _parts_of_names(lacking.members[np.isin(lacking.members, some)], rows)
    shared = []
    for other, occupations in found:
        if not occupations.ties:
            continue
        theirs = _parts_of_names(other.members[np.isin(other.members, some)], rows)
        for part in sorted(mine.keys() & theirs.keys()):
            here, there = mine[part], theirs[part]
            near = places is None or float(np.hypot(*(places[here] - places[there]))) <= FAR
            if near:
                shared.append((here, there, part.upper()))
    return shared


def _parts_of_names(members: Integers, rows: TimedRows) -> dict[str, int]:
    """Return the parts of names, with letters and figures, that one reading alone has, each with the reading."""
    found: dict[str, list[int]] = {}
    for at in members.tolist():
        for part in set(re.findall(r"[^\W_]+", rows.name[at].casefold())):
            if re.search(r"[a-z]", part) and re.search(r"\d", part):
                found.setdefault(part, []).append(at)
    return {part: those[0] for part, those in found.items() if len(those) == 1}
