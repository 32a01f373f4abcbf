"""Finds readings that are rows of the register: control points that were uploaded and came back with the measured ones.

They agree with the register to the last digit whatever the base was off by. So do the readings of a computed job that
needs no shift, so that equality alone takes no proof away.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.frames import enu_rotation, turn
from pipeline.intake.file_log import GIVEN
from pipeline.intake.positions import finest_digit
from pipeline.intake.row_steps import farthest
from pipeline.intake.survey import Survey
from pipeline.near import and_more, listed
from pipeline.occupations.signs import MarkNames, Wanted
from pipeline.sphere import DEGREE
from pipeline.words import Doubt, plural

#: Metres: two writings of one place differ by no more than this, and a reading may not be written more coarsely than
#: ``_COARSE``, to be told from one that only lies near. Ours; what is measured scatters by more.
_SAME, _COARSE = 6e-4, 1.5e-3
#: Metres by which another transformation may have moved them. Ours; two marks are rarely measured so alike.
_CONVERTED = 0.0025
#: Metres within which two readings on marks lie to the register as only computed ones do; more scatter.
_SCATTER = 0.002
#: The share of other rows of a file that have what a row of the register lacks, and how many rows there must be.
_NEARLY_ALL, _ROWS = 0.9, 5
#: The share of a file's steps from row to row that may be as fast as those between two rows of the register.
_SELDOM = 0.05
#: Marks on which readings that equal the register beside a second position are no chance.
_SEVERAL = 2
#: Readings that a sentence lists.
_LISTED = 4
#: What a row may lack, in words.
_CALLED = {
    "sigma_east": "a standard uncertainty", "sigma_up": "a standard uncertainty", "solution": "a solution",
    "satellites": "a number of satellites", "pdop": "a PDOP", "base": "a base id",
    "antenna_height": "an antenna height",
}  # fmt: skip
_CURE = "take them out of the export, and out of the lists of ties and checks"


def equal_to_register(survey: Survey, slack: float = 0.0) -> dict[int, int]:
    """Return the candidates, by row, that have the coordinates of the mark of their list or name to the last digit.

    With each comes the number of its mark. With ``slack`` they may be so many metres off in each coordinate.
    """
    register, operation, candidates = survey.register, survey.operations.register, survey.candidates
    if register is None or operation is None or not len(candidates.raw):
        return {}
    names, found = MarkNames.of(register.names), {}
    for row, said in enumerate(candidates.named):
        called = said.mark if said is not None else names.like(candidates.names[row])
        number = None if called is None else register.find(called)
        if number is not None:
            found[row] = number
    rows, marks = np.array([*found], np.int64), np.array([*found.values()], np.int64)
    if not len(rows):
        return {}
    third = register.third[marks]
    known = np.column_stack(operation.forward(register.first[marks], register.second[marks], np.nan_to_num(third)))
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*known.T)
    off = np.abs(turn(known - candidates.raw[rows], enu_rotation(longitude, latitude)))
    off[np.isnan(third) & np.isfinite(off[:, 2]), 2] = 0.0
    fine, coarse = last_digits(survey, rows), written_marks(register, marks)
    within = np.clip(0.5 * np.fmax(fine, np.minimum(coarse, _COARSE)), 1e-4, _SAME) + slack
    with np.errstate(invalid="ignore"):
        same = (off <= within).all(axis=1) & (fine <= _COARSE).all(axis=1)
    return dict(zip(rows[same].tolist(), marks[same].tolist(), strict=True))


def register_row_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for the ties and checks of each session that are rows of the register rather than measurements."""
    exact, near = _Looked(survey), _Looked(survey, _CONVERTED)
    for looked in (exact, near):
        for session, rows, why in looked.told():
            if not why or (looked is near and (set(rows) & set(exact.equal) or looked.marks(rows) < 2)):
                continue
            file, line = survey.read_at(rows[0])
            name = survey.windows[session].session.name
            how = "to the last digit" if looked is exact else "within millimetres, as coordinates that were converted"
            what = (
                f"session {name}: {_sentence(survey, rows, how)}, and {why}: rows of the register that came back with"
                f" the export, no measurements, so they tie and prove nothing; {_CURE}"
            )
            yield Doubtful(Doubt.UNANSWERED_CHECK, what, (session,), file, line)


def register_row_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which ties and checks of a session agree with two marks or more to the last digit."""
    looked = _Looked(survey)
    for session, rows, why in looked.told():
        if not why and len({looked.equal[row] for row in rows}) > 1:
            file, line = survey.read_at(rows[0])
            yield (
                f"{file}:{line}: session {survey.windows[session].session.name}:"
                f" {_sentence(survey, rows)}, as computed readings do and measured ones do not; if they are rows of the"
                f" register that came back with the export, {_CURE}"
            )


def _sentence(survey: Survey, rows: list[int], how: str = "to the last digit") -> str:
    table = survey.candidates.table
    shown = [f"{survey.candidates.names[row]} (row {table.column('source_row')[row]})" for row in rows[:_LISTED]]
    has = plural(len(rows), "has the coordinates of its mark", "have the coordinates of their marks")
    return f"{', '.join(shown)}{and_more(len(rows) - _LISTED)} {has} in the register {how}"


def last_digits(survey: Survey, rows: Integers) -> Floats:
    """Return (k, 3) what the last digits of candidates are worth [m], as finely as their file has any of them."""
    table, found = survey.candidates.table, np.full((len(rows), 3), np.inf)
    export = np.asarray(table.column("export"), np.int64)[rows]
    for number in np.unique(export).tolist():
        here, source = np.flatnonzero(export == number), survey.exports[number]
        if source.points.columns.z is not None:
            found[here] = 0.0  # X, Y and Z have no digits of their own to the east or upwards
            continue
        place = (np.asarray(table.column(name), np.float64)[rows[here]] for name in _PLACE)
        found[here] = [finest_digit(values, axis, source) for axis, values in enumerate(place)]
    return found


def written_marks(register: Register, marks: Integers) -> Floats:
    """Return (k, 3) what the last digits of marks are worth [m]; a coordinate that is not given counts as a metre's."""
    scale = np.array([DEGREE, DEGREE, 1.0]) if register.kind == "geographic" else np.ones(3)
    return np.asarray(np.abs(register.unit) * scale * 10.0 ** -register.decimals[marks].astype(np.float64))


_PLACE = ("first", "second", "third")


@dataclass(frozen=True)
class _Looked:
    """The candidates that equal the register, and what tells them from measurements."""

    survey: Survey
    slack: float = 0.0

    @cached_property
    def equal(self) -> Mapping[int, int]:
        return equal_to_register(self.survey, self.slack)

    def marks(self, rows: list[int]) -> int:
        """Return how many marks readings are on."""
        return len({self.equal[row] for row in rows})

    def told(self) -> Iterator[tuple[int, list[int], str]]:
        """Yield sessions, by export, with ties and checks that equal the register, and why they are no measurements.

        Where some are none, by the words, only those are given; "" where nothing tells.
        """
        candidates, table = self.survey.candidates, self.survey.candidates.table
        coded, columns = Wanted.of([], self.survey.job.checks.codes).stated(table)
        parts: dict[tuple[int, int], list[int]] = {}
        for row in sorted(self.equal):
            if candidates.named[row] is not None or ((coded[row] or columns[row]) and self._unmoved(row)):
                key = (table.column("export")[row].as_py(), int(candidates.session[row]))
                parts.setdefault(key, []).append(row)
        for (export, session), rows in parts.items():
            yield (session, *next(self._reasons(export, session, rows), (rows, "")))

    def _reasons(self, export: int, session: int, rows: list[int]) -> Iterator[tuple[list[int], str]]:
        """Yield rows that are no measurements, with why; of those that are only near, nothing else tells for sure.

        What is measured may lie near as well, and means of readings lack what single ones have.
        """
        if not self.slack:
            yield from _if_any(self._lacking(export, rows))
            yield from _if_any(self._beside(export, rows))
        yield from _if_any(self._hurried(export, rows))
        if not self.slack:
            yield from _if_any(self._exact(session, rows))

    def _unmoved(self, row: int) -> bool:
        """Tell whether the session of a reading needs no shift by its lists: else it is on no mark (`solve`)."""
        session, named = self.survey.candidates.session, self.survey.candidates.named
        others = [one for one in range(len(named)) if session[one] == session[row] and one not in self.equal]
        return self._near(others)

    def _lacking(self, export: int, rows: list[int]) -> tuple[list[int], str]:
        """Return the rows that lack what nearly all other rows of their file have."""
        log, table = self.survey.first_pass.files[export], self.survey.candidates.table
        equal = [row for row in self.equal if table.column("export")[row].as_py() == export]
        others = log.sound - len(equal)
        found, lacked = [], dict[str, None]()
        for word in GIVEN:
            has = {row for row in equal if _holds(table.column(word)[row].as_py())}
            if others < _ROWS or log.given[word] - len(has) < _NEARLY_ALL * others:
                continue
            if without := [row for row in rows if row not in has]:
                found += without
                lacked[_CALLED[word]] = None
        return sorted({*found}), f"{plural(len({*found}), 'lacks', 'lack')} what nearly all other rows have" + (
            f": {listed(lacked)}" if lacked else ""
        )

    def _beside(self, export: int, rows: list[int]) -> tuple[list[int], str]:
        """Return the rows, where their file has a second position that scatters: of what was staked out, the design."""
        second = next((one for one in self.survey.exports[export].beside if one.alike and len(one.columns) > 1), None)
        if second is None or self.marks(rows) < _SEVERAL:
            return [], ""
        return rows, f"the export has a second position of its rows, of {second.names}, that differs from row to row"

    def _hurried(self, export: int, rows: list[int]) -> tuple[list[int], str]:
        """Return the rows between which nobody could have gone in their times, where nearly all others are slower."""
        candidates, table = self.survey.candidates, self.survey.candidates.table
        lines, steps = table.column("source_row").to_pylist(), self.survey.first_pass.steps[export]
        equal = {lines[row]: row for row in self.equal if table.column("export")[row].as_py() == export}
        fast = [
            (row, equal[lines[row] + 1])
            for row in rows
            if lines[row] + 1 in equal
            and float(np.linalg.norm(candidates.raw[row] - candidates.raw[equal[lines[row] + 1]]))
            > farthest(np.abs(candidates.time[row] - candidates.time[equal[lines[row] + 1]]))
        ]
        others = steps.count - len(fast)
        if not fast or others < _ROWS or steps.fast - len(fast) > _SELDOM * others:
            return [], ""
        return sorted({row for pair in fast for row in pair}), (
            "nobody gets from the one to the next in the time between them, as between the other rows"
        )

    def _exact(self, session: int, rows: list[int]) -> tuple[list[int], str]:
        """Return the rows, where other ties and checks of the session, or of others where it has none, scatter."""
        candidates = self.survey.candidates
        others = [row for row, said in enumerate(candidates.named) if said is not None and row not in self.equal]
        here = [row for row in others if candidates.session[row] == session]
        marks = {self.equal[row] for row in rows}
        if here or len(marks) < 2:
            scatter = self._scatter(here) and self._near(here)
            return (rows, "the other ties and checks of the session scatter") if scatter else ([], "")
        sessions = {int(candidates.session[row]) for row in others}
        if any(self._scatter([row for row in others if candidates.session[row] == one]) for one in sessions):
            return rows, "the ties and checks of other sessions scatter"
        return [], ""

    def _off(self, rows: list[int]) -> Floats:
        """Return (k, 3) how listed readings lie to their marks before any shift; without those that have no place."""
        register, operation, candidates = self.survey.register, self.survey.operations.register, self.survey.candidates
        pairs = [(row, said.mark) for row in rows if (said := candidates.named[row]) is not None]
        if register is None or operation is None:
            return np.zeros((0, 3))
        on = [(row, number) for row, mark in pairs if (number := register.find(mark)) is not None]
        if not on:
            return np.zeros((0, 3))
        at, marks = np.array(on, np.int64).T
        third = np.nan_to_num(register.third[marks])
        off = candidates.raw[at] - np.column_stack(
            operation.forward(register.first[marks], register.second[marks], third)
        )
        return np.asarray(off[np.isfinite(off).all(axis=1)])

    def _scatter(self, rows: list[int]) -> bool:
        """Tell whether listed readings are two and more, none of which lies to its mark as another does."""
        off = self._off(rows)
        apart = np.linalg.norm(off[:, None] - off[None], axis=2) + np.diag(np.full(len(off), np.inf))
        return len(off) > 1 and bool(apart.min() > _SCATTER)

    def _near(self, rows: list[int]) -> bool:
        """Tell whether listed readings pass as the register's own would: what is far off is wrong in another way."""
        limits = self.survey.job.checks
        return bool((np.linalg.norm(self._off(rows), axis=1) <= np.hypot(limits.horizontal, limits.vertical)).all())


def _if_any(found: tuple[list[int], str]) -> Iterator[tuple[list[int], str]]:
    if found[0]:
        yield found


def _holds(value: object) -> bool:
    return value is not None and value != "" and not (isinstance(value, float) and not np.isfinite(value))
