"""An issue opened in Python: its record, its layers as data frames, and what differs from another issue."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, cast

from pipeline.intake.prepare import load
from pipeline.issue.folder.confirmation import confirmed
from pipeline.issue.folder.current import NAME as CURRENT
from pipeline.issue.folder.folder_names import ISSUES, numbered
from pipeline.issue.folder.intact import files_gone, refuse_damaged
from pipeline.issue.folder.standing_issues import standing_issue
from pipeline.issue.folder.thinned_issues import refuse_thinned
from pipeline.issue.geopackage.data_frame import read_frame
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, read_any_version
from pipeline.issue.record_types import FileIssued, SealedRecord
from pipeline.issue.written_axes import axes_written
from pipeline.near import listed, nearest
from pipeline.problems import JobError, Problem, refusals_told
from pipeline.reissue.changes import compare
from pipeline.reissue.earlier import Last, another_frame, both_sides
from pipeline.sealed import sealed_off

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True)
class Issue:
    """One issue of a job.

    Args:
        folder: the issue's own, with its files.
        record: what its ``issue.json`` says, with a type for every key (`pipeline.issue.record_types`).
        state: "current", "superseded" by a later one, or "pending": written, and not what ``current`` shows.
        current: the number of the issue that ``current`` shows, None where nothing says.
    """

    folder: Path
    record: SealedRecord
    state: str
    current: int | None
    _found_intact: bool = field(default=False, init=False, repr=False, compare=False)

    @property
    def number(self) -> int:
        """Return its number."""
        return self.record["issue"]

    @property
    def layers(self) -> tuple[str, ...]:
        """Return the names of its layers."""
        return tuple(layer["name"] for layer in self._entry.get("layers", ()))

    @property
    def package(self) -> Path:
        """Return its GeoPackage."""
        return self.folder / self._entry["name"]

    @sealed_off()
    @refusals_told()
    def layer(self, name: str) -> "GeoDataFrame":
        """Return a layer with the CRS of the grid: ``points``, ``check_marks``, ``held_back`` ...

        Raises `KeyError` where it has none of that name, and `JobError` where its GeoPackage is not what was issued.
        """
        if name not in self.layers:
            near = nearest(name, self.layers, 1)
            meant = f"did you mean {near[0]!r}? " if near else ""
            raise KeyError(f"issue {self.number:03d} has no layer {name!r}; {meant}it has {listed(self.layers)}")
        refuse_thinned(self.folder)
        self._refuse_altered()
        try:
            return read_frame(self.package, name)
        except Lost as error:
            raise JobError([Problem(str(self.package), 0, str(error), "run tiedown verify")]) from error

    @sealed_off()
    @refusals_told()
    def differences(self, other: "Issue") -> "GeoDataFrame":
        """Return what became of the points from another issue to this one, as lines from old to new.

        The columns are those of the layer ``changes`` but for the reasons: name, change, old and new coordinates, and
        metres between them; ``recoded`` says of a point with another name, code or other attributes, as far as both
        issues have these, what it was and is. Points are known again by name and time.

        Raises `ValueError` where the two are in different grids or height datums, `JobError` as `layer` does.
        """
        import geopandas  # half a second that nothing else waits for

        if (frame := another_frame(other.record, self.record["target"])) is not None:
            raise ValueError(f"issues {other.number:03d} and {self.number:03d} cannot be compared: {frame}")
        for one in (self, other):
            refuse_thinned(one.folder)
        self._refuse_altered()
        other._refuse_altered()
        try:
            before, after = both_sides(*(Last(one.record, one.package) for one in (other, self)))
        except Lost as error:
            raise JobError([Problem(str(self.package), 0, str(error), "run tiedown verify")]) from error
        rows, *_ = compare(before, after, lambda reached: "", axes_written(self.record))
        table = rows.to_pandas()
        values = table.pop("because").str.removesuffix("; ")
        table["recoded"] = values.where(values != "", None)
        lines = geopandas.GeoSeries.from_wkb(table.pop("geometry"), crs=self.layer("points").crs)
        return geopandas.GeoDataFrame(table, geometry=lines)

    @property
    def _entry(self) -> FileIssued:
        return next(entry for entry in self.record["files"] if "layers" in entry)

    def _refuse_altered(self) -> None:
        """Raise `JobError` where its GeoPackage is not what was issued, by its signs where those are noted."""
        if not self._found_intact:
            only = cast(SealedRecord, {**self.record, "files": [self._entry]})
            refuse_damaged(self.folder, only, confirmed(self.folder.parent.parent, self.number).signs)
            object.__setattr__(self, "_found_intact", True)  # once is enough for all of its layers


@sealed_off()
@refusals_told()
def open_issue(folder_or_job: str | Path, number: int | None = None) -> Issue:
    """Open an issue of a job.

    Its record is compared with its own sum, its files have to be there, and its GeoPackage is compared with what was
    issued before the first layer is read.

    Args:
        folder_or_job: the job file, the folder where the job keeps its issues, or an issue's own folder, such as
            ``current``.
        number: of the issue; else the one whose folder was given, the one that ``current`` shows, the newest.

    Raises `JobError` where there is no such issue or it is damaged, and `TypeError` for a number that is none.
    """
    if number is not None and (isinstance(number, bool) or not hasattr(number, "__index__")):
        raise TypeError(f"the number of an issue is a whole number, such as 1, not {number!r}")
    folder, of_folder = _place(Path(folder_or_job))
    shown, there = _shown(folder), sorted(number for number, _ in numbered(folder))
    if not there:
        raise JobError([Problem(str(folder), 0, f"there is no issue in {folder}", "run the job first")])
    wanted = int(number) if number is not None else of_folder or shown or there[-1]
    if wanted not in there:
        what = f"there is no issue {wanted:03d} in {folder}"
        raise JobError([Problem(str(folder), 0, what, f"it has {listed([f'{one:03d}' for one in there])}")])
    path, record = standing_issue(folder, wanted)
    if gone := files_gone(path.parent, record):
        raise JobError(gone)
    state = (
        "pending"
        if shown is not None and wanted > shown
        else "superseded"
        if wanted != (shown or there[-1])
        else CURRENT
    )
    return Issue(path.parent, record, state, shown)


def _place(given: Path) -> tuple[Path, int | None]:
    """Return the folder of a job's issues, and the number of the issue whose own folder was given, if it was."""
    if given.is_file() or given.suffix == ".toml":
        return load(given).job.job.folder, None
    if not (given / RECORD).is_file():
        return given, None
    at = given.resolve()
    # where links are not to be had, `current` is a copy beside the issues
    folder = at.parent.parent if at.parent.name == ISSUES else at.parent
    return folder, _number(at)


def _shown(folder: Path) -> int | None:
    """Return the number of the issue that ``current`` shows, None where nothing readable is there."""
    return _number(folder / CURRENT)


def _number(issue: Path) -> int | None:
    try:
        number = read_any_version(issue / RECORD).get("issue")
    except (RecordError, OSError):
        return None
    return number if type(number) is int else None
