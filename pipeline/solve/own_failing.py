"""Exports of one of several rovers of which an occupation failed: what others stood on says nothing of its points.

Likewise the rows of a rover that shares an export with others, where a column that is carried along says whose each is.

A passing occupation of another rover, between a point and the next one of its own, proves the base and no more: the
pole may have been changed, or the controller set otherwise, since (common practice, no source).
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.intake.at_one_time import minutes_within, same_rows, together
from pipeline.intake.left_columns import LeftColumn
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks
from pipeline.solve.proof import Evidence
from pipeline.visible import one_line

#: Values of a column beyond which it is none of a crew's rovers.
MOST_ROVERS = 5


class OneRover(Struct, frozen=True):
    """One of the rovers that share an export: the column that says so, its heading, and the rover's value in it."""

    column: LeftColumn
    heading: str
    key: str

    def of(self, rows: Integers) -> Flags:
        """Return which of (n,) rows of the file are its."""
        return np.array([key == self.key for key in self.column.of_rows(rows)], bool)


class OwnFailing(Struct, frozen=True):
    """The occupations of one export, or rover, in a session, of which some fail while another rover was at work.

    Args:
        session: index of the session.
        export: number of the export.
        evidence: its own occupations alone.
        rover: which of the rovers in the export; None where it is of one alone.
    """

    session: int
    export: int
    evidence: Evidence
    rover: OneRover | None = None

    def reached(self, session: Integers, time: Integers, export: int, rows: Integers) -> Flags:
        """Return which readings of an export have a failing occupation of their own before or behind them.

        Args:
            session: (n,) the session of each.
            time: (n,) UTC milliseconds.
            export: number of their export.
            rows: (n,) their rows in its file.
        """
        found = np.asarray((session == self.session) & (export == self.export), bool)
        if self.rover is not None:
            found[found] = self.rover.of(rows[found])
        found[found] = self.evidence.beside_failing(time[found])
        return found

    def why(self, files: Sequence[str]) -> str:
        """Return in words why its points are suspect; ``files`` are the names of the exports."""
        of = f" of {self.rover.heading} {one_line(self.rover.column.written[self.rover.key])}" if self.rover else ""
        return (
            f"the occupation of a control mark before or behind it{of} in {files[self.export]} fails: what another"
            " rover stood on in between does not prove it"
        )


def own_failing(survey: Survey, on_marks: OnMarks) -> tuple[OwnFailing, ...]:
    """Return the exports of sessions that have a failing occupation and were observed at the same time as another.

    A file of occupations alone is no other rover's, and neither is one that has half of the rows as well. So it is with
    the rovers of one export.
    """
    evidence, passed = on_marks.evidence, on_marks.compared.passed
    failing = evidence & ~passed
    files, found = survey.first_pass.files, list[OwnFailing]()
    if not failing.any():
        return ()
    found += _of_rovers(survey, on_marks, failing)
    if len(files) < 2:
        return tuple(found)
    export, clocks = np.asarray(on_marks.table.column("export"), np.int64), [log.clock() for log in files]
    same = same_rows(survey.first_pass)
    for session in np.unique(on_marks.session[failing]).tolist():
        here, window = on_marks.session == session, survey.windows[session]
        stood = np.bincount(export[here], minlength=len(files)).tolist()
        readings = [log.sessions[session] for log in files]
        at_work = [at for at, count in enumerate(readings) if count > stood[at]]
        minutes = {at: minutes_within(clocks[at], window) for at in at_work}
        for at in np.unique(export[here & failing]).tolist():
            if at in minutes and any(
                one != at
                and 2 * same[at, one] < min(readings[at], readings[one])
                and together(minutes[at], minutes[one])
                for one in at_work
            ):
                found.append(OwnFailing(session, at, _evidence(on_marks, here & evidence & (export == at))))
    return tuple(found)


def _evidence(on_marks: OnMarks, which: Flags) -> Evidence:
    compared = on_marks.compared
    return Evidence(on_marks.time[which], compared.passed[which], True, compared.holds[which])


def _of_rovers(survey: Survey, on_marks: OnMarks, failing: Flags) -> Iterator[OwnFailing]:
    """Yield the rovers of an export with a failing occupation in a session in which another of them has points."""
    export, row = (np.asarray(on_marks.table.column(name), np.int64) for name in ("export", "source_row"))
    for at in np.unique(export[failing]).tolist():
        heading, column = rover_column(survey.first_pass.files[at].left_columns)
        if column is None:
            continue
        of = np.full(len(row), "", object)
        of[export == at] = column.of_rows(row[export == at])
        for session in np.unique(on_marks.session[failing & (export == at)]).tolist():
            here = (on_marks.session == session) & (export == at)
            points = column.counts.get(session, Counter()) - Counter(of[here].tolist())
            for key in sorted(set(of[here & failing].tolist()) - {""}):
                if any(points[other] > 0 for other in points if other not in ("", key)):
                    own = here & on_marks.evidence & (of == key)
                    yield OwnFailing(session, at, _evidence(on_marks, own), OneRover(column, heading, key))


def rover_column(left: Mapping[str, LeftColumn]) -> tuple[str, LeftColumn | None]:
    """Return the heading and the column that says whose each reading of an export is, "" and None where none does."""
    for name, one in left.items():
        if one.word == "rover" and not one.many and 1 < len(one.written) <= MOST_ROVERS:
            return name, one
    return "", None
