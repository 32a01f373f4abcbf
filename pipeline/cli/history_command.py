"""`tiedown history`: the issues of a job, oldest first, so that the newest stands last, above the prompt."""

from collections.abc import Sequence
from pathlib import Path

from pipeline.cli.console import print_json
from pipeline.cli.faults import report
from pipeline.history import Absent, Changes, Entry, Incomplete, every_number, in_order
from pipeline.issue.change_summary import counts_message
from pipeline.issue.drawn_changes import drawn_among, reasons_among
from pipeline.issue.folder.issues_list import how_released, made_before
from pipeline.visible import one_line
from pipeline.words import counted


def show_history(job: Path, *, as_json: bool) -> int:
    """Print the issues of a job and return the exit code: 0, or 2 where there is none to print or some are damaged."""
    try:
        told = every_number(job)
    except Exception as error:
        if isinstance(error, Incomplete) and not as_json:
            _print(in_order(error.entries, error.absent))
        return report(str(job), error, as_json=as_json)
    if as_json:
        print_json([entry.as_record() for entry in told])
    else:
        _print(told)
    return 0


def _print(told: Sequence[Entry | Absent]) -> None:
    early = made_before({one.issue: one.made_at for one in told if isinstance(one, Entry)})
    for one in told:
        for line in _lines(one) if isinstance(one, Entry) else _absent_lines(one):
            print(line)
        if one.issue in early:
            print(f"  by its time it was made before issue {early[one.issue]:03d}: a clock was wrong, or it was edited")


def _absent_lines(one: Absent) -> list[str]:
    at = f"  {one.at:%Y-%m-%d %H:%M} UTC" if one.at is not None else ""
    return [f"issue {one.issue:03d}{at}  {one.verdict.upper()}", *(f"  {one_line(why)}" for why in one.because)]


def _lines(entry: Entry) -> list[str]:
    made = f"{entry.made_at:%Y-%m-%d %H:%M} UTC" if entry.made_at else "(not in the issues list, register.csv)"
    failed = f", {counted(entry.checks_failed, 'failing occupation')}" if entry.checks_failed else ""
    return [
        f"issue {entry.issue:03d}  {made}  {entry.verdict.upper()}  {counted(entry.points, 'point')},"
        f" {entry.held_back:,} held back{failed}{_state(entry)}",
        *(f"  because {one_line(reason)}" for reason in reasons_among(entry.because)),
        *([f"  {_counts(entry.changes, drawn_among(entry.because))}"] if entry.changes else []),
        *(f"  was not released: {one_line(why)}" for why in entry.waits),
        *(f"  {how_released(why)} {at:%Y-%m-%d %H:%M} UTC: {one_line(why)}" for at, why in entry.released),
        *([f"  {entry.removed}: {', '.join(entry.removed.files)}"] if entry.removed else []),
    ]


def _state(entry: Entry) -> str:
    """Return whether `current` shows an issue, or may come to by hand."""
    if entry.current:
        return "  <- current"
    return "  PENDING" if entry.pending else ""


def _counts(changes: Changes, drawn: Sequence[str]) -> str:
    far = {"max_horizontal": changes.max_horizontal, "max_vertical": changes.max_vertical}
    counts = {**changes.counts, "attributes": changes.attributes, **far}
    return counts_message(counts, changes.since, changes.rows, [*map(one_line, drawn)])
