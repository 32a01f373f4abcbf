"""Tells columns of base ids, base positions and solutions that the job file does not map and that say what matters.

A second base within a session, and readings without a fixed solution, are found by columns that are mapped alone. Where
the heading of another column is the usual one of these and its values differ, nothing else would tell them.
"""

from collections import Counter
from collections.abc import Iterator

from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.left_columns import LeftColumn
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.near import and_more
from pipeline.read.columns import lengths_of
from pipeline.read.correction_headings import says_base_id
from pipeline.read.exports import Export
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.solution_words import is_coarse, is_fixed, is_precise
from pipeline.read.yes_no import YES_NO
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Doubt, counted

#: Values within a session beyond which a column holds no base's, but a network's, or something else.
FEW = 5
#: What a position of the base in plan is called.
POSITIONS = ("base_longitude", "base_latitude", "base_easting", "base_northing")
#: Degrees and metres beyond which two positions are at different places in a coordinate, as where they are mapped.
_ELSEWHERE = {"base_longitude": 3e-7, "base_latitude": 3e-7, "base_easting": 0.03, "base_northing": 0.03}
#: Heights beyond which none is of a base's antenna, in feet too.
_MAST = 30.0
#: Values and files that a sentence lists.
_LISTED, _FILES = 6, 3
#: Words that mean no fixed solution among solutions, and many other things in a column that is none.
_COMMON = frozenset(
    ("no", "none", "single", "code", "invalid", "navigation", "navigated", "estimated", "diff", "dr", "unfixed")
)
#: The share of a column's readings whose words are of solutions, at the least, so that it is one of solutions.
_MOSTLY = 0.9
#: Fixed by NMEA 0183, where a column holds figures alone, and what else a rover may say: others are a rating.
_NMEA_FIXED, _NMEA = "4", frozenset("01245")


def unmapped_notes(survey: Survey) -> list[str]:
    """Return in words which columns nobody mapped tell more than one base, or other solutions than fixed ones."""
    return [*_bases(survey), *_antennas(survey), *_solutions(survey)]


def unmapped_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which a column that nobody mapped says plainly that readings are not fixed."""
    found = []
    for export, name, left in _of(survey, "solution"):
        coarse = _coarse(left)
        if not _plainly(left, coarse) or not _unheeded(survey, export, coarse):
            continue
        sessions = tuple(sorted(number for number, counts in left.counts.items() if counts.keys() & coarse.keys()))
        row = min(row for (_, key), row in left.row.items() if key in coarse)
        total = sum(coarse.values())
        what = (
            f'column "{name}" is not mapped, so every row counts as fixed, but it says of'
            f" {counted(total, 'issued reading')} (first one here) that they are not: {_listed(left, _all(left))};"
            f' such readings are decimetres to metres out. Map it: solution = "{name}" in [points.columns], with the'
            " words for fixed in quality.solutions"
        )
        found.append(Doubtful(Doubt.PRECISION, what, sessions, export.shown, row))
    return found


def _solutions(survey: Survey) -> Iterator[str]:
    for export, name, left in _of(survey, "solution"):
        words, coarse = _all(left), _coarse(left)
        if _plainly(left, coarse) and _unheeded(survey, export, coarse):
            continue
        figures = len(words) > 1 and _NMEA_FIXED in words and all(key in _NMEA for key in words)
        clear = any(is_fixed(key) or is_precise(key) for key in words) or not _common(coarse)
        if figures and export.points.columns.solution is None:
            why = "if 4 means fixed, as in NMEA 0183, the others are not"
        elif frozenset(words) in YES_NO and export.points.columns.solution is None:
            why = "if one means fixed, the other is not"
        elif coarse and clear and _accepted(survey, coarse) < len(coarse):
            why = f"that is no fixed solution for {counted(sum(coarse.values()), 'issued reading')}"
        else:
            continue
        yield (
            f'{export.shown}: column "{name}" is not mapped and says {_listed(left, words)}: {why}; map it as solution'
            f' ("{name}" in [points.columns]) if it is one'
        )


def _bases(survey: Survey) -> Iterator[str]:
    for window in survey.windows:
        for found in base_columns(survey, window):
            # what differs from reading to reading is no base's
            few = 1 < len(found.every) <= FEW and found.every.total() >= 2 * len(found.every)
            if few and found.apart():
                yield found.told()
                break


class BaseColumns(Struct, frozen=True):
    """Columns of exports that say one ``word`` of a session's base and are not mapped, and how often each value is."""

    window: SessionWindow
    word: str
    columns: list[tuple[Export, str, LeftColumn]]
    every: Counter[str]

    def apart(self) -> bool:
        """Tell whether two values are of different places, rather than of one that was written with other digits."""
        limit = _ELSEWHERE.get(self.word)
        try:
            numbers = [
                float(key) * self._unit(export)
                for export, _, left in self.columns
                for key in left.counts[self.window.index]
            ]
        except ValueError:
            return True
        return limit is None or max(numbers) - min(numbers) > limit

    def _unit(self, export: Export) -> float:
        """Return in what an export's values count, in the unit of `_ELSEWHERE`: they stand as they were written."""
        return lengths_of(export.points).plan if self.word in ("base_easting", "base_northing") else 1.0

    def told(self) -> str:
        """Return in words which values they have, and what to do about it."""
        session, number = self.window.session.name, self.window.index
        return f"session {session}: {_more_than_one(self.columns, self.word, self.every, number)}"


def base_columns(survey: Survey, window: SessionWindow) -> Iterator[BaseColumns]:
    """Yield those of a session, the ids first; of a network's, whose stations change and share one frame, none."""
    for word in ("base", *POSITIONS) if window.session.shift != "none" else ():
        columns = [
            (export, name, left)
            for export, name, left in _of(survey, word)
            if window.index in left.counts and not _is_mapped(survey, export, name, left, window.index)
        ]
        every: Counter[str] = Counter()
        for _, _, left in columns:
            every.update(left.counts[window.index])
        if columns:
            yield BaseColumns(window, word, columns, every)


def _antennas(survey: Survey) -> Iterator[str]:
    """Yield where heights of the base's antenna change within a session; another export may have its own setting."""
    for export, name, left in _of(survey, "antenna"):
        for window in survey.windows if export.points.columns.antenna_height is None else ():
            every = left.counts.get(window.index, Counter())
            heights = [height for key in every if (height := _height(key)) is not None]
            if not 1 < len(every) == len(heights) <= FEW or every.total() < 2 * len(every):
                continue
            metre = (metres_in_heading(name) or (lengths_of(export.points).other,))[0]
            if (max(heights) - min(heights)) * metre > survey.job.checks.vertical and window.session.shift != "none":
                yield f"session {window.session.name}: {_unequal(export, name, left, window.index)}"


def _unequal(export: Export, name: str, left: LeftColumn, session: int) -> str:
    told = [_seen(export, left, session, key, count) for key, count in left.counts[session].most_common()]
    return (
        f'column "{name}" of {export.shown} is not mapped and has {len(told)} values: {", ".join(told)}. If these are'
        " heights of the base's antenna, it was set up again or one is a wrong entry, and no check with one proves"
        " readings with another: map it as antenna_height in [points.columns], and give each set-up its own session"
    )


def _seen(export: Export, left: LeftColumn, session: int, key: str, count: int) -> str:
    """Return a value of a column in a session with how many readings have it, and where the first stands."""
    return f"{left.written[key]} ({count:,}; first {export.shown}:{left.row[session, key]})"


def _height(text: str) -> float | None:
    """Return a height of an antenna [m or feet], None where a value is none."""
    try:
        height = float(text)
    except ValueError:
        return None
    return height if 0.0 < height < _MAST else None


def _more_than_one(mine: list[tuple[Export, str, LeftColumn]], word: str, every: Counter[str], session: int) -> str:
    names = " and ".join(dict.fromkeys(f'"{name}"' for _, name, _ in mine))
    files = ", ".join([export.shown for export, _, _ in mine][:_FILES]) + and_more(len(mine) - _FILES)
    told = []
    for key, count in every.most_common(_LISTED):
        export, _, left = next(one for one in mine if key in one[2].counts[session])
        told.append(_seen(export, left, session, key, count))
    listed = ", ".join(told) + and_more(len(every) - _LISTED)
    keys = "base" if word == "base" else f"{word} and the other two of the base's position"
    what = "base ids" if word == "base" else "positions of the base"
    return (
        f"column {names} of {files} is not mapped and has {len(every)} values: {listed}. If these are {what},"
        f" no check with one base proves readings with another: map it as {keys} in [points.columns], and give each"
        " base its own session"
    )


def _of(survey: Survey, word: str) -> Iterator[tuple[Export, str, LeftColumn]]:
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for name, left in log.left_columns.items():
            if left.word == word and not left.many and left.counts:
                yield export, name, left


def _is_mapped(survey: Survey, export: Export, name: str, left: LeftColumn, session: int) -> bool:
    """Tell whether the job maps a column that says as much: a base by its position, or by ids that tell as many.

    A column that is mapped as base and has one id all along says nothing where another one changes.
    """
    columns = export.points.columns
    if columns.base_height is not None or left.word != "base" or columns.base is None:
        return columns.base_height is not None
    told = len(survey.first_pass.log.sessions[session].ids) > 1
    return told or len(left.counts[session]) < 2 or not says_base_id(name)


def _unheeded(survey: Survey, export: Export, coarse: Counter[str]) -> bool:
    """Tell whether nobody looked: no column of the export is mapped as solution, and the job accepts no such words."""
    return export.points.columns.solution is None and not _accepted(survey, coarse)


def _accepted(survey: Survey, coarse: Counter[str]) -> int:
    return len({folded(word) for word in survey.job.quality.solutions} & coarse.keys())


def _all(left: LeftColumn) -> Counter[str]:
    every: Counter[str] = Counter()
    for counts in left.counts.values():
        every.update(counts)
    return every


def _coarse(left: LeftColumn) -> Counter[str]:
    return Counter({key: count for key, count in _all(left).items() if is_coarse(key)})


def _plainly(left: LeftColumn, coarse: Counter[str]) -> bool:
    """Tell whether a column is one of solutions beyond doubt, and has such that are not fixed."""
    every = _all(left)
    known = sum(count for key, count in every.items() if key in coarse or is_fixed(key) or is_precise(key))
    plain = bool(coarse) and (not _common(coarse) or (any(map(is_fixed, every)) and set(coarse) != {"no"}))
    return plain and known >= _MOSTLY * sum(every.values())


def _common(coarse: Counter[str]) -> bool:
    """Tell whether all of some words mean other things too."""
    return all("".join(letter for letter in key if letter.isalpha()) in _COMMON for key in coarse)


def _listed(left: LeftColumn, words: Counter[str]) -> str:
    some = [f"{left.written[key]} ({count:,})" for key, count in words.most_common(_LISTED)]
    return ", ".join(some) + and_more(len(words) - _LISTED)
