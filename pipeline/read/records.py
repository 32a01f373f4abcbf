"""Splits blocks of lines into records: the sound ones, the faulty ones with their faults, and line numbers.

A record is one physical line; only a quoted cell may carry it over further lines. A quote counts where it opens a cell;
inside an unquoted cell (12.3" as seconds of arc) it is text. A quoted cell that does not end before its delimiter, or
never ends, spoils its own line and no other.
"""

import re
from collections.abc import Collection, Set
from functools import cache

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.read.findings import SHOWN
from pipeline.replace import replace
from pipeline.words import counted

_NEWLINE, _QUOTE, _SPACE, _TAB = b"\n"[0], b'"'[0], b" "[0], b"\t"[0]

#: Beyond these a quote that opens a cell is a stray one, not the beginning of a long note.
_CELL_LINES_MAX, _CELL_BYTES_MAX, _QUOTE_TRIES_MAX = 1000, 1 << 20, 20

#: A cell that is a number, and how many of them a line has that is like a row: a position is two.
_NUMBER, _NUMBERS = re.compile(rb"\s*[-+]?\d+([.,]\d+)?\s*\Z"), 2

#: NUL bytes in a row from which they are no part of a cell but what is left of rows: in a line, at a file's end within
#: a row, and there behind the end of the last row: fewer may fill up a sector of a disk.
_LOST, _LOST_AT_END, _LOST_BEHIND = 32, 8, 512
#: What may stand behind the last row of a whole file: the sign for a text's end, line ends.
_BEHIND = b"\0\x1a\r\n"
_NULS = re.compile(rb"\0+")

#: Empty cells behind the header's that are taken apart with all others; each costs as much as a column.
_MOST_SURPLUS = 100


#: What is wrong with a row whose cells stand in other columns, by their places on the line.
MISPLACED = "by their places on the line its cells stand in other columns: one is empty, and a blank parts another"


class Unsplit(Struct, frozen=True):
    """A record that cannot be taken apart: what is wrong with it, and its beginning as it is ``shown``.

    ``nuls`` is how many bytes of NUL stand in it in a row, where they are too many for a cell.
    """

    what: str
    shown: str
    nuls: int = 0

    @property
    def told(self) -> str:
        """Return both in words."""
        return f'{self.what}: "{self.shown}"'


class Records(Struct, frozen=True):
    """One block's records: the sound ones as CSV of ``width`` cells each, the others with what is wrong.

    ``rest`` is the unread end of the block, a record that goes on in the next one; ``lines`` were used up.
    """

    body: bytes
    width: int
    several_lines: bool
    line: Integers
    fault_line: Integers
    unsplit: list[Unsplit]
    lines: int
    rest: bytes


class Stray(Exception):
    """A quote that opens a cell and does not close it before the delimiter."""


class Unclosed(Exception):
    """A quote that opens a cell and is not closed at all."""


@cache
def _patterns(delimiter: bytes) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
    spaces = b"[%s]*" % b" \t".replace(delimiter, b"")
    return re.compile(spaces + b'"'), re.compile(spaces + rb'"((?:[^"]|"")*+)"' + spaces)


def cells(record: bytes, delimiter: bytes) -> list[bytes]:
    """Split one record into its cells, quotes and the spaces around quoted cells taken off.

    Raises `Stray` or `Unclosed`.
    """
    if b'"' not in record:
        return record.split(delimiter)
    opening, cell = _patterns(delimiter)
    found: list[bytes] = []
    at = 0
    while True:
        if opening.match(record, at):
            match = cell.match(record, at)
            if match is None:
                raise Unclosed
            end = match.end()
            if end < len(record) and not record.startswith(delimiter, end):
                raise Stray
            found.append(match[1].replace(b'""', b'"'))
        else:
            end = record.find(delimiter, at)
            end = len(record) if end < 0 else end
            found.append(record[at:end])
        if end >= len(record):
            return found
        at = end + 1


def unmarked(block: bytes, first_line: int, delimiter: bytes, columns: int) -> Records | None:
    """Return the lines of ``block`` as records if each is as wide as the header; None where a sign makes more of one.

    Of several columns no line that is empty, or has nothing but space, is as wide, unless space delimits them.
    """
    if columns == 1 or delimiter.isspace() or b'"' in block or b"\0" in block:
        return None
    lines, none = block.count(b"\n"), np.zeros(0, np.int64)
    return Records(block, columns, False, first_line + np.arange(lines), none, [], lines, b"")


def scan(
    block: bytes, first_line: int, delimiter: bytes, columns: int, final: bool, misplaced: Collection[int] = ()
) -> Records:
    """Sort the lines of ``block`` (ends in a line feed; its first line is number ``first_line``) into records.

    ``final`` says that no further block comes. Rows may end in further cells if these are empty. Lines with the numbers
    ``misplaced`` have cells that stand in other columns than their own.
    """
    numbers = {line - first_line for line in misplaced}
    return _Scan(block, delimiter, columns, numbers).records(first_line, final)


class _Scan:
    """The lines of one block; sound ones are found by array operations, the others looked at one by one."""

    def __init__(self, block: bytes, delimiter: bytes, columns: int, misplaced: Set[int]) -> None:
        self.block, self.delimiter, self.columns, self.misplaced = block, delimiter, columns, misplaced
        self.bytes = np.frombuffer(block, dtype=np.uint8)
        self.ends = np.flatnonzero(self.bytes == _NEWLINE)
        self.starts = np.concatenate(([0], self.ends[:-1] + 1))
        self.delimiters = np.flatnonzero(self.bytes == delimiter[0])
        self.before = np.searchsorted(self.delimiters, self.ends)
        self.count = np.diff(self.before, prepend=0) + 1
        self.plain: Flags = np.ones(len(self.ends), dtype=bool)
        if b'"' in block:
            self._look_at_quotes()
        if b"\0" in block:
            self.plain[np.searchsorted(self.ends, np.flatnonzero(self.bytes == 0))] = False
        self.plain[[line for line in misplaced if 0 <= line < len(self.ends)]] = False
        self.blank = self._blank()

    def _blank(self) -> Flags:
        blank: Flags = self.ends == self.starts
        first = self.bytes[self.starts]
        if ((first == _SPACE) | (first == _TAB)).any():
            marks = np.flatnonzero((self.bytes != _SPACE) & (self.bytes != _TAB) & (self.bytes != _NEWLINE))
            blank = np.searchsorted(marks, self.ends) == np.searchsorted(marks, self.starts)
        return blank

    def _look_at_quotes(self) -> None:
        """Take the delimiters inside quoted cells out of the counts; mark lines whose quotes are not clear."""
        lines = len(self.ends)
        at = np.flatnonzero(self.bytes == _QUOTE)
        until = np.searchsorted(at, self.ends)
        quotes = np.diff(until, prepend=0)
        line = np.repeat(np.arange(lines), quotes)
        left = np.where(at == self.starts[line], _NEWLINE, self.bytes[at - 1])
        right = self.bytes[at + 1]  # there is always one: the block ends in a line feed
        delimiter = self.delimiter[0]
        opens = (left == delimiter) | (left == _NEWLINE)
        literal = np.bincount(line, (opens | (left == _SPACE) | (left == _TAB)), lines) == 0
        even = (np.arange(len(at)) - np.repeat(until - quotes, quotes)) % 2 == 0
        sound = np.where(even, opens | (left == _QUOTE), (right == delimiter) | (right == _NEWLINE) | (right == _QUOTE))
        paired = (np.bincount(line, ~sound, lines) == 0) & (quotes % 2 == 0)
        self.plain = literal | paired
        inside = (paired & ~literal)[line]
        passed = np.cumsum(self.bytes == delimiter, dtype=np.int64)[at[inside]]
        self.count = self.count - np.bincount(line[inside][1::2], passed[1::2] - passed[::2], lines).astype(np.int64)

    def _width(self, plain: Flags) -> int:
        """Return the one number of cells that all plain lines have, if the surplus is empty; else the header's."""
        counts = self.count[plain]
        width = int(counts[0]) if len(counts) else self.columns
        surplus = width - self.columns
        if not 0 < surplus <= _MOST_SURPLUS or (counts != width).any():
            return self.columns
        last = np.searchsorted(self.delimiters, self.ends[plain] - surplus)
        return width if (self.before[plain] - last == surplus).all() else self.columns

    def records(self, first_line: int, final: bool) -> Records:
        plain = self.plain & ~self.blank
        width = self._width(plain)
        sound = plain & (self.count == width)
        whole = sound.copy()  # lines handed on as they are
        rewritten: dict[int, bytes] = {}
        faults: dict[int, Unsplit] = {}
        lines, several, after = len(self.ends), False, 0
        for index in np.flatnonzero(~sound & ~self.blank).tolist():
            if index < after:
                continue
            last, outcome = self._look(index, final)
            if last < 0:
                lines = index
                break
            if isinstance(outcome, Unsplit):
                faults[index] = outcome
                continue
            padded = outcome + [b""] * (width - len(outcome))
            rewritten[index] = self.delimiter.join(b'"%s"' % cell.replace(b'"', b'""') for cell in padded) + b"\n"
            sound[index + 1 : last + 1] = whole[index + 1 : last + 1] = False
            sound[index] = True
            several |= last > index
            after = last + 1
        sound[lines:] = whole[lines:] = False
        return Records(
            body=self._body(whole, rewritten),
            width=width,
            several_lines=several,
            line=first_line + np.flatnonzero(sound),
            fault_line=first_line + np.fromiter(faults, dtype=np.int64, count=len(faults)),
            unsplit=list(faults.values()),
            lines=lines,
            rest=self.block[self.starts[lines] :] if lines < len(self.ends) else b"",
        )

    def _look(self, index: int, final: bool) -> tuple[int, list[bytes] | Unsplit]:
        """Read the record that begins at line ``index``: its last line and its cells, or what is wrong with it.

        A last line of -1 says that the record may go on in the next block.
        """
        start, end = int(self.starts[index]), int(self.ends[index])
        record = self.block[start:end]
        if index in self.misplaced:
            return index, self._fault(MISPLACED, record)
        if b"\0" in record:
            return index, replace(self._fault("a NUL byte", record), nuls=self._lost(record, index, final))
        try:
            found = self._fitting(cells(record, self.delimiter))
        except Stray:
            return index, self._fault("a stray quote in a cell", record)
        except Unclosed:
            return self._join(index, record, final)
        if isinstance(found, int):
            return index, self._fault(f"{counted(found, 'cell')} where the header names {self.columns}", record)
        return index, found

    def _lost(self, record: bytes, index: int, final: bool) -> int:
        """Return how many bytes of NUL in a row stand in place of rows, as a card or a copy that failed leaves them."""
        longest = max(map(len, _NULS.findall(record)))
        least = _LOST
        if final and index == len(self.ends) - 1 and record.endswith(b"\0"):
            least = _LOST_AT_END if record.strip(_BEHIND) else _LOST_BEHIND
        return longest if longest >= least else 0

    def _fitting(self, found: list[bytes]) -> list[bytes] | int:
        """Return the header's number of cells, the empty surplus cut off, or how many cells there are instead."""
        surplus = found[self.columns :]
        if len(found) < self.columns or any(cell.strip() for cell in surplus):
            return len(found)
        return found[: self.columns]

    def _join(self, index: int, record: bytes, final: bool) -> tuple[int, list[bytes] | Unsplit]:
        """Look for the line on which the quoted cell that line ``index`` leaves open is closed."""
        start, tries = int(self.starts[index]), 0
        fault = self._fault("a quote that is not closed", record)
        for last in range(index + 1, min(len(self.ends), index + _CELL_LINES_MAX)):
            end = int(self.ends[last])
            if self.block.find(b'"', int(self.starts[last]), end) < 0:
                continue
            tries += 1
            if tries > _QUOTE_TRIES_MAX or end - start > _CELL_BYTES_MAX:
                return index, fault
            try:
                found = self._fitting(cells(self.block[start:end], self.delimiter))
            except Stray:
                return index, fault
            except Unclosed:
                continue
            if isinstance(found, int) or b"\0" in self.block[start:end] or self._swallowed(index, last, found):
                return index, fault
            return last, found
        given_up = len(self.ends) >= index + _CELL_LINES_MAX or len(self.block) - start > _CELL_BYTES_MAX
        return (index if final or given_up else -1), fault

    def _swallowed(self, index: int, last: int, found: list[bytes]) -> bool:
        """Whether other rows are in the record of lines ``index`` to ``last``: all these are like one, or one within.

        A quote that stands for "as above", or for inches, opens a cell that another such sign closes rows later.
        """
        lines = [self.block[self.starts[line] : self.ends[line]] for line in range(index, last + 1)]
        within = (line for cell in found for line in cell.split(b"\n")[1:])
        return all(map(self._like_a_row, lines)) or any(map(self._like_a_row, within))

    def _like_a_row(self, line: bytes) -> bool:
        row = line.split(self.delimiter)
        return len(row) >= self.columns > 1 and sum(map(bool, map(_NUMBER.match, row))) >= _NUMBERS

    @staticmethod
    def _fault(what: str, record: bytes) -> Unsplit:
        text = record.decode("utf-8", errors="replace").replace("\0", "␀")
        return Unsplit(what, f"{text[:SHOWN]}{'…' if len(text) > SHOWN else ''}")

    def _body(self, whole: Flags, rewritten: dict[int, bytes]) -> bytes:
        """Put the sound records together, runs of untouched lines as one piece each."""
        if whole.all():
            return self.block
        edges = np.flatnonzero(np.diff(whole, prepend=False, append=False))
        pieces = {
            int(first): self.block[self.starts[first] : self.ends[last - 1] + 1]
            for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        }
        pieces.update(rewritten)
        return b"".join(pieces[index] for index in sorted(pieces))
