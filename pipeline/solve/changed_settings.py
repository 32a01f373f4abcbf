"""Settings that changed among the readings of a session, by a column that is carried along, where no mark tells.

A check with one setting proves nothing of readings with another: of another coordinate system, source of corrections,
geoid, calibration, antenna or profile. Those that a passing occupation speaks for are as they should be. Corrections of
a network amid a session that has the shift of a base of its own are a doubt: they need none.
"""

from collections import Counter
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.other_bases import is_shifted
from pipeline.geodesy.crs import parse
from pipeline.intake.left_columns import VALUES, LeftColumn
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.read.correction_headings import says_base_id
from pipeline.read.exports import Export
from pipeline.read.setting_headings import is_setting, way_of
from pipeline.read.way_words import COMPUTED, NETWORK, only_connections, plainly_network, way_said
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.compare import OnMarks
from pipeline.words import Doubt, counted

#: Values in a session beyond which a column holds no setting. Ours, no source.
_FEW = 5
#: Stretches of readings with one value, beyond which two at work with settings of their own stand in one file. Ours.
_STRETCHES = 4
#: Letters of a value that are shown.
_SHOWN = 40
#: What two at work may differ in.
_OF_ROVERS = frozenset(("antenna model", "profile"))
#: What a column may be of by its heading where its values say a way of correction.
_BY_VALUES = frozenset((VALUES, "base", "source", "profile", "solution"))
#: What a change means, by what was set.
_MEANS = {
    "system": "coordinates in two systems lie apart by what these differ, centimetres to hundreds of metres",
    "source": "corrections of another source are in the frame of that source, for which the session's shift is none",
    "geoid": "heights by another geoid, or by none, are off by what the two differ",
    "calibration": "a calibration moves all that is stored with it",
    "antenna model": "heights by the model of another antenna are off by centimetres to decimetres",
    "profile": "another profile may bring another coordinate system, antenna or source of corrections",
    "mode": "another way of correction starts from another position of the base, for which the session's shift is none",
}


class _Change(Struct, frozen=True):
    """A column of an export, what it says was set, and its values in a session that no occupation speaks for.

    ``ways`` are the ways of correction that its values say, none where it is of anything else.
    """

    export: Export
    window: SessionWindow
    name: str
    word: str
    left: LeftColumn
    alone: list[str]
    others: list[str]
    ways: dict[str, str]


def setting_doubts(survey: Survey, on_marks: OnMarks, local: Floats) -> Iterator[Doubtful]:
    """Yield a doubt for each column that says a network of readings to which the shift of a base is added.

    ``local`` (S, 3) are the sessions' shifts to the east, the north and upwards [m].
    """
    for change in _changes(survey, on_marks):
        if _off_by_shift(change, local[change.window.index]):
            what = f"session {change.window.session.name}: {_sentence(change)}"
            yield Doubtful(Doubt.BASE, what, (change.window.index,), change.export.shown, _first(change))


def setting_notes(survey: Survey, on_marks: OnMarks, local: Floats) -> Iterator[str]:
    """Yield other columns whose value changes within a session, to one with which no mark was occupied."""
    for change in _changes(survey, on_marks):
        if not _off_by_shift(change, local[change.window.index]):
            where = f"{change.export.shown}:{_first(change)}"
            yield f"{where}: session {change.window.session.name}: {_sentence(change)}"


def _off_by_shift(change: _Change, shift: Floats) -> bool:
    """Tell whether the values without an occupation are all plainly of a network, whose readings need no shift (3,)."""
    network = all(change.ways.get(key) == NETWORK and plainly_network(change.left.written[key]) for key in change.alone)
    return network and bool(change.others) and is_shifted(shift)


def _changes(survey: Survey, on_marks: OnMarks) -> Iterator[_Change]:
    for at, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        for name, left in log.left_columns.items():
            if left.many or len(left.written) < 2:
                continue
            for window in survey.windows:
                every = left.counts.get(window.index, Counter())
                if not 1 < len(every) <= _FEW:
                    continue
                ways = _ways_of_solutions(left, window.index) or _ways_of_values(survey, at, window, left)
                word = "mode" if ways else left.word
                if word not in _MEANS or not (ways or _matters(survey, at, window, word, left)):
                    continue
                alone = _without_mark(on_marks, at, window, left, ways)
                if alone:
                    others = [key for key in every if key not in alone]
                    yield _Change(export, window, name, word, left, alone, others, ways)


def _ways_of_solutions(left: LeftColumn, session: int) -> dict[str, str]:
    """Return by which way of correction each solution in a session is, "" where it does not say; none if by one."""
    if left.word != "solution":
        return {}
    ways = {key: way_of(left.written[key]) for key in left.counts[session]}
    return ways if len({*ways.values()} - {""}) > 1 else {}


def _ways_of_values(survey: Survey, at: int, window: SessionWindow, left: LeftColumn) -> dict[str, str]:
    """Return likewise of a column whose values all say a way, whatever its heading, none where nothing may move.

    One id of a base does not say that all corrections came from it: the controller may go on writing it. A network
    needs no shift, where the session has none.
    """
    if left.word not in _BY_VALUES:
        return {}
    written = {key: left.written[key] for key in left.counts[window.index]}
    ways = {key: way_said(text) for key, text in written.items()}
    if not all(ways.values()) or len({*ways.values()}) < 2 or _of_several_bases(survey, at, window):
        return {}
    if _of_one_id(survey, at, window) and COMPUTED not in ways.values() and only_connections([*written.values()]):
        return {}
    return ways


def _of_several_bases(survey: Survey, at: int, window: SessionWindow) -> bool:
    """Tell whether what changes in a session is told as one of bases, by their ids."""
    beside = (
        left for name, left in survey.first_pass.files[at].left_columns.items() if not left.many and says_base_id(name)
    )
    of_bases = any(left.word == "base" and len(left.counts.get(window.index, ())) > 1 for left in beside)
    return of_bases or len(survey.first_pass.log.sessions[window.index].ids) > 1


def _of_one_id(survey: Survey, at: int, window: SessionWindow) -> bool:
    """Tell whether all readings of a session have the id of one base."""
    return survey.exports[at].points.columns.base is not None and window.session.base is not None


def _matters(survey: Survey, at: int, window: SessionWindow, word: str, left: LeftColumn) -> bool:
    """Tell whether a change of a column in a session is one of a setting, and is not told as one of bases."""
    every = left.counts[window.index]
    if word == "mode" or not is_setting(word, [left.written[key] for key in every]):
        return False
    points = survey.exports[at].points
    if word == "geoid":
        return points.crs is None or parse(points.crs).is_compound  # no geoid is in ellipsoidal heights
    if word == "source":
        known = _of_several_bases(survey, at, window) or _of_one_id(survey, at, window)
        return not known and window.session.shift != "none"
    if word in _OF_ROVERS:
        beside = [one for one in survey.first_pass.files[at].left_columns.values() if not one.many]
        rovers = any(one.word == "rover" and len(one.counts.get(window.index, ())) > 1 for one in beside)
        return not rovers and left.stretches() <= _STRETCHES * len(survey.windows)
    return True


def occupied_with(on_marks: OnMarks, at: int, session: int, left: LeftColumn) -> set[str]:
    """Return the values of a column with which occupations in a session do not fail; "" of those that have none."""
    export, row = (np.asarray(on_marks.table.column(each), np.int64) for each in ("export", "source_row"))
    failing = on_marks.compared.judged & ~on_marks.compared.passed
    return set(left.of_rows(row[(export == at) & (on_marks.session == session) & ~failing]))


def _without_mark(
    on_marks: OnMarks, at: int, window: SessionWindow, left: LeftColumn, ways: dict[str, str]
) -> list[str]:
    """Return the values in a session that no occupation speaks for, by ``ways`` where they are of ways of correction.

    A network's need no occupation where the session has no shift. A heading that says nothing may be of what was
    measured: its values say something of how it was measured only where occupations have them too.
    """
    stood, every = occupied_with(on_marks, at, window.index, left), left.counts[window.index]
    if not ways:
        return [key for key in every if key not in stood]
    proven = {ways.get(key, "") for key in stood}
    if left.word != "solution":
        if window.session.shift == "none":
            proven.add(NETWORK)
        if left.word == VALUES and not _of_occupations(on_marks, at, left):
            return []
    return [key for key, way in ways.items() if way and way not in proven]


def _of_occupations(on_marks: OnMarks, at: int, left: LeftColumn) -> bool:
    """Tell whether occupations of an export have values in a column."""
    table = on_marks.table
    export, row = (np.asarray(table.column(each), np.int64) for each in ("export", "source_row"))
    return any(left.of_rows(row[export == at]))


def _told(change: _Change) -> list[str]:
    """Return the values that are told of: where no occupation speaks for any, all but the one of most readings."""
    counts = change.left.counts[change.window.index]
    return change.alone if change.others else sorted(change.alone, key=lambda key: counts[key])[:-1]


def _first(change: _Change) -> int:
    return min(change.left.row[change.window.index, key] for key in _told(change))


def _sentence(change: _Change) -> str:
    left, alone = change.left, _told(change)
    others = change.others or [key for key in change.alone if key not in alone]
    count = sum(left.counts[change.window.index][key] for key in alone)
    here, elsewhere = (listed([_shown(left.written[key]) for key in keys]) for keys in (alone, others))
    return (
        f'column "{change.name}" says {here} of {counted(count, "reading")} (first one here) and {elsewhere} of the'
        f" others, and no check or tie that passes is among those with {here}: {_MEANS[change.word]}. Find out what was"
        " changed there; if it was, give these readings a session or [[points]] of their own, with a mark occupied"
    )


def _shown(value: str) -> str:
    return value if len(value) <= _SHOWN else f"{value[:_SHOWN]} ..."
