"""Each mark of a register once: of several rows of one the newest, where their dates tell which it is."""

import math
from collections.abc import Iterable, Sequence

from pipeline.control.register_dates import Days, possible_days
from pipeline.control.register_rows import Mark
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.problems import Problems
from pipeline.replace import replace

_KEEP = "keep the row that holds"
#: What else a column may be of which a mark's rows have no date at all.
_NO_DATES = "if the column is of something else, such as geodetic datums, name another one as dated, or none; else "
_ISO = "write the dates as 2024-05-01"


def single(marks: Iterable[Mark], columns: tuple[str, str, str], shown: str, problems: Problems) -> list[Mark]:
    """Return each mark once, in the order in which they come, the former rows of a revised one with it.

    Rows of one mark that say something else are told apart by their dates; where these do not tell which is the newest
    it is a problem.
    """
    rows: dict[str, list[Mark]] = {}
    for mark in marks:
        rows.setdefault(mark.name, []).append(mark)
    return [_newest(of_one, columns, shown, problems) for of_one in rows.values()]


def _newest(rows: Sequence[Mark], columns: tuple[str, str, str], shown: str, problems: Problems) -> Mark:
    first = rows[0]
    unlike = next((other for other in rows[1:] if differences(first, other, columns)), None)
    if unlike is None:
        return first
    undated = next((mark for mark in rows if not mark.dated), None)
    if undated is not None:
        _no_date(rows, undated, unlike, columns, shown, problems)
        return first
    days = [possible_days(mark.dated) for mark in rows]
    known = [found for found in days if found is not None]
    if len(known) < len(rows):
        row = rows[days.index(None)]
        what = f"mark '{row.name}' has several rows that differ, and '{row.dated}' is not a date that can be read"
        problems.add(shown, row.line, what, f"{'' if known else _NO_DATES}{_ISO}, or {_KEEP}")
        return first
    at = max(range(len(rows)), key=lambda number: (known[number][1], known[number][0]))
    newest = rows[at]
    for number, other in enumerate(rows):
        if differences(newest, other, columns) and not known[number][1] < known[at][0]:
            _not_told(other, newest, (known[number], known[at]), columns, shown, problems)
            return newest
    return replace(newest, former=tuple(other for other in rows if differences(newest, other, columns)))


def _no_date(
    rows: Sequence[Mark],
    undated: Mark,
    unlike: Mark,
    columns: tuple[str, str, str],
    shown: str,
    problems: Problems,
) -> None:
    dated = next((mark for mark in rows if mark.dated), None)
    if dated is None:
        twice = f"mark '{unlike.name}' is listed twice with different coordinates ({shown}:{rows[0].line}): "
        what = twice + "; ".join(differences(rows[0], unlike, columns))
        problems.add(shown, unlike.line, what, f"{_KEEP}, or give each its date in a column 'dated'{_of_dates(rows)}")
        return
    what = f"mark '{undated.name}' has two different rows: one dated {dated.dated} (line {dated.line}), one undated"
    problems.add(shown, undated.line, what, f"give every row of it its date, or {_KEEP}")


def _of_dates(rows: Sequence[Mark]) -> str:
    """Return which column of a register holds a date in each row of a mark, and how to say so; "" for none."""
    held = [name for name in rows[0].others if all(possible_days(row.others.get(name, "")) is not None for row in rows)]
    if not held:
        return ""
    return f"; if {listed(map(quoted, held))} says since when a row holds, state it as dated in [control.columns]"


def _not_told(
    one: Mark, newest: Mark, days: tuple[Days, Days], columns: tuple[str, str, str], shown: str, problems: Problems
) -> None:
    earlier, later = sorted((one, newest), key=lambda mark: mark.line)
    unlike = "; ".join(differences(earlier, later, columns))
    if days[0] == days[1] and (one.dated == newest.dated or days[0][0] == days[0][1]):
        twice = f"mark '{later.name}' is listed twice with different coordinates ({shown}:{earlier.line})"
        problems.add(shown, later.line, f"{twice} and the same date, {later.dated}: {unlike}", _KEEP)
        return
    what = f"mark '{later.name}' is listed twice, dated '{earlier.dated}' (line {earlier.line}) and '{later.dated}'"
    problems.add(shown, later.line, f"{what}: which is newer is not clear; {unlike}", f"{_ISO}, or {_KEEP}")


def differences(one: Mark, other: Mark, columns: tuple[str, str, str]) -> list[str]:
    """Return in words what two rows of a mark say otherwise of its coordinates, their uncertainty and what is held."""
    names = (*columns, "hu95", "vu95")
    ours, theirs = ((*mark.coordinates, mark.hu95, mark.vu95) for mark in (one, other))
    pairs = [
        (name, mine, its)
        for name, mine, its in zip(names, ours, theirs, strict=True)
        if mine != its and not (math.isnan(mine) and math.isnan(its))
    ]
    told = [f"{name} {_plain(mine)} and {_plain(its)}" for name, mine, its in pairs]
    return told + ([f"holds {one.holds} and {other.holds}"] if one.holds is not other.holds else [])


def _plain(value: float) -> str:
    return "none" if math.isnan(value) else repr(value)
