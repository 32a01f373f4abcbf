"""Tells which readings of the same points lie one vector apart: by export, by session, or as later ones."""

from collections.abc import Iterator, Sequence

from pipeline.arrays import Floats
from pipeline.draft.common_offsets import common_offsets, sessions_apart
from pipeline.draft.later_readings import LaterApart
from pipeline.draft.repeat_pairs import Repeated
from pipeline.intake.survey import Survey
from pipeline.solve.solve import Solved
from pipeline.words import Doubt, counted


def one_vector_notes(survey: Survey, solved: Solved, repeated: Repeated) -> Iterator[str]:
    """Yield in words which exports have the same points by one vector apart; not those that a doubt tells of."""
    told = {(one.exports, one.session) for one in survey.first_pass.shifted}
    of_bases = {(one.file, one.sessions) for one in solved.doubts if one.kind == Doubt.BASE}
    for one in common_offsets(repeated, survey):
        first, second = (survey.exports[number].shown for number in one.exports)
        if (one.exports, one.session) in told or (second, (one.session,)) in of_bases:
            continue
        yield (
            f"session {survey.windows[one.session].session.name}: {counted(len(one.rows), 'pair')} of readings of one"
            f" point in {first} and {second} all differ by the same vector: those of {second} are"
            f" {by_vector(one.apart)} those of {first}; check the pole heights, the base that each used and"
            " whether one of the files was corrected"
        )


def later_notes(later: Sequence[LaterApart], survey: Survey) -> Iterator[str]:
    """Yield in words in which sessions the later readings of points are one vector off the earlier ones."""
    for one in later:
        yield (
            f"session {survey.windows[one.session].session.name}: {counted(len(one.rows), 'pair')} of readings of one"
            f" point all differ by the same vector: the later are {by_vector(one.apart)}"
            " those before in the mean, so unless the ground moved, or was milled, paved or filled"
            " meanwhile, one of the two is off; check the pole heights"
        )


def sessions_apart_notes(survey: Survey, solved: Solved, repeated: Repeated) -> Iterator[str]:
    """Yield in words which sessions have the same points by one vector apart; not those that share a doubt of that."""
    told = [one.sessions for one in solved.doubts if one.kind == Doubt.BASE and one.sessions is not None]
    for one in sessions_apart(repeated, survey):
        if any({*one.sessions} <= {*sessions} for sessions in told):
            continue
        first, second = (survey.windows[number].session.name for number in one.sessions)
        yield (
            f"sessions {first} and {second}: {counted(len(one.rows), 'pair')} of readings of one point all differ by"
            f" the same vector: those of {second} are {by_vector(one.apart)}"
            f" those of {first}, so unless the ground moved the points of one of the two are off; check the ties of"
            " both, whether their marks are of one adjustment, the pole heights, and whether rows were copied from one"
            " into the other"
        )


def by_vector(apart: Floats) -> str:
    """Return in words by how many metres (3,) readings lie to the east and the north of others, and above them."""
    east, north, up = apart.round(3) + 0.0  # no minus before zeros
    return f"{east:+.3f} m east, {north:+.3f} m north and {up:+.3f} m up of"
