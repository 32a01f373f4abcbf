"""The page itself: the record's contents through the templates, and the file in the issue's folder."""

import hashlib
import re
from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline.issue.folder.synced_write import write_synced
from pipeline.issue.record_types import FileIssued, Record
from pipeline.issue.report import differences, plan_drawing, timeline, word_meanings
from pipeline.issue.report.contents import contents
from pipeline.issue.report.thinning import Thinned
from pipeline.visible import visible

_PLAIN = re.compile(r"[A-Za-z0-9-]+")


def render(record: Record, points: Thinned, files: Callable[[], Sequence[FileIssued]] | None = None) -> bytes:
    """Return the report of an issue as a page in UTF-8.

    Args:
        record: the issue's record, all of it but its sum and this page.
        points: the points of the plan.
        files: gives the record's ``files`` where they may still be written; it is asked when the page comes to them.
    """
    from pipeline.issue.report.environment import environment  # 0.07 s that runs without an issue need not wait for

    page = (
        environment()
        .get_template("page.html")
        .render(
            contents(record, files),
            plan=plan_drawing.plan(record, points),
            of_plan=plan_drawing,
            of_timeline=timeline,
            of_differences=differences,
            meanings=word_meanings,
            # a job's name goes into the style sheet, which escapes nothing, only where it is what a job file allows
            running=f"{record['job']}, issue {record['issue']:03d}" if _PLAIN.fullmatch(record["job"]) else "",
        )
    )
    return visible(page).encode()


def write_report(
    folder: Path, record: Record, points: Thinned, files: Callable[[], Sequence[FileIssued]] | None = None
) -> FileIssued:
    """Write the report into the folder of an issue and return its entry for the record's ``files``. Takes what `render`
    takes.

    Raises OSError, FileExistsError where there is one already, and what ``files`` raises.
    """
    page = render(record, points, files)
    name = f"{record['job']}-{record['issue']:03d}.html"
    write_synced(folder / name, page)
    return {"name": name, "sha256": hashlib.sha256(page).hexdigest()}
