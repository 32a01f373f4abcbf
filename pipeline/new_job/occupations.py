"""Finds the readings on marks in each session, and which of them are ties and which checks."""

import re
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.common_shift import TOLERANCE, Agreement, agreement
from pipeline.new_job.stretches import Stretch
from pipeline.new_job.ties_and_checks import SessionOccupations, roles
from pipeline.new_job.timed_rows import TimedRows
from pipeline.occupations.check_words import mentions_check

#: Codes and parts of names of readings on control and temporary marks.
_ON_MARKS = re.compile(
    r"(?:^|[^a-z])(?:cm|cp|bm|tm|tp|tbm|gcp|ctrl|control|mark|fp|pp|hp|kp|ktp|fix(?:punkt)?|fest(?:punkt)?|rep|osn)\d*"
    r"(?:$|[^a-z])",
    re.IGNORECASE,
)
#: How far a base may lie from where it says, metres; so far the shift of a session is looked for.
FAR = 60.0
#: Metres within which a reading and a mark have one writing; what is measured scatters further.
_SAME = 1e-3
#: Readings that are looked through where no name or code tells which stand on marks.
_MOST = 20_000


class Marks:
    """The marks of a register: their names, and their places in the plane in which readings are compared, if any.

    ``whole`` (n,) tells which tie position and height; all of them where it is not given.
    """

    def __init__(self, names: Sequence[str], places: Floats | None, whole: Flags | None = None) -> None:
        self.names, self.places = list(names), places
        self.whole = np.ones(len(self.names), bool) if whole is None else whole
        self._folded = {folded(name): number for number, name in reversed(list(enumerate(names)))}
        # longest first: CM12 is not CM1
        ordered = sorted((re.escape(name) for name in self._folded), key=len, reverse=True)
        self._within = re.compile(rf"(?<![a-z0-9])(?:{'|'.join(ordered)})(?![a-z0-9])") if ordered else None

    def named(self, reading: str, mark: str) -> int | None:
        """Return the mark that a reading's own column of marks or its name says, None where none does."""
        if (found := self._folded.get(folded(mark))) is not None and mark:
            return found
        said = self._within.findall(folded(reading)) if self._within is not None and reading else []
        known = list(dict.fromkeys(self._folded[each] for each in said))
        return known[0] if len(known) == 1 else None


class ReadingsAndMarks(Struct, frozen=True):
    """The readings of all exports and the marks of the register, in one plane where that is known.

    Args:
        rows: the readings, (n,) of them.
        places: (n, 2) of the readings in the marks' plane, metres; None where it is not known.
        moved: (n,) which of them a step between datums was added to: where they lie exactly says nothing.
        marks: the register's.
        says: what `likely` gave of both.
    """

    rows: TimedRows
    places: Floats | None
    moved: Flags
    marks: Marks
    says: tuple[Integers, Integers]


def likely(rows: TimedRows, marks: Marks) -> tuple[Integers, Integers]:
    """Return (k,) the readings that say that they stand on a mark, and (k,) which they name (-1 for none)."""
    named: dict[tuple[str, str], int | None] = {}
    coded: dict[tuple[str, str], bool] = {}
    found, which = [], []
    for at, (name, mark, code) in enumerate(zip(rows.name, rows.mark, rows.code, strict=True)):
        if (name, mark) not in named:
            named[name, mark] = marks.named(name, mark)
        if (name, code) not in coded:
            coded[name, code] = says_mark(name, code)
        number = named[name, mark]
        if number is not None or coded[name, code]:
            found.append(at)
            which.append(-1 if number is None else number)
    return np.array(found, np.int64), np.array(which, np.int64)


def says_mark(name: str, code: str) -> bool:
    """Tell whether a name or a code says that a reading is on a control or temporary mark, or a check."""
    return any(mentions_check(text, True) or _ON_MARKS.search(text) for text in (name, code) if text)


def occupied(one: Stretch, both: ReadingsAndMarks) -> SessionOccupations:
    """Return the occupations of marks in a stretch."""
    rows, places, moved, marks = both.rows, both.places, both.moved, both.marks
    inside = np.isin(both.says[0], one.members)
    some, named = (each[inside] for each in both.says)
    if places is None or marks.places is None:
        pairs = [(int(at), int(mark)) for at, mark in zip(some, named, strict=True) if mark >= 0]
        return roles(
            pairs,
            one.members,
            rows,
            (marks.names, marks.whole),
            None,
            "by their names; their positions were not compared",
        )
    known = marks.places
    keyed = _beside_measured(some, named, places, moved, known)
    if keyed.any():
        told = _of_register(list(zip(some[keyed].tolist(), named[keyed].tolist(), strict=True)), rows, marks, left=True)
        some, named = some[~keyed], named[~keyed]
    found, by = _agreed(some, named, one.members, places, known)
    if found is None:
        astray = [(int(at), marks.names[mark], float("nan")) for at, mark in zip(some, named, strict=True) if mark >= 0]
        return SessionOccupations(astray=astray)
    shift = found.shift

    def away(at: int, mark: int) -> float:
        return float(np.hypot(*(places[at] + shift - known[mark])))

    pairs = list(zip(found.readings.tolist(), found.marks.tolist(), strict=True))
    occupations = roles(pairs, one.members, rows, (marks.names, marks.whole), away, by)
    equal = [
        (at, mark) for at, mark in pairs if not moved[at] and float(np.hypot(*(places[at] - known[mark]))) <= _SAME
    ]
    if len({mark for _, mark in equal}) > 1 or (equal and len(equal) < len(pairs)):
        occupations.computed = _of_register(equal, rows, marks)
    elif keyed.any():
        occupations.computed = told
    on = set(found.readings.tolist())
    for at, mark in zip(some.tolist(), named.tolist(), strict=True):
        if mark >= 0 and at not in on:
            occupations.astray.append((at, marks.names[mark], away(at, mark)))
    return occupations


def _beside_measured(some: Integers, named: Integers, places: Floats, moved: Flags, known: Floats) -> Flags:
    """Return (n,) which readings have the register's own coordinates, where as many others on its marks agree.

    ``some`` are the readings, ``named`` (n,) the marks that they name, -1 for none.
    """
    equal, measured = np.zeros(len(some), bool), named >= 0
    between = known[named[measured]] - places[some[measured]]
    equal[measured] = (np.hypot(*between.T) <= _SAME) & ~moved[some[measured]]
    near = ~equal[measured] & (np.hypot(*between.T) <= FAR)
    if not equal.any() or np.count_nonzero(near) < np.count_nonzero(equal):
        return np.zeros(len(some), bool)
    middle = between[near][_most_alike(between[near])]
    alike = near & (np.hypot(*(between - middle).T) <= TOLERANCE)
    return equal if len(np.unique(named[measured][alike])) > 1 else np.zeros(len(some), bool)


def _of_register(equal: Sequence[tuple[int, int]], rows: TimedRows, marks: Marks, left: bool = False) -> str:
    """Return in words which readings have the register's own coordinates, as points that were uploaded have.

    ``left`` is whether they were left out of the lists.
    """
    out = "; they are not listed" if left else ": they tie and prove nothing"
    return (
        f"{listed(f'{rows.name[at]} (row {rows.row[at]})' for at, _ in equal)} have exactly the coordinates of"
        f" {listed(marks.names[mark] for _, mark in equal)} in the register: if they are control points that came back"
        f" with the export, and no measurements, take them out of it{out}"
    )


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
    # what lies far from the mark it is called after may lie beside another by chance
    if found is not None and (found.distinct > 1 or not np.isin(found.readings, by_name).all()):
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


def joined(
    lacking: Stretch, found: Iterable[tuple[Stretch, SessionOccupations]], both: ReadingsAndMarks
) -> list[tuple[int, int, str]]:
    """Return readings of a session without a mark and of another that share a temporary mark: both and its name.

    A temporary mark is a part of names with letters and figures that both have once, or under one name at one place, at
    places within `FAR`, among the readings that say that they stand on a mark.
    """
    rows, places, some = both.rows, both.places, both.says[0]
    mine = _parts_of_names(lacking.members[np.isin(lacking.members, some)], rows, places)
    shared = []
    for other, occupations in found:
        if not occupations.ties:
            continue
        theirs = _parts_of_names(other.members[np.isin(other.members, some)], rows, places)
        for part in sorted(mine.keys() & theirs.keys()):
            here, there = mine[part], theirs[part]
            near = places is None or float(np.hypot(*(places[here] - places[there]))) <= FAR
            if near:
                shared.append((here, there, part.upper()))
    return shared


def _parts_of_names(members: Integers, rows: TimedRows, places: Floats | None) -> dict[str, int]:
    """Return the parts of names, with letters and figures, that one reading alone has, each with the reading.

    The first one's where several have one name and lie together.
    """
    found: dict[str, list[int]] = {}
    for at in members.tolist():
        for part in set(re.findall(r"[^\W_]+", folded(rows.name[at]))):
            if re.search(r"[a-z]", part) and re.search(r"\d", part):
                found.setdefault(part, []).append(at)
    return {part: those[0] for part, those in found.items() if len(those) == 1 or _are_one(those, rows, places)}


def _are_one(readings: Sequence[int], rows: TimedRows, places: Floats | None) -> bool:
    """Tell whether readings have one name and lie as near to one another as those on one mark."""
    if places is None or len({rows.name[at] for at in readings}) > 1:
        return False
    return bool((np.hypot(*(places[list(readings)] - places[readings[0]]).T) <= TOLERANCE).all())
