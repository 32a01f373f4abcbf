"""The points of each code as a layer of their own, set aside on disk while the layer of all points is written."""

import re
import tempfile
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.issue.formats.names import cleaned, told_apart
from pipeline.issue.geopackage.write import LayerSource

#: Codes that may be layers of a GeoPackage. GDAL opens a file anew for each layer and lists all that are there, so that
#: the time grows with the square of them: 100 layers take some 20 s to write and read back, 200 four times that.
MOST_CODES = 200

#: Rows of such a layer that fiona reads one by one; all geometries are compared in any case.
KEPT = 64

_UNWANTED = re.compile(r"[^\w-]+")
_LONGEST = 50
_NO_CODE = "no_code"


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

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
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

    def layers(self, description: str) -> Iterator[tuple[str, LayerSource]]:
        """Yield each code, in order, with its layer, once all batches are taken; names are told apart."""
        self._writer.close()
        self._file.seek(0)
        pieces = pa.ipc.open_file(self._file)
        codes = sorted(self._pieces, key=lambda code: (not code, code.casefold(), code))
        names = told_apart(f"points_{cleaned(code, _UNWANTED, _LONGEST).strip('_-') or _NO_CODE}" for code in codes)
        for code, name in zip(codes, names, strict=True):
            batches = (pieces.get_batch(number) for number in self._pieces[code])
            shown = cleaned(code, re.compile(r"[;]"), _LONGEST) or "none"
            yield code, LayerSource(name, self._schema, batches, f"code {shown}; {description}", kept=KEPT)
