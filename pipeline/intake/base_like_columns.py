"""Columns that hold a position among the readings' own which stays while these go on, as a base's does; whatever head.

The heading of such a column may be in any language, or say nothing. A pair of columns in the numbers of the readings'
positions, with few values that change in the same rows and one after the other, is of where something stood all that
time. What a reading has of its own, such as the design of a point that is set out, lies beside it,
and so does a known mark.
"""

from itertools import product

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.positions import raw_positions
from pipeline.job.model import Points
from pipeline.read.columns import lengths_of
from pipeline.sphere import DEGREE

#: Values in a batch beyond which a column is no base's, and the share of readings that have one at the least.
_FEW, _FILLED = 5, 0.9
#: Rows by which most columns are seen to have many values.
_FIRST = 256
#: Metres within which readings have their base, and beyond which the readings with one value go apart from it.
_NEAR, _APART = 30_000.0, 30.0
#: Metres below which a coordinate of a grid may be any number: a pressure, a pole in millimetres.
_FALSE_ORIGIN = 50_000.0
#: The steps of round numbers, which are of a sheet's corner: degrees, and metres or feet as they are written.
_ROUND = (1e-4, 10.0)


def base_like_columns(batch: pa.RecordBatch, names: list[str], sound: Flags, points: Points) -> dict[str, str]:
    """Return the columns among ``names`` that are positions of a base by what a batch has, and which of our words.

    ``sound`` (n,) are the readings that count, ``points`` the block of their export, which maps longitude and latitude
    or easting and northing, in whatever unit these are there; of other positions nothing is said.
    """
    columns = points.columns
    degrees = columns.longitude is not None
    if len(names) < 2 or not (degrees or columns.easting is not None):
        return {}
    unit = 1.0 if degrees else lengths_of(points).plan  # readings are in metres, cells that nobody mapped as written
    own = np.column_stack(raw_positions(batch)[:2]) / unit
    metre, middle = np.full(2, unit), [_middle(values) for values in own[:_FIRST].T]
    if degrees:
        metre = np.array([DEGREE * np.cos(np.radians(middle[1])), DEGREE])
    elif not min(map(abs, middle)) * unit >= _FALSE_ORIGIN:
        return {}
    step = _ROUND[0 if degrees else 1]
    axes = {name: axis for name in names if (axis := _axis(batch.column(name), middle, metre, step)) >= 0}
    if set(axes.values()) != {0, 1} or int(sound.sum()) < 2 * _FEW:
        return {}
    own = own[sound]
    by_axis: list[list[tuple[str, Floats, Integers]]] = [[], []]
    for name, axis in axes.items():
        if (found := _few_values(batch.column(name), sound)) is not None:
            by_axis[axis].append((name, *found))
    words = ("base_longitude", "base_latitude") if degrees else ("base_easting", "base_northing")
    for (first, along, code), (second, up, other) in product(*by_axis):
        place = np.column_stack([along[code], up[other]])
        if np.array_equal(code, other) and _goes_apart(np.hypot(*((own - place) * metre).T), code):
            return dict(zip((first, second), words, strict=True))
    return {}


def _middle(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _axis(cells: pa.Array, middle: list[float], metre: Floats, step: float) -> int:
    """Return along which axis the first values of a column lie about the readings and are not round; -1 none."""
    if not (pa.types.is_string(cells.type) or pa.types.is_floating(cells.type)):
        return -1
    different = pc.unique(cells.slice(0, _FIRST)).drop_null()
    values = _numbers(different) if 0 < len(different) <= _FEW else None
    if values is None or (np.abs(values / step - np.rint(values / step)) <= 1e-6).any():
        return -1
    near = [bool((np.abs(values - middle[axis]) * metre[axis] < _NEAR).all()) for axis in range(2)]
    return near.index(True) if any(near) else -1


def _numbers(different: pa.Array) -> Floats | None:
    """Return the numbers of cells, None where some are none."""
    try:
        values = np.array([float(str(each).strip().replace(",", ".")) for each in different.to_pylist()])
    except ValueError:
        return None
    return values if np.isfinite(values).all() else None


def _few_values(cells: pa.Array, sound: Flags) -> tuple[Floats, Integers] | None:
    """Return the (k,) different numbers of a column in order of appearance and (n,) which of them each reading has.

    None where they are not few, some are no numbers, or many readings lack one.
    """
    coded = pc.dictionary_encode(cells.filter(pa.array(sound)))
    if len(coded.dictionary) > _FEW or coded.null_count > (1.0 - _FILLED) * len(coded):
        return None
    values = _numbers(coded.dictionary)
    code = np.asarray(coded.indices.fill_null(-1), np.int64)
    code = code[np.maximum.accumulate(np.where(code >= 0, np.arange(len(code)), 0))]  # what is left out stays
    return (values, code) if values is not None and len(values) and (code >= 0).all() else None


def _goes_apart(far: Floats, code: Integers) -> bool:
    """Tell whether readings with each value of several lie apart from it; those with one come one after the other."""
    turns = int((np.diff(code) != 0).sum())
    return turns < len(np.unique(code)) and all(
        int((code == each).sum()) > 2 and float(np.nanmedian(far[code == each])) > _APART for each in np.unique(code)
    )
