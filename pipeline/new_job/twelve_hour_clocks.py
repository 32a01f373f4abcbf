"""Recognises 12-hour times whose AM or PM is in a separate column or missing; no job reads them."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.clock import MINUTE
from pipeline.new_job.look import FileLook
from pipeline.new_job.time_notation import TimeNotation, day_and_time
from pipeline.read.clock_fields import ISO, pattern_of
from pipeline.read.halves_of_day import FIX, hours_written, twelve_hours
from pipeline.read.restarted_clocks import starts_again


def half_apart(look: FileLook, columns: dict[str, str], times: TimeNotation | None) -> str:
    """Return why the times of an export cannot be read: a column beside them says morning or afternoon; else ""."""
    form = times.formats[0] if times is not None else "%p"
    if "time" not in columns or "%p" in form or (form and "%" not in form):
        return ""
    texts = look.columns[columns["time"]]
    if "date" in columns:
        texts = day_and_time(look.columns[columns["date"]], texts)
    hours = hours_written((pattern_of(form) if form else ISO).read(pa.array(texts, pa.string())))
    for name in look.names:
        if name not in columns.values() and (row := twelve_hours(look.columns[name], hours)) is not None:
            shown = f"column {look.names.index(name) + 1}" if look.numbered else f'"{name}"'
            said = look.columns[name][row]
            return f'the time "{texts[row]}" is from a 12-hour clock: {shown} has "{said}" and is not read; {FIX}'
    return ""


def half_nowhere(column: str, texts: Sequence[str], form: str | None) -> str:
    """Return what is asked of times that start again as a 12-hour clock does where nothing says the half; else ""."""
    if form is not None and ("%p" in form or "%" not in form):
        return ""
    fields = (ISO if form is None else pattern_of(form)).read(pa.array(texts, pa.string()))
    at = np.flatnonzero(fields.real)
    row = starts_again((fields.milliseconds + fields.offset * MINUTE)[at])
    if row is None:
        return ""
    before, after = texts[at[row - 1]], texts[at[row]]
    return (
        f'are the times of "{column}" from a 12-hour clock? "{after}" follows "{before}", no hour exceeds 12, and AM'
        f" or PM is missing: afternoon times would be read 12 hours early. If so, {FIX}"
    )
