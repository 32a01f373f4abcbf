"""Says which tables beside the register have its marks with other coordinates: it, or they, may be out of date.

Where a job file of the same folder names such a table, it is that job's; one that is of an earlier year by its name, or
that is called old, is what a revision left behind. Looked at are texts, workbooks, GeoPackages and GeoJSON files.
"""

import os
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.control import Register, RegisterFrame, read_register
from pipeline.control.register_rows import POSITION
from pipeline.control.table_form import Form
from pipeline.examine.unread_beside import files_beside, is_one_of, named_by_jobs
from pipeline.files.called_old import is_called_old
from pipeline.files.regular_files import check_regular
from pipeline.files.table_text import decode, read_bytes
from pipeline.files.workbook import WORKBOOKS
from pipeline.files.written_table import by_place
from pipeline.geodesy.own_places import lonlat
from pipeline.geodesy.units import lengths
from pipeline.intake.prepare import Prepared
from pipeline.letter_case import folded
from pipeline.near import and_more, listed, plain
from pipeline.problems import Problems
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.sphere import DEGREE
from pipeline.visible import one_line
from pipeline.words import counted, plural

#: Tables that are read, bytes up to which one is, and those that are told. Ours, no source.
_READ, _BYTES, _TOLD = 20, 1 << 20, 3
#: The same of workbooks, which are compressed and cost more; a register of thousands of marks has so many bytes.
_BOOKS, _BYTES_OF_BOOK = 5, 1 << 18
#: Marks with other coordinates from which on a table is another state of the register; a slip is of one or two.
_SEVERAL = 3
#: Characters in which a table's header is.
_HEAD = 1 << 16
#: Metres: half of them differ by less, else the table counts in another system, or has other marks of those names.
_NEAR = 1.0
#: Columns of what was measured: such a table has readings on the marks. Also of what an issue says of them.
_MEASURED = frozenset({"time", "observed", "date_time", "session", "role", "point"})
_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")


def register_beside_notes(prepared: Prepared) -> Iterator[str]:
    """Yield which tables in the register's folder have three of its marks, or more, with other coordinates."""
    loaded, control, register = prepared.loaded, prepared.loaded.job.control, prepared.register
    if control is None or register is None or len(register.names) < _SEVERAL:
        return
    found = [
        (path, *differs)
        for path in _tables(control.file, {os.path.realpath(export.path) for export in prepared.exports})
        if _may_be_one(path, prepared) and (differs := _compared(prepared, register, path)) is not None
    ]
    named = named_by_jobs(loaded.path, control.file.parent) if found else None
    if named is None:
        return
    told = [one for one in found if not is_one_of(one[0], named)]
    for path, marks, most in told[:_TOLD]:
        file, line = loaded.recorded_at("control", "file")
        yield (
            f"{file}:{line}: {one_line(path.name)} beside {one_line(control.file.name)} has"
            f" {counted(len(marks), 'mark')} of it ({listed(map(one_line, marks[:_SEVERAL]))}"
            f"{and_more(len(marks) - _SEVERAL)}) with other coordinates, by up to {most:.3f} m: make sure that"
            f" {one_line(control.file.name)} is the newer one"
        )
    if len(told) > _TOLD:
        more = len(told) - _TOLD
        yield f"{more} more {plural(more, 'table', 'tables')} beside the register {plural(more, 'has', 'have')} so too"


def _tables(register: Path, exports: set[str]) -> list[Path]:
    """Return the files beside a register that may be one; what cannot be looked at is left out."""
    kept, year = list[Path](), _year(register)
    for path in files_beside(
        register.parent, (*TEXT, *PACKAGE, *JSON, *WORKBOOKS), {os.path.realpath(register), *exports}
    ):
        earlier = year is not None and (other := _year(path)) is not None and other < year
        if earlier or is_called_old(path.stem):
            continue
        with suppress(OSError, ValueError):
            check_regular(path)
            if path.stat().st_size <= (_BYTES_OF_BOOK if _is_book(path) else _BYTES):
                kept.append(path)
    books = [path for path in kept if _is_book(path)][_BOOKS:]
    return [path for path in kept if path not in books][:_READ]


def _is_book(path: Path) -> bool:
    return folded(path.name).endswith(WORKBOOKS)


def _year(path: Path) -> int | None:
    """Return the last year that a file's name has."""
    years = _YEAR.findall(path.stem)
    return int(years[-1]) if years else None


def _may_be_one(path: Path, prepared: Prepared) -> bool:
    """Tell whether a text has the names of the register's columns, and of some of its marks: few exports do.

    A table is taken apart to be read, which costs far more. Of what is no text nothing else tells it.
    """
    if not folded(path.name).endswith((*TEXT, *JSON)):
        return True
    control, register = prepared.loaded.job.control, prepared.register
    assert control is not None and register is not None
    data = read_bytes(path, path.name, Problems())
    text = None if data is None else decode(data, path.name, Problems(), control.encoding)
    if text is None or sum(name in text for name in register.names) < _SEVERAL:
        return False
    if folded(path.name).endswith(JSON):  # its geometry may stand for columns
        return True
    form, head = Form.from_control(control), plain(text[:_HEAD])
    called = {form.named.get(column, column) for column in ("mark", *POSITION[register.kind])}
    return all(plain(name) in head for name in called - set(map(by_place, form.written.places)))


def _compared(prepared: Prepared, register: Register, path: Path) -> tuple[Sequence[str], float] | None:
    """Return what `_differs` does of a table, or of one that has degrees alone, as a GeoJSON file mostly has."""
    found = _read(prepared, path, register.kind)
    if found is not None or register.kind == "geographic" or not folded(path.name).endswith((*JSON, *PACKAGE)):
        return _differs(register, found)
    return _differs_in_degrees(prepared, register, _read(prepared, path, "geographic"))


def _read(prepared: Prepared, path: Path, kind: str) -> Register | None:
    """Return a table read as the register is, None where it is none, or its geometry is in another CRS.

    One of degrees that is read beside a register of eastings and northings may have any CRS.
    """
    control, register = prepared.loaded.job.control, prepared.register
    assert control is not None and register is not None
    try:
        counted = lengths(control.crs, control.units, control.height)
        frame = RegisterFrame(kind, control.height == "ellipsoid", counted)
        found = read_register(path, frame, Problems(), form=Form.from_control(control))
    except (OSError, ValueError):
        return None
    own = kind == register.kind
    if found is not None and own and found.geometry_crs not in (None, register.geometry_crs, control.crs):
        return None
    return None if found is None or _has_readings(found) else found


def _has_readings(found: Register) -> bool:
    return any(_MEASURED & {folded(name) for name in others} for others in found.others)


def _common_marks(register: Register, other: Register) -> tuple[Integers, Integers] | None:
    """Return the rows (k,) of marks that both have, in one and the other; None if these are too few."""
    places = {name: number for number, name in enumerate(other.names)}
    common = [(here, places[name]) for here, name in enumerate(register.names) if name in places]
    if len(common) < _SEVERAL:
        return None
    pairs: Integers = np.array(common)
    return pairs[:, 0], pairs[:, 1]


def _differs(register: Register, other: Register | None) -> tuple[Sequence[str], float] | None:
    """Return which marks another table has with other coordinates, and by how much at the most [m]; None: too few."""
    if other is None or (common := _common_marks(register, other)) is None:
        return None
    ours, theirs = common
    off = np.abs(_metres(other, register)[theirs] - _metres(register, register)[ours])
    decimals = np.minimum(register.decimals[ours], other.decimals[theirs]).astype(float)
    rounding = 0.5 * 10.0**-decimals * np.abs(register.unit) * _to_metres(register)
    differing: Flags = np.any(off > 1.1 * rounding, axis=1)  # NaN, of what one does not give, is no difference
    size = np.sqrt(np.nansum(off**2, axis=1))[differing]
    if len(size) < _SEVERAL or float(np.median(size)) > _NEAR:
        return None
    return [register.names[here] for here in ours[differing]], float(size.max())


def _differs_in_degrees(
    prepared: Prepared, register: Register, other: Register | None
) -> tuple[Sequence[str], float] | None:
    """Return the same of a table in degrees of a datum nearby, in plan: what all marks differ by is the datums'."""
    control = prepared.loaded.job.control
    if other is None or control is None or (common := _common_marks(register, other)) is None:
        return None
    ours, theirs = common
    known = lonlat(control.crs, register.first[ours], register.second[ours], np.nan_to_num(register.third[ours]))
    to_metres = _to_metres(other)[:2]
    off = (np.column_stack([other.first, other.second])[theirs] - np.column_stack(known)) * to_metres
    off = off[np.isfinite(off).all(axis=1)]
    if len(off) < len(ours):
        return None
    step = np.median(off, axis=0)
    off = np.abs(off - step)
    digits = 10.0 ** -np.stack([register.decimals[ours], other.decimals[theirs]])[:, :, :2].astype(float)
    rounding = digits[0] * np.abs(register.unit[:2]) + digits[1] * to_metres
    differing: Flags = (off > 1.1 * rounding).any(axis=1)
    size = np.hypot(*off[differing].T)
    if len(size) < _SEVERAL or max(float(np.median(size)), float(np.hypot(*step))) > _NEAR:
        return None
    return [register.names[here] for here in ours[differing]], float(size.max())


def _to_metres(register: Register) -> Floats:
    """Return (3,) metres in one metre, or degree, of the coordinates."""
    if register.kind != "geographic":
        return np.ones(3)
    return np.array([DEGREE * np.cos(np.radians(np.nanmean(register.second))), DEGREE, 1.0])


def _metres(of: Register, scale: Register) -> Floats:
    """Return (R, 3) coordinates in metres, along the meridian and across it where they are degrees."""
    return np.column_stack([of.first, of.second, of.third]) * _to_metres(scale)
