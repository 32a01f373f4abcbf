"""The lines of a job file that state a shift which the field applied, where the job does not, or states it wrongly."""

import csv
import io
from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from pipeline.arrays import Floats
from pipeline.blunders.carried import Way
from pipeline.blunders.misstated import Retyped, turn_of, vector_place
from pipeline.blunders.not_stated import FoundPattern, known_places, windows
from pipeline.blunders.scope import Case
from pipeline.clock import iso, moment, stamp
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.intake.field_windows import FieldWindow
from pipeline.job.model import TYPED
from pipeline.job.toml_text import quoted, read_table
from pipeline.sessions.toml_lines import field_shift_text
from pipeline.words import Role


def field_lines(case: Case, one: FoundPattern) -> str:
    """Return the key ``field_shift`` of a session: a table, or a list of them, with comments on what nobody knows.

    What lies between the last reading without the shift and the first one with it is in doubt, and held back until
    somebody writes when it was switched on.
    """
    window, time = case.survey.windows[one.session], case.solved.occupations.time
    told, tables = [_where(case, window.session.name)], []
    both: set[int] = set()
    for before, first, last, after in windows(one):
        since = window.start_ms if before is None else int(time[first])
        keys = [f"from = {_moment(since)}"]
        if before is not None:
            keys.append(f"earliest = {_moment(int(time[before]) + 1)}")
            told.append(_edge("on", int(time[before]), int(time[first]), "from", "earliest"))
        if after is not None:
            keys += [f"until = {_moment(int(time[last]) + 1)}", f"latest = {_moment(int(time[after]))}"]
            told.append(_edge("off", int(time[last]), int(time[after]), "until", "latest"))
        carried = _carried_there(case, one.session, since, window.end_ms if after is None else int(time[last]) + 1)
        if carried and after is None:
            # two that a reading carries both are told to be so by their ends
            keys.append(f"until = {_moment(window.end_ms)}")
        both |= {own.position for own in carried}
        tables.append(", ".join([*keys, *_vector_keys(case, one, since, bool(carried)), *_only(case, one)]))
    if one.pattern.way is Way.REVISED:
        told += _typed(case, one)
    end = moment(window.end_ms)
    before_it = [
        stated.model_copy(update={"until": end}) if number in both and stated.until is None else stated
        for number, stated in enumerate(window.session.field_shifts)
    ]
    if case.survey.job.sessions is not None and len(tables) == 1 and not before_it:
        return "\n".join([*told, *_as_columns(tables[0], case.survey.job.sessions.delimiter), ""])
    if before_it:
        told.append("# instead of its present field_shift, which comes first in the list")
    every = [*map(field_shift_text, before_it), *(f"{{ {table} }}" for table in tables)]
    if case.survey.job.sessions is not None:
        told += _AS_TABLE
    return "\n".join([*told, _stated(every), ""])


#: A table of sessions has room for one field shift of each.
_AS_TABLE = (
    "# a table of sessions has columns for only one field shift: write its rows as [[session]] tables in the job file",
    "# instead of [sessions], and put this into that of the session",
)


def restated_lines(case: Case, other: Retyped) -> str:
    """Return the key ``field_shift`` of a session with one field shift as it was meant, the others as before."""
    window = case.survey.windows[other.one.window.session]
    stated, turn = other.one.window.stated, np.diag(case.survey.axes.signs())
    if stated.model == "geocentric":
        turn = turn_of(case, other.one)
    east, north, up = (round(float(value), 4) + 0.0 for value in turn @ other.vector)
    nothing = dict.fromkeys(("tie", "mark", *TYPED[0], *TYPED[1]))
    meant = stated.model_copy(update={**nothing, "east": east, "north": north, "up": up})
    several = list(window.session.field_shifts)
    several[other.one.window.position] = meant
    told = [_where(case, window.session.name)]
    if (sessions := case.survey.job.sessions) is not None and len(several) == 1:
        told = [
            f"# in the row of session {quoted(window.session.name)} in {sessions.file.name}, instead of what it has"
        ]
        return "\n".join([*told, *_as_columns(field_shift_text(meant)[2:-2], sessions.delimiter), ""])
    told.append("# instead of its present field_shift")
    return "\n".join([*told, _stated([field_shift_text(one) for one in several]), ""])


def _stated(every: Sequence[str]) -> str:
    several = "[\n" + "".join(f"  {table},\n" for table in every) + "]"
    return f"field_shift = {every[0] if len(every) == 1 else several}"


def _carried_there(case: Case, session: int, since: int, until: int) -> list[FieldWindow]:
    """Return the stated field shifts of a session that readings carry in a time, UTC milliseconds."""
    own = [one.window for one in case.solved.field.of(session)]
    return [one for one in own if one.start < until and since < one.until]


def _as_columns(table: str, delimiter: str | None) -> Iterator[str]:
    """Yield the keys of a field shift as columns of a table of sessions, and below them its cells."""
    keys = read_table(table)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter if delimiter and len(delimiter) == 1 else ",", lineterminator="\n")
    writer.writerow(f"field_shift_{key}" for key in keys)
    writer.writerow(_cell(value) for value in keys.values())
    yield from text.getvalue().splitlines()


def _cell(value: object) -> str:
    if isinstance(value, list):
        return "; ".join(map(str, value))
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else str(value)


def _where(case: Case, name: str) -> str:
    if (sessions := case.survey.job.sessions) is not None:
        return f"# session {quoted(name)} is in {sessions.file.name}: add these columns there, and this to its row"
    return f"# in the [[session]] called {quoted(name)}"


def _edge(way: str, since: int, until: int, key: str, open_key: str) -> str:
    text = f"# switched {way} between {stamp(since)} and {stamp(until)} UTC"
    return f"{text}: once you know when, write it as {key} and remove {open_key}"


def _moment(time: int) -> str:
    return iso(moment(time))


def _vector_keys(case: Case, one: FoundPattern, since: int, beside: bool) -> list[str]:
    """Return what was done where the job file can say it so, else the vector, at the mark of the first tie.

    A tie is the last reading of its name before ``since``, UTC milliseconds: of the session, else of an earlier one.
    ``beside`` others that readings carry as well it is the vector: a reading that carries one is not raw any more.
    """
    on_marks, row = case.solved.occupations, None if beside else _tie(case, one)
    if row is not None and one.pattern.way is Way.ONCE:
        name, names = on_marks.table.column("name")[row].as_py(), case.survey.candidates.names
        before = (case.survey.candidates.time < since) & np.array([other == name for other in names], bool)
        here = before & (case.survey.candidates.session == one.session)
        last = case.survey.candidates.time[here if here.any() else before].max(initial=-1)
        if name and last == on_marks.time[row] and on_marks.marks[row] in case.number:
            model = ['model = "grid"'] if one.grid else []
            return [f"tie = {quoted(name)}", f"mark = {quoted(on_marks.marks[row])}", *model]
    longitude, latitude, _ = case.survey.operations.frames.to_geographic.forward(*vector_place(case, one.session))
    east, north, up = geocentric_to_local(_carried(case, one), longitude, latitude).ravel() + 0.0
    return [f"east = {east:.4f}", f"north = {north:.4f}", f"up = {up:.4f}"]


def _carried(case: Case, one: FoundPattern) -> Floats:
    """Return (3,) what readings carry; where a mark had other coordinates, what is left at their own marks tells it."""
    if one.pattern.way is not Way.REVISED:
        return one.vector
    left = known_places(case, one.carrying) - case.solved.occupations.raw[one.carrying]
    return np.asarray(one.vector - np.nanmean(left, axis=0))


def _typed(case: Case, one: FoundPattern) -> list[str]:
    row = _tie(case, one)
    if row is None:
        return []
    point, mark = case.solved.occupations.table.column("name")[row].as_py(), case.solved.occupations.marks[row]
    by = f"tie = {quoted(str(point))}, mark = {quoted(mark)}"
    return [
        "# east, north, up are what the occupations show; if you have the coordinates that were typed in the field for"
        f" {mark}, write instead {by}, easting, northing, height"
    ]


def _tie(case: Case, one: FoundPattern) -> int | None:
    """Return the row of the reading that gives the shift, None where it is no reading's alone."""
    if one.before is None:
        return one.given
    on_marks = case.solved.occupations
    rows = [row for row in case.own(one.before).tolist() if on_marks.roles[row] is Role.TIE]
    return rows[0] if len(rows) == 1 and case.survey.windows[one.before].session.setup is None else None


def _only(case: Case, one: FoundPattern) -> list[str]:
    on_marks, first = case.solved.occupations, int(one.carrying[0])
    if one.pattern.limited == "receiver":
        return [f"base = {quoted(str(on_marks.table.column('base')[first].as_py()))}"]
    if one.pattern.limited == "file":
        export = case.survey.exports[on_marks.table.column("export")[first].as_py()]
        return [f"files = [{quoted(export.shown)}]"]
    return []
