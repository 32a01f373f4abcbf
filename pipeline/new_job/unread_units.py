"""Recognises units that cannot be read, from headings, a row of units or whole degrees."""

import numpy as np

from pipeline.files.angle_notations import (
    PARTS_FIX,
    TO_DEGREES,
    parts_fix,
    parts_problem,
    split_into_parts,
    unread_notation,
)
from pipeline.geodesy.units import METRES
from pipeline.new_job.look import FileLook
from pipeline.new_job.stated_above import angles_refused
from pipeline.new_job.values import numbers_of
from pipeline.read.heading_units import metres_in_heading, unit_in_heading

#: Rows from which on degrees without any decimals are odd: a degree is a hundred kilometres.
_WHOLE = 3


def refusal(look: FileLook, columns: dict[str, str], *, dms: bool) -> str:
    """Return why the angles among a file's mapped columns cannot be read, "" where nothing speaks against them."""
    if "latitude" in columns and (refused := angles_refused(look, dms=dms)):
        return refused
    for word in ("latitude", "longitude"):
        name = columns.get(word)
        if name is None:
            continue
        texts = look.columns[name]
        unit = next(iter(texts), "").strip("[](){}<> ")
        for heading in (name, f"{name} [{unit}]"):
            told = unread_notation(heading, dms=dms)
            if told is not None:
                return f'the {"heading" if heading == name else "row of units below"} "{name}" {told}: {TO_DEGREES}'
        # the column itself may be the one of minutes: "Lat M" beside "Lat D"
        for degrees in () if look.joined else (name, *look.names):
            parts = split_into_parts(degrees, look.names)
            if parts and (degrees == name or name in parts):
                return f'"{degrees}" {parts_problem(parts)}; {parts_fix(degrees, parts)}'
        values = None if dms else numbers_of(texts)
        some = values[np.isfinite(values)] if values is not None else np.zeros(0)
        if len(some) >= _WHOLE and (some == np.floor(some)).all():
            return f'"{name}" holds only whole degrees, which do not give a position: {PARTS_FIX}'
    return ""


def odd_unit(columns: dict[str, str]) -> str:
    """Return which heading of a position or height says a unit that no key states, "" where none does."""
    for word in ("easting", "northing", "height", "x", "y", "z"):
        name = columns.get(word, "")
        metres = metres_in_heading(name)
        if metres and not set(metres) & set(METRES.values()):
            return (
                f'the heading "{name}" has unit "{unit_in_heading(name)}", but metres or feet are read: export metres'
            )
    return ""
