"""A job looked at for the field: its frames, its marks and where its work lies, whether or not there are readings."""

from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.control import Register
from pipeline.fieldwork.nearby_marks import Marks, registered, with_adjusted
from pipeline.fieldwork.work_area import Spots, Work, on_grid, place_named, work_of
from pipeline.geodesy.area import Area
from pipeline.geodesy.axes import Axes
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.own_places import own_places
from pipeline.intake.gather import gather
from pipeline.intake.operations import Operations, choose_operations
from pipeline.intake.prepare import Prepared, load, prepare, prepare_control
from pipeline.intake.sort import sieve
from pipeline.intake.target import axes_issued, target
from pipeline.issue.folder.standing_issues import newest_standing
from pipeline.issue.record_types import Record, Target
from pipeline.job.load import LoadedJob
from pipeline.near import listed
from pipeline.plausible.places import on_sphere
from pipeline.problems import JobError, Problem, Problems
from pipeline.progress import Progress
from pipeline.sessions.windows import load_sessions
from pipeline.sphere import RADIUS
from pipeline.words import Verdict, counted, plural

#: Metres by which datums may lie apart: so much farther marks are looked at before it is known where they are.
_APART = 2_000.0
#: Metres from the work within which marks are at hand, where nothing else is said: a base's usual reach by radio.
#: Common practice, no source.
WITHIN = 10_000.0


class FieldJob(Struct, frozen=True):
    """A job for the field.

    Args:
        loaded: the job file.
        operations: the PROJ operations, chosen over work and marks.
        target: the issued frame, as a record names it.
        marks: the marks at hand, nearest to the work first.
        distance: (n,) metres of each from the work, NaN where nothing says where that is.
        work: where the work lies; None where nothing says.
        record: the newest issue's record, None before the first.
        left_out: how many marks lie farther away than is wanted, or have no position.
        notes: in words, what should be looked at.
    """

    loaded: LoadedJob
    operations: Operations
    target: Target
    marks: Marks
    distance: Floats
    work: Work | None
    record: Record | None
    left_out: int
    notes: tuple[str, ...]

    @property
    def axes(self) -> Axes:
        """Return how the grid and the height datum write their numbers."""
        return axes_issued(self.loaded.job, on_site=self.operations.site is not None)

    @property
    def wholly_adjusted(self) -> list[bool]:
        """Return of each mark whether all that is known of it comes from the issue: the register has nothing of it."""
        rows = self.record["marks"] if self.record is not None else []
        new = {row["mark"] for row in rows if row["holds"] is None}
        of_issue = zip(self.marks.names, self.marks.issued.tolist(), strict=True)
        return [all(issued) or (name in new and any(issued)) for name, issued in of_issue]


def find_field_job(
    path: Path,
    around: str | None = None,
    within: float | None = None,
    progress: Progress | None = None,
    *,
    planned: bool = False,
) -> FieldJob:
    """Look at a job: the marks ``within`` metres of a place ``around``, else of its plan, else of its readings.

    With ``planned`` nothing but the plan says where the work is. Marks that the job's sessions or its plan name are
    always among them. Raises `JobError`.
    """
    loaded = load(path, sessions=False)
    problems = Problems()
    prepared = prepare_control(loaded, problems)
    problems.raise_if_any()
    reach = reach_of(loaded, around, within)
    spots, notes = _spots(prepared, around, reach, None if planned else progress, readings=not planned)
    if within is not None and spots is None:
        what = "it is not known where the work is: the job has no readings yet that can be used, and no [plan]"
        raise JobError([Problem("--within", 0, what, "name a place with --around, such as a mark or easting,northing")])
    operations = _operations(prepared, spots, reach)
    marks, record, said = _marks(prepared, operations)
    work = None if spots is None else work_of(spots, operations)
    chosen, distance = _chosen(marks, work, reach, _named(loaded) if around is None else set())
    if not len(chosen):
        what = f"no mark is within {reach:,.0f} m of {work.what if work else 'anywhere'}"
        raise JobError(
            [Problem(*loaded.where("control"), what, "state how far away marks may be with --within METRES")]
        )
    kept = marks.taken(chosen)
    told = (*notes, *said, *(_unproven(record, kept) if record is not None else ()))
    goal, left_out = target(loaded.job, operations.site), len(marks.names) - len(chosen)
    return FieldJob(loaded, operations, goal, kept, distance[chosen], work, record, left_out, told)


def _spots(
    prepared: Prepared, around: str | None, reach: float, progress: Progress | None, *, readings: bool
) -> tuple[Spots | None, list[str]]:
    """Return where the work is, by a place that is named, the plan or the readings, and what to say of it."""
    loaded, problems = prepared.loaded, Problems()
    if around is not None:
        spots = place_named(around, loaded, prepared.register, problems)
        problems.raise_if_any()
        where = ("--around", 0)
    elif loaded.job.plan is not None:
        spots = on_grid(np.array(loaded.job.plan.area, np.float64), loaded, "the planned area")
        where = loaded.where("plan", "area")
    else:
        return _readings(loaded, progress) if readings else (None, [])
    if spots is not None:
        _refuse_far(loaded, prepared.register, spots, reach, where)
    return spots, []


def _marks(prepared: Prepared, operations: Operations) -> tuple[Marks, Record | None, list[str]]:
    """Return every mark, the newest issue's record where its marks are among them, and what to say of it."""
    loaded = prepared.loaded
    record, said = _record(loaded, prepared.register, operations)
    marks = registered(prepared.register, loaded.job, operations)
    if record is not None:
        marks = with_adjusted(marks, record, operations)
    if not len(marks.names):
        what = "there is no mark to hand out: the job names no register, and no issue has adjusted one"
        raise JobError([Problem(*loaded.where("control"), what, "name the register in [control]")])
    return marks, record, said


def reach_of(loaded: LoadedJob, around: str | None, within: float | None) -> float:
    """Return how far from the work marks may be: as said, else as the plan says of its own area, else `WITHIN`."""
    if within is not None:
        return within
    return loaded.job.plan.within if loaded.job.plan is not None and around is None else WITHIN


def _refuse_far(
    loaded: LoadedJob, register: Register | None, spots: Spots, reach: float, where: tuple[str, int]
) -> None:
    """Raise `JobError` for a place that no mark of the register is near: mostly one of other signs or another order."""
    longitude, latitude = _places(loaded, register)
    if register is None or loaded.job.target.site is not None or not np.isfinite(longitude + latitude).any():
        return
    if not np.isfinite(spots.longitude + spots.latitude).all():
        what, fix = f"{spots.what} is not a place on the job's grid", "write easting before northing, as issued"
        raise JobError([Problem(*where, what, fix)])
    if spots.area.with_margin(reach + _APART).holds(longitude, latitude).any():
        return
    at = on_sphere(*(np.array([value]) for value in spots.area.centre))
    chord = np.linalg.norm(on_sphere(longitude, latitude) - at, axis=1)
    away = 2.0 * RADIUS * np.arcsin(np.minimum(chord / (2.0 * RADIUS), 1.0))
    nearest = register.names[int(np.nanargmin(away))]
    what = f"no mark is within {reach:,.0f} m of {spots.what}: the nearest, {nearest}, is"
    what += f" {np.nanmin(away) / 1000:,.0f} km away"
    raise JobError([Problem(*where, what, "check order and signs of its coordinates, or how far away marks may be")])


def _readings(loaded: LoadedJob, progress: Progress | None) -> tuple[Spots | None, list[str]]:
    """Return the extent of the readings, None where there is none that can be used yet, and what to say of it."""
    problems = Problems()
    try:
        whole = prepare(loaded, problems)
        if not whole.exports or not whole.windows:
            return None, []
        area = gather(whole, sieve(whole.windows, loaded.job.quality), progress).area
    except JobError as error:
        return None, [f"the readings were ignored: {error.problems[0]}"]
    if area is None:
        return None, []
    longitude, latitude = area.samples()
    return Spots(longitude, latitude, "the job's readings"), []


def _operations(prepared: Prepared, spots: Spots | None, reach: float) -> Operations:
    """Choose the operations over the work and the marks that may be near it."""
    loaded, register = prepared.loaded, prepared.register
    longitude, latitude = _places(loaded, register)
    if spots is not None and np.isfinite(spots.longitude).all():
        try:
            around = spots.area.with_margin(reach + _APART)
        except OperationError as error:
            raise JobError([Problem("--around", 0, error.what, error.fix)]) from error
        near = around.holds(longitude, latitude)
        longitude = np.concatenate([longitude[near], spots.longitude])
        latitude = np.concatenate([latitude[near], spots.latitude])
    if not np.isfinite(longitude + latitude).any():
        what = "no mark of the register has a position, and it is not known otherwise where the work is"
        raise JobError([Problem(*loaded.where("control"), what, "name a place with --around")])
    return choose_operations(prepared, Area.from_degrees(longitude, latitude))


def _places(loaded: LoadedJob, register: Register | None) -> tuple[Floats, Floats]:
    """Return longitude and latitude of the register's marks in its own datum."""
    if register is None or loaded.job.control is None:
        return np.zeros(0), np.zeros(0)
    return own_places(loaded.job.control.crs, register.first, register.second, register.third)[:2]


def _record(loaded: LoadedJob, register: Register | None, operations: Operations) -> tuple[Record | None, list[str]]:
    """Return the newest issue's record where its coordinates are in the job's frames, and what to say of it."""
    found = newest_standing(loaded.job.job.folder)
    if found is None:
        return None, []
    record = found[1]
    if record["target"]["definition"] != target(loaded.job, operations.site)["definition"]:
        what = f"issue {record['issue']:03d} is on another grid or height datum than the job file: none of its marks"
        return None, [f"{what} is here; run the job first"]
    revised = _revised(record, register)
    if revised:
        what = f"the register has changed for {listed(revised)} since issue {record['issue']:03d} was computed"
        return record, [f"{what}: its adjusted marks are based on the former values; run the job first"]
    return record, []


def _revised(record: Record, register: Register | None) -> list[str]:
    """Return the marks that an issue was computed with and of which the register says otherwise now."""
    if register is None:
        return []
    found = []
    for row in record["register"]:
        at = register.find(row["mark"])
        was = (
            row["easting"] if "easting" in row else row.get("longitude", ""),
            row["northing"] if "northing" in row else row.get("latitude", ""),
            row["height"],
        )
        if at is None or tuple(register.written[at]) != was:
            found.append(row["mark"])
    return found


def _unproven(record: Record, marks: Marks) -> list[str]:
    """Return a sentence on the adjusted marks whose sessions are not proven."""
    verdicts = {session["session"]: session["verdict"] for session in record["sessions"]}
    by_mark: dict[str, set[str]] = {}
    for row in (*record["checks"], *record["adjustment"]["set_ups"]):
        by_mark.setdefault(row["mark"], set()).add(row["session"])
    told = []
    for name, issued in zip(marks.names, np.asarray(marks.issued.any(axis=1)).tolist(), strict=True):
        bad = sorted(one for one in by_mark.get(name, ()) if verdicts[one] in (Verdict.FAILED, Verdict.UNCHECKED))
        if issued and bad:
            words = listed([f"{one} ({verdicts[one]})" for one in bad])
            told.append(f"{name} comes from the {plural(len(bad), 'session')} {words} of issue {record['issue']:03d}")
    return [f"{one}: tie to it only once that is settled" for one in told]


def _named(loaded: LoadedJob) -> set[str]:
    """Return the marks that the job's sessions or its plan name."""
    sessions = [window.session for window in load_sessions(loaded, Problems())]
    named = {tie.mark for session in sessions for tie in (*session.ties, *session.checks)}
    named |= {session.setup.mark for session in sessions if session.setup is not None}
    if loaded.job.plan is not None:
        for planned in loaded.job.plan.session:
            named |= {*planned.ties, *planned.checks, *([planned.setup] if planned.setup else [])}
    return named


def _chosen(marks: Marks, work: Work | None, reach: float, named: set[str]) -> tuple[Integers, Floats]:
    """Return the numbers of the marks that are wanted, nearest first, and (n,) the distance of every one."""
    count = len(marks.names)
    distance = np.full(count, np.nan) if work is None else work.distance(marks.grid[:, :2])
    wanted = marks.placed & (np.isnan(distance) | (distance <= reach))
    wanted |= np.array([name in named for name in marks.names], bool) & marks.placed
    middle = np.full(count, 0.0) if work is None else np.hypot(*(marks.grid[:, :2] - work.middle).T)
    rows = np.flatnonzero(wanted)
    order = np.lexsort((rows, np.nan_to_num(middle[rows]), np.nan_to_num(distance[rows])))
    return rows[order], distance


def left_out_message(found: FieldJob, reach: float) -> str | None:
    """Return in words how many marks are left out, None where none is."""
    if not found.left_out:
        return None
    why = "without a position"
    if found.work is not None:
        why = f"farther than {reach:,.0f} m from {found.work.what}, or {why}"
    return f"{counted(found.left_out, 'mark')} left out: {why}"
