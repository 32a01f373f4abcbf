"""Finds exports of the previous issue that are no longer there, with points that nothing else has now.

Nobody may lose a file in silence: a file that a pattern of the job file still asks for was moved, renamed or deleted by
somebody or something else than the job file. One that no pattern asks for any more was left out on purpose. Of one that
was exported again under another name, the points are known again, and nothing is lost.
"""

import os
from pathlib import Path

from pipeline.files.file_patterns import fits
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record, WhollyHeld
from pipeline.reissue.changes import Touched
from pipeline.words import Whole


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
    gone: list[WhollyHeld] = []
    for path in dict.fromkeys(one["path"] for one in last["inputs"] if one["path"] not in there):
        had, lost = (_of_file(counts, path) for counts in (touched.had, touched.withdrawn))
        if 2 * lost > had and _asked_for(path, survey):
            gone.append(
                {"kind": str(Whole.FILE), "name": path, "rows": lost, "on_marks": 0, "held_back": 0, "by_reason": {}}
            )
    return gone


def _of_file(counts: dict[str, int], path: str) -> int:
    """Return the count of a file, which may be one of several layers."""
    return sum(count for name, count in counts.items() if name == path or name.startswith(f"{path}:"))


def _asked_for(path: str, survey: Survey) -> bool:
    """Say whether a pattern of the job file would find a file if it were there."""
    folder = survey.prepared.loaded.path.parent
    place = Path(os.path.realpath(folder / path))
    return any(fits(folder, pattern, place) for points in survey.job.points for pattern in points.files)
