"""Writes the possible causes of failing checks, as sentences and for the issue record."""

from collections.abc import Collection, Sequence

import numpy as np
from msgspec import Struct

from pipeline.blunders.diagnose import Diagnoses, Diagnosis
from pipeline.blunders.of_passing import Passing
from pipeline.blunders.score import CLOSE, Explanation, Kind
from pipeline.clock import stamp
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.limits import DIAGNOSED
from pipeline.near import and_more
from pipeline.solve.solve import Solved
from pipeline.words import Role, counted

#: How many explanations of one session are named in `cause`; the record has more.
_NAMED = 3
#: How many explanations the record has: of a height that is off, many digits may be the wrong one.
_RECORDED = 20


class _Cause(Struct, frozen=True):
    """What the failing of an occupation may mean, and how the same goes on behind noise that may do it as well."""

    sentence: str
    behind_noise: str

    @classmethod
    def one(cls, sentence: str) -> "_Cause":
        """Return a cause that noise is an alternative to."""
        return cls(sentence, f"or {sentence}")


def causes(solved: Solved, diagnoses: Diagnoses) -> list[str | None]:
    """Return for each occupation of a mark the sentence that says what its failing may mean, None where it passes."""
    found = {row: _cause(solved, diagnosis) for diagnosis in diagnoses.diagnoses for row in diagnosis.rows}
    compared = solved.occupations.compared
    for row in np.flatnonzero(compared.judged & ~compared.passed & solved.occupations.temporary).tolist():
        found.setdefault(row, _Cause.one(_on_peg(solved, row)))
    told = {row: cause.sentence for row, cause in found.items()}
    told |= {row: f"{words}; {found[row].behind_noise}" for row, words in diagnoses.allowed.items() if row in found}
    return [told.get(row) for row in range(len(solved.occupations.marks))]


def _on_peg(solved: Solved, row: int) -> str:
    """Return what the failing of a check on a temporary mark may mean: that mark lies where ties put it."""
    on_marks = solved.occupations
    mark, names = on_marks.marks[row], on_marks.table.column("name").to_pylist()
    ties = [names[n] for n, role in enumerate(on_marks.roles) if role is Role.TIE and on_marks.marks[n] == mark]
    listed = ", ".join(ties[:_NAMED]) + and_more(len(ties) - _NAMED)
    by = f"the ties on it ({listed})" if ties else "a base over it"
    return (
        f"{mark} is a temporary mark, positioned by {by}: one of these or this check is bad or on another mark, or the"
        f" base moved in between; to decide: {mark} and a mark of the register occupied again"
    )


def passing(survey: Survey, solved: Solved, found: Sequence[Passing]) -> list[str]:
    """Return what occupations tell that all pass, a sentence for each session."""
    told = []
    for one in found:
        name, chance = survey.windows[one.session].session.name, f"(chance {one.chance:.1g})"
        if not one.in_time:
            words = "; or ".join(_words(solved, each) for each in one.explanations)
            decide = "; ".join(once(dict.fromkeys(each.hypothesis.decide for each in one.explanations))[:2])
            told.append(
                f"session {name}: all occupations pass, but differ by more than their uncertainties allow, and not with"
                f" time {chance}: {words}. With a tie or its mark all points of the session are off; to decide:"
                f" {decide}"
            )
        else:
            told.append(f"session {name}: {_words(solved, one.explanations[0])} {chance}")
    return told


def not_stated(survey: Survey, solved: Solved, diagnoses: Diagnoses) -> list[str]:
    """Return a sentence for each session whose readings carry a field shift otherwise than the job states it.

    With the lines that state it where the job says nothing of it.
    """
    told: dict[int, str] = {}
    for one in diagnoses.diagnoses:
        if one.field_shift is not None:
            kinds = (Kind.NOT_STATED, Kind.FIELD_SHIFT)
            best = next(each for each in one.explanations if each.hypothesis.kind in kinds)
            name = survey.windows[one.session].session.name
            told.setdefault(one.session, f"session {name}: {_words(solved, best)}; to state it:\n{one.field_shift}")
        elif one.explanations and one.explanations[0].hypothesis.kind is Kind.STATED_SHIFT:
            told.setdefault(one.session, _words(solved, one.explanations[0]))
        elif _of_stated(one.explanations):
            name = survey.windows[one.session].session.name
            told.setdefault(
                one.session, f"session {name}: {_words(solved, one.explanations[0])}; check its field_shift"
            )
    return list(told.values())


def _of_stated(explanations: Sequence[Explanation]) -> bool:
    """Whether a field shift that the job states is the reading to be told: of its size only where no other is close."""
    kinds = [one.hypothesis.kind for one in explanations if one.score - explanations[0].score < CLOSE]
    return kinds[:1] == [Kind.FIELD_SHIFT] or set(kinds) == {Kind.MISSTATED}


def recorded(survey: Survey, solved: Solved, diagnoses: Diagnoses) -> list[record_types.Diagnosis]:
    """Return the diagnoses as the issue record has them, the explanations with their numbers."""
    names = solved.occupations.table.column("name").to_pylist()
    return [
        {
            "session": survey.windows[diagnosis.session].session.name,
            "points": [names[row] for row in diagnosis.rows],
            "tried": diagnosis.tried,
            "fitting": len(diagnosis.explanations),
            "split": diagnosis.split,
            "field_shift": diagnosis.field_shift,
            "explanations": [_recorded_one(solved, diagnosis, one) for one in diagnosis.explanations[:_RECORDED]],
        }
        for diagnosis in diagnoses.diagnoses
    ]


def _words(solved: Solved, explanation: Explanation) -> str:
    """Return an explanation's sentence with its numbers."""
    text = explanation.hypothesis.text
    if explanation.hypothesis.sentence_for is not None:
        return explanation.hypothesis.sentence_for(explanation.size)
    if "{" not in text:
        return text
    east, north, up = explanation.size + 0.0
    opposite = -explanation.size + 0.0
    words = {
        "size": f"({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up",
        "opposite": "({:+.3f}, {:+.3f}, {:+.3f}) m east, north, up".format(*opposite),
    }
    if explanation.hypothesis.where is not None:
        since, until = explanation.hypothesis.where
        times = solved.occupations.time
        words |= {"since": stamp(int(times[since])), "until": stamp(int(times[until]))}
    for word, value in words.items():
        text = text.replace(f"{{{word}}}", value)  # names of points may have braces of their own
    return text


def _cause(solved: Solved, diagnosis: Diagnosis) -> _Cause:
    """Return what stands in `cause`: the best explanations with what they leave, and what would decide between them."""
    tested = f"{counted(diagnosis.tried, 'possible cause')} tested"
    apart = "; the sessions that fail on its ties are too many to be explained together" if diagnosis.apart else ""
    if len(solved.occupations.session) > DIAGNOSED:
        sought = f"not searched with more than {counted(DIAGNOSED, 'occupation')}; run that day as a separate job"
        return _Cause(sought, sought)
    if not diagnosis.explanations:
        none = f"none of {tested} explains it"
        return _Cause(f"{none}; occupy the mark again, and another one{apart}", f"{none} better than noise")
    best = diagnosis.explanations[0]
    told, by_chance = [], False
    for explanation in diagnosis.explanations[:_NAMED]:
        doubt = "perhaps by chance: " if explanation.chance and not by_chance else ""
        by_chance = explanation.chance
        horizontal, vertical = _left(explanation, diagnosis)
        slack = explanation.hypothesis.slack
        beyond = f" beyond the transformation's accuracy of {slack:g} m" if slack else ""
        left = f"unexplained: {horizontal:.3f} m horizontally{beyond}, {vertical:.3f} m in height"
        told.append(f"{doubt}{_words(solved, explanation)} ({left})")
    close = [one for one in diagnosis.explanations[1:] if one.score - best.score < CLOSE]
    decide = dict.fromkeys(one.hypothesis.decide for one in [best, *close] if one.hypothesis.decide)
    which = f"; to decide: {'; '.join(once(decide)[:2])}" if close and decide else ""
    return _Cause.one(f"{'; or '.join(told)}{which} [{tested}{apart}]")


def once(texts: Collection[str]) -> list[str]:
    """Return texts in their order, without those that another begins with and says more behind."""
    return [one for one in texts if not any(other != one and other.startswith(one) for other in texts)]


def _left(explanation: Explanation, diagnosis: Diagnosis) -> tuple[float, float]:
    """Return the most that an explanation leaves, horizontally and in height, at its failing occupations."""
    left = explanation.left[list(diagnosis.places)]
    return float(np.hypot(left[:, 0], left[:, 1]).max(initial=0.0)), float(np.abs(left[:, 2]).max(initial=0.0))


def _recorded_one(solved: Solved, diagnosis: Diagnosis, explanation: Explanation) -> record_types.Explanation:
    horizontal, vertical = _left(explanation, diagnosis)
    shown = explanation.predicted[list(diagnosis.places)]
    east, north, height = (float(shown[np.argmax(np.abs(shown[:, axis])), axis]) for axis in range(3))
    return {
        "kind": str(explanation.hypothesis.kind),
        "text": _words(solved, explanation),
        "largest": {"d_east": east, "d_north": north, "d_height": height},
        "misfit_horizontal": horizontal,
        "misfit_vertical": vertical,
        "chi_square": explanation.chi_square,
        "score": explanation.score,
        "chance": explanation.chance,
        "close": explanation.score - diagnosis.explanations[0].score < CLOSE,
        "decide": explanation.hypothesis.decide,
    }
