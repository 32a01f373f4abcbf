"""Finds exports of the previous issue that are no longer there, with points that nothing else has now.

Nobody may lose a file in silence: a file that a pattern of the job file still asks for was moved, renamed or deleted by
somebody or something else than the job file. One that no pattern asks for any more was left out on purpose. Of one that
was exported again under another name, the points are known again, and nothing is lost.
"""

import os
from collections.abc import Iterable
from glob import has_magic
from pathlib import Path

from pipeline.files.file_patterns import fits
from pipeline.intake.prepare import GoneExports, Prepared
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record, WhollyHeld
from pipeline.reissue.changes import Touched
from pipeline.replace import replace
from pipeline.words import HeldUnit, Role


def with_gone(prepared: Prepared, newest: Record | None) -> Prepared:
    """Return a job with the exports that its newest issue read and that are gone: what is missing may be in them.

    A file that the job file names without a pattern is left out: that it is missing is told already.
    """
    if newest is None:
        return prepared
    folder, there = prepared.loaded.path.parent, {export.file for export in prepared.exports}
    missing = (one["path"] for one in newest["inputs"] if one["path"] not in there)
    files = tuple(
        path for path in dict.fromkeys(missing) if not os.path.lexists(folder / path) and _found_by(path, prepared)
    )
    if not files:
        return prepared
    occupations = frozenset(one["point"] or "" for one in newest["checks"] if one["role"] != Role.NOTED)
    return replace(prepared, gone=GoneExports(newest["issue"], files, occupations))


def _found_by(path: str, prepared: Prepared) -> bool:
    """Say whether a pattern that finds other files would find a file if it were there."""
    blocks = {export.block for export in prepared.exports}
    patterns = (pattern for block in blocks for pattern in prepared.loaded.job.points[block].files)
    return _asked_for(path, prepared, (pattern for pattern in patterns if has_magic(pattern)))


def gone_files(last: Record, survey: Survey, touched: Touched) -> list[WhollyHeld]:
    """Return an entry of the record's ``wholly_held_back`` per such file, as `release.is_gone` knows it.

    A file counts if more of its points are gone than are still issued or held back: some new reading of the same name
    at the same place must not stand for a whole file.

    Args:
        last: the record of the issue that the job is compared with.
        survey: the job.
        touched: how many points of each file that issue had, and how many of them are in no export any more.
    """
    there = {export.file for export in survey.exports}
    patterns = [pattern for points in survey.job.points for pattern in points.files]
    gone: list[WhollyHeld] = []
    for path in dict.fromkeys(one["path"] for one in last["inputs"] if one["path"] not in there):
        had, lost = (_of_file(counts, path) for counts in (touched.had, touched.withdrawn))
        if 2 * lost > had and _asked_for(path, survey.prepared, patterns):
            gone.append(
                {"kind": str(HeldUnit.FILE), "name": path, "rows": lost, "on_marks": 0, "held_back": 0, "by_reason": {}}
            )
    return gone


def _of_file(counts: dict[str, int], path: str) -> int:
    """Return the count of a file, which may be one of several layers."""
    return sum(count for name, count in counts.items() if name == path or name.startswith(f"{path}:"))


def _asked_for(path: str, prepared: Prepared, patterns: Iterable[str]) -> bool:
    """Say whether one of some patterns of the job file would find a file if it were there."""
    folder = prepared.loaded.path.parent
    place = Path(os.path.realpath(folder / path))
    return any(fits(folder, pattern, place) for pattern in patterns)
