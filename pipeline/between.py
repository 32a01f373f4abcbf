"""What differs between any two issues of a job, point by point: counted, row by row, and as a layer to look at."""

import os
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.clock import from_iso
from pipeline.intake.prepare import load, own_folder
from pipeline.issue.folder.standing_issues import standing_issue
from pipeline.issue.folder.thinned_issues import refuse_thinned
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.descriptions import described
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import CHANGES, LINE_Z
from pipeline.issue.geopackage.recount import has_issued_content
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.record_types import Changes, Compared, Record
from pipeline.issue.written_axes import axes_written
from pipeline.problems import JobError, Problem, refusals_told
from pipeline.reissue.changes import compare
from pipeline.reissue.counted_changes import attributes_changed, is_counted, times_differ
from pipeline.reissue.earlier import Last, another_frame, both_sides
from pipeline.sealed import sealed_off


class Between(Struct, frozen=True):
    """What became of the points of one issue in another, which may be an older one.

    ``because`` are the reasons of the issues on the way from one to the other, by what each was made from, and what
    differs beside places; on the way back, each is told as what is taken back, since its values are from the old to
    the new.
    ``rows`` are those of a layer ``changes``, old being the first issue and new the second, of which each has the same
    ``reason``. Where there are none, the issues' reasons are ``without_effect``: what they changed reaches no point, or
    one of them took back what another did.
    """

    first: Record
    second: Record
    because: tuple[str, ...]
    counts: Compared
    rows: pa.RecordBatch
    reason: str
    without_effect: tuple[str, ...] = ()

    def recoded(self, because: str) -> str:
        """Return what a point with another name, code or attribute was and is, by its row; else nothing."""
        return because.removesuffix(self.reason).removesuffix("; ")


@sealed_off()
@refusals_told()
def between(path: Path, first: int, second: int, to: Path | None = None) -> Between:
    """Compare two issues of a job.

    Args:
        path: the job file.
        first: number of the issue to compare with.
        second: number of the other.
        to: where a GeoPackage with the layer ``changes`` is to be written; nothing is ever overwritten.

    Raises `JobError` where there is no such issue, where one is damaged, where they cannot be compared, and where the
    GeoPackage cannot be written.
    """
    folder = own_folder(load(path))
    if first == second:
        raise JobError([Problem(str(path), 0, f"issue {first:03d} is named twice", "name two issues")])
    old, new = (Last.of(*standing_issue(folder, number)) for number in (first, second))
    for one in (old, new):
        refuse_thinned(one.folder)
    obstacle = another_frame(old.record, new.record["target"])
    if obstacle is not None:
        what = f"issues {first:03d} and {second:03d} cannot be compared: {obstacle}"
        raise JobError([Problem(str(folder), 0, what, "compare issues on one grid and in one height datum")])
    steps = tuple(dict.fromkeys(_because(folder, first, second)))
    for one in (old, new):
        if not one.untouched and not has_issued_content(one.package, one.record["files"]):
            what = f"issue {one.record['issue']:03d} is damaged: the file is gone or is not what was issued"
            raise JobError([Problem(str(one.package), 0, what, "see what tiedown verify says")])
    try:
        sides = both_sides(old, new)
    except Lost as error:
        raise JobError([Problem(str(folder), 0, str(error), "see what tiedown verify says")]) from error
    reason = "; ".join(steps)
    rows, counts, _, retimed = compare(*sides, lambda _: reason, axes_written(new.record))
    differs = (*attributes_changed(counts), *times_differ(retimed, first))
    if to is not None:
        _write(to, new.record, rows)
    if not rows.num_rows:
        return Between(old.record, new.record, differs, counts, rows, reason, steps)
    return Between(old.record, new.record, (*steps, *differs), counts, rows, reason)


def _because(folder: Path, first: int, second: int) -> Iterator[str]:
    """Yield the reasons of the issues by which one comes from the other: each was made from the one that `current`
    showed then.

    So an issue that waited, and from which none was made, has no part in what came after it. From the first back to
    the one that both come from, the newest comes first, and each reason says that it is taken back: "CM1 height 5.000
    to 6.000" stays as the issue recorded it. What each counted against the one before it is counted anew, between the
    two. Where an issue on the way cannot be read, that is said.
    """
    back, forth, unknown = _way(folder, first, second)
    for number, changes in back:
        yield from (f"what issue {number:03d} changed is taken back: {reason}" for reason in _reasons(changes))
    yield from unknown
    for _, changes in reversed(forth):
        yield from _reasons(changes)


#: Issues from newer to older, each with its record's ``changes``.
_Steps = list[tuple[int, Changes]]


def _way(folder: Path, first: int, second: int) -> tuple[_Steps, _Steps, list[str]]:
    """Return the steps from each of two issues back to the one that both come from, and in words why these end early.

    An issue is newer than the one that it was made from, so going back from the newer of the two, by turns, meets it.
    """
    back, forth, at_first, at_second = _Steps(), _Steps(), first, second
    while at_first != at_second:
        number = max(at_first, at_second)
        try:
            changes = standing_issue(folder, number)[1]["changes"]
        except JobError as error:
            return back, forth, [f"what issue {number:03d} changed is not known: {error.problems[0].what}"]
        if changes is None or not 0 < changes["since"] < number:
            return back, forth, [f"issue {number:03d} was compared with no issue before it"]
        if number == at_first:
            back.append((number, changes))
            at_first = changes["since"]
        else:
            forth.append((number, changes))
            at_second = changes["since"]
    return back, forth, []


def _reasons(changes: Changes) -> Iterator[str]:
    return (reason for reason in changes["because"] if not is_counted(reason, changes))


def _write(to: Path, record: Record, rows: pa.RecordBatch) -> None:
    """Write the layer into a new GeoPackage."""
    target, axes = record["target"], axes_written(record)
    if to.suffix.lower() != ".gpkg" or os.path.lexists(to):
        why = ("is there already", "name another file") if os.path.lexists(to) else ("is no .gpkg", "name one")
        raise JobError([Problem(str(to), 0, *why)])
    layer = LayerSource("changes", CHANGES, [rows], described(target["height_name"], axes), geometry_type=LINE_Z)
    told = {"height_datum": target["height_name"], "compound_crs": target["definition"], "caution": record["caution"]}
    date = from_iso(record["data_to"])
    try:
        write_geopackage(to, [layer], Georeference(target["grid"], axes, told), date)
    except OSError as error:
        to.unlink(missing_ok=True)
        what = f"cannot be written: {error.strerror or error}"
        raise JobError([Problem(str(to), 0, what, "check disk and permissions, or name another file")]) from error
