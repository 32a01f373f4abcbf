"""Times of a 12-hour clock whose morning or afternoon stands in a column of its own: no job can read them."""

import pyarrow as pa

from pipeline.new_job.look import Look
from pipeline.new_job.values import Times, day_and_time
from pipeline.read.clock_fields import ISO, pattern_of
from pipeline.read.halves_of_day import FIX, hours_written, twelve_hours


def half_apart(look: Look, columns: dict[str, str], times: Times | None) -> str:
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
            return f'the time "{texts[row]}" is of a 12-hour clock: {shown} says "{said}", and is not read; {FIX}'
    return ""
