"""The readings next in time to a failing occupation, by name."""

from pipeline.issue.record_types import Record, SuspectPoint
from pipeline.issue.report.number_format import metres
from pipeline.issue.report.row_choice import Chosen
from pipeline.issue.report.tables import Column, Table, clocks, name, table, time

#: So many stand in the page at once; the others are folded away.
_FIRST = 50


def suspect_table(record: Record, package: str) -> Table | None:
    """Return the table of suspect readings, None where there are none."""
    found = record["suspect"]
    if not found["points"]:
        return None
    columns: list[Column[SuspectPoint]] = [
        name("Point", "name", names=True),
        name("Code", "code"),
        name("Session", "session"),
        time("Observed", "observed", zone=record["local_clock"]),
        Column("Easting", "n", lambda row: metres(row["easting"])),
        Column("Northing", "n", lambda row: metres(row["northing"])),
        Column("Height", "n", lambda row: metres(row["height"])),
        Column("Is", "t", lambda row: "held back" if row["held_back"] else "issued"),
    ]
    caption = (
        "Readings next in time to a failing occupation of a control mark, of an export all of whose occupations failed,"
        f" or recorded as a check where there is no mark; {clocks(record['local_clock'])}."
    )
    first, rest = found["points"][:_FIRST], found["points"][_FIRST:]
    chosen = Chosen(first, rest, found["total"] - len(found["points"]))
    return table(caption, columns, chosen, f"the layer {_layer(found['points'])} of {package}")


def _layer(points: list[SuspectPoint]) -> str:
    return "held_back" if all(one["held_back"] for one in points) else "points"
