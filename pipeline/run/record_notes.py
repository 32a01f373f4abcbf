"""Puts the notes of a record in order: what a reader should look at, the gravest first."""

from collections.abc import Iterator, Sequence

from pipeline.blunders.sentences import passing
from pipeline.examine.doubtful import Doubtful
from pipeline.issue.attention import wholly
from pipeline.issue.record_types import Record
from pipeline.notices.after_run import notes as after_notes
from pipeline.notices.before_run import before_notes
from pipeline.notices.names import name_notes
from pipeline.notices.plain_datum_steps import plain_datum_notes
from pipeline.run.layers import Laid
from pipeline.run.precision_notes import OtherCauses, precision_notes
from pipeline.run.precision_record import Precisions, by_failing_repeats, by_one_mark
from pipeline.run.ready import Ready
from pipeline.run.vector_notes import later_notes, one_vector_notes, sessions_apart_notes
from pipeline.words import Doubt


def record_notes(job: Ready, laid: Laid, precise: Precisions, last: Record | None) -> list[str]:
    """Return the notes of an issue; ``laid`` is what the second pass gave, ``last`` the previous record."""
    plain_datums = tuple(plain_datum_notes(job.survey, job.solved))
    return [*_of_the_job(job, laid, plain_datums, last), *_of_the_scatter(job, laid, precise, plain_datums)]


def _of_the_job(job: Ready, laid: Laid, plain_datums: Sequence[str], last: Record | None) -> list[str]:
    """Return doubts, rows held back, and what sessions, register, exports and names give cause for."""
    return [
        *dict.fromkeys(map(str, job.solved.doubts)),
        *job.history,
        *(wholly(one) for one in laid.wholly if one["rows"]),  # of a file without rows the notes tell it
        *after_notes(job.survey, job.solved, plain_datums),
        *laid.beside,
        *passing(job.survey, job.solved, job.diagnoses.passing),
        *before_notes(job.examined, last),
        *name_notes(job.survey, job.solved),
    ]


def _of_the_scatter(job: Ready, laid: Laid, precise: Precisions, plain_datums: Sequence[str]) -> Iterator[str]:
    """Yield what repeats and occupations say of the readings, held against what is stated of them."""
    survey, solved = job.survey, job.solved
    yield from one_vector_notes(survey, solved, laid.repeated)
    yield from sessions_apart_notes(survey, solved, laid.repeated)
    yield from later_notes(precise.later, survey)
    compared = solved.occupations.compared
    fails = bool((compared.judged & ~compared.passed).any())
    others = OtherCauses(
        fails=fails or any(_of_base(doubt) for doubt in solved.doubts),
        repeats_fail=by_failing_repeats(precise, survey, solved),
        one_off=any(not one.in_time for one in job.diagnoses.passing),
        one_mark=by_one_mark(precise, survey, solved),
        sloping=bool(plain_datums),
    )
    yield from precision_notes(precise, survey, others)


def _of_base(doubt: Doubtful) -> bool:
    """Tell whether a doubt may be why readings differ: that of a base which nobody has looked into."""
    return doubt.kind == Doubt.BASE and not doubt.confirmed
