"""A whole run of one job: the stages in their order, and the issue they make."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from msgspec import Struct

from pipeline.blunders.diagnose import diagnose
from pipeline.draft.merged import settle
from pipeline.examine.beside import beside_notes
from pipeline.examine.examine import Examined, examine
from pipeline.intake.prepare import Prepared, begin, owner, prepare
from pipeline.issue.folder import unnotified_issues
from pipeline.issue.folder.confirmation import all_signs
from pipeline.issue.folder.manual_release import find_issue_to_show
from pipeline.issue.folder.ownership import in_the_way
from pipeline.issue.folder.publish import Appeared, issues, job_lock, next_number, open_issue
from pipeline.issue.folder.standing_issues import missing_notes
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.geopackage.write_errors import NotWritten, TooLarge
from pipeline.issue.made_from import PROGRAM, by_program_alone
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import write_record
from pipeline.issue.report.page import write_report
from pipeline.job.load import LoadedJob
from pipeline.problems import JobError, Problem, Problems, Unfinished, is_refusal, refusals_told, remedy, said_of
from pipeline.progress import Progress
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import at_hand, identity_of, with_means
from pipeline.reissue.gone_files import with_gone
from pipeline.reissue.history import History
from pipeline.reissue.remembered import judge_since
from pipeline.run.before import Before
from pipeline.run.finish import LookedAt, finish
from pipeline.run.judged import beside_not_noted, judged_otherwise, not_noted
from pipeline.run.lay_out import LayOut, dry
from pipeline.run.outcome import Outcome, outcome
from pipeline.run.ready import Ready
from pipeline.run.record import Issuing, account, with_files
from pipeline.run.releasing import decided, former_register
from pipeline.run.since import Since
from pipeline.run.telling import acknowledge, with_untold
from pipeline.run.unaltered import refuse_altered
from pipeline.sealed import sealed_off


@sealed_off()
@refusals_told()
def run_job(path: str | Path, *, dry_run: bool = False, progress: Progress | None = None, told: bool = True) -> Outcome:
    """Run a job: read its exports, tie them to control, and issue corrected coordinates with their proof.

    Args:
        path: the job file.
        dry_run: do everything but write; another run may then hold the job.
        progress: told how far the run is.
        told: the caller takes what became of the job as told when this returns; else it calls `telling.acknowledge`
            when it has told it, and until then the next run tells it too.

    Returns the outcome, with the record of the new issue or, where nothing changed, of the one before.

    Raises `JobError` with every problem of the job and its inputs, and `JobHeld` where another run holds the job. Then
    nothing is written. Any other exception is a fault in the program, and the previous issue stands.
    """
    before = Before.of(Path(path))
    problems = Problems()
    loaded = begin(Path(path), problems)
    became = _run(loaded, problems, before, dry_run, progress)
    if told and not dry_run:
        acknowledge(became)
    return became


def _run(loaded: LoadedJob, problems: Problems, before: Before, dry_run: bool, progress: Progress | None) -> Outcome:
    folder, ours = loaded.job.job.folder, owner(loaded)
    with ExitStack() as stack:
        # A folder that is not there yet is made only for a job without problems; nobody can be holding it. Nor is a
        # lock laid into one that is not this job's, which `prepare` tells with all else.
        held = folder.is_dir() and not dry_run and not in_the_way(folder, ours)
        if held:
            stack.enter_context(job_lock(folder, ours))
        prepared = prepare(loaded, problems)
        if held and not problems.found:
            with _told_as_problems(folder):
                history = History.put_right(folder)
                if (standing := _unchanged(prepared, before, history)) is not None:
                    return with_untold(standing, folder)
        else:
            history = History.read(folder)
        prepared = with_gone(prepared, history.newest.record if history.newest else None)
        examined = examine(prepared, problems, progress)
        job = _solved(examined, history)
        if dry_run:
            return with_untold(_would_issue(job, history, progress), folder)
        if not held:
            stack.enter_context(job_lock(folder, ours))
        with _told_as_problems(folder):
            if not held:
                history = History.put_right(folder)
                if history.newest is not None:  # another run made the folder, and an issue, while this one had no lock
                    job = _solved(examined, history)
            return with_untold(_issue(job, before, history, progress), folder)


def _unchanged(prepared: Prepared, before: Before, history: History) -> Outcome | None:
    """Return the newest issue where everything at hand is as it was when that was made or last confirmed."""
    newest = history.newest
    if newest is None or history.noted_of(newest).at_hand != (hand := at_hand(prepared)):
        return None
    signs = all_signs(history.folder, newest.folder)
    history.refuse_damaged()
    history.put_shown_right()
    beside = beside_not_noted(beside_notes(prepared), newest.record)
    glanced = before.glanced(prepared, newest.record)
    looked = LookedAt(hand, glanced, signs, history.noted_of(newest).notes, beside)
    return finish(history, newest, history.current, prepared.loaded.job.issue, looked, made=False)


def _solved(examined: Examined, history: History) -> Ready:
    """Judge a job, look for what failing checks may mean, and decide which readings are drawn from."""
    survey, judged = examined.survey, judge_since(examined, history)
    solved = judged.solved
    diagnoses = diagnose(survey, solved, former_register(history, solved))
    settled = settle(survey, solved)
    made_of = with_means(judged.now, survey, solved, settled.drafter.merged)
    return Ready(examined, solved, diagnoses, settled, made_of, judged.notes)


def _would_issue(job: Ready, history: History, progress: Progress | None) -> Outcome:
    """Do everything but write."""
    history.refuse()
    history.refuse_other_shown()
    newest, last = history.newest, history.drawn_from
    if newest is not None and (standing := _standing(job, history, progress)).stands:
        notes = (*standing.notes, *missing_notes(history.folder))
        return outcome(newest.record, newest.folder, False, history.current, notes=notes)
    laid = dry(job.settled, job.causes(), progress)
    refuse_altered(job.survey)
    issue = Issuing(number=next_number(history.folder), last=last.record if last else None)
    record = account(job, laid, issue)
    return outcome(record, None, False, history.current)


def _issue(job: Ready, before: Before, history: History, progress: Progress | None) -> Outcome:
    """Write and publish the next issue, unless nothing that shapes it has changed since the newest."""
    history.refuse()
    history.put_shown_right()
    newest, standing = history.newest, _standing(job, history, progress)
    if newest is None or not standing.stands:
        return _new_issue(job, before, history, standing.otherwise, progress)
    hand, signs = at_hand(job.survey.prepared), all_signs(history.folder, newest.folder)
    refuse_altered(job.survey)
    told = beside_notes(job.survey.prepared)
    notes, beside = (tuple(note for note in standing.notes if (note in told) is of) for of in (False, True))
    looked = LookedAt(hand, before.glanced(job.survey.prepared, newest.record), signs, notes, beside)
    return finish(history, newest, history.current, job.survey.job.issue, looked, made=False)


def _new_issue(
    job: Ready, before: Before, history: History, otherwise: tuple[str, ...], progress: Progress | None
) -> Outcome:
    """Write and publish the next issue.

    What changed is told since the issue that `current` shows, which is the one that is drawn from; ``otherwise`` says
    what is judged differently from the newest, though it was made from the same.
    """
    folder, last, prepared = history.folder, history.drawn_from, job.survey.prepared
    since = Since.of(job, history, otherwise)
    with open_issue(folder) as staged:
        package = staged.path / f"{job.survey.job.job.name}-{staged.number:03d}.gpkg"
        with LayOut(job.settled, job.causes(), package, staged.number, progress, since.compared.rows) as layers:
            laid = layers.laid()
            because = since.because(laid)
            issue = Issuing(
                number=staged.number,
                last=last.record if last is not None else None,
                changes=since.changes(laid, because),
                release=decided(job, laid, history.shown, since.listed),
                altered=since.notes(laid, prepared.loaded),
            )
            record = account(job, laid, issue)
            page = write_report(staged.path, record, laid.plan, lambda: layers.files)
            record = with_files(record, [*layers.files, page])
        sealed = write_record(staged.path, record)
        hand = at_hand(prepared)
        refuse_altered(job.survey)
        unnotified_issues.note_unnotified(folder, staged.number)
        shown = find_issue_to_show(folder, [*(number for number, _ in issues(folder)), staged.number], sealed)
        stays = shown != staged.number
        place = staged.publish(sealed["verdict"], "; ".join(because), datetime.now(UTC), stays=stays)
    looked = LookedAt(hand, before.glanced(prepared, sealed))
    made = Last.of(place / RECORD, sealed)
    return finish(history, made, shown, job.survey.job.issue, looked, made=True)


class _Standing(Struct, frozen=True):
    """Whether the newest issue stands, and why not where it was made from the same: in words, of what is judged.

    ``notes`` are those that the job has by now and the record of that issue does not.
    """

    stands: bool
    otherwise: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def _standing(job: Ready, history: History, progress: Progress | None) -> _Standing:
    """Say whether nothing that shapes the job's issue has changed since the newest.

    What it was made from does not say how it was judged: the program may have been another, of the same version or of a
    later one. Whoever comes here was not found unchanged by the sums of all that is at hand, the program among them.

    Raises as `History.refuse_damaged`.
    """
    newest = history.newest
    if newest is None or read_thinned(newest.folder) is not None:
        return _Standing(False)  # the one after it was set aside, and nothing of its own can be drawn from
    then, now = identity_of(newest.record), job.fingerprint.beside(newest.record)
    if not by_program_alone(then, now):
        return _Standing(False)
    history.refuse_damaged()
    laid = dry(job.settled, job.causes(), progress)
    today = account(job, laid, Issuing(number=newest.record["issue"], last=newest.record))
    otherwise = tuple(judged_otherwise(today, newest.record))
    stands = then.get(PROGRAM) == now.get(PROGRAM) and not otherwise
    return _Standing(stands, otherwise, not_noted(today, newest.record))


@contextmanager
def _told_as_problems(folder: Path) -> Iterator[None]:
    """Turn what the disk refuses, and an issue before that cannot be read, into what a user can do about it."""
    try:
        yield
    except Lost as error:
        raise JobError([Problem(str(folder), 0, f"the previous issue: {error}", "run the job again")]) from error
    except TooLarge as error:
        raise JobError([Problem(str(folder), 0, f"the issue cannot be written: {error}", error.fix)]) from error
    except Appeared as error:
        raise Unfinished([Problem(str(folder), 0, *_appeared(error))]) from error
    except OSError as error:
        if not is_refusal(error) and not isinstance(error, NotWritten):
            raise
        told = str(error) if isinstance(error, NotWritten) else said_of(error)
        raise JobError([Problem(str(folder), 0, f"the issue cannot be written: {told}", remedy(error))]) from error


def _appeared(error: Appeared) -> tuple[str, str]:
    what = f"the issue was written and is valid, but the issues list or current could not be updated: {error}"
    return what, "check the disk, then run again: the next run updates them and reports on the issue"
