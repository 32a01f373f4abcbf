"""Tables base positions and antenna heights, as the job states them and as the exports carry them."""

from collections.abc import Iterator

from pipeline.issue.record_types import Record
from pipeline.issue.report.number_format import NONE, metres
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import Column, Row, Table, clocks, name, table, time
from pipeline.issue.session_types import BasePosition, Session

#: Rows that the page has at the most.
_BASES = 300


def base_table(record: Record) -> Table | None:
    """Return the table of broadcast base positions and antenna heights, None where nothing is known of them."""
    rows = [row for session in record["sessions"] for row in _rows(session)]
    if not rows:
        return None
    columns: list[Column[Row]] = [
        name("Session", "session", names=True),
        name("Base", "base"),
        Column("From", "t", lambda row: str(row["origin"])),
        name("Mark", "mark"),
        Column("Broadcast position", "long", lambda row: str(row["place"])),
        Column("Height", "n", lambda row: metres(row["height"])),
        Column("Antenna height", "n", lambda row: metres(row["antenna_height"])),
        time("First carried", "from", seconds=False, zone=record["local_clock"]),
    ]
    caption = (
        "Positions that the bases broadcast, in the datum of the readings, and antenna heights, metres;"
        f" {clocks(record['local_clock'])}."
    )
    return table(caption, columns, choose(rows, lambda row: 0, most=_BASES), "issue.json")


def _rows(session: Session) -> Iterator[Row]:
    """Yield what is known of a session's base: stated first, then as readings carry it."""
    same = {"session": session["session"], "base": session["base"], "mark": None, "height": None}
    same |= {"antenna_height": None, "place": NONE, "from": None}
    if (stated := session["setup"]) is not None:
        place = f"longitude {stated['longitude']:.9f}, latitude {stated['latitude']:.9f}"
        told = {"mark": stated["mark"], "height": stated["ellipsoid_height"], "origin": "job file"}
        yield {**same, **told, "place": place, "antenna_height": stated["antenna_height"]}
    if (log := session["base_log"]) is None:
        return
    for one in log["positions"]:
        yield {**same, "origin": "export", "place": _place(one), "height": one["height"], "from": one["from"]}
    for height in log["antenna_heights"]:
        told = {"antenna_height": height["antenna_height"], "from": height["from"]}
        yield {**same, **told, "origin": "export"}


def _place(one: BasePosition) -> str:
    if "longitude" in one:
        return f"longitude {one['longitude']:.9f}, latitude {one['latitude']:.9f}"
    return f"easting {one['easting']:.3f}, northing {one['northing']:.3f}"
