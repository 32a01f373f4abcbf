"""The page over many jobs: what is on it, and the page itself, in the look of the report."""

from collections.abc import Sequence

from msgspec import Struct

from pipeline.visible import visible

#: By this a file is known as such a page, so that no other is written over; it stands near its beginning.
MADE_BY = '<meta name="generator" content="tiedown office">'


class IssueShown(Struct, frozen=True):
    """An issue as the page names it: number and verdict, and a link to its report, "" for none."""

    number: int
    verdict: str
    report: str


class JobShown(Struct, frozen=True):
    """A job on the page; times are texts, each as the job's clocks show it, the local one after the one of UTC.

    ``word`` is what becomes of it, ``bad`` whether that is a bad word; ``needs`` and ``events`` are sentences; ``file``
    and ``link`` its job file and a link to that, ``folder`` a link to its folder, each link "" for none; ``shown`` is
    the issue that `current` shows, ``pending`` the one that waits.
    """

    name: str
    word: str
    bad: bool
    needs: Sequence[str]
    events: Sequence[str]
    running: str
    remarks: Sequence[str]
    file: str
    link: str
    folder: str
    shown: IssueShown | None
    pending: IssueShown | None
    totals: str
    made: Sequence[str]
    last_run: Sequence[str]
    size: str


class OfficePage(Struct, frozen=True):
    """The page: jobs in the order of their need, how many need what, and what was passed over, with why.

    ``made`` is when it was made, and ``since`` from when on changes are told, as texts, on each clock.
    """

    made: Sequence[str]
    since: Sequence[str]
    jobs: Sequence[JobShown]
    counts: Sequence[tuple[str, int]]
    missing: Sequence[tuple[str, str]]
    skipped: Sequence[tuple[str, str]]
    size: str
    version: str

    @property
    def needing(self) -> Sequence[JobShown]:
        """Return the jobs that need attention."""
        return [job for job in self.jobs if job.needs]

    @property
    def changed(self) -> Sequence[JobShown]:
        """Return the jobs that changed and need no attention."""
        return [job for job in self.jobs if job.events and not job.needs]


def render(page: OfficePage) -> bytes:
    """Return the page in UTF-8."""
    from pipeline.issue.report.environment import environment  # 0.07 s that other commands need not wait for

    return visible(environment().get_template("office.html").render(page=page, made_by=MADE_BY)).encode()
