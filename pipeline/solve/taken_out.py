"""Reports the field shifts that were taken out of the readings, for the record and as notes."""

from collections.abc import Iterator

import numpy as np

from pipeline.clock import iso, moment, stamp
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.intake.survey import Survey
from pipeline.issue.field_shift_types import FieldShiftTaken
from pipeline.solve.field_shifts import TakenOut, local
from pipeline.solve.solve import Solved

#: Metres: numbers of two issues that differ by less are the same.
_SAME = 1e-4


def recorded(survey: Survey, solved: Solved, number: int) -> list[FieldShiftTaken]:
    """Return the field shifts taken out, as the record of issue ``number`` has them."""
    return [_entry(survey, one, number) for one in solved.field.taken]


def _entry(survey: Survey, one: TakenOut, number: int) -> FieldShiftTaken:
    window, stated, used = one.window, one.window.stated, one.used
    candidates = survey.candidates.table
    row = None if used is None else candidates.slice(used.row, 1).to_pylist()[0]
    known: list[float | None] = [None, None, None]
    if used is not None:
        grid = survey.operations.frames.to_issued.forward(*used.mark[:, None])
        known = [float(values[0]) for values in survey.axes.written(*grid)]
    in_grid = stated.model == "grid"
    xyz: list[float | None] = [None, None, None] if in_grid else [float(value) for value in one.geocentric]
    east, north, up = (float(value) for value in local(survey, one))
    return {
        "session": window.name,
        "from": iso(moment(window.start)),
        "until": iso(moment(window.until)),
        "base": stated.base,
        "files": list(stated.files),
        "model": stated.model,
        "tie": stated.tie,
        "mark": stated.mark,
        "observed": None if used is None else iso(moment(int(survey.candidates.time[used.row]))),
        "source_file": None if row is None else survey.exports[row["export"]].shown,
        "source_row": None if row is None else int(row["source_row"]),
        "coordinates": None if used is None else "register" if stated.typed is None else "typed",
        "known_easting": known[0],
        "known_northing": known[1],
        "known_height": known[2],
        "shift_x": xyz[0],
        "shift_y": xyz[1],
        "shift_z": xyz[2],
        "shift_east": east,
        "shift_north": north,
        "shift_up": up,
        "since": number if used is None or used.since is None else used.since,
    }


def by_what(survey: Survey, one: TakenOut) -> str:
    """Return in words what a field shift was worked out from; "" where it is stated as a vector."""
    if one.used is None:
        return ""
    row = survey.candidates.table.slice(one.used.row, 1).to_pylist()[0]
    at = f"{survey.exports[row['export']].shown}:{row['source_row']}"
    when = stamp(int(survey.candidates.time[one.used.row]))
    kept = "" if one.used.since is None else f", as in issue {one.used.since:03d}"
    return f", by {one.window.stated.tie} ({at}, {when} UTC) on {one.window.stated.mark}{kept}"


def taken_out_notes(survey: Survey, solved: Solved) -> list[str]:
    """Return in words where a field shift stays as it was though its mark was revised, and where its tie ties nothing.

    A tie that the session lists on another mark is told too: one of the two marks may be a slip.
    """
    return [*_stays(survey, solved), *_unlisted(survey, solved)]


def _stays(survey: Survey, solved: Solved) -> Iterator[str]:
    for one in solved.field.taken:
        used, stated = one.used, one.window.stated
        if used is None or used.since is None or np.linalg.norm(used.revised) < _SAME:
            continue
        revised = used.revised
        if stated.model == "geocentric":
            longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*used.mark)
            revised = np.ravel(geocentric_to_local(revised, longitude, latitude))
        east, north, up = revised
        called = f" (then {used.called})" if used.called is not None else ""
        yield (
            f"session {one.window.name}: the field shift by {stated.tie} on {stated.mark}{called} is taken out as in"
            f" issue {used.since:03d}, with the coordinates that {stated.mark} had then, because those were applied in"
            f" the field. With its present ones it would differ by {east:+.3f} east, {north:+.3f} north, {up:+.3f} up"
        )


def unlisted(survey: Survey, solved: Solved) -> set[int]:
    """Return the candidates that give a field shift and are in no list of their session: told as such, and once."""
    used = [(one, one.used.row) for one in solved.field.taken if one.used is not None]
    own = {row for one, row in used if int(survey.candidates.session[row]) == one.window.session}
    return {row for row in own if survey.candidates.named[row] is None}


def _unlisted(survey: Survey, solved: Solved) -> Iterator[str]:
    alone = unlisted(survey, solved)
    for one in solved.field.taken:
        if one.used is None:
            continue
        stated, said = one.window.stated, survey.candidates.named[one.used.row]
        where = f"session {one.window.name}: the field shift is by {stated.tie} on {stated.mark}"
        if one.used.row in alone and int(survey.candidates.session[one.used.row]) == one.window.session:
            listed = f'{{ point = "{stated.tie}", mark = "{stated.mark}" }}'
            yield (
                f"{where}, which is in neither ties nor checks; if it was on that mark, write ties = [{listed}]; until"
                " then it counts as an ordinary point"
            )
        elif said is not None and said.mark != stated.mark:
            yield f"{where}, but as a {said.role} it is listed on {said.mark}; check which is right"
