"""The lines of a job as rows of the layer ``lines``: every vertex is an issued point, to the bit."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats, Integers
from pipeline.codes.writing import Writing
from pipeline.draft.joined import Joined
from pipeline.draft.layer_rows import PROOF_WORDS
from pipeline.draft.string_rows import StringRows
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.layers import GEOMETRY, LINES, wkb_strings
from pipeline.solve.proof import LESS_PROVEN
from pipeline.tables import TIME, number_column


def line_rows(joined: Joined, survey: Survey, writing: Writing) -> pa.RecordBatch:
    """Return the strings that are drawn as rows of ``lines``, in the order of the exports."""
    rows, strings = joined.rows, joined.drawn
    size, closed = joined.sizes(strings), joined.closed[strings]
    start = np.cumsum(size) - size
    within = np.arange(int(size.sum())) - np.repeat(start, size)
    place = np.repeat(joined.segments.first[strings], size) + within
    point = joined.point[place]
    first = joined.segments.rows[joined.segments.first[strings]]
    last = joined.segments.rows[joined.segments.last[strings]]
    code = rows.code[first]
    # a closed line ends at its first point
    vertex = _with_first(point, start, size, closed)
    many = size + closed
    vertices = rows.values[vertex, :3]
    columns: dict[str, pa.Array] = {
        "name": pa.array(names_of(rows, first, writing), pa.string()),
        "code": pa.array([one.code for one in writing.strings], pa.string()).take(pa.array(code)),
        "number": pa.array([rows.labels[label] or None for label in rows.label[first].tolist()], pa.string()),
        "description": pa.array([one.description or None for one in writing.strings], pa.string()).take(pa.array(code)),
        "closed": pa.array(closed),
        "points": pa.array(size, pa.int64()),
        "length": number_column(_lengths(vertices, many, survey.axes.counts())),
        "hu95": number_column(_worst(rows.values[point, 3], start)),
        "vu95": number_column(_worst(rows.values[point, 4], start)),
        "proof": PROOF_WORDS.take(pa.array(_least_proven(rows, point, start))),
        "session": pa.array(_sessions(rows, point, start, size, survey), pa.string()),
        "started": pa.array(rows.time[first], TIME),
        "ended": pa.array(rows.time[last], TIME),
        "source_file": pa.array([survey.exports[number].shown for number in rows.export[first].tolist()], pa.string()),
        "source_row": pa.array(rows.source_row[first], pa.int64()),
        GEOMETRY: wkb_strings(np.column_stack(survey.axes.geometry(*vertices.T)), many),
    }
    return pa.RecordBatch.from_arrays([columns[name] for name in LINES.names], schema=LINES)


def names_of(rows: StringRows, readings: Integers, writing: Writing) -> list[str]:
    """Return what the strings of (k,) some readings are called: by their code, with their number."""
    pairs = zip(rows.code[readings].tolist(), rows.label[readings].tolist(), strict=True)
    return [f"{writing.strings[code].code} {rows.labels[label]}".rstrip() for code, label in pairs]


def _with_first(point: Integers, start: Integers, size: Integers, closed: Flags) -> Integers:
    """Return the points of lines one after another, those of a closed one with its first behind its last."""
    return np.insert(point, (start + size)[closed], point[start[closed]]) if closed.any() else point


def _lengths(vertices: Floats, many: Integers, counts: tuple[float, float, float]) -> Floats:
    """Return the lengths of lines in plan, metres on the grid; ``many`` says how many vertices each has."""
    if not len(many):
        return np.zeros(0)
    steps = np.zeros(len(vertices))
    steps[1:] = np.hypot(*(np.diff(vertices[:, axis]) * counts[axis] for axis in (0, 1)))
    start = np.cumsum(many) - many
    steps[start] = 0.0
    return np.add.reduceat(steps, start)


def _worst(values: Floats, start: Integers) -> Floats:
    return np.fmax.reduceat(values, start) if len(start) else np.zeros(0)


def _least_proven(rows: StringRows, point: Integers, start: Integers) -> Integers:
    """Return the code of the least proven word of each line's points."""
    less = LESS_PROVEN[rows.proof[point]]
    return LESS_PROVEN[np.maximum.reduceat(less, start)] if len(start) else np.zeros(0, np.int64)


def _sessions(rows: StringRows, point: Integers, start: Integers, size: Integers, survey: Survey) -> list[str]:
    """Return the names of the sessions of each line's points, in their order."""
    names = [window.session.name for window in survey.windows]
    session = rows.session[point]
    if not len(start):
        return []
    low, high = np.minimum.reduceat(session, start), np.maximum.reduceat(session, start)
    told = [names[number] for number in low.tolist()]
    for line in np.flatnonzero(low != high).tolist():
        several = np.unique(session[start[line] : start[line] + size[line]])
        told[line] = ", ".join(names[number] for number in several.tolist())
    return told
