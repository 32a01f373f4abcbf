"""What the drawings of an issue say of its verdict, of what is held back and of what changed."""

from collections.abc import Iterator

from pipeline.issue.change_summary import counts_message
from pipeline.run.layers import Rest
from pipeline.solve.proof import worst
from pipeline.words import REASONS, counted


def judged(rest: Rest) -> Iterator[tuple[str, str]]:
    """Yield the verdict of an issue, what it holds back, and what it changes, each with its name.

    Whoever has its drawing alone would not know why points are missing.
    """
    drafter, count = rest.running.drafter, rest.running.count
    yield "verdict", str(worst(list(drafter.solved.verdicts)))
    if count.held_back:
        reasons = ((int(rows), reason) for reason, rows in zip(REASONS, count.by_reason, strict=True) if rows)
        told = ", ".join(f"{rows:,} {reason}" for rows, reason in reasons)
        package = f"{rest.running.survey.job.job.name}.gpkg"
        yield "held back", f"{counted(count.held_back, 'reading')} ({told}), in layer held_back of {package}"
    if rest.running.earlier is not None:
        rows = rest.changed.num_rows if rest.changed is not None else None
        number = rest.running.earlier.last.record["issue"]
        since, _, told = counts_message(rest.changes, number, rows, rest.drawn).partition(": ")
        yield since, told
