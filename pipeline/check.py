"""A job checked without running it: job file, sessions, register, every row of every export, transformations, ties."""

from pathlib import Path

from msgspec import Struct

from pipeline.blunders.diagnose import diagnose
from pipeline.blunders.sentences import not_stated
from pipeline.draft.beside_marks import look_beside
from pipeline.draft.merged import settle
from pipeline.draft.second_pass import Drafter
from pipeline.draft.string_notes import look_at_strings
from pipeline.examine.examine import examine
from pipeline.intake.prepare import begin, prepare
from pipeline.intake.survey import Survey
from pipeline.issue.date_ahead import date_ahead_notes
from pipeline.issue.field_shift_types import field_shift_message
from pipeline.issue.folder.confirmation import confirmed
from pipeline.issue.folder.intact import damage
from pipeline.issue.report.site_message import localisation
from pipeline.notices.after_run import notes as after_notes
from pipeline.notices.before_run import before_notes
from pipeline.notices.names import name_notes
from pipeline.notices.plain_datum_steps import plain_datum_notes
from pipeline.problems import JobError, Problems, refusals_told
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import fingerprint, identity_of, same
from pipeline.reissue.gone_files import with_gone
from pipeline.reissue.history import History
from pipeline.reissue.remembered import judge_since
from pipeline.sealed import sealed_off
from pipeline.solve.solve import Solved
from pipeline.solve.taken_out import recorded
from pipeline.words import counted


class Checked(Struct, frozen=True):
    """A job that can be run, and what a run would use; ``warnings`` are what should be looked at before.

    The first of them are its ``doubts``, those that nobody confirmed: each takes proof away. ``taken_out`` are the
    field's corrections that a run would take out.
    """

    survey: Survey
    warnings: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    taken_out: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return in words what a run would read and use."""
        of_files = self.survey.first_pass.rows
        rows, files = counted(sum(of_files), "row"), counted(len(of_files), "file")
        told = [f"{rows} in {files}, {counted(len(self.survey.windows), 'session')}"]
        for operation in self.survey.operations.recorded():
            accuracy = "accuracy not stated" if operation.accuracy is None else f"accuracy {operation.accuracy:g} m"
            told.append(f"{operation.step}: {operation.name} ({accuracy})")
            told += [f"  needs the grid {g.name}, found in {g.path.parent}, sha256 {g.sha256}" for g in operation.grids]
        site = self.survey.target["site"]
        if site is not None:
            told.append(f"site: {localisation(site)}")
        return [*told, *self.taken_out]


@sealed_off()
@refusals_told()
def check_job(path: Path) -> Checked:
    """Read everything that a run of the job would read, write nothing.

    Raises `JobError` with every problem found.
    """
    problems = Problems()
    loaded = begin(path, problems)
    prepared = prepare(loaded, problems)
    history = History.read(loaded.job.job.folder)
    newest = history.newest
    examined = examine(with_gone(prepared, newest.record if newest else None), problems, keep=True)
    if newest is None:
        history.refuse()
    shown = prepared.register.shown if prepared.register is not None else None
    judged = judge_since(examined, history)
    solved = judged.solved
    doubts = tuple(dict.fromkeys(str(doubt) for doubt in solved.doubts if not doubt.confirmed))
    looked_into = tuple(dict.fromkeys(str(doubt) for doubt in solved.doubts if doubt.confirmed))
    history.refuse()
    number, drawn = newest.record["issue"] + 1 if newest else 1, history.drawn_from
    taken_out = tuple(field_shift_message(one, number) for one in recorded(examined.survey, solved, number))
    after = after_notes(examined.survey, solved, tuple(plain_datum_notes(examined.survey, solved)))
    carried = not_stated(examined.survey, solved, diagnose(examined.survey, solved))
    before = before_notes(examined, drawn.record if drawn else None, shown)
    before += name_notes(examined.survey, solved)
    beside = (*_beside(examined.survey, solved), *_strings(examined.survey, solved))
    ahead = date_ahead_notes(examined.survey.data_to)
    notes = tuple(dict.fromkeys((*ahead, *carried, *looked_into, *after, *beside, *before, *judged.notes)))
    return Checked(
        examined.survey, (*doubts, *notes, *_damaged(newest, drawn, examined.survey, solved)), doubts, taken_out
    )


def _beside(survey: Survey, solved: Solved) -> list[str]:
    rows = survey.first_pass.readings
    return look_beside(Drafter(survey, solved), rows).notes() if rows is not None else []


def _strings(survey: Survey, solved: Solved) -> list[str]:
    if survey.prepared.writing is None:
        return []
    return look_at_strings(settle(survey, solved).drafter)


def _damaged(last: Last | None, drawn: Last | None, survey: Survey, solved: Solved) -> list[str]:
    """Return what is gone or altered of the newest issue and of that in use; raise it as `JobError` where a run would.

    A run that has something to issue goes on without them; one that would say that nothing changed does not.
    """
    if last is None:
        return []
    record = last.record
    found = [*damage(last.folder, record, confirmed(survey.job.job.folder, record["issue"]).signs)]
    if drawn is not None and drawn.record["issue"] != record["issue"]:
        found += damage(drawn.folder, drawn.record, {})
    if found and same(identity_of(record), fingerprint(survey, solved).beside(record)):
        raise JobError(found)
    return [str(one) for one in found]
