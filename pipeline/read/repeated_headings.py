"""Detects a heading repeated among the rows, as in combined exports, that differs from the first one."""

import re
from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.job.model import Points
from pipeline.near import plain
from pipeline.read.columns import ReadingPlan
from pipeline.read.findings import Unusable
from pipeline.read.heading_units import unit_in_heading
from pipeline.read.headings import check_units_row
from pipeline.read.mapping import mapped, position_of, time_of
from pipeline.read.raw_batch import Raw
from pipeline.tables import flags_of

#: So many of a row's times and parts of a position are words where it is a heading, and so many of these are known.
_WORDS_MIN, _KNOWN_MIN = 3, 2
#: A letter before any figure: what no plain number begins with.
_WORD = r"^[^0-9]*\p{L}"
#: One, or signs alone, as a row of units has where there is none.
_NO_FIGURE = r"^[^0-9]*(?:\p{L}|$)"
#: How nearly all numbers and times begin, which is told in a seventh of the time.
_PLAINLY = r"^[-+., ]*[0-9]"
_FIGURE = re.compile(r"[+-]?\d+([.,:]\d+)*")
NOT_AS_ABOVE = "the column names are repeated here, but not as above"
SPLIT = (
    "split the file above this line and map each part in its own [[points]], or export it all with one heading;"
    " delete the line if it is not a heading"
)


class Heading(Struct, frozen=True):
    """The names of a file's columns in order, None where no line names them, and the mapped ones by our words.

    ``places`` are those of the mapped columns, counted from 0. ``words`` are those of the position and the time:
    numbers and times, whose cells are words in a heading alone.
    """

    names: tuple[str, ...] | None
    columns: dict[str, str]
    places: dict[str, int]
    words: tuple[str, ...]

    def differs(self, cells: Sequence[str]) -> str | None:
        """Say what of the mapped columns stands otherwise in a heading with these cells; None where nothing does."""
        there = [plain(cell) for cell in cells]
        told: list[str] = []
        for word, name in self.columns.items():
            place = self.places[word]
            cell = there[place] if place < len(there) else ""
            if cell in _spelt(name, place + 1):
                continue
            stands = f'"{cells[place].strip()}" is' if cell else "there is no name"
            now = f", which is in column {there.index(plain(name)) + 1} here" if plain(name) in there else ""
            told.append(f'{stands} in column {place + 1}, which is read as {word} under the name "{name}"{now}')
        return "; ".join(told) or None

    def is_known(self, cells: Sequence[str]) -> bool:
        """Tell whether cells name every mapped column, in whatever order and unit."""
        there = set(map(_stem, cells))
        return all(_stem(name) in there for name in self.columns.values())


def heading_of(points: Points, names: Sequence[str]) -> Heading:
    """Return the heading of a file with columns ``names``, which ``points`` maps by the names in the file."""
    columns = mapped(points.columns)
    times = [word for pair in time_of(points).values() for word in pair] or ["time"]
    words = dict.fromkeys((*position_of(points.columns).words[::-1], *times))
    places = {word: list(names).index(name) for word, name in columns.items()}
    told = None if points.header == 0 else tuple(names)
    return Heading(told, columns, places, tuple(word for word in words if word in columns))


def with_one_heading(how: ReadingPlan, batches: Iterator[Raw]) -> Iterator[Raw]:
    """Give the rows again. Raises `Unusable` where rows stand below a heading, or units, by which they are not read.

    A heading that is the first one again, blanks and case aside, is left alone: it is counted as no reading.
    """
    first = heading_of(how.points, how.headings)
    again: Unusable | None = None
    begun = False  # whether rows have numbers: in what stands above them all, headings may have several lines
    for raw in batches:
        found = _candidates(raw, first)
        filled = _filled(raw, first) if found or again is not None or not begun else None
        if filled is not None and again is not None and filled.any():
            raise again
        for row in found:
            assert filled is not None
            what, first = _otherwise(raw, row, first, how, begun or bool(filled[:row].any()))
            if what is None:
                continue
            again = Unusable(int(raw.row[row]), f"{NOT_AS_ABOVE}: {what}", SPLIT)
            if filled[row:].any():
                raise again
        begun = begun or (filled is not None and bool(filled.any()))
        yield raw


def _otherwise(raw: Raw, row: int, first: Heading, how: ReadingPlan, begun: bool) -> tuple[str | None, Heading]:
    """Say how a row that may be a heading differs from the first; also give the heading to hold further ones against.

    Where no line names the columns that is the first such row. Raises `Unusable` where a row of units says others.
    """
    if raw.unsplit is not None and _torn(raw.unsplit[row].as_py(), first):
        assert raw.fault is not None
        return raw.fault[row].as_py(), first
    cells = [str(column[row].as_py() or "") for column in raw.columns.values()]
    at = {word: cells[place] for word, place in first.places.items()}
    check_units_row(how.points, how.lengths, how.small, at, int(raw.row[row]))
    words = [at[word] for word in first.words]
    apart = all(words) and len(set(map(plain, words))) == len(words)  # "no fix" stands in all of them
    other = apart and not any(map(str.isdecimal, "".join(words)))
    if first.names is None:
        columns = {word: at[word] or name for word, name in first.columns.items()}
        return None, (Heading(tuple(cells), columns, first.places, first.words) if other else first)
    known = set(map(_stem, first.names)).intersection(map(_stem, filter(None, words)))
    if len(known) < _KNOWN_MIN and not (other and begun):
        return None, first
    return first.differs(cells), first


def _candidates(raw: Raw, first: Heading) -> list[int]:
    """Return the rows whose times and parts of a position are words, as far as there is anything, and torn headings."""
    texts = [raw.columns[list(raw.columns)[first.places[word]]] for word in first.words]
    found: Flags = np.zeros(len(raw.row), dtype=bool)
    if len(texts) >= _WORDS_MIN and all(pa.types.is_string(text.type) for text in texts):
        found[:] = True
        count = np.zeros(len(raw.row), dtype=np.int64)
        for text in texts:
            found &= _words(text)
            if not found.any():
                break
            word = pc.match_substring_regex(text, _WORD)
            count += flags_of(word)
        found &= count >= _WORDS_MIN
    if raw.unsplit is not None:
        for row in np.flatnonzero(raw.unsplit.is_valid().to_numpy(zero_copy_only=False)).tolist():
            found[row] |= _torn(raw.unsplit[row].as_py(), first)
    return np.flatnonzero(found).tolist()


def _torn(line: str | None, first: Heading) -> bool:
    """Tell whether a line that has not as many cells as the heading is one all the same; None is no such line."""
    if line is None:
        return False
    cells = [cell.strip(' "') for cell in re.split(r"[,;\t|]", line)]
    wanted = {_stem(name) for name in first.columns.values()}
    return len(wanted.intersection(map(_stem, cells))) >= _WORDS_MIN and not any(map(_FIGURE.fullmatch, cells))


def _filled(raw: Raw, first: Heading) -> Flags:
    """Return the rows that have at least two numbers or times where the position and the time are to be."""
    count = np.zeros(len(raw.row), dtype=np.int64)
    for word in first.words:
        cells = raw.columns[list(raw.columns)[first.places[word]]]
        there = cells.is_valid().to_numpy(zero_copy_only=False)
        count += there & ~_words(cells) if pa.types.is_string(cells.type) else there
    return count >= _KNOWN_MIN


def _words(texts: pa.Array) -> Flags:
    """Return (n,) which cells have a letter before any figure, or nothing but signs; null is such a cell."""
    found = ~flags_of(pc.match_substring_regex(texts, _PLAINLY))
    if found.any():
        others = texts.filter(pa.array(found))
        found[found] = pc.fill_null(pc.match_substring_regex(others, _NO_FIGURE), True).to_numpy(zero_copy_only=False)
    return found


def _stem(name: str) -> str:
    """Return a name without a unit behind it, as names are compared."""
    return plain(re.sub(r"\s*[\[({<][^\])}>]*[\])}>]\s*$", "", name) if unit_in_heading(name) else name)


def _spelt(name: str, place: int) -> set[str]:
    """Return what the cell of a column may say: names that come twice are told apart by a number, others have none."""
    return {plain(name), plain(re.sub(r"_\d+$", "", name)), *([""] if name == f"column_{place}" else [])}
