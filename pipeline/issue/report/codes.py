"""The codes of a job as the report tells them: what each stands for, and those that the table of codes lacks."""

from pipeline.issue.record_types import CodeKnown, CodeUnknown, Record
from pipeline.issue.report.chosen import choose
from pipeline.issue.report.tables import Column, Table, name, number, table, words
from pipeline.issue.report.written import NONE

#: Rows of each table that the page has at the most.
_MOST = 500


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
    chosen = choose(used, lambda row: 0, most=_MOST)
    return table("Codes of readings, by the table of codes.", columns, chosen, "issue.json")


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
    chosen = choose(found["unknown"], lambda row: 1, most=_MOST)
    return table("Codes of readings that the table of codes does not have.", columns, chosen, "issue.json")
