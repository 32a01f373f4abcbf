"""Combines the table of codes with ``[drawing]`` into how codes are drawn; the two must agree."""

from pipeline.codes.table import Code, CodeTable
from pipeline.issue.file_facts import CodeDrawn
from pipeline.job.key_lines import Where
from pipeline.job.model import Drawing, DrawnCode
from pipeline.problems import Problems


def drawn_codes(drawing: Drawing, table: CodeTable | None) -> dict[str, CodeDrawn]:
    """Return layer, colour and description of every code of which something is said: where one is silent, the other's.

    The job file's codes come first, in its order, then the table's.
    """
    rows = table.by_code if table is not None else {}
    found = {one.code: _joined(one, rows.get(one.code)) for one in drawing.codes}
    of_table = {row.code: CodeDrawn(row.layer or None, row.colour, row.description) for row in rows.values()}
    return found | {code: drawn for code, drawn in of_table.items() if code not in found}


def _joined(one: DrawnCode, row: Code | None) -> CodeDrawn:
    if row is None:
        return CodeDrawn(one.layer, one.colour)
    return CodeDrawn(one.layer or row.layer or None, row.colour if one.colour is None else one.colour, row.description)


def check_drawn(drawing: Drawing, table: CodeTable, where: Where, problems: Problems) -> None:
    """Note where ``[drawing]`` contradicts the table of codes: another layer or colour of a code, two of a layer."""
    colours = {row.layer.casefold(): row for row in table.codes if row.layer and row.colour is not None}
    for position, one in enumerate(drawing.codes):
        row = table.by_code.get(one.code)
        fix = f"state it once: here, or in {table.shown}"
        if row is not None and one.layer is not None and row.layer and one.layer != row.layer:
            what = f"the code '{one.code}' is on the layer '{one.layer}' here, and on '{row.layer}' in"
            problems.add(*where("codes", position, "layer"), f"{what} {table.shown}:{row.line}", fix)
        if row is not None and one.colour is not None and row.colour is not None and one.colour != row.colour:
            what = f"the code '{one.code}' has the colour {one.colour} here, and {row.colour} in"
            problems.add(*where("codes", position, "colour"), f"{what} {table.shown}:{row.line}", fix)
            continue
        drawn = _joined(one, row)
        other = colours.get((drawn.layer or "").casefold())
        if other is not None and drawn.colour is not None and other.colour != drawn.colour:
            what = f"the layer '{drawn.layer}' has the colour {drawn.colour} with the code '{one.code}' here, and"
            told = f"{what} {other.colour} in {table.shown}:{other.line}"
            problems.add(*where("codes", position, "colour"), told, "a layer has one colour")
