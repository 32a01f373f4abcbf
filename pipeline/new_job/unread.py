"""Explains which headings and values of a file are not recognised, but for its times, and what to do."""

import re
from collections.abc import Sequence

import numpy as np

from pipeline.files.angle_notations import TO_DEGREES, unread_notation
from pipeline.files.grid_letters import lettered_reference
from pipeline.files.heading_words import words_of
from pipeline.files.odd_text import looks_like_data, why_no_degrees, why_no_number
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.angles_apart import angles_apart
from pipeline.new_job.headings import rank, says_height
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.numbers_together import numbers_together
from pipeline.new_job.questions import Question
from pipeline.new_job.torn_rows import mostly_torn
from pipeline.new_job.values import MOSTLY, angles, decimal_places, given, numbers_of

_QUOTE = '"'
#: Headings that are shown.
_SHOWN = 12
#: Files of which it is said why they cannot be read.
_REASONS = 3
#: Columns of numbers that an export is the poorer without.
_NUMBERS = ("sigma_east", "sigma_north", "sigma_up", "precision", "each", "radial", "pole")
#: A heading of degrees, minutes or seconds alone: "LatDeg", "Longitude (min)", "lat_s".
_PART_OF_ANGLE = re.compile(
    r"(?:lat|lon|long|lng|latitude?|longitude?|breite|lange|laenge)"
    r"(?:d|m|s|deg|min|sec|degrees?|minutes?|seconds?|grad|gr|minuten?|sekunden?|grados?|minutos?|segundos?)"
)
#: What is said of its columns.
_APART = (
    "hold degrees, minutes and seconds in columns of their own, whose headings do not say which they are: call them Lat"
    " deg, Lat min, Lat sec, N/S, Lon deg, Lon min, Lon sec, E/W, or export decimal degrees, or each angle in one"
    " column, as 12 02 48.70355 with its sign or N, S, E, W"
)
#: Decimals of degrees that are rounded, metres in a degree of latitude, and the axes of a place.
_FEW_DECIMALS, _DEGREE, _AXES = (4, 5), 111_000.0, 2
_PLANE, _DEGREES = ("easting", "northing"), ("longitude", "latitude")


def no_position(look: FileLook) -> str:
    """Return why no position is found in a file: values that cannot be read, or headings of which none is known."""
    if apart := mostly_torn(look) or numbers_together(look) or _lettered(look):
        return f"no positions that can be read: {apart}"
    if parts := _parts_of_angles(look):
        return f"no positions that can be read: {parts} {_APART}"
    unreadable = []
    for words in (_PLANE, _DEGREES):
        for word in words:
            name = next((name for name in look.names if rank(word, name) is not None), None)
            if name is not None and (what := _unread(look, name, word)) is not None:
                unreadable.append(what)
    for name in look.names:
        of_angle = any(rank(word, said) is not None for word in _DEGREES for said in words_of(name)[:1])
        if of_angle and (said := unread_notation(name, dms=False)) is not None:
            unreadable.append(f'the heading "{name}" {said}: {TO_DEGREES}')
    if unreadable:
        return f"no positions that can be read: {'; '.join(unreadable)}"
    if look.no_place:
        return f"no positions that can be read: {look.no_place}"
    return _without_header(look) if look.keys.get("header") == 0 else _unknown(look)


def _lettered(look: FileLook) -> str:
    """Return what references by the letters of 100 km squares in a column mean, and what to export; "" for none."""
    for name in look.names:
        if rank("name", name) is not None:
            continue
        texts = given(look.columns[name])
        read = [(text, found) for text in texts if (found := lettered_reference(text)) is not None]
        if read and len(read) >= MOSTLY * len(texts):
            text, one = read[0]
            return (
                f'"{name}" holds "{text}": {one.letters} is a square of 100 km of the {one.grid}, and the place easting'
                f" {one.easting}, northing {one.northing} in {one.code}. Such references are not read: export eastings"
                " and northings in metres as two columns of numbers"
            )
    return ""


def _parts_of_angles(look: FileLook) -> str:
    """Return the columns of degrees, minutes and seconds that stand apart, by their values or headings; "" for none."""
    if parts := angles_apart(look):
        return " and ".join(listed(each, _QUOTE) for each in parts)
    named = [name for name in look.names if _PART_OF_ANGLE.fullmatch("".join(words_of(name)))]
    return listed(named, _QUOTE) if len(named) > 2 else ""


def _unknown(look: FileLook) -> str:
    """Return that no heading of a file is known as that of a position."""
    if all(any(rank(word, name) is not None for name in look.names) for word in ("base", "pole")):
        return "no positions of points: it seems to be a list of base set-ups, from which nothing is read"
    headings = listed(look.names[:_SHOWN], _QUOTE) + (" ..." if len(look.names) > _SHOWN else "")
    sample = listed([next(iter(given(texts)), "") for texts in look.columns.values()][:_SHOWN], _QUOTE)
    if looks_like_data(re.split("[;,|\t ]+", ",".join(look.names))):
        return (
            f"its first line holds data, not column names: {headings}; add a line with names above it, such as"
            " mark;easting;northing;height for a register"
        )
    page = f" (read as {look.encoding}, as it is not UTF-8: else save it as UTF-8)" if look.pages is not None else ""
    return (
        f"no position columns that are recognised by their headings{page}: they are {headings}, the first row has"
        f" {sample}; rename them (easting, northing, height; longitude, latitude, ellipsoid_height), or state which is"
        f" which in [points.columns], of a register in [control.columns]{_coarse(look)}"
    )


def _coarse(look: FileLook) -> str:
    """Return which columns may be degrees with too few decimals to be taken for such, "" where not two may."""
    places = {name: round(decimal_places(texts)) for name, texts in look.columns.items() if _may_be_degrees(texts)}
    if len(places) < 2:
        return ""
    least = min(places.values())
    return (
        f"; {' and '.join(map(quoted, list(places)[:_AXES]))} may be degrees, but {least} decimals give places to"
        f" {_DEGREE * 10.0**-least:.0f} m: if they are, export them with 8 or more decimals"
    )


def _may_be_degrees(texts: Sequence[str]) -> bool:
    """Tell whether numbers have four or five decimals and differ within a degree, as degrees of a job may."""
    values = numbers_of(texts)
    if values is None or not _FEW_DECIMALS[0] <= decimal_places(texts) <= _FEW_DECIMALS[1]:
        return False
    size = np.abs(values[np.isfinite(values)])
    return bool((size <= 180.0).all() and np.median(size) >= 1.0 and 0.0 < np.ptp(size) < 1.0)


def _without_header(look: FileLook) -> str:
    """Return that a file has no headings, what its first row holds, and how to say which column is which."""
    cells = [next(iter(given(texts)), "") for texts in look.columns.values()]
    row = ", ".join(f'{at} "{cell}"' for at, cell in enumerate(cells, start=1))
    return (
        f"it has no row of headings, and which columns are the position is not certain; its first row is {row}: add a"
        " row of headings above it (name, latitude, longitude, ellipsoid_height, date, time), or state header = 0 and"
        " the numbers of the columns in [points.columns], such as latitude = 2"
    )


def no_height(look: FileLook, what: str, lacking: bool) -> str:
    """Return that a position lacks its height: a column of it that cannot be read, or the headings it may be among.

    ``what`` is wrong with the position, in words; ``lacking`` is whether it is that no column is mapped as its height.
    """
    if (apart := mostly_torn(look)) is not None:
        return f"no readable rows: {apart}"
    if lacking and (unreadable := unread_heights(look)):
        return f"times and places, but no heights that can be read: {'; '.join(why for _, why in unreadable)}"
    return (
        f"times, but {what}: the headings are {listed(look.names[:_SHOWN], _QUOTE)}; rename the one of the heights, or"
        " state it as height in [points.columns]"
    )


def unread_heights(look: FileLook) -> list[tuple[str, str]]:
    """Return which columns are called as heights are and hold no numbers, each with why its first value is none."""
    return [
        (name, why) for name in filter(says_height, look.names) if (why := _unread(look, name, "height")) is not None
    ]


def _unread(look: FileLook, name: str, word: str) -> str | None:
    """Return the first value of a column that is no number, with what it is; None where there are numbers."""
    texts = look.columns[name]
    if word in _DEGREES and (beyond_minutes := _minutes_within(texts, 90 if word == "latitude" else 180)):
        return f'"{name}" {beyond_minutes}'
    if numbers_of(texts) is not None or (word in _DEGREES and angles(texts, "EWNS") is not None):
        return None
    for text in given(texts):
        if numbers_of([text]) is None:
            why = why_no_number(text)
            if word in _DEGREES:
                why = why_no_degrees(text, dms=angles([text], "EWNS") is not None)
            return f'"{name}" holds "{text}", which {why}'
    if given(texts):
        return None
    if look.form == "workbook":
        return f'"{name}" is empty, or its formulas have no stored values: open the file, save it, or export values'
    return f'"{name}" is empty: export it with values'


def _minutes_within(texts: Sequence[str], limit: int) -> str:
    """Return that numbers are degrees and minutes in one (5220.617 for 52 degrees 20.617 minutes); "" where not."""
    values = numbers_of(texts)
    if values is None or not float(np.nanmax(np.abs(values))) > limit:
        return ""
    degrees, minutes = np.divmod(np.abs(values[np.isfinite(values)]), 100.0)
    if not ((degrees <= limit) & (minutes < 60.0)).all():
        return ""
    seems = "seems to be degrees and minutes in one number, which are not read: export decimal degrees"
    return f'holds "{given(texts)[0]}", which {seems}'


def left_unread(look: FileLook, found: Mapped) -> list[tuple[str, str]]:
    """Return the columns that are called as numbers of use are and that hold none, each with why it is not mapped."""
    told = []
    for name in look.names:
        if name in found.columns.values() or name in dict(found.left) or name == found.poles:
            continue
        of_use = any(rank(word, name) is not None for word in _NUMBERS)
        if of_use and given(look.columns[name]) and (why := _unread(look, name, "")) is not None:
            told.append((name, why.removeprefix(f'"{name}" ')))
    return told


def no_session(exports: Sequence[str], readings: int, unread: Sequence[str]) -> Question:
    """Return the question after the sessions where none could be drafted from so many readings with times.

    ``unread`` says why exports cannot be read.
    """
    several = len(exports) > 1
    if readings:
        why = f"{'their readings' if several else 'its readings'} are far apart in time, or used different bases"
    else:
        why = f"no row of {'them' if several else 'it'} has a readable time and position"
    why += f" ({'; '.join(unread[:_REASONS])})" if unread else ""
    asks = f"when did which base run? no session could be made of {listed(exports)}: {why}. Correct that and run"
    asks += " `tiedown new` again, or write a [[session]] block per base session"
    return Question("sessions", asks)
