"""A progress bar on stderr, and only where stderr is a terminal that may be drawn on."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, cast

from pipeline.cli.console import Console
from pipeline.progress import Progress


@contextmanager
def progress_on_terminal(wanted: bool) -> Iterator[Progress | None]:
    """Yield a function of (stage, rows done, rows in all; 0 where not known) that draws a bar, or None."""
    if not wanted or not sys.stderr.isatty() or _plain():
        yield None
        return
    from rich.console import Console as Terminal
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    stream = Console(sys.__stderr__ or sys.stderr, raw=True)  # it acts on the terminal, and may lose it
    terminal = Terminal(file=cast(IO[str], stream))
    with Bar(*columns, console=terminal, transient=True, redirect_stdout=False, redirect_stderr=False) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda stage, done, total: bar.update(task, description=stage, completed=done, total=total or None)


def _plain() -> bool:
    """Say whether whoever looks on asked for text alone: a bar is made of control codes (https://no-color.org)."""
    return bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
