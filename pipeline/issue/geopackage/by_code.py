"""The points of each code as a layer of their own, set aside on disk while the layer of all points is written."""

import re
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Self

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.issue.formats.layer_names import cleaned, signs_in_words
from pipeline.issue.former_names import layer_names
from pipeline.issue.geopackage.layer_source import LayerSource

#: Codes that may be layers of a GeoPackage. Writing takes some 30 ms for each; but what opens the file looks up each
#: layer among all, and so many codes are names of points mostly.
MOST_CODES = 2_000

#: Rows of such a layer that fiona reads one by one; all geometries are compared in any case.
KEPT = 64

#: Rows that are given together: a code has a few in each batch that came.
_TOGETHER = 16_384

_UNWANTED = re.compile(r"[^\w-]+")
#: Stands between a code and the rest of what a layer says of itself.
_SEPARATOR = re.compile(";")
_LONGEST = 50
_NO_CODE = "no_code"
#: The layer of all points.
_LIKE = "points"


class ByCode:
    """Takes the batches of ``points`` and gives them back code by code, each code's rows in their order.

    On disk it keeps what it takes; in memory a number per batch and code. Points without a code are one of them, "".
    ``named`` gives the code that a text stands for: of strings without their numbers and words.
    """

    def __init__(self, schema: pa.Schema, named: Callable[[str], str] = str) -> None:
        self._named = named
        self._file = tempfile.TemporaryFile()  # noqa: SIM115  (closed on leaving)
        self._writer = pa.ipc.new_file(self._file, schema)
        self._schema = schema
        self._pieces: dict[str, list[int]] = {}
        self._written = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        self._file.close()

    def add(self, batch: pa.RecordBatch) -> None:
        """Take in the next rows. Raises OSError."""
        coded = pc.fill_null(batch.column("code"), "").dictionary_encode()
        named = [self._named(text) for text in coded.dictionary.to_pylist()]
        codes = {code: number for number, code in enumerate(dict.fromkeys(named))}
        numbers = np.array([codes[code] for code in named], np.int64)[coded.indices.to_numpy()]
        order = np.argsort(numbers, kind="stable")
        ends = np.cumsum(np.bincount(numbers, minlength=len(codes))).tolist()
        sorted_rows, start = batch.take(pa.array(order)), 0
        for code, end in zip(codes, ends, strict=True):
            self._writer.write_batch(sorted_rows.slice(start, end - start))
            self._pieces.setdefault(code, []).append(self._written)
            self._written, start = self._written + 1, end

    def layers(
        self, description: str, former: Mapping[str, str] = MappingProxyType({})
    ) -> Iterator[tuple[str, LayerSource]]:
        """Yield each code, in order, with its layer, once all batches are taken.

        Names are told apart; a code that had a layer in an issue before, as ``former`` says, keeps its name. That of
        the points without a code goes to no code, also where there are none yet. Codes of signs alone are named last,
        by what the signs are called: "+" takes no name from a code "plus".
        """
        self._writer.close()
        self._file.seek(0)
        pieces = pa.ipc.open_file(self._file)
        codes = sorted(self._pieces, key=lambda code: (not code, code.casefold(), code))
        wanted = ["", *sorted(filter(None, codes), key=lambda code: not _stem(code))]
        names = dict(zip(wanted, layer_names({code: _name(code) for code in wanted}, former), strict=True))
        for code in codes:
            batches = _together(map(pieces.get_batch, self._pieces[code]))
            shown = cleaned(code, _SEPARATOR, _LONGEST) or "none"
            described = f"code {shown}; {description}"
            yield code, LayerSource(names[code], self._schema, batches, described, kept=KEPT, like=_LIKE)


def _name(code: str) -> str:
    return f"points_{_stem(code) or signs_in_words(code, _LONGEST) or _NO_CODE}"


def _stem(code: str) -> str:
    """Return what is left of a code as a part of a name: nothing of one of signs alone."""
    return cleaned(code, _UNWANTED, _LONGEST).strip("_-")


def _together(pieces: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Yield the same rows in fewer batches."""
    waiting, rows = list[pa.RecordBatch](), 0
    for piece in pieces:
        waiting.append(piece)
        rows += piece.num_rows
        if rows >= _TOGETHER:
            yield from pa.Table.from_batches(waiting).combine_chunks().to_batches()
            waiting, rows = [], 0
    if waiting:
        yield from pa.Table.from_batches(waiting).combine_chunks().to_batches()
