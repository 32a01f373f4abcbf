"""The lines of a job file that split a session where its base moved."""

import json
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import numpy as np

from pipeline.job.model import GivenShift, Session
from pipeline.words import Role
from pipeline.work.prepare import Prepared
from pipeline.work.settle import Settled


def split_lines(prepared: Prepared, settled: Settled, session: int, last_good: int, first_bad: int) -> str:
    """Return the two ``[[session]]`` tables that take the place of one.

    The first ends just after the last occupation before the base moved, the second starts with the first one after it
    and is tied to it: what lies between belongs to neither, since nobody knows when the base moved, and is held back.
    The second has no more of the session than its base id and its field shift: a base that moved stands over no mark.

    Args:
        prepared: the job.
        settled: the job as settled.
        session: index of the session.
        last_good: row of the last occupation before the base moved.
        first_bad: row of the first one after it.
    """
    on_marks, window = settled.occupations, prepared.windows[session]
    rows = [int(row) for row in np.flatnonzero(on_marks.session == session)]
    end, start = int(on_marks.time[last_good]) + 1, int(on_marks.time[first_bad])
    early = [row for row in rows if on_marks.time[row] < end]
    late = [row for row in rows if on_marks.time[row] >= start]
    given = window.session
    ties = [row for row in early if on_marks.roles[row] is Role.TIE]
    if not ties and given.setup is None and given.shift == "derive":
        ties = _to_tie(settled, early)
    names = {other.session.name for other in prepared.windows}
    second = next(name for number in range(2, len(names) + 3) if (name := f"{given.name}-{number}") not in names)
    return "\n".join(
        [
            *_comments(prepared, given.name),
            *_table(given.name, given, window.start_ms, end),
            *_setup(given),
            *_occupations(settled, early, ties),
            "",
            *_table(second, given, start, window.end_ms),
            *_occupations(settled, late, _to_tie(settled, late)),
            "",
        ]
    )


def _comments(prepared: Prepared, name: str) -> Iterator[str]:
    sessions = prepared.loaded.job.sessions
    if sessions is None:
        yield f"# in place of the [[session]] called {name}: its base moved"
    else:
        yield f"# in place of session {name}: its base moved"
        yield f"# sessions stand in {sessions.file.name}: write these two as its rows, with the same names as columns"


def _to_tie(settled: Settled, rows: Sequence[int]) -> list[int]:
    """Return the occupations of the first mark that holds both position and height; without such a one, all of them."""
    on_marks, held = settled.occupations, dict(zip(settled.reference.names, settled.reference.held, strict=True))
    whole = [row for row in rows if on_marks.marks[row] in held and held[on_marks.marks[row]].all()]
    return [row for row in rows if not whole or on_marks.marks[row] == on_marks.marks[whole[0]]]


def _table(name: str, given: Session, since: int, until: int) -> Iterator[str]:
    yield "[[session]]"
    yield f"name = {_text(name)}"
    yield f"start = {_time(since)}"
    yield f"end = {_time(until)}"
    if given.base is not None:
        yield f"base = {_text(given.base)}"
    field = given.field_shift
    if field is not None and (begins := round(field.start.timestamp() * 1000)) < until:
        model = "" if field.model == "geocentric" else f", model = {_text(field.model)}"
        yield (
            f"field_shift = {{ from = {_time(begins)}, east = {field.east!r}, north = {field.north!r},"
            f" up = {field.up!r}{model} }}"
        )


def _setup(given: Session) -> Iterator[str]:
    """Yield what a session has of its base besides occupations."""
    if (setup := given.setup) is not None:
        yield (
            f"setup = {{ mark = {_text(setup.mark)}, longitude = {setup.longitude!r}, latitude = {setup.latitude!r},"
            f" ellipsoid_height = {setup.ellipsoid_height!r}, antenna_height = {setup.antenna_height!r} }}"
        )
    if isinstance(given.shift, GivenShift):
        said = ", ".join(f"{key} = {value!r}" for key, value in given.shift.model_dump().items())
        yield f"shift = {{ {said} }}"
    elif given.shift != "derive":
        yield f"shift = {_text(given.shift)}"


def _occupations(settled: Settled, rows: Sequence[int], ties: Sequence[int]) -> Iterator[str]:
    """Yield ties and checks; an occupation without a name is found by its code again."""
    names, marks = settled.occupations.table.column("name").to_pylist(), settled.occupations.marks
    checks = [row for row in rows if row not in ties]
    for key, chosen in (("ties", ties), ("checks", checks)):
        pairs = dict.fromkeys((names[row], marks[row]) for row in chosen if names[row])
        if pairs:
            said = ", ".join(f"{{ point = {_text(point)}, mark = {_text(mark)} }}" for point, mark in pairs)
            yield f"{key} = [{said}]"


def _text(value: str) -> str:
    """Return a basic string of TOML: JSON's escapes are among its own."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _time(milliseconds: int) -> str:
    moment = datetime.fromtimestamp(milliseconds / 1000, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
