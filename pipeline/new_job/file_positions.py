"""Positions of exports and of the register as tables in degrees or in a plane."""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.frames import WGS84, to_geographic
from pipeline.geodesy.registry import crs_kind, northing_first
from pipeline.geodesy.units import METRES
from pipeline.letter_case import folded
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.frames import GridState, own_crs
from pipeline.new_job.grid_fits import FilePositions, in_plane
from pipeline.new_job.headings import rank
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.occupations import Marks
from pipeline.new_job.stated_above import headed
from pipeline.new_job.timed_rows import TimedRows
from pipeline.new_job.values import angles, numbers_of
from pipeline.read.heading_units import metres_in_heading
from pipeline.replace import replace
from pipeline.words import Holds

#: Marks of a register that are read; what one holds that ties position or height alone.
MARKS, _PARTIAL = 50_000, frozenset((Holds.POSITION, Holds.HEIGHT))


class RegisterRead(Struct, frozen=True):
    """A register as far as it is read: its marks' names, where they lie, their heights (NaN where there is none).

    ``partial`` are the names of marks that say that they hold position or height alone, ``texts`` all of its columns.
    """

    found: FileFound
    names: list[str]
    table: FilePositions
    heights: Floats
    partial: frozenset[str] = frozenset()
    texts: Mapping[str, list[str]] = field(default_factory=dict)

    def marks(self, grid: str | None, turned: bool) -> Marks:
        """Return the marks in a grid."""
        given = np.isfinite(self.heights) if np.isfinite(self.heights).any() else np.ones(len(self.names), bool)
        tying = given & np.array([name not in self.partial for name in self.names], bool)
        return Marks(self.names, in_plane(self.table, grid, turned and self.table.turned), tying)


def register_of(found: FileFound) -> RegisterRead:
    """Read a register. Raises `Unusable` and OSError."""
    texts, place = whole(found.look, MARKS)
    columns = found.mapped.columns
    table = _table(found, texts, place)
    name = columns.get("mark", columns.get("name", ""))
    heights = numbers_of(texts[columns["height"]]) if "height" in columns else place[2] if place is not None else None
    count = len(table.first)
    names = texts.get(name, [""] * count)
    holds = [texts[each] for each in found.look.names if rank("holds", each) is not None][:1]
    partial = {one for one, held in zip(names, holds[0], strict=True) if folded(held) in _PARTIAL} if holds else set()
    heights = np.full(count, np.nan) if heights is None else heights
    return RegisterRead(found, names, table, heights, frozenset(partial), texts)


def read_again(register: RegisterRead, found: FileFound) -> RegisterRead:
    """Return a register with its file's columns in plan mapped otherwise."""
    return replace(register, found=found, table=_table(found, dict(register.texts), None))


def sample_of(found: FileFound) -> FilePositions:
    """Return the positions of a file's first rows."""
    return _table(found, found.look.columns, found.look.place)


def geometries_of(found: FileFound) -> FilePositions | None:
    """Return where the geometries of a layer's first rows lie that are in degrees, mapped or not; None without such."""
    look = found.look
    if look.place is None or look.crs is None or crs_kind(look.crs) != "geographic":
        return None
    return FilePositions("degrees", look.place[0], look.place[1], look.crs)


def _table(found: FileFound, texts: dict[str, list[str]], place: tuple[Floats, Floats, Floats] | None) -> FilePositions:
    columns, mapped = found.mapped.columns, found.mapped
    crs, _ = own_crs(found)
    for words in (("longitude", "latitude"), ("easting", "northing")):
        if set(words) <= columns.keys():
            first, second = (_numbers(texts[columns[word]], word, mapped) for word in words)
            return FilePositions(mapped.kind, first, second, crs, mapped.turned)
    if mapped.kind == "geocentric":
        x, y, z = (_numbers(texts[columns[word]], word, mapped) for word in "xyz")
        longitude, latitude, _ = to_geographic(x, y, z, WGS84)
        return FilePositions("degrees", longitude, latitude)
    assert place is not None
    first, second = place[:2]
    if mapped.kind == "plane" and crs is not None and northing_first(crs):
        first, second = second, first
    return FilePositions(mapped.kind, first, second, crs)


def _numbers(texts: Sequence[str], word: str, mapped: Mapped) -> Floats:
    read = None
    if mapped.dms and word in ("longitude", "latitude"):
        read = angles(texts, "EW" if word == "longitude" else "NS")
    read = numbers_of(texts) if read is None else read
    return np.full(len(texts), np.nan) if read is None else read


def tables_of(exports: Sequence[FileFound], found: TimedRows, register: FileFound | None) -> list[FilePositions]:
    """Return the positions of each export's rows, all (n,) long: NaN for the rows of others.

    Those of a plane are in the unit of the register where the headings of both say one, else as the export has them.
    """
    made = []
    for number, one in enumerate(exports):
        mine = found.export == number
        first, second, third = (np.where(mine, values, np.nan) for values in (found.first, found.second, found.third))
        if one.mapped.kind == "geocentric":
            first, second, _ = to_geographic(first, second, third, WGS84)
        elif one.mapped.kind == "plane" and one.look.crs is None:  # they were read as metres by the headings' unit
            unit = (_metre(register) if _metre(one) else None) or METRES[one.mapped.feet or "metre"]
            first, second = first / unit, second / unit
        is_of = "degrees" if one.mapped.kind == "geocentric" else one.mapped.kind
        made.append(FilePositions(is_of, first, second, own_crs(one)[0], one.mapped.turned))
    return made


def _metre(one: FileFound | None) -> float | None:
    """Return the metres in the unit that the headings of a file say of its eastings; None where they say none."""
    if one is None:
        return None
    name = one.mapped.columns.get("easting", "")
    said = metres_in_heading(headed(one.look, name, "easting"))
    return (METRES[one.mapped.feet] if one.mapped.feet else said[0]) if said else None


def moved(tables: Sequence[FilePositions], grid: GridState) -> Flags:
    """Return (n,) to which rows' positions `together` adds the step between datums, which one reading on a mark gave.

    That one falls on its mark to the last digit then, however it was measured.
    """
    found = np.zeros(len(tables[0].first), bool)
    for table in tables:
        if table.kind == "degrees" and grid.step is not None:
            found |= np.isfinite(table.first)
    return found


def together(tables: Sequence[FilePositions], grid: GridState) -> Floats | None:
    """Return (n, 2) positions of all exports' rows in a grid; None where no export's can be told."""
    planes = [in_plane(table, grid.now, grid.turned and table.turned) for table in tables]
    step = np.zeros(2) if grid.step is None else grid.step
    known = [plane + (step if table.kind == "degrees" else 0.0)
             for plane, table in zip(planes, tables, strict=True) if plane is not None]  # fmt: skip
    if not known:
        return None
    found = known[0]
    for plane in known[1:]:
        found = np.where(np.isfinite(found), found, plane)
    return found
