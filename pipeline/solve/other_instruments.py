"""Readings that no rover seems to have measured, beside those of rovers: of a total station, typed in, or computed.

Such points are often in corrected coordinates already, and the shift of the session is added to them too: they are off
by as much as the base was. Where a total station was set up on readings of the same base, or a controller leaves the
quality of means blank, it is right. Where a passing occupation has the same, it is right as well, and nothing is told.
Which it is their heights may tell, next to those of rovers: if they are off by the shift, that is a doubt.
"""

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.blank_figures import FIGURES
from pipeline.intake.left_columns import LeftColumn
from pipeline.intake.other_kinds import OtherKind
from pipeline.intake.survey import Survey
from pipeline.near import and_more, listed
from pipeline.solve.changed_settings import occupied_with
from pipeline.solve.compare import OnMarks
from pipeline.visible import one_line
from pipeline.words import Doubt, counted, plural

#: Values that a sentence shows, and letters of one.
_SHOWN, _LETTERS = 3, 40
#: Metres, and standard errors, within which heights next to one another are alike, and how many times that a shift is
#: upwards for them to tell whether they have it. Ours, no source.
_ALIKE, _ERRORS, _TIMES = 0.10, 3.0, 4.0
_CALLED = {
    "sigma": "standard uncertainty", "solution": "solution", "satellites": "number of satellites", "pdop": "PDOP",
    "base": "base id",
}  # fmt: skip
_CURE = (
    "Points in corrected coordinates (of a total station on control, typed in, computed) are off by that shift then:"
    " take them out of the export and draw them from their own file; ignore this where they hang on points of this base"
)


class _Found(Struct, frozen=True):
    """Points of an export with some values: how many, the row of the first, the values, and the sessions they are in.

    Values of a session with which an occupation passes are left out, and what occupies marks is no point.
    """

    count: int
    row: int
    keys: list[str]
    sessions: list[int]

    @classmethod
    def of(cls, on_marks: OnMarks, at: int, kind: OtherKind, sessions: Sequence[int]) -> "_Found":
        """Return the points of a kind, of export ``at``, in some sessions."""
        left, count, first, found, inside = kind.left, 0, [], dict[str, None](), []
        of_export = np.asarray(on_marks.table.column("export"), np.int64) == at
        rows = np.asarray(on_marks.table.column("source_row"), np.int64)
        for number in sessions:
            every = left.counts.get(number, Counter[str]())
            mine = [key for key in kind.keys if every[key]]
            stood = occupied_with(on_marks, at, number, left) if mine else set()
            on = Counter(left.of_rows(rows[of_export & (on_marks.session == number)])) if mine else Counter()
            for key in mine:
                if key not in stood and every[key] > on[key]:
                    count += every[key] - on[key]
                    first.append(left.row[number, key])
                    found[key] = None
                    inside.append(number)
        return cls(count, min(first, default=0), [*found], list(dict.fromkeys(inside)))


class _Told(Struct, frozen=True):
    """What is told of points of an export; ``certain`` is whether their heights say that it is so."""

    at: int
    found: _Found
    certain: bool
    sentence: str


def instrument_doubts(survey: Survey, on_marks: OnMarks, local: Floats) -> Iterator[Doubtful]:
    """Yield a doubt for each export with such points whose heights are off those next to them by the session's shift.

    ``local`` (S, 3) are the shifts of the sessions to the east, the north and upwards [m]; what none moves is let be.
    """
    for one in _told(survey, on_marks, local):
        if one.certain:
            shown = survey.exports[one.at].shown
            yield Doubtful(Doubt.SHIFT, one.sentence, tuple(one.found.sessions), shown, one.found.row)


def instrument_notes(survey: Survey, on_marks: OnMarks, local: Floats) -> Iterator[str]:
    """Yield in words those of which heights tell nothing; ``local`` as above."""
    for one in _told(survey, on_marks, local):
        if not one.certain:
            yield f"{survey.exports[one.at].shown}:{one.found.row}: {one.sentence}"


def _told(survey: Survey, on_marks: OnMarks, local: Floats) -> Iterator[_Told]:
    """Yield for each export its points that a column says are no rover's, or that lack what others have."""
    limits = survey.job.checks
    moved = [
        window.index
        for window in survey.windows
        if np.hypot(*local[window.index][:2]) > limits.horizontal or abs(local[window.index][2]) > limits.vertical
    ]
    for at, kinds in enumerate(survey.first_pass.other_kinds):
        told = 0
        for kind in kinds:
            carried = {number: _carried(kind, number, local) for number in moved}
            parts = [
                (certain, _Found.of(on_marks, at, kind, [number for number in moved if carried[number] is certain]))
                for certain in (True, None)
            ]
            count = sum(found.count for _, found in parts)
            if count <= told or (kind.name and told):
                continue
            told = count
            for certain, found in parts:
                if found.count:
                    sentence = f"{_what(kind, found)} {_means(survey, found)}"
                    heights = f"; {_heights(survey, kind, found, local)}" if certain else ""
                    yield _Told(at, found, certain is True, f"{sentence}{heights}. {_CURE}")


def _carried(kind: OtherKind, session: int, local: Floats) -> bool | None:
    """Tell whether heights of a kind carry the shift of a session already; None where they do not tell."""
    step, up = kind.steps.get(session), float(local[session, 2])
    if step is None:
        return None
    alike = max(_ALIKE, _ERRORS * step.error)
    if not abs(up) >= _TIMES * alike:
        return None
    return True if abs(step.by - up) <= alike else False if abs(step.by) <= alike else None


def _what(kind: OtherKind, found: _Found) -> str:
    if kind.name:
        said, usual = (_values(kind.left, keys) for keys in (found.keys, kind.usual))
        points = counted(found.count, "point")
        return f'column "{one_line(kind.name)}" says {said} of {points} (first one here) and {usual} of others:'
    return (
        f"{counted(found.count, 'point')} (first one here)"
        f" {plural(found.count, 'lacks', 'lack')} what most others of the export have"
        f" ({_figures(kind.keys, found.keys)}): not measured by a rover, or"
        f" {plural(found.count, 'a mean', 'means')} of readings;"
    )


def _means(survey: Survey, found: _Found) -> str:
    names = [survey.windows[number].session.name for number in found.sessions]
    them = plural(found.count, "it", "them")
    return f"the shift of {plural(len(names), 'session')} {listed(names)} is added to {them} too"


def _heights(survey: Survey, kind: OtherKind, found: _Found, local: Floats) -> str:
    number = found.sessions[0]
    return (
        f"and in session {survey.windows[number].session.name} they are {kind.steps[number].by:+.2f} m off the readings"
        f" next to them in height as it is, as much as the shift adds ({local[number, 2]:+.2f} m up)"
    )


def _figures(keys: dict[str, frozenset[str]], found: list[str]) -> str:
    """Return in words what all that is found lacks, of more than one kind what any lacks."""
    lacks = [keys[key] for key in found]
    both = frozenset.intersection(*lacks) or frozenset.union(*lacks)
    return listed([_CALLED[each] for each in FIGURES if each in both])


def _values(left: LeftColumn, keys: list[str]) -> str:
    written = [one_line(left.written[key])[:_LETTERS] for key in keys[:_SHOWN]]
    return listed(written) + and_more(len(keys) - _SHOWN)
