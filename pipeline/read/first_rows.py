"""An export's first rows compared with its block: units below the header, times as they are written."""

import re
from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.files.odd_text import look_of_time, odd_time
from pipeline.geodesy.unit_words import LENGTHS_SAID, is_one
from pipeline.geodesy.units import METRES
from pipeline.job.time_format import likely_formats
from pipeline.read.findings import Unusable
from pipeline.read.heading_units import metres_of_unit, unit_alone, unit_in_heading
from pipeline.read.headings import check_units_row
from pipeline.read.lines_above import UnitAbove, units_above
from pipeline.read.mapping import ALONG, UPWARD, position_of
from pipeline.read.raw_batch import Raw
from pipeline.read.said_beside import SaidBeside
from pipeline.read.sources import Source

#: Times that are looked at before all others of the first rows: mostly one of them is as it should be.
_FEW_ROWS = 10

#: What to do about times that look like nothing in particular.
_TIME_FORMAT = 'state time_format, such as "%d/%m/%Y %H:%M:%S": the order of day and month is not guessed'


def check_units(source: Source, first: list[Raw], beside: Sequence[SaidBeside]) -> Unusable | None:
    """Hold a row of units below the header, and what stands beside the rows, against those that the job file states.

    Returns what is said ``beside`` otherwise where the job states units itself.
    """
    how, raw = source.how, first[0] if first and len(first[0].row) else None
    if raw is not None:
        texts = {word: name for word, name in how.names.items() if pa.types.is_string(raw.columns[name].type)}
        cells = {word: str(raw.columns[name][0].as_py() or "") for word, name in texts.items()}
        check_units_row(how.points, how.lengths, how.small, cells, int(raw.row[0]))
    other = _otherwise_beside(source, raw, beside)
    if other is not None and raw is not None and how.points.units is None:
        raise other
    return other


def _otherwise_beside(source: Source, raw: Raw | None, beside: Sequence[SaidBeside]) -> Unusable | None:
    """Return what is said of units beside the rows that is not what numbers are read in; None where nothing is.

    A heading, or a row of units below it, that says a unit itself is nearer to its numbers.
    """
    how = source.how
    if not (said := units_above([one.text for one in beside])):
        return None
    of_geometry = {"height": "the geometries' Z"} if position_of(how.points.columns).from_geometry else {}
    for word, name in (how.names | of_geometry).items():
        cell = str(raw.columns[name][0].as_py() or "") if raw is not None and name in raw.columns else ""
        if unit_in_heading(name) in LENGTHS_SAID or metres_of_unit(unit_alone(cell)):
            continue
        for one in said:
            plan = word in ALONG and one.plan and not how.lengths.degrees
            metre = how.lengths.plan if plan else how.lengths.up if word in UPWARD and one.up else None
            if metre is not None and not any(is_one(metre, each) for each in one.metres):
                called = name if word in of_geometry else f'"{name}"'
                return _otherwise(one, beside[one.said.line - 1], called, word, metre, plan)
    return None


def _otherwise(one: UnitAbove, beside: SaidBeside, called: str, word: str, metre: float, plan: bool) -> Unusable:
    read = next((unit for unit, metres in METRES.items() if is_one(metre, metres)), "that of its crs")
    what = f'"{one.said.value}" is stated {beside.where} ({one.said.key}), but {called} ({word}) is read in {read}'
    units = " or ".join(f'"{unit}"' for unit, each in METRES.items() if each in one.metres)
    fix = f"state units = {units} for its block if that is right, else correct the line, or state units for what is"
    if plan:
        fix = "state a crs in that unit, or export in the unit of the crs; else correct the line"
    elif not units:
        fix = "export in metres, or correct the line"
    return Unusable(beside.line, what, fix)


def check_times(source: Source, first: list[Raw]) -> None:
    """Report a file of whose first rows not one has a time in the format expected."""
    how = source.how
    strange: list[tuple[int, str]] = []
    for raw in first:
        cells = raw.columns[how.names["time"]]
        if any(how.clock.matched(some).any() for some in (cells[:_FEW_ROWS], cells[_FEW_ROWS:])):
            _check_days(how.clock.time_format, raw, cells)
            return
        given = np.flatnonzero(cells.is_valid().to_numpy(zero_copy_only=False))[:1]
        strange += [(int(raw.row[row]), str(cells[row].as_py())) for row in given.tolist()]
    if not strange:
        return
    line, found = strange[0]
    if how.points.columns.date is not None and how.clock.matched(pa.array([found.partition(" ")[2]])).any():
        raise Unusable(line, f'date and time together are "{found}"', "the time already has its date: omit date")
    if how.clock.time_format is None:
        look = look_of_time(found)
        seems = look.seems or _TIME_FORMAT
        fix = f"{seems}{look.by_key}"
        if (likely := _likely(found)) and (look.by_key or not look.seems):
            fix = f"{seems}: state time_format, {likely}"
        raise Unusable(line, f'the time "{found}" is not ISO 8601, nor are the others in the first rows', fix)
    what = f'the time "{found}" does not match time_format "{how.clock.time_format}", nor do the others'
    perhaps = f", perhaps {likely}" if (likely := _likely(found)) else ""
    # nobody can state what none says, such as a month in another language
    why = "" if odd_time(found).statable else look_of_time(found).seems
    raise Unusable(line, what, why or f"state time_format as the times are written{perhaps}")


def _check_days(time_format: str | None, raw: Raw, cells: pa.Array) -> None:
    """Refuse serial days of which none in the first rows has a time of day: each would be its midnight."""
    if time_format not in ("serial-days", "serial-days-1904"):
        return
    given = np.flatnonzero(cells.is_valid().to_numpy(zero_copy_only=False)).tolist()
    texts = [str(cells[row].as_py()) for row in given]
    if all(re.fullmatch(r"\d+(?:[.,]0*)?", text) for text in texts):
        what = f'the time "{texts[0]}" is a day without a time, as are all others in the first rows'
        raise Unusable(int(raw.row[given[0]]), what, "map the column of days as date, and the times as time")


def _likely(found: str) -> str:
    """Return the formats by which a time may be written, in words for the job file."""
    return " or ".join(f'"{form}"' for form in likely_formats(found))
