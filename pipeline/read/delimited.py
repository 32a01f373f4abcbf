"""A delimited text file as batches of text columns, every line of it accounted for."""

from collections.abc import Collection, Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipeline.digest import Sum
from pipeline.limits import UNSPLIT
from pipeline.read.delimited_lines import plain_lines
from pipeline.read.dialect import Dialect
from pipeline.read.findings import Unusable
from pipeline.read.raw_batch import CutRow, Raw
from pipeline.read.records import Records, scan, unmarked
from pipeline.read.text_blocks import CHUNK, blocks
from pipeline.words import counted


def read_delimited(
    path: Path, dialect: Dialect, stated: str | None, chunk: int = CHUNK, seen: Sum | None = None
) -> Iterator[Raw]:
    """Give the file's rows in its order, about ``chunk`` bytes at a time.

    Every line after the header that is not blank and no comment is one row, or part of the quoted cell of the row
    before. ``row`` is the physical line on which the row begins; cells are text without spaces around them, null where
    empty. A line that cannot be taken apart, or whose cells stand in other columns, has only nulls, its ``fault`` and
    itself as ``unsplit``. All bytes that are read are added to ``seen``.
    """
    line, rest, skip, unsplit = 1, b"", dialect.header_line, 0
    at, misplaced = 1, set[int]()
    size = rows = 0
    previous: bytes | None = None
    for block in blocks(path, stated, chunk, seen):
        if skip:
            block, passed = _without_lines(block, skip)
            skip -= passed
            line, at = line + passed, at + passed
        if dialect.places is not None:
            misplaced.update(at + number for number in dialect.places.misplaced(block))
            at += block.count(b"\n")
        block = plain_lines(block, dialect.comment, dialect.blanks)
        if previous is not None:
            records, texts = _taken_apart(rest + previous, line, dialect, misplaced, final=False)
            line, rest = line + records.lines, records.rest
            unsplit = _counted_faults(records, unsplit)
            size, rows = size + len(records.body), rows + len(records.line)
            yield from _batch(records, texts, dialect, max(size, 1) / max(rows, 1))
        previous = block or None
    if rest or previous:
        records, texts = _taken_apart(rest + (previous or b""), line, dialect, misplaced, final=True)
        _counted_faults(records, unsplit)
        size, rows = size + len(records.body), rows + len(records.line)
        yield from _batch(records, texts, dialect, max(size, 1) / max(rows, 1))


def _taken_apart(
    block: bytes, line: int, dialect: Dialect, misplaced: Collection[int], *, final: bool
) -> tuple[Records, list[pa.Array]]:
    """Return a block's records and the cells of the sound ones; a plain block needs no look at every sign of it.

    Cells of lines ``misplaced`` stand in other columns than their own.
    """
    delimiter, columns = dialect.delimiter.encode(), len(dialect.names)
    if (records := unmarked(block, line, delimiter, columns)) is not None:
        with suppress(pa.ArrowInvalid):  # it takes as many cells as there are columns, and nothing else
            texts = _texts(records, dialect)
            if len(texts[0]) == records.lines:  # it passes over an empty line
                return records, texts
    records = scan(block, line, delimiter, columns, final, misplaced)
    return records, _texts(records, dialect)


def _counted_faults(records: Records, before: int) -> int:
    """Return how many rows could not be split so far. Raises `Unusable` where it is no export that has so many."""
    count = before + len(records.unsplit)
    if count > UNSPLIT:
        what = f"more than {counted(UNSPLIT, 'row')} cannot be split into cells, the last: {records.unsplit[-1].told}"
        raise Unusable(int(records.fault_line[-1]), what, "check that it is the right file, and export it again")
    return count


#: White space of ASCII but line ends, as `trimmed` takes it off.
_SPACES = (b" ", b"\t", b"\x0b", b"\x0c", b"\x1c", b"\x1d", b"\x1e", b"\x1f")


def _without_lines(block: bytes, count: int) -> tuple[bytes, int]:
    """Take up to ``count`` lines off the block; also say how many they were."""
    at = 0
    for passed in range(count):
        end = block.find(b"\n", at)
        if end < 0:
            return b"", passed
        at = end + 1
    return block[at:], count


def _batch(records: Records, texts: list[pa.Array], dialect: Dialect, usual: float) -> Iterator[Raw]:
    """Give the records as one batch; a row of the file has ``usual`` bytes so far."""
    if not len(records.line) + len(records.fault_line):
        return
    if not records.unsplit:
        yield Raw(dict(zip(dialect.names, texts, strict=True)), records.line)
        return
    lines = np.concatenate((records.line, records.fault_line))
    order = np.argsort(lines, kind="stable")
    sound = order < len(records.line)
    place = pa.array(order, mask=~sound)
    own = pa.array(order - len(records.line), mask=sound)
    told, shown = zip(*((one.told, one.shown) for one in records.unsplit), strict=True)
    yield Raw(
        {name: pc.take(text, place) for name, text in zip(dialect.names, texts, strict=True)},
        lines[order],
        fault=pc.take(pa.array(told, pa.string()), own),
        unsplit=pc.take(pa.array(shown, pa.string()), own),
        gaps=tuple(
            CutRow(int(line), _gap(one.nuls, usual), gap=True)
            for line, one in zip(records.fault_line, records.unsplit, strict=True)
            if one.nuls
        ),
    )


def _gap(nuls: int, usual: float) -> str:
    """Return what so many bytes of NUL stand for, where a row has ``usual`` bytes."""
    rows = max(round(nuls / usual), 1)
    return f"{counted(nuls, 'byte')} of NUL stand here in place of text, about as many as {counted(rows, 'row')}"


def _texts(records: Records, dialect: Dialect) -> list[pa.Array]:
    """Parse the sound records; the surplus of empty cells at the end of each is left behind."""
    if not records.body:
        return [pa.array([], pa.string()) for _ in dialect.names]
    names = [str(place) for place in range(records.width)]
    table = pyarrow.csv.read_csv(
        pa.BufferReader(records.body),
        pyarrow.csv.ReadOptions(use_threads=False, block_size=len(records.body) + 1, column_names=names),
        pyarrow.csv.ParseOptions(delimiter=dialect.delimiter, newlines_in_values=records.several_lines),
        pyarrow.csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()),
            include_columns=names[: len(dialect.names)],
            strings_can_be_null=True,
            null_values=[""],
        ),
    )
    texts = [column.combine_chunks() for column in table.columns]
    return [trimmed(text) for text in texts] if _may_have_spaces(records, dialect.delimiter) else texts


def _may_have_spaces(records: Records, delimiter: str) -> bool:
    """Whether any cell may have white space around it: only a quoted one may have line feeds, or the delimiter."""
    body = records.body
    several = records.several_lines or (delimiter == "\t" and b'"' in body)
    return several or not body.isascii() or any(sign in body for sign in _SPACES if sign != delimiter.encode())


def trimmed(text: pa.Array) -> pa.Array:
    """Take the white space around every text off; null where nothing is left; lines within one end in a line feed."""
    if pc.any(pc.match_substring(text, "\r")).as_py():  # never of a text file, whose blocks have none
        text = pc.replace_substring_regex(text, "\r\n?", "\n")
    text = pc.utf8_trim_whitespace(text)
    empty = pc.equal(text, "")
    return pc.if_else(empty, pa.scalar(None, pa.string()), text) if pc.any(empty).as_py() else text
