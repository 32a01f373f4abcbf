"""`tiedown office`: the page over many jobs, made of their states and written in one step."""

import os
import re
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from urllib.parse import quote

from msgspec import Struct

from pipeline.files.atomic_write import atomic_write
from pipeline.issue.folder.folder_names import ISSUES, scratch
from pipeline.issue.folder.ownership import is_among_issues
from pipeline.issue.folder.synced_write import write_synced
from pipeline.issue.report.office_page import MADE_BY, IssueShown, JobShown, OfficePage, render
from pipeline.job.time_zones import on_clock
from pipeline.office.job_files import JobFilesFound, find_job_files
from pipeline.office.state import JobState, RecordSeen, state, state_of_orphan
from pipeline.office.words import WORDS, Word
from pipeline.problems import JobError, Problem, check_working_folder, named_in_errors, refusals_told
from pipeline.visible import one_line

_ENDINGS = (".html", ".htm")
#: Bytes at the beginning of a page in which it says what made it; seconds after which what a kill left is swept.
_HEAD, _STALE = 1_000, 3_600
#: What is counted of those that need attention for what their issue says.
_BY_ISSUE = "by what was issued"
#: Words of states that are no bad ones.
_MILD = (Word.GOOD, Word.NEVER, Word.PENDING)


class Written(Struct, frozen=True):
    """What was written: the page's file, the states in the order of the page, and what was found."""

    file: Path
    states: tuple[JobState, ...]
    found: JobFilesFound

    @property
    def needing(self) -> tuple[JobState, ...]:
        """Return the jobs that need attention."""
        return tuple(one for one in self.states if one.needs)


@refusals_told()
def office(named: Sequence[Path], to: Path, since: datetime, now: datetime) -> Written:
    """Write the page over the jobs among paths and below folders; nothing else is written anywhere, no job waited for.

    Args:
        named: job files, and folders to look for them in.
        to: the page; an earlier one is written over.
        since: from when on changes are told.
        now: the time that the page says it was made.

    Raises `JobError` where there is no job, or the page may not be written there.
    """
    check_working_folder([to, *named])
    real = Path(os.path.realpath(to))
    if (refused := _refused(to, real)) is not None:
        raise JobError([refused])
    found = find_job_files(named)
    if not (found.jobs or found.orphans):
        what = "there is no job file" if found.missing else "there is no job file in it"
        told = found.missing or tuple((str(path), what) for path in named)
        raise JobError([Problem(path, 0, why, "name job files, or folders that hold some") for path, why in told])
    orphans = (state_of_orphan(orphan, since) for orphan in found.orphans)
    states = tuple(sorted((*(state(job, since) for job in found.jobs), *orphans), key=lambda one: one.order))
    _write(real, render(_page(states, found, real.parent, since, now)))
    return Written(to, states, found)


def _refused(to: Path, real: Path) -> Problem | None:
    """Return why a page may not be written to a file, None where it may."""
    if to.suffix.lower() not in _ENDINGS:
        return Problem(str(to), 0, "this is not an HTML page", "name a file that ends in .html")
    if not real.parent.is_dir():
        return Problem(str(to), 0, "the folder to write it to does not exist", "create it first")
    if is_among_issues(real):
        return Problem(str(to), 0, "it is in a folder where a job's issues are kept", "write the page somewhere else")
    if os.path.lexists(real):
        if not real.is_file():
            return Problem(str(to), 0, "this is not a file", "name a file")
        with real.open("rb") as file:
            ours = MADE_BY.encode() in file.read(_HEAD)
        if not ours and real.stat().st_size:
            return Problem(str(to), 0, "there is another file of that name", "name one that does not exist yet")
    return None


def _page(states: Sequence[JobState], found: JobFilesFound, place: Path, since: datetime, now: datetime) -> OfficePage:
    zones = {zone for one in states if (zone := _zone(one)) is not None}
    zone = zones.pop() if len(zones) == 1 else None
    counts = Counter(one.word for one in states if one.needs)
    return OfficePage(
        made=_clocks(now, zone),
        since=_clocks(since, zone),
        jobs=[_job(one, place) for one in states],
        counts=[(_BY_ISSUE if word is Word.ATTENTION else WORDS[word], counts[word]) for word in Word if counts[word]],
        missing=[(one_line(path), why) for path, why in found.missing],
        skipped=[(one_line(path), why) for path, why in found.skipped],
        size=_bytes(sum({one.folder: one.size for one in states}.values())),
        version=f"tiedown {version('tiedown')}",
    )


def _job(one: JobState, place: Path) -> JobShown:
    zone, shown = _zone(one), one.shown
    told = shown if shown is not None else one.newest
    return JobShown(
        name=one_line(one.name),
        word=WORDS[one.word],
        bad=one.word not in _MILD,
        needs=[what for _, what in one.needs],
        events=one.events,
        running=one.running,
        remarks=one.remarks,
        file=one_line(str(one.path)),
        link=_link(one.path, place) if one.in_file else "",
        folder=_link(one.folder, place) if one.folder is not None and one.folder.is_dir() else "",
        shown=_issue(shown, one.folder, place) if shown is not None else None,
        pending=_issue(one.newest, one.folder, place) if one.newest is not None and one.waits else None,
        totals=told.totals if told is not None else "",
        made=_clocks(one.made, zone),
        last_run=_run(one, zone),
        size=_bytes(one.size),
    )


def _issue(seen: RecordSeen, folder: Path | None, place: Path) -> IssueShown:
    number = f"{seen.number:03d}"
    report = folder / ISSUES / number / f"{seen.job}-{number}.html" if folder is not None else None
    there = report is not None and report.is_file()
    return IssueShown(seen.number, seen.verdict, _link(report, place) if report is not None and there else "")


def _run(one: JobState, zone: str | None) -> list[str]:
    if one.last_run is None:
        return []
    code = f"exit code {one.last_run.code}"
    return [*_clocks(one.last_run.last, zone), f"{one.last_run.word}, {code}" if one.last_run.word else code]


def _zone(one: JobState) -> str | None:
    seen = one.newest if one.newest is not None else one.shown
    return seen.zone if seen is not None else None


def _clocks(at: datetime | None, zone: str | None) -> list[str]:
    """Return a time as the clocks show it: that of UTC, and that of a zone where there is one, to the minute."""
    if at is None:
        return []
    told = [f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"]
    if zone is not None:
        with suppress(ValueError, KeyError, OSError):  # a zone that this machine does not know
            told.append(f"{on_clock(at, zone):%Y-%m-%d %H:%M} {zone}")
    return told


def _link(path: Path, place: Path) -> str:
    """Return a path as a link on a page that lies in a folder: relative, also where a name begins like an address."""
    target = os.path.realpath(path)
    try:
        relative = os.path.relpath(target, place)
    except ValueError:  # on another drive
        return Path(target).as_uri()
    parts = "/".join(quote(os.fsencode(part), safe="") for part in Path(relative).parts)
    return f"./{parts}"


def _bytes(size: int) -> str:
    """Return a size in MB."""
    return f"{size / 1e6:,.1f} MB"


def _write(path: Path, content: bytes) -> None:
    """Let the page be ``content``, in one step, with the rights that it had. Raises OSError."""
    with atomic_write(path, path.parent / scratch(_plain(path.name))) as fresh:
        with named_in_errors(path):
            write_synced(fresh, content)
        with suppress(OSError):  # there is none yet, or the file system lets no rights be set
            os.chmod(fresh, path.stat().st_mode & 0o777)
    _sweep(path)


def _plain(name: str) -> str:
    """Return a name by which what is laid beside is known again."""
    return re.sub(r"[^a-z.-]", "", name.lower()) or "page"


def _sweep(path: Path) -> None:
    """Remove what runs that were killed have left beside the page."""
    form = re.compile(rf"\.staging-[0-9]+-[0-9a-f]{{8}}-{re.escape(_plain(path.name))}")
    with suppress(OSError):
        for each in list(os.scandir(path.parent)):
            if form.fullmatch(each.name) and each.stat(follow_symlinks=False).st_mtime < time.time() - _STALE:
                os.unlink(each.path)
