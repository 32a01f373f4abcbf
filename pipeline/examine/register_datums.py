"""Holds what a register says of its datums, in headings and in columns of one text, against the job file.

Ties take up the step between two datums in full, and every check agrees. Where the register has further positions or
heights beside those that are read, that is told once unless the headings say that the right ones are; not those in
another grid, as they lie too far from the readings to be taken unseen.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.files.heading_words import words_of
from pipeline.files.old_and_new import without_state
from pipeline.files.sheet import number
from pipeline.geodesy.crs import ELLIPSOID
from pipeline.geodesy.datum_words import (
    names_datum,
    names_height_datum,
    other_datum,
    other_height_datum,
)
from pipeline.geodesy.own_places import lonlat
from pipeline.intake.survey import Survey
from pipeline.job.model import ControlSection
from pipeline.job.toml_text import quoted
from pipeline.near import and_more, listed
from pipeline.plausible.other_pairs import OtherPair, other_pairs
from pipeline.plausible.second_columns import metres_of_degrees
from pipeline.read.lines_above import Statement, of_datum, of_heights
from pipeline.read.usual_heights import HeightKind, says_no_other
from pipeline.visible import one_line
from pipeline.words import Doubt

#: Pairs of columns that a note lists; metres that two heights of one mark are apart, at least and at most, and by which
#: that may change over the marks.
_TOLD, _ROUNDED, _APART, _CHANGES = 3, 0.006, 10.0, 1.0


class _Said(Struct, frozen=True):
    """A datum that the register names, in words, and where it does."""

    where: str
    named: str
    heights: bool = False
    loose: bool = False


def register_datum_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each datum that the register names and that is not the one by which it is read."""
    for said in _said(survey):
        if not said.loose:
            file, line = survey.where("control", "height" if said.heights else "crs")
            kind = Doubt.REGISTER_HEIGHTS if said.heights else Doubt.DATUM
            yield Doubtful(kind, _told(survey, said), None, Path(file).name, line)
    if (crossed := _crossed(survey)) is not None:
        file, line = survey.where("control", "columns")
        yield Doubtful(Doubt.DATUM, crossed, None, Path(file).name, line)


def register_datum_notes(survey: Survey) -> Iterator[str]:
    """Yield what the register names loosely, and which further positions and heights it has."""
    for said in _said(survey):
        if said.loose:
            yield _told(survey, said)
    yield from _beside(survey)


def _told(survey: Survey, said: _Said) -> str:
    control, register = survey.job.control, survey.register
    assert control is not None and register is not None
    key, value = ("height", control.height) if said.heights else ("crs", control.crs)
    return (
        f"{Path(register.shown).name}: {said.where} says {said.named}, but control.{key} = {quoted(value or '')} reads"
        " the marks in another datum; the ties take up the step between the two, so that no check shows it: state the"
        " one that the register is in, or map the columns that are in this one"
    )


def _said(survey: Survey) -> Iterator[_Said]:
    """Yield the datums, of positions and of heights, that the register names and that are not those of the job file."""
    control, register = survey.job.control, survey.register
    if control is None or register is None or not len(register.names):
        return
    plan, up = _mapped(register, control)
    place = _middle(control.crs, register)
    for heading in plan:
        if place is not None and (named := other_datum(heading, control.crs, place)) is not None:
            yield _Said(f'the heading "{one_line(heading)}"', named.name, loose=named.loose)
            break
    height = control.height or ""
    if up and height and not _is_height_alone(up) and (datum := other_height_datum(up, height)):
        yield _Said(f'the heading "{one_line(up)}"', datum, heights=True)
    state = any(map(without_state, plan))  # such a column is of the position that says none
    for heading, text in _constant(register):
        said = Statement(0, heading, text)
        where = f'the column "{one_line(heading)}", "{one_line(text)}" in all rows,'
        if of_datum(said) and place is not None and not any(names_datum(each, control.crs) for each in plan):
            named = other_datum(text, control.crs, place, whole=True)
            if named is not None:
                yield _Said(where, named.name, loose=named.loose or state)
        told = of_heights(said) and height and (_is_height_alone(up) or not names_height_datum(up, height))
        if told and (datum := other_height_datum(text, height)):
            yield _Said(where, datum, heights=True, loose=bool(without_state(up)))


def _is_height_alone(heading: str) -> bool:
    """Tell whether a heading is a usual one of any heights: then the registry, which takes a while, is not asked."""
    return says_no_other(heading, HeightKind.HEIGHT)


def _mapped(register: Register, control: ControlSection) -> tuple[tuple[str, str], str]:
    """Return the headings of the marks' coordinates in plan, and of their heights."""
    words = ("easting", "northing") if register.kind == "projected" else ("longitude", "latitude")
    up = "ellipsoid_height" if control.height == ELLIPSOID else "height"
    named = [getattr(control.columns, word) for word in (*words, up)]
    first, second, third = (
        name if isinstance(name, str) else word if name is None else ""
        for name, word in zip(named, (*words, up), strict=True)
    )
    return (first, second), third


def _middle(crs: str, register: Register) -> tuple[float, float] | None:
    known = np.flatnonzero(np.isfinite(register.first + register.second))
    if not len(known):
        return None
    at = known[len(known) // 2 : len(known) // 2 + 1]
    longitude, latitude = lonlat(crs, register.first[at], register.second[at], np.zeros(1))
    return float(longitude[0]), float(latitude[0])


def _constant(register: Register) -> Iterator[tuple[str, str]]:
    """Yield the columns that have one and the same text for all marks, with that."""
    first = register.others[0] if register.others else {}
    for heading, text in first.items():
        if all(each.get(heading) == text for each in register.others):
            yield heading, text.strip()


def _beside(survey: Survey) -> Iterator[str]:
    """Yield which columns of the register hold further positions or heights, where no heading says which are right."""
    control, register = survey.job.control, survey.register
    if control is None or register is None or not register.others:
        return
    plan, up = _mapped(register, control)
    columns = _numbers(register)
    shown = Path(register.shown).name
    if not any(names_datum(each, control.crs) for each in plan) and _crossed(survey) is None:
        pairs = _pairs(survey)
        if pairs:
            others = listed([" and ".join(map(_called, pair.columns)) for pair in pairs[:_TOLD]])
            apart = listed([f"{pair.apart:.3f} m" for pair in pairs[:_TOLD]])
            yield (
                f"{shown}: the marks have positions in {others}{and_more(len(pairs) - _TOLD)}, too, up to {apart} off:"
                f" those of {quoted(plan[0])} and {quoted(plan[1])} are used; no check shows it if others are meant, so"
                f" make sure that these are in {control.crs}"
            )
    taken = HeightKind.ELLIPSOIDAL if control.height == ELLIPSOID else HeightKind.LEVEL
    if up and control.height and (_is_height_alone(up) or not names_height_datum(up, control.height)):
        further = [name for name, values in columns.items() if _is_other(register, values) and _is_height(name, taken)]
        if further:
            yield (
                f"{shown}: the marks have heights in {listed(list(map(_called, further[:_TOLD])))}"
                f"{and_more(len(further) - _TOLD)}, too, which differ: those of {quoted(up)} are used; no check shows"
                f" it if others are meant, so make sure that these are the ones above {control.height}"
            )


def _pairs(survey: Survey) -> list[OtherPair]:
    """Return the further positions that the register has in the mapped ones' grid, or in degrees beside degrees."""
    control, register = survey.job.control, survey.register
    if control is None or register is None or not register.others or not all(_mapped(register, control)[0]):
        return []
    columns, in_degrees = _numbers(register), register.kind == "geographic"
    metres = metres_of_degrees(register.second) if in_degrees else (1.0, 1.0)
    first, second = (np.abs(unit) for unit in register.unit[:2])
    if first != second:
        return []
    scaled = columns if in_degrees else {name: values * first for name, values in columns.items()}
    return other_pairs((register.first, register.second), scaled, metres, in_grid=False)


def _crossed(survey: Survey) -> str | None:
    """Say that easting and northing are read from two positions, where the headings of the columns left over do.

    "Easting 2020" is then read beside "Northing", and "Easting" and "Northing 2020" are left.
    """
    control, register = survey.job.control, survey.register
    if control is None or register is None:
        return None
    plan, _ = _mapped(register, control)
    mine = [set(words_of(one, figures=True)) for one in plan]
    for pair in _pairs(survey):
        left = [set(words_of(_own_name(one), figures=True)) for one in pair.columns]
        more, less = mine[0] - left[0], left[0] - mine[0]
        if (more or less) and (more, less) == (left[1] - mine[1], mine[1] - left[1]):
            return (
                f"{Path(register.shown).name}: the marks' positions are read from {quoted(plan[0])} and"
                f" {quoted(plan[1])}, which are of two different positions by their headings:"
                f" {_called(pair.columns[0])} and {_called(pair.columns[1])} are left; map two columns of one position"
            )
    return None


def _own_name(name: str) -> str:
    """Return a heading as the file has it: one of our names that another column has taken is told apart by its end."""
    return one_line(name).removesuffix("_register")


def _called(name: str) -> str:
    return quoted(_own_name(name))


def _numbers(register: Register) -> Mapping[str, Floats]:
    """Return the numbers (R,) of the register's other columns, NaN where there is none."""
    headings = dict.fromkeys(name for each in register.others for name in each)
    comma = any("," in text and "." not in text for text in (register.written[0] if register.written else ()))
    found = {}
    for name in headings:
        read = [number(each.get(name, "").strip(), comma) for each in register.others]
        if any(one is not None for one in read):
            found[name] = np.array([np.nan if one is None else one for one in read])
    return found


def _is_height(heading: str, taken: HeightKind) -> bool:
    """Tell whether a heading is of heights of the kind that is read, in whatever state."""
    from pipeline.read.height_headings import kind_beside, read_height_heading  # few registers have such columns

    said = [read_height_heading(each) for each in (heading, without_state(heading)) if each]
    return kind_beside(heading) is taken or any(each.whole and each.kind in (taken, HeightKind.HEIGHT) for each in said)


def _is_other(register: Register, values: Floats) -> bool:
    """Tell whether numbers (R,) are the marks' heights again, but for a step."""
    off = values * np.abs(register.unit[2]) - register.third
    off = off[np.isfinite(off)]
    if not len(off) or 2 * len(off) < np.isfinite(register.third).sum():
        return False
    return bool(np.abs(off).max() > _ROUNDED and abs(float(np.median(off))) < _APART and np.std(off) < _CHANGES)
