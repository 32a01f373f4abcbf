"""A progress bar on stderr, and only where stderr is a terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[str, int, int], None]


@contextmanager
def progress_on_terminal(wanted: bool) -> Iterator[Progress | None]:
    """Yield a function of (stage, rows done, rows in all; 0 where not known) that draws a bar, or None."""
    if not wanted or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Bar(*columns, console=Console(file=sys.__stderr__), transient=True) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda stage, done, total: bar.update(task, description=stage, completed=done, total=total or None)
