"""Compares units in column headings ("Height [ft]", "sE (mm)") with those in the job file."""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache

from pipeline.files.angle_notations import TO_DEGREES, parts_fix, parts_problem, split_into_parts, unread_notation
from pipeline.geodesy.unit_words import LENGTHS_SAID, is_one
from pipeline.geodesy.units import METRES, Lengths
from pipeline.job.model import Points
from pipeline.read.findings import Unusable
from pipeline.read.heading_units import (
    another_unit,
    metres_in_heading,
    metres_of_unit,
    unit_alone,
    unit_called,
    unit_in_heading,
)
from pipeline.read.mapping import ALONG, DEGREES, LENGTHS, UPWARD, mapped

#: The form of decimal degrees or lengths, as a row below a header may give it: "dd.dddd", "ddd,ddddddd".
_FORM = re.compile(r"[dD]{1,3}[.,][dD]+|[mM]+[.,][mM]{2,}")
_SEXAGESIMAL = {"dms", "ddmmss", "dddmmss"}

_WORDS = LENGTHS_SAID.keys() | _SEXAGESIMAL | {"deg", "degree", "degrees", "dd", "°"}

#: Lengths that `units` cannot state in millimetres and a heading can: those that are no part of a position.
_SMALL = (0.001, 0.01)
_FREE = LENGTHS - ALONG - UPWARD


def small_units(points: Points) -> dict[str, float]:
    """Return the metres of one unit of the mapped columns whose headings say millimetres or centimetres."""
    return _small({word: metres_in_heading(name) for word, name in mapped(points.columns).items()})


def small_units_below(cells: Mapping[str, str]) -> dict[str, float]:
    """Return the same of the cells of a row of units, by our words."""
    return _small({word: metres_of_unit(unit_alone(cell)) for word, cell in cells.items()})


def _small(said: Mapping[str, tuple[float, ...]]) -> dict[str, float]:
    return {word: metres[0] for word, metres in said.items() if word in _FREE and metres and metres[0] in _SMALL}


def check_headings(points: Points, counted: Lengths, line: int, joined: Collection[str] = ()) -> None:
    """Hold what the headings of mapped columns say against what their numbers are read as.

    ``joined`` are our words of angles that are put together: "B Grad" before "B Min" is no gon. Raises `Unusable` with
    the header's line where they contradict each other.
    """
    for word, name in mapped(points.columns).items():
        unit = unit_in_heading(name)
        if word in joined:
            continue
        if word in DEGREES:
            _check_angle(word, name, unit, points, line)
        elif unit is None:
            continue
        elif word in LENGTHS and unit in LENGTHS_SAID and word not in small_units(points):
            metre = counted.plan if word in ALONG else counted.up if word in UPWARD else counted.other
            if (what := another_unit(name, word, metre)) is not None:
                raise Unusable(line, what, _fix(word, LENGTHS_SAID[unit], counted, points))
        elif word == "correction_age" and unit in ("ms", "min"):
            raise Unusable(line, f'the heading "{name}" ({word}) is not in seconds', "export it in seconds")


def check_units_row(
    points: Points, counted: Lengths, small: Mapping[str, float], cells: Mapping[str, str], line: int
) -> None:
    """Hold a row of units, as some programs write below the header, against what the numbers are read as.

    ``small`` are the metres of one unit of columns that are read in a small one; ``cells`` are those of mapped columns
    on the row, by our words; a row of anything else is left alone. Raises `Unusable` as `check_headings` does.
    """
    there = {word: unit_alone(cell) for word, cell in cells.items() if word in LENGTHS | DEGREES and cell}
    if not there or not all(_says_unit(cell) for cell in there.values()):
        return
    names = {word: f"{name} [{there[word]}]" for word, name in mapped(points.columns).items() if word in there}
    with_units = points.model_copy(update={"columns": points.columns.model_copy(update=names)})
    try:
        check_headings(with_units, counted, line)
    except Unusable as error:
        what, fix = error.what, error.fix.replace("the heading is right", "the row of units is right")
        for word, name in names.items():
            below = f'the row of units, "{there[word]}" below "{mapped(points.columns)[word]}",'
            what = what.replace(f'the heading "{name}"', below)
        raise Unusable(line, what, fix.replace("rename it in", "correct it in")) from error
    for word in sorted(_FREE & there.keys()):
        metre, said = small.get(word, counted.other), metres_of_unit(there[word])
        if said and not any(is_one(metre, each) for each in said):
            below = f'"{there[word]}" below "{mapped(points.columns)[word]}"'
            read = unit_called(metre)
            what = f"the row of units, {below}, has a different unit from the one that {word} is read in, {read}"
            raise Unusable(line, what, "say one unit in the heading and below it, the one that the numbers are in")


def is_row_of_units(cells: Iterable[object]) -> bool:
    """Tell whether those cells of a row that are to be numbers are units, as far as any are there: "[deg]", "(m)"."""
    there = [unit_alone(cell) if isinstance(cell, str) else None for cell in cells if cell is not None]
    return bool(there) and all(cell is not None and (not cell or _says_unit(cell)) for cell in there) and any(there)


@lru_cache(maxsize=4096)
def _says_unit(cell: str) -> bool:
    heading = f"x [{cell}]"
    unit = unit_in_heading(heading)
    return unit in _WORDS or _FORM.fullmatch(cell) is not None or unread_notation(heading, dms=False) is not None


def _check_angle(word: str, name: str, unit: str | None, points: Points, line: int) -> None:
    if (told := unread_notation(name, dms=points.angles == "dms")) is not None:
        raise Unusable(line, f'the heading "{name}" ({word}) {told}', TO_DEGREES)
    if unit in _SEXAGESIMAL and points.angles != "dms":
        what = f'the heading "{name}" ({word}) means degrees, minutes and seconds, but decimal degrees are read'
        raise Unusable(line, what, 'state angles = "dms" for its block, or export decimal degrees')


def check_parts(points: Points, names: Sequence[str], line: int) -> None:
    """Refuse decimal degrees whose minutes and seconds stand in other columns that are not mapped.

    ``names`` are the file's columns in order. Raises `Unusable` with the header's line.
    """
    taken = mapped(points.columns)
    for word, name in taken.items():
        joined = points.angles == "dms" and word in ("longitude", "latitude")
        parts = split_into_parts(name, names) if word in DEGREES and not joined else ()
        if parts and not set(parts) & set(taken.values()):
            fix = parts_fix(name, parts)
            if word in ("longitude", "latitude"):
                fix = f'state angles = "dms" for its block, which puts them together; else {fix}'
            raise Unusable(line, f'"{name}" ({word}) {parts_problem(parts)}', fix)


def _fix(word: str, metres: tuple[float, ...], counted: Lengths, points: Points) -> str:
    in_degrees = counted.degrees or bool(DEGREES & mapped(points.columns).keys())  # the crs may not be known yet
    of_crs = None if in_degrees else counted.plan
    if word in UPWARD and of_crs is not None and not any(is_one(of_crs, each) for each in metres):
        return "export the heights in the unit of the eastings and northings: each file is read in one unit"
    if word in ALONG:
        return "state a crs in the unit of the heading, or export them in the unit of the crs"
    words = [f'"{called}"' for called, each in METRES.items() if each in metres]
    if not words:
        return "export it in metres"
    return f"state units = {' or '.join(words)} for its block if the heading is right, else rename it in the export"
