"""Tables the codes of a job: those known, those missing from the table of codes, and its strings."""

from pipeline.issue.record_types import CodeKnown, CodeUnknown, Record, StringNotDrawn
from pipeline.issue.report.number_format import NONE
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import Column, Table, name, number, table, words

#: Rows of each table that the page has at the most.
_ROWS_MAX = 500


def code_table(record: Record) -> Table | None:
    """Return the codes that readings have and the table of codes too; None without a table or such codes."""
    found = record["codes"]
    used = [row for row in found["known"] if row["readings"]] if found is not None else []
    if not used:
        return None
    columns: list[Column[CodeKnown]] = [
        name("Code", "code", names=True),
        words("Stands for", "description"),
        words("Kind", "kind"),
        words("Layer of a drawing", "layer"),
        number("Readings", "readings"),
    ]
    chosen = choose(used, lambda row: 0, most=_ROWS_MAX)
    return table("Codes of readings, with their entries in the table of codes.", columns, chosen, "issue.json")


def unknown_table(record: Record) -> Table | None:
    """Return the codes of readings that the table of codes lacks; None without a table, or where it has all."""
    found = record["codes"]
    if found is None or not found["unknown"]:
        return None
    columns: list[Column[CodeUnknown]] = [
        name("Code", "code", names=True),
        number("Readings", "readings"),
        Column("First", "word", lambda row: ", ".join(row["first"])),
        Column("Nearest", "word", lambda row: ", ".join(row["nearest"]) or NONE),
    ]
    chosen = choose(found["unknown"], lambda row: 1, most=_ROWS_MAX)
    return table("Codes of readings that are not in the table of codes.", columns, chosen, "issue.json")


def string_table(record: Record) -> Table | None:
    """Return the strings that are not drawn as lines; None without linework, or where all are."""
    found = record["linework"]
    if found is None or not found["left_out"]:
        return None
    columns: list[Column[StringNotDrawn]] = [
        name("String", "string", names=True),
        words("Session", "session"),
        number("Readings", "readings"),
        Column("From", "word", lambda row: row["first"]),
        Column("To", "word", lambda row: row["last"]),
        words("Why", "what"),
    ]
    chosen = choose(found["left_out"], lambda row: 1, most=_ROWS_MAX)
    return table("Strings that are not drawn as a line, and readings in no string.", columns, chosen, "issue.json")
