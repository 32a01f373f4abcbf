"""Readings that no rover seems to have measured, beside those of rovers: of a total station, typed in, or computed.

Such points are often in corrected coordinates already, and the shift of the session is added to them too: they are off
by as much as the base was. Where a total station was set up on readings of the same base, or a controller leaves the
quality of means blank, it is right. Where a passing occupation has the same, it is right as well, and nothing is told.
"""

from collections import Counter
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.blank_figures import FIGURES, NO_SATELLITE, lacked
from pipeline.intake.left_columns import LeftColumn
from pipeline.intake.survey import Survey
from pipeline.near import and_more, listed
from pipeline.read.way_words import by_rover, otherwise
from pipeline.solve.changed_settings import occupied_with
from pipeline.solve.solve import Solved
from pipeline.visible import one_line
from pipeline.words import counted, plural

#: Values of a column beyond which it says nothing of how readings were made. Ours, no source.
_FEW = 12
#: The share of other readings that have what some lack, how many there must be, and how many figures of those are
#: lacked by readings that are more than the others. Ours, no source.
_MOST, _OTHERS, _ALL = 0.8, 5, 3
#: Values that a sentence shows, and letters of one.
_SHOWN, _LETTERS = 3, 40
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
    sessions: list[str]

    @classmethod
    def of(
        cls, survey: Survey, solved: Solved, at: int, left: LeftColumn, keys: list[str], moved: set[int]
    ) -> "_Found":
        """Return the points of export ``at`` with one of ``keys`` in a column, in the sessions that are moved."""
        count, first, found, sessions = 0, [], dict[str, None](), []
        on_marks = np.asarray(solved.occupations.table.column("export"), np.int64) == at
        rows = np.asarray(solved.occupations.table.column("source_row"), np.int64)
        for window in survey.windows if keys else ():
            number = window.index
            every = left.counts.get(number, Counter[str]())
            mine = [key for key in keys if every[key]] if number in moved else []
            stood = occupied_with(solved.occupations, at, number, left) if mine else set()
            on = Counter(left.of_rows(rows[on_marks & (solved.occupations.session == number)])) if mine else Counter()
            for key in mine:
                if key not in stood and every[key] > on[key]:
                    count += every[key] - on[key]
                    first.append(left.row[number, key])
                    found[key] = None
                    sessions.append(window.session.name)
        return cls(count, min(first, default=0), [*found], list(dict.fromkeys(sessions)))

    def means(self) -> str:
        """Return what it means."""
        return (
            f"the shift of {plural(len(self.sessions), 'session')} {listed(self.sessions)} is added to"
            f" {plural(self.count, 'it', 'them')} too. {_CURE}"
        )


def instrument_notes(survey: Survey, solved: Solved, local: Floats) -> Iterator[str]:
    """Yield for each export its points that a column says are no rover's, or that lack what others have.

    ``local`` (S, 3) are the shifts of the sessions to the east, the north and upwards; what none moves is let be.
    """
    limits = survey.job.checks
    moved = {
        window.index
        for window in survey.windows
        if np.hypot(*local[window.index][:2]) > limits.horizontal or abs(local[window.index][2]) > limits.vertical
    }
    for at, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        told = 0
        for name, left in log.left_columns.items():
            of_solutions = left.word == "solution"
            others = [key for key, text in left.written.items() if by_rover(text, of_solutions)]
            strange = [key for key, text in left.written.items() if otherwise(text)]
            if left.many or len(left.written) > _FEW or not others or not strange:
                continue
            found = _Found.of(survey, solved, at, left, strange, moved)
            if found.count and not told:
                told = found.count
                said, usual = (_values(left, keys) for keys in (found.keys, others))
                yield (
                    f'{export.shown}:{found.row}: column "{one_line(name)}" says {said} of'
                    f" {counted(found.count, 'point')} (first one here) and {usual} of others: {found.means()}"
                )
        keys = _lacking(log.blanks)
        found = _Found.of(survey, solved, at, log.blanks, [*keys], moved)
        if found.count > told:
            yield (
                f"{export.shown}:{found.row}: {counted(found.count, 'point')} (first one here)"
                f" {plural(found.count, 'lacks', 'lack')} what most others of the export have"
                f" ({_figures(keys, found.keys)}): not measured by a rover, or"
                f" {plural(found.count, 'a mean', 'means')} of readings; {found.means()}"
            )


def _lacking(left: LeftColumn) -> dict[str, frozenset[str]]:
    """Return the values of `blank_figures` of readings that lack what nearly all others have, with what they lack.

    They lack two figures or more, and are no more than half; more only where they lack all of three figures or more.
    """
    total = sum(left.counts.values(), Counter[str]())
    usual = frozenset(FIGURES) - {each for each in FIGURES if 2 * _with(total, each) < total.total()}
    few = _without(total, usual)
    others = Counter({key: count for key, count in total.items() if key not in few})
    if few and others.total() >= max(_OTHERS, sum(total[key] for key in few)):
        usual = frozenset(each for each in FIGURES if _with(others, each) >= _MOST * others.total())
        said = {NO_SATELLITE: frozenset(("satellites",))}  # more is not known of it
        return {key: said.get(key, lacked(key) & usual) for key in _without(total, usual)}
    return _bare(total)


def _bare(total: Counter[str]) -> dict[str, frozenset[str]]:
    """Return the value of readings that lack all that only some have, three figures or more; none with some of it."""
    some = frozenset(each for each in FIGURES if 0 < _with(total, each) < total.total())
    whole = [key for key in total if not lacked(key) & some]
    bare = [key for key in total if some <= lacked(key)]
    if len(some) < _ALL or len(whole) + len(bare) < len(total) or sum(total[key] for key in whole) < _OTHERS:
        return {}
    return dict.fromkeys(bare, some)


def _with(total: Counter[str], figure: str) -> int:
    return sum(count for key, count in total.items() if figure not in lacked(key))


def _without(total: Counter[str], usual: frozenset[str]) -> list[str]:
    """Return the values of readings that lack two figures that are usual, or that no satellite took part in."""
    return [key for key in total if len(lacked(key) & usual) > 1 or (key == NO_SATELLITE and "satellites" in usual)]


def _figures(keys: dict[str, frozenset[str]], found: list[str]) -> str:
    """Return in words what all that is found lacks, of more than one kind what any lacks."""
    lacks = [keys[key] for key in found]
    both = frozenset.intersection(*lacks) or frozenset.union(*lacks)
    return listed([_CALLED[each] for each in FIGURES if each in both])


def _values(left: LeftColumn, keys: list[str]) -> str:
    written = [one_line(left.written[key])[:_LETTERS] for key in keys[:_SHOWN]]
    return listed(written) + and_more(len(keys) - _SHOWN)
