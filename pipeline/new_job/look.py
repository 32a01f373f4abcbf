"""What a file, or one layer of it, looks like: its first rows as one table of texts, and how it is written."""

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Floats
from pipeline.files.angle_parts import AngleParts
from pipeline.files.written_table import by_place
from pipeline.job.model import Columns, Points
from pipeline.new_job.encodings import CodePages
from pipeline.read.raw_batch import Raw

#: Rows and bytes of a file that are looked at to tell what it is, and lines among which its header is looked for.
ROWS, BYTES, LINES = 1000, 256 << 10, 60


class FileLook(Struct, frozen=True):
    """A file, or one layer of it, as far as it was looked at.

    ``columns`` are the texts of the first rows by column, "" where there is none; ``dated`` the columns that hold times
    by their type. ``keys`` are what a job file has to state of how the file is written, ``written`` says it in words;
    ``numbered`` tells that columns go by their numbers, ``two_rows`` that they do as two rows name them together.
    ``crs`` is a layer's own. ``place`` is X, Y, Z (NaN where there is none) of the first rows' geometries, ``no_place``
    why the first has none. ``above`` are the lines above the header, or what a layer or its file says beside the rows,
    ``stands`` where that is. ``signed`` are the numbers of the lines below it
    that begin with the sign of a comment and look like rows. ``pages`` are the code pages that a text may be in that is
    no UTF-8. ``torn`` are the lines of those of the first rows that cannot be taken apart into as many cells as the
    header has, ``fault`` what is wrong with the first of them; ``blanks`` tells that blanks part the columns. ``nuls``
    are the lines of the first rows that hold a NUL. ``joined`` are the angles whose columns of degrees have the minutes
    and seconds of other columns behind them. ``west`` are the headings by whose language the O of its longitudes is
    the west, () where they have no O.
    """

    path: Path
    shown: str
    columns: dict[str, list[str]]
    header_line: int = 1
    keys: dict[str, str | int] = field(default_factory=dict)
    numbered: bool = False
    two_rows: bool = False
    written: str = ""
    layer: str | None = None
    several_layers: bool = False
    crs: str | None = None
    place: tuple[Floats, Floats, Floats] | None = None
    no_place: str = ""
    dated: frozenset[str] = frozenset()
    above: tuple[str, ...] = ()
    stands: str = "above the header"
    signed: tuple[int, ...] = ()
    pages: CodePages | None = None
    torn: tuple[int, ...] = ()
    fault: str = ""
    blanks: bool = False
    nuls: tuple[int, ...] = ()
    joined: tuple[AngleParts, ...] = ()
    west: tuple[str, ...] = ()
    form: str = field(default="text")

    @property
    def names(self) -> tuple[str, ...]:
        """The columns in the file's order."""
        return tuple(self.columns)

    @property
    def by_number(self) -> bool:
        """Whether a job file has to name all columns by their numbers."""
        return self.numbered or self.two_rows

    @property
    def called(self) -> str:
        """The file, with its layer where it has several."""
        return f"{self.shown}, layer {self.layer}" if self.several_layers else self.shown

    @property
    def encoding(self) -> str | None:
        """The encoding that has to be stated."""
        found = self.keys.get("encoding")
        return None if found is None else str(found)

    def named(self, columns: dict[str, str]) -> dict[str, str | int]:
        """Return columns as a job file names them: by their numbers where names do not tell them apart, or are spelt
        in as many ways as there are code pages that the file may be in; and those that the file gives no name.
        """
        spelt = self.pages is not None and len(self.pages.names) > 1  # otherwise in each code page
        return {
            word: self.names.index(name) + 1
            if self.by_number or (spelt and not name.isascii()) or self._nameless(name)
            else name
            for word, name in columns.items()
        }

    def _nameless(self, name: str) -> bool:
        """Tell whether a column of a text or a sheet has nothing where the header names the others."""
        return self.form in ("text", "workbook") and name == by_place(self.names.index(name) + 1)

    def points(self, columns: dict[str, str], **more: str | None) -> Points:
        """Return the block of a job file by which the file is read."""
        mapped = Columns(**self.named(columns))
        stated = {"crs": self.crs, **self.keys, **more}
        layer = {} if self.layer is None else {"layer": self.layer}
        return Points.model_validate({"files": (self.shown,), "columns": mapped, **layer, **stated})


def first_with_rows(batches: Iterator[Raw]) -> Raw | None:
    """Return the first batch that has rows."""
    return next((raw for raw in batches if len(raw.row)), None)


def first_texts(raw: Raw | None, names: tuple[str, ...]) -> dict[str, list[str]]:
    """Return the texts of the first rows by column, of those that the batch has; no texts without a batch."""
    if raw is None:
        return {name: [] for name in names}
    return {name: as_text(raw.columns[name].slice(0, ROWS)) for name in names if name in raw.columns}


def as_text(column: pa.Array) -> list[str]:
    """Return values of any type as texts, "" where there is none."""
    text = column if pa.types.is_string(column.type) else pc.cast(column, pa.string())
    return [value or "" for value in text.to_pylist()]
