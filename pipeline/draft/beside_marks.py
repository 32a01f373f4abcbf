"""Finds drafted points within `checks.radius` of a mark of the register, in the second pass or a part of it."""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.draft.near_marks import NearMarks
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.geodesy.own_places import own_places
from pipeline.intake.ledger import SOUND, ReadingRows
from pipeline.notices.points_at_marks import Beside, beside_notes
from pipeline.read.exports import read_batches
from pipeline.solve.taken_out import unlisted
from pipeline.sphere import DEGREE

#: So many points are kept; of more only their number is told.
_KEPT = 2_000
#: Metres that a raw position of a mark, as it is predicted, may be off.
_PREDICTED = 3.0


class BesideMarks(Struct):
    """Collects, batch by batch, the points near marks that no list names."""

    drafter: Drafter
    marks: NearMarks
    told: Integers
    found: list[Beside] = field(default_factory=list)
    more: int = 0

    @classmethod
    def of(cls, drafter: Drafter) -> "BesideMarks":
        """Return one that has looked at nothing; what gives a field shift or is told by its name is not told again."""
        survey, solved = drafter.survey, drafter.solved
        by_field = sorted(unlisted(survey, solved))
        numbers = np.asarray(survey.candidates.table.column("number"), np.int64)[by_field]
        told = np.concatenate([np.array([one.number for one in solved.missed], np.int64), numbers])
        return cls(drafter, NearMarks.of(solved.reference.grid[:, :2], survey.job.checks.radius), told)

    def add(self, drafted: Drafted) -> None:
        """Look at one batch."""
        if not self.marks.table.size:
            return
        place, axes = drafted.corrected, self.drafter.survey.axes
        east, north, up = axes.metres(place.easting, place.northing, place.height)
        rows, marks = self.marks.find(east, north)
        due = drafted.placed(rows) & ~np.isin(rows + drafted.start, self.told)
        for row, mark in zip(rows[due].tolist(), marks[due].tolist(), strict=True):
            if len(self.found) >= _KEPT:
                self.more += 1
            else:
                self.found.append(self._beside(drafted, row, mark, np.array([east[row], north[row], up[row]])))

    def _beside(self, drafted: Drafted, row: int, mark: int, at: Floats) -> Beside:
        known = self.drafter.solved.reference
        name, code, line = (drafted.batch.column(word)[row].as_py() for word in ("name", "code", "source_row"))
        off = np.round(at - known.grid[mark], 3) + 0.0  # no minus zero
        away, height = float(np.hypot(*off[:2])), f", height {off[2]:+.3f}" if np.isfinite(off[2]) else ""
        coded = f"code {code}, " if code else ""
        what = (
            f"{name or 'a reading'} ({drafted.export.shown}:{line}): {coded}{away:.2f} m from the mark"
            f" {known.names[mark]} (east {off[0]:+.3f}, north {off[1]:+.3f}{height}), and not listed"
        )
        return Beside(
            int(drafted.session[row]), name, known.names[mark], float(np.linalg.norm(np.nan_to_num(off))), what
        )

    def notes(self) -> list[str]:
        """Return in words what was found, with the points that are named after marks."""
        return beside_notes(self.drafter.survey, self.drafter.solved, self.found, self.more)


def look_beside(drafter: Drafter, rows: ReadingRows) -> BesideMarks:
    """Return what the second pass would find, working only batches with a reading where one on a mark would lie.

    ``rows`` are those of the first pass.
    """
    found = BesideMarks.of(drafter)
    near = _maybe_near(drafter, rows) if found.marks.table.size else np.zeros(0, np.int64)
    start, counts = 0, drafter.survey.first_pass.rows
    for number, (export, count) in enumerate(zip(drafter.survey.exports, counts, strict=True)):
        wanted = near[(near >= start) & (near < start + count)] - start
        done = 0
        for batch in read_batches(export) if len(wanted) else ():
            here = wanted[(wanted >= done) & (wanted < done + batch.num_rows)] - done
            if len(here):
                first, last = int(here[0]), int(here[-1])
                found.add(drafter.work(batch.slice(first, last - first + 1), number, start + done + first))
            done += batch.num_rows
            if done > wanted[-1]:
                break
        start += count
    return found


def _maybe_near(drafter: Drafter, rows: ReadingRows) -> Integers:
    """Return the numbers of the readings, ascending, that may lie near a mark once they are corrected."""
    survey, solved = drafter.survey, drafter.solved
    sound = np.flatnonzero(rows.having(SOUND))
    block = np.array([export.block for export in survey.exports], np.int64)[rows.export(sound)]
    group = rows.session[sound].astype(np.int64) * len(survey.job.points) + block
    order = np.argsort(group, kind="stable")
    sound, group = sound[order], group[order]
    chosen = [np.zeros(0, np.int64)]
    for one in np.unique(group).tolist():
        session, of = divmod(one, len(survey.job.points))
        if not solved.shifts.fully_tied[session]:
            continue
        here = sound[np.searchsorted(group, one) : np.searchsorted(group, one, side="right")]
        marks = _raw_places(drafter, session, of)
        reach = survey.job.checks.radius + _PREDICTED + solved.field.most(session)
        longitude, latitude = rows.columns.take(here, "longitude", "latitude")
        # degrees of longitude as at the reading next to a pole, where they are shortest: none is left out
        across = DEGREE * np.cos(np.radians(np.abs(latitude).max()))
        origin = longitude[0]
        arranged = NearMarks.of(np.column_stack([_from(origin, marks[:, 0]) * across, marks[:, 1] * DEGREE]), reach)
        near, _ = arranged.find(_from(origin, longitude) * across, latitude * DEGREE)
        chosen.append(here[near])
    return np.sort(np.concatenate(chosen))


def _from(origin: float, longitude: Floats) -> Floats:
    """Return (n,) degrees east of a meridian, the shorter way round."""
    return np.asarray((longitude - origin + 180.0) % 360.0 - 180.0)


def _raw_places(drafter: Drafter, session: int, block: int) -> Floats:
    """Return (m, 2) longitude and latitude, in the datum of a block, that a reading on each mark would come with."""
    survey, solved = drafter.survey, drafter.solved
    grid, frames = solved.reference.grid, survey.operations.frames
    xyz = np.column_stack(frames.to_issued.inverse(grid[:, 0], grid[:, 1], np.nan_to_num(grid[:, 2])))
    operation, year = frames.to_working[block], survey.operations.year(session, block, survey.windows[session].start_ms)
    x, y, z = (xyz - solved.shifts.shift[session]).T
    raw = operation.inverse(x, y, z, year if operation.time_dependent else None)
    longitude, latitude, _ = own_places(survey.job.points[block].crs or "", *raw)
    return np.column_stack([longitude, latitude])
