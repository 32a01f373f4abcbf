"""`tiedown office`: one page over many jobs, and in a few lines what on it needs attention."""

import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipeline.cli.faults import report
from pipeline.cli.line_folding import print_lines
from pipeline.office.page import Written, office
from pipeline.office.state import JobState
from pipeline.office.words import WORDS
from pipeline.visible import one_line
from pipeline.words import counted

#: The page is written, and something on it needs attention.
ATTENTION = 3
#: So many jobs are printed one by one; the page has all of them.
_JOBS_PRINTED_MAX = 40

_SPAN = re.compile(r"(\d{1,5}(?:\.\d{1,3})?) ?([hd])")


def moment(text: str, now: datetime) -> datetime:
    """Return the time that a text says: so many hours or days (24h, 3d) before now, or a date or time, of UTC.

    Raises ValueError where it says none, or one that is still to come.
    """
    if (span := _SPAN.fullmatch(text.strip())) is not None:
        return now - timedelta(hours=float(span[1]) * (24 if span[2] == "d" else 1))
    at = datetime.fromisoformat(text.strip())
    at = (at if at.tzinfo is not None else at.replace(tzinfo=UTC)).astimezone(UTC)
    if at > now:
        raise ValueError("it is still to come")
    return at


def make_page(named: Sequence[Path], to: Path, since: datetime, now: datetime, *, quiet: bool) -> int:
    """Write the page and return the exit code: 0, or 3 where something on it needs attention; 2 for no page."""
    try:
        written = office(named, to, since, now)
    except Exception as error:
        return report(str(to), error)
    needs = bool(written.needing or written.found.missing)
    if needs or not quiet:
        print_lines(_lines(written, quiet=quiet))
    return ATTENTION if needs else 0


def _lines(written: Written, *, quiet: bool) -> Iterator[str]:
    needing, jobs = written.needing, len(written.states)
    attention = f"{len(needing):,} {'needs' if len(needing) == 1 else 'need'} attention"
    yield f"{one_line(str(written.file))}: {counted(jobs, 'job')}, {attention if needing else 'none needs attention'}"
    yield from (f"  not checked: {one_line(path)}: {why}" for path, why in written.found.missing)
    yield from (_line(one) for one in needing[:_JOBS_PRINTED_MAX])
    if len(needing) > _JOBS_PRINTED_MAX:
        yield f"  and {len(needing) - _JOBS_PRINTED_MAX:,} more, on the page"
    older = [one for one in written.states if one.superseded and not quiet]  # somebody decided it
    yield from (f"  {one_line(f'{one.name}, {one.path}: {one.superseded}')}" for one in older[:_JOBS_PRINTED_MAX])
    if len(older) > _JOBS_PRINTED_MAX:
        yield f"  and {len(older) - _JOBS_PRINTED_MAX:,} more whose current is an older issue, on the page"
    if written.found.skipped:
        skipped = counted(len(written.found.skipped), "file or folder", "files and folders")
        yield f"  skipped: {skipped}, listed on the page"


def _line(one: JobState) -> str:
    more = f" (and {len(one.needs) - 1:,} more)" if len(one.needs) > 1 else ""
    return f"  {WORDS[one.word]}: {one_line(one.name)}, {one_line(str(one.path))}: {one_line(one.needs[0][1])}{more}"
