"""Reports rows whose times contradict the row order of their file, as a doubt where that changes their session."""

from collections.abc import Iterator
from itertools import groupby

from pipeline.clock import DAY, between, lasting, stamp
from pipeline.intake.file_sequence import Astray
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.words import counted, plural

#: Sentences of one export before the rest is only counted.
_MOST = 8


def order_words(survey: Survey) -> Iterator[tuple[Astray, str]]:
    """Yield rows out of order, each with what is to be said of them, without file and line."""
    for _, of_export in groupby(survey.first_pass.astray, lambda found: found.export):
        graver = sorted(of_export, key=lambda found: (not found.doubted, found.row))
        for found in graver[:_MOST]:
            yield found, _wrapped(survey, found) if found.wrapped else _astray(survey, found)
        if rest := graver[_MOST:]:
            doubted = tuple(sorted({session for found in rest for session in found.doubted}))
            many = counted(sum(found.count for found in rest), "more row")
            told = f"{many} (from row {rest[0].row} on) {plural(len(rest), 'is', 'are')} out of time order as well"
            yield replace(rest[0], doubted=doubted), told


def _astray(survey: Survey, found: Astray) -> str:
    one = found.count == 1
    rows = "this row" if one else f"{counted(found.count, 'row')} (to row {found.last_row})"
    told = (
        f"the rows of this file are in time order, except that {rows}, observed {between(found.first, found.last)},"
        f" {plural(found.count, 'is', 'are')} {_beside(found)}"
    )
    if found.session != found.place:
        told += (
            f": by time {plural(found.count, 'it belongs', 'they belong')} to session"
            f" {_name(survey, found.session)}, by position in the file to session {_name(survey, found.place)}"
        )
    if found.lag:
        by = lasting(abs(found.lag))
        told += f"; {by} {'later' if found.lag > 0 else 'earlier'} {plural(found.count, 'it', 'they')} would fit there"
    if one:
        cure = "If the time is mistyped, correct it in the export; if the point really was measured then (re-measured"
        return f"{told}. {cure} and stored in its old row), nothing is wrong"
    cure = "If the times are mistyped, correct them in the export; if they really were measured then (re-measured"
    return f"{told}. {cure} and stored in their old rows), nothing is wrong"


def _beside(found: Astray) -> str:
    """Say between which rows something is."""
    before, behind = (
        None if each is None else f"row {each[0]} of {stamp(each[1])}" for each in (found.before, found.behind)
    )
    if before is not None and behind is not None:
        return f"between {before} and {behind} UTC"
    return f"first, before {behind} UTC" if before is None else f"last, after {before} UTC"


def _wrapped(survey: Survey, found: Astray) -> str:
    """Say of rows that go back by half a day or a day what wrote them so."""
    assert found.before is not None
    many = counted(found.count, "row")
    told = (
        f"times go back here, to {stamp(found.first)} UTC from {stamp(found.before[1])} UTC in row {found.before[0]},"
    )
    if found.wrapped == DAY:
        told += f" as if the date stayed while the clock passed midnight: from here on {many} may be a day early"
        cure = "write the date of the new day in these rows, or export date and time from one clock"
    else:
        told += (
            " and no time of the file is 13:00 or later, as on a 12-hour clock without AM and PM: from here on"
            f" {many} may be 12 h early"
        )
        cure = "export the times on a 24-hour clock, or with AM and PM"
    if found.doubted:
        told += f"; if so, they belong to session {_name(survey, found.place)}, not {_name(survey, found.session)}"
    return f"{told}; {cure}"


def _name(survey: Survey, session: int) -> str:
    return survey.windows[session].session.name
