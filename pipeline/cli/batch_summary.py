"""The lines at the end of a run of several jobs: one for each, what needs attention nearest to the prompt."""

from collections.abc import Sequence

from msgspec import Struct

from pipeline.cli.faults import HELD, WRONG, code_of
from pipeline.issue.report.word_meanings import URGENCY
from pipeline.problems import JobError, Unfinished
from pipeline.run.fleet import Result
from pipeline.run.mishaps import Fault, Mishap
from pipeline.run.outcome import Outcome
from pipeline.visible import one_line
from pipeline.words import Verdict, counted

ATTENTION = 3
REFUSED = "refused"

#: What became of a job by its exit code; mishaps say it themselves.
_WORDS = {0: "good", ATTENTION: "needs attention", HELD: "already running", WRONG: REFUSED}
#: The words in the order of the lines: the last ones are read first.
_ORDER = (*_WORDS.values(), "timed out", "died", "fault")


class JobOutcome(Struct, frozen=True):
    """What became of a job: its file, exit code, a word for it and totals in words.

    Of those with one word, the one of greater ``urgency`` is to be seen first.
    """

    job: str
    code: int
    word: str
    totals: str
    urgency: int = 0


def job_outcome(job: str, outcome: Result) -> JobOutcome:
    """Return what became of one job."""
    if isinstance(outcome, Outcome):
        urgency = URGENCY[Verdict(outcome.record["verdict"])] + len(URGENCY) * bool(outcome.waits)
        word = _WORDS[ATTENTION if outcome.exit_code or outcome.needs_attention else 0]
        return JobOutcome(job, outcome.exit_code, word, _totals(outcome), urgency)
    code = code_of(outcome)
    if isinstance(outcome, Mishap):
        what = "a fault in the program, nothing written" if isinstance(outcome, Fault) else str(outcome)
        return JobOutcome(job, code, outcome.outcome, what)
    if code == HELD:
        return JobOutcome(job, code, _WORDS[code], "already being run, nothing done")
    count = len(outcome.problems) if isinstance(outcome, JobError) else 1
    wrote = "the issue is written and complete" if isinstance(outcome, Unfinished) else "nothing written"
    return JobOutcome(job, code, _WORDS[code], f"{counted(count, 'problem')}, {wrote}")


def _totals(outcome: Outcome) -> str:
    record, rows = outcome.record, outcome.record["rows"]
    became = "" if outcome.issued else " unchanged" if outcome.folder is not None else " not written"
    waits = ", pending" if outcome.waits else ""
    return (
        f"{record['job']} {record['issue']:03d}{became}, {record['verdict']}{waits}: {counted(rows['read'], 'row')},"
        f" {counted(rows['points'], 'point')}, {rows['on_marks']:,} on marks, {rows['held_back']:,} held back"
    )


def batch_lines(found: Sequence[JobOutcome]) -> list[str]:
    """Return a line for each job and one for all."""
    ordered = sorted(found, key=lambda one: (_ORDER.index(one.word), one.urgency))
    width = max(len(one.word) for one in found)
    names = [one_line(one.job) for one in ordered]
    long = max(map(len, names))
    counts = [(sum(one.word == word for one in found), word) for word in _ORDER]
    return [
        "",
        *(
            f"  {one.word:<{width}}  {name:<{long}}  {one_line(one.totals)}"
            for one, name in zip(ordered, names, strict=True)
        ),
        f"{counted(len(found), 'job')}: " + ", ".join(_count(count, word) for count, word in counts if count),
    ]


def _count(count: int, word: str) -> str:
    return f"{count:,} {'need attention' if word == _WORDS[ATTENTION] and count != 1 else word}"
