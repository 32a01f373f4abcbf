"""The control sheet: one page to print, with a sketch, the marks, and how they lie to one another."""

from collections.abc import Sequence

from msgspec import Struct

from pipeline.issue.control_sheet.sketch import Sketch
from pipeline.issue.report.plan_drawing import LEFT, RIGHT, TOP, WIDTH
from pipeline.issue.report.tables import Table
from pipeline.visible import visible


class Sheet(Struct, frozen=True):
    """What stands on a control sheet.

    ``facts`` are words and what they mean for this job, such as the grid; ``notes`` what should be looked at;
    ``plane`` is whose east and north its coordinates have, "grid" or "site"; ``origins`` are the letters by which the
    table of marks says where they come from, ``meaning`` is how the table of pairs is read; ``left_out`` says which
    marks are not here, ``drawn`` which an issue draws elsewhere; ``file`` is the name of the file beside the page.
    """

    job: str
    file: str
    facts: Sequence[tuple[str, str]]
    sketch: Sketch
    work: str | None
    plane: str
    marks: Table
    origins: Sequence[tuple[str, str]]
    pairs: Table | None
    meaning: str
    advice: Sequence[str]
    notes: Sequence[str]
    left_out: str | None
    drawn: str | None


def render(sheet: Sheet) -> bytes:
    """Return a control sheet as a page in UTF-8."""
    from pipeline.issue.report.environment import environment  # 0.07 s that other commands need not wait for

    frame = {"LEFT": LEFT, "RIGHT": RIGHT, "TOP": TOP, "WIDTH": WIDTH}
    page = environment().get_template("control_sheet.html").render(sheet=sheet, at=frame)
    return visible(page).encode()
