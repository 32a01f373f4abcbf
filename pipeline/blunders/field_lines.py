"""The lines of a job file that state a shift which the field applied and the job does not state."""

from pipeline.blunders.carried import Way
from pipeline.blunders.not_stated import Found, windows
from pipeline.blunders.scope import Case
from pipeline.clock import clock, iso, moment
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.sessions.toml_lines import quoted


def field_lines(case: Case, one: Found) -> str:
    """Return the key ``field_shift`` of a session: a table, or a list of them, with comments on what nobody knows.

    What lies between the last reading without the shift and the first one with it is in doubt, and is said to be.
    """
    told, tables = [], []
    name = case.survey.windows[one.session].session.name
    told.append(f"# in the [[session]] called {quoted(name)}")
    for before, first, last, after in windows(one):
        time = case.solved.occupations.time
        keys = [f"from = {_moment(int(time[first]) if before is not None else case.survey.windows[one.session].start_ms)}"]
        if before is not None:
            told.append(f"# switched on between {clock(int(time[before]))} and {clock(int(time[first]))} UTC")
        if after is not None:
            keys.append(f"until = {_moment(int(time[last]) + 1)}")
            told.append(f"# switched off between {clock(int(time[last]))} and {clock(int(time[after]))} UTC")
        tables.append(f"{{ {', '.join([*keys, *_what(case, one), *_only(case, one)])} }}")
    if one.pattern.way is Way.REVISED:
        told.append("# add the coordinates of the mark as they were typed in the field: easting, northing, height")
    stated = tables[0] if len(tables) == 1 else "[\n" + "".join(f"  {table},\n" for table in tables) + "]"
    return "\n".join([*told, f"field_shift = {stated}", ""])


def _moment(time: int) -> str:
    return iso(moment(time))


def _what(case: Case, one: Found) -> list[str]:
    """Return what was done where the job file can say it so, else the vector, at the mark of the first tie."""
    on_marks = case.solved.occupations
    names = on_marks.table.column("name").to_pylist()
    if one.given is not None and one.pattern.way in (Way.ONCE, Way.REVISED):
        point, mark = names[one.given], on_marks.marks[one.given]
        if point and names.count(point) == 1 and mark in case.number:
            return [f"tie = {quoted(point)}", f"mark = {quoted(mark)}"]
    longitude, latitude, _ = case.survey.operations.frames.to_geographic.forward(*_place(case, one.session))
    east, north, up = geocentric_to_local(one.vector, longitude, latitude).ravel() + 0.0
    return [f"east = {east:.4f}", f"north = {north:.4f}", f"up = {up:.4f}"]


def _place(case: Case, session: int) -> list[float]:
    ties = case.survey.windows[session].session.ties
    marks = dict(zip(case.solved.tied.marks.names, case.solved.tied.marks.xyz, strict=True))
    return list(marks[ties[0].mark] if ties else case.solved.places[session])


def _only(case: Case, one: Found) -> list[str]:
    on_marks, first = case.solved.occupations, int(one.carrying[0])
    if one.pattern.limited == "receiver":
        return [f"base = {quoted(str(on_marks.table.column('base')[first].as_py()))}"]
    if one.pattern.limited == "file":
        export = case.survey.exports[on_marks.table.column("export")[first].as_py()]
        return [f"files = [{quoted(export.shown)}]"]
    return []
