"""Where the coordinates of the marks come from, beside the register's rows that the job uses."""

from collections.abc import Sequence

from pipeline.control import Register
from pipeline.issue.record_types import FormerRow, RegisterMark


def with_origin(rows: Sequence[RegisterMark], register: Register | None) -> list[RegisterMark]:
    """Return the rows with what the register says of each mark besides its coordinates, and its former rows.

    None of it shapes an issue, so that the rows by which issues are compared are without it.
    """
    if register is None:
        return list(rows)
    return [_told(row, register, register.find(row["mark"])) for row in rows]


def _told(row: RegisterMark, register: Register, number: int | None) -> RegisterMark:
    told = row.copy()
    if number is None:
        return told
    if register.source[number]:
        told["source"] = register.source[number]
    if register.dated[number]:
        told["dated"] = register.dated[number]
    if register.others[number]:
        told["others"] = dict(register.others[number])
    if register.former[number]:
        told["former"] = [
            FormerRow(line=mark.line, written=list(mark.written), holds=str(mark.holds), dated=mark.dated)
            for mark in register.former[number]
        ]
    return told
