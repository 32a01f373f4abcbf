"""What a reader of the issue should look at besides failing checks, in words."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.adjust import missing_ties
from pipeline.clock import stamp
from pipeline.control import Register
from pipeline.examine.computed import COMPUTED
from pipeline.intake.left_columns import VALUES, LeftColumn
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Untied
from pipeline.issue.untied_words import of_register
from pipeline.job.toml_text import quoted
from pipeline.near import and_more, listed
from pipeline.notices.dependent_checks import dependent_check_notes
from pipeline.notices.open_overnight import overnight_notes
from pipeline.notices.other_rovers import rover_notes
from pipeline.notices.uncovered_marks import uncovered_notes
from pipeline.notices.unknown_marks import peg_notes
from pipeline.notices.unmapped_stations import station_notes
from pipeline.notices.unmarked_together import unmarked_together_notes
from pipeline.read.correction_headings import says_crew, says_other_place
from pipeline.read.deleted_headings import says_deleted
from pipeline.read.solution_columns import may_show_solutions
from pipeline.solve.bend import bend_notes
from pipeline.solve.carried_shifts import carried_shift_notes
from pipeline.solve.changed_settings import setting_notes
from pipeline.solve.copied_checks import copied_notes, taken_for_measured
from pipeline.solve.field_shift_switches import switch_notes
from pipeline.solve.field_shifts import FieldReadings
from pipeline.solve.marks_of_readings import marks_of_readings_notes
from pipeline.solve.other_instruments import instrument_notes
from pipeline.solve.solve import Solved, shift_at_places
from pipeline.solve.taken_out import taken_out_notes
from pipeline.solve.unanswered_checks import register_row_notes
from pipeline.solve.wide_tolerance import exaggerated_notes, wide_tolerance_notes
from pipeline.tolerance import plan_and_height
from pipeline.words import Role, counted, plural

#: Metres by which ties move a session that is stated to need no shift, beyond which it is told. Ours, no source.
_MOVED = 0.005
#: How many times too large uncertainties are told to be. Ours, no source.
_GROSSLY = 3.0
#: Marks that are named of those whose coordinates would tie.
_MARKS = 3


def notes(survey: Survey, solved: Solved, plain_datums: Sequence[str]) -> list[str]:
    """Return in words what a reader of the issue should look at, apart from failing checks.

    ``plain_datums`` are those of `plain_datum_notes`, which others go by too.
    """
    local = shift_at_places(survey, solved)[0]
    return [
        *_untied(survey, solved),
        *uncovered_notes(survey, solved),
        *dependent_check_notes(survey, solved),
        *overnight_notes(survey, solved),
        *_idle_confirmations(survey, solved),
        *_moved_by_ties(survey, solved),
        *_field_shifts_in_doubt(survey, solved),
        *switch_notes(survey, solved.field, solved.occupations),
        *carried_shift_notes(survey, local),
        *taken_out_notes(survey, solved),
        *wide_tolerance_notes(survey, solved, solved.doubts),
        *exaggerated_notes(survey, solved),
        *bend_notes(survey, local),
        *register_row_notes(survey, survey.candidates, solved.missed),
        *peg_notes(survey, solved),
        *rover_notes(survey, solved),
        *unmarked_together_notes(survey, solved),
        *setting_notes(survey, solved.occupations, local),
        *instrument_notes(survey, solved.occupations, local),
        *station_notes(survey, solved, local),
        *plain_datums,
        *copied_notes(survey, solved.occupations),
        *marks_of_readings_notes(survey, solved.occupations),
        *_of_one_time(survey, solved),
        *_statistics(survey, solved),
    ]


def untied(survey: Survey, solved: Solved) -> list[Untied]:
    """Return the groups of sessions that nothing ties, and what each lacks: the fewest ties that would tie all."""
    return [
        {
            "sessions": [survey.windows[number].session.name for number in missing.sessions],
            "marks": [solved.tied.marks.names[number] for number in missing.marks],
            "lacks": ["position"] * missing.position + ["height"] * missing.height,
        }
        for missing in missing_ties(solved.shifts.adjustment.ties)
    ]


def _untied(survey: Survey, solved: Solved) -> Iterator[str]:
    register = survey.register
    holds = {} if register is None else dict(zip(register.names, map(str, register.holds), strict=True))
    whole = set() if register is None else _wholly_given(register)
    for group in untied(survey, solved):
        names, lacking = group["sessions"], " and ".join(group["lacks"])
        some = " or ".join(names[:3]) + (" or others" if len(names) > 3 else "")
        wanted = of_register(group["marks"], group["lacks"], holds, _MARKS, whole)
        marks = f", or {wanted}," if wanted else ""
        yield (
            f"untied in {lacking}: {', '.join(names)}; one occupation, in {some}, of a mark that is tied to control in"
            f" {lacking}{marks} would tie {'it' if len(names) == 1 else 'them'}{_uncompared(survey, names)}"
        )


def _uncompared(survey: Survey, sessions: Sequence[str]) -> str:
    """Return which listed occupations of sessions that nothing ties are compared with no mark, "" where none is."""
    here = [window.session for window in survey.windows if window.session.name in sessions]
    listed = [f"{one.point} on {one.mark}" for session in here for one in (*session.ties, *session.checks)]
    if not listed:
        return ""
    named = ", ".join(listed[:_MARKS]) + and_more(len(listed) - _MARKS)
    return f"; until then held back and compared with nothing: {named}"


def _wholly_given(register: Register) -> set[str]:
    """Return the marks that the register gives both position and height, whatever it holds of them."""
    given = np.isfinite(register.first) & np.isfinite(register.second) & np.isfinite(register.third)
    return {name for name, both in zip(register.names, given.tolist(), strict=True) if both}


def _moved_by_ties(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield sessions that are stated to need no shift and get one by their ties, within the uncertainty of none."""
    tied = {
        session
        for session, role in zip(solved.occupations.session, solved.occupations.roles, strict=True)
        if role is Role.TIE
    }
    shifts, _ = shift_at_places(survey, solved)
    for window in survey.windows:
        east, north, up = shifts[window.index].tolist()
        if window.session.shift == "none" and window.index in tied and math.hypot(east, north, up) > _MOVED:
            yield (
                f'session {window.session.name} has shift = "none"; its ties still move it by {east:+.3f} east,'
                f" {north:+.3f} north, {up:+.3f} up, within the stated uncertainty; to hold it fixed, list those"
                " ties as checks"
            )


def _idle_confirmations(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield kinds of doubt that the job file confirms and that nothing raises: the next one would pass unseen."""
    raised = {doubt.kind for doubt in solved.doubts} | taken_for_measured(survey, solved.occupations)
    idle = [f'"{kind}"' for kind in dict.fromkeys(survey.job.checks.confirmed) if kind not in raised]
    if idle:
        file, line = survey.where("checks", "confirmed")
        yield (
            f"{Path(file).name}:{line}: {' and '.join(idle)} in [checks] confirmed"
            f" {plural(len(idle), 'matches', 'match')} no doubt of this job: remove {plural(len(idle), 'it', 'them')},"
            " or the next doubt of the kind is accepted unseen"
        )


def _field_shifts_in_doubt(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield where occupations of one mark, before and after a field shift's start, differ by that shift.

    With the stated shift taken out, both should agree. A difference of minus the shift means that the later one did not
    carry it (or the earlier one did already), a difference of plus the shift that it was carried twice. All of them are
    taken in the grid, which far from its central meridian is turned by degrees against east and north.
    """
    on_marks, tolerance = solved.occupations, solved.occupations.compared.tolerance
    readings = FieldReadings.of(on_marks.table)
    carried = [one.carried(readings) for one in solved.field.taken]
    for one, carries in zip(solved.field.taken, carried, strict=True):
        number = one.window.session
        here = np.flatnonzero(on_marks.session == number)
        for mark in dict.fromkeys(on_marks.marks[row] for row in here):
            rows = here[[on_marks.marks[row] == mark for row in here]]
            late, plain = carries[rows], ~np.any([other[rows] for other in carried], axis=0)
            if not plain.any() or not late.any():
                continue
            raw = on_marks.raw[rows]
            with_field = raw[:1] + one.geocentric
            grid = np.column_stack(survey.operations.frames.to_issued.forward(*np.vstack([with_field, raw]).T))
            field, grid = grid[0] - grid[1] + one.grid, grid[1:]
            for row, off in zip(rows[late], grid[late] - grid[plain].mean(axis=0), strict=True):
                if tolerance.passes(plan_and_height(off)):
                    continue
                where = f"session {one.window.name}: {on_marks.table.column('name')[row]} on {mark}"
                if tolerance.passes(plan_and_height(off + field)):
                    yield f"{where} does not carry the field shift taken out of it, or others on it carry it already"
                elif tolerance.passes(plan_and_height(off - field)):
                    yield f"{where} carries the field shift twice; it is taken out once"


def _of_one_time(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield sessions whose occupations all have one time: it may be that of the export, and none is before a point."""
    times = np.asarray(solved.occupations.table.column("time").cast(pa.int64()), np.int64)
    for number, window in enumerate(survey.windows):
        here = times[solved.occupations.session == number]
        if len(here) > 1 and here.min() == here.max():
            yield (
                f"session {window.session.name}: its {counted(len(here), 'occupation')} of marks all have the time"
                f" {stamp(int(here[0]))} UTC, so that none of them is before or after a point: check that the column"
                " mapped as time holds the time of observation"
            )


def _too_large(survey: Survey, solved: Solved) -> float:
    """Return how many times too large the uncertainties of the ties are at the least, by their chi-square.

    0 where it does not say so, or exports do not state any: what is taken for those are round numbers. Nor do ties say
    so that were computed, or taken at length: they agree to millimetres.
    """
    adjustment = solved.shifts.adjustment
    test, stated = adjustment.chi_square, [int(log.squared[0]) > 0 for log in survey.first_pass.files]
    if test is None or not all(stated) or not 0.0 < test.value < test.low:
        return 0.0
    computed = np.nanmax(np.abs(adjustment.residuals), initial=0.0) <= COMPUTED
    return 0.0 if computed else math.sqrt(test.low / test.value)


def _statistics(survey: Survey, solved: Solved) -> list[str]:
    told = []
    test = solved.shifts.adjustment.chi_square
    if test is not None and test.value > test.high:
        told.append(
            f"the ties agree less well than their uncertainties: chi-square {test.value:.1f} outside"
            f" {test.low:.1f} to {test.high:.1f}; check the residuals in check_marks"
        )
    if test is not None and (times := _too_large(survey, solved)) > _GROSSLY:
        told.append(
            f"the ties agree better than their uncertainties: chi-square {test.value:.1f} below {test.low:.1f}. These"
            f" are too large by a factor of {times:.0f} at least, and with them hu95 and vu95: check the columns"
            " mapped as standard uncertainties and their unit"
        )
    return told + _without_solutions(survey)


def _without_solutions(survey: Survey) -> list[str]:
    """Return which exports have no solution column mapped, and which of their columns may be one."""
    told, without = [], list[str]()
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        if export.points.columns.solution is not None:
            continue
        may_be = [named for name, left in log.left_columns.items() if (named := _as_solution(name, left, log.sound))]
        if may_be:
            told.append(
                f"{export.shown}: no solution column is mapped, so every row counts as fixed. {'; '.join(may_be)}: if"
                " that says which positions are fixed, map it as solution in [points.columns], with the values for"
                " fixed in quality.solutions"
            )
        else:
            without.append(export.shown)
    if without:
        told.append(f"{listed(without)}: no solution column is mapped, so every row counts as fixed")
    return told


def _as_solution(name: str, left: LeftColumn, sound: int) -> str:
    """Return a column with its values where these may say how ``sound`` readings were solved, "" where not."""
    if left.word != VALUES or left.many or says_crew(name) or says_other_place(name) or says_deleted(name):
        return ""
    every: Counter[str] = Counter()
    for counts in left.counts.values():
        every.update(counts)
    if not may_show_solutions(name, every, sound, left.stretches()):
        return ""
    return f"Column {quoted(name)} holds {', '.join(f'{left.written[key]} ({n:,})' for key, n in every.most_common())}"
