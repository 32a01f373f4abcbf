"""Puts angles in degrees, minutes and seconds together whose parts stand in columns of their own, as registers have it.

Their degrees are mapped, and ``angles`` is "dms"; the columns of the parts are known by their headings, the one of the
hemisphere or sign by what stands in it in the first rows.
"""

from collections.abc import Iterator
from itertools import chain

import pyarrow as pa

from pipeline.files.angle_notations import PARTS_FIX, parts_problem, split_into_parts
from pipeline.files.angle_parts import AngleParts, parts_of
from pipeline.job.model import Points
from pipeline.read.cell_texts import cell_texts
from pipeline.read.columns import ReadingPlan
from pipeline.read.findings import Unusable
from pipeline.read.mapping import mapped
from pipeline.read.raw_batch import Raw
from pipeline.replace import replace

_AXES = ("longitude", "latitude")
#: First rows by which a column is known as one of hemispheres.
_ROWS = 1000


def in_parts(points: Points, names: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Return the columns behind the degrees of longitude and latitude, by our words, of those that are put together."""
    if points.angles != "dms":
        return {}
    taken = mapped(points.columns)
    found = {word: split_into_parts(taken[word], names) for word in _AXES if word in taken}
    return {word: parts for word, parts in found.items() if parts and not set(parts) & set(taken.values())}


def with_angles_joined(how: ReadingPlan, batches: Iterator[Raw], line: int) -> tuple[ReadingPlan, Iterator[Raw]]:
    """Return the plan and the batches with one column in the place of each angle's; as they are where none is in parts.

    ``line`` is the header's. Raises `Unusable` where it cannot be told which columns are an angle's.
    """
    there = in_parts(how.points, how.headings)
    first = next(batches, None) if there else None
    if first is None:
        return how, batches
    texts = {name: _beginning(cells[:_ROWS]) for name, cells in first.columns.items()}
    taken = set(mapped(how.points.columns).values())
    angles: dict[str, AngleParts] = {}
    for word, parts in there.items():
        found = parts_of(how.names[word], word, texts, taken)
        if found is None:
            raise Unusable(line, f'"{how.names[word]}" ({word}) {parts_problem(parts)}', PARTS_FIX)
        angles[word] = found
    called = {word: " ".join(one.columns) for word, one in angles.items()}
    return replace(how, names=how.names | called), _joined(angles, called, chain(iter([first]), batches))


def _joined(angles: dict[str, AngleParts], called: dict[str, str], batches: Iterator[Raw]) -> Iterator[Raw]:
    for raw in batches:
        found = dict(raw.columns)
        for word, one in angles.items():
            found[called[word]] = one.joined({name: cell_texts(raw.columns[name]) for name in one.columns})
        yield replace(raw, columns=found)


def _beginning(cells: pa.Array) -> list[str]:
    plain = pa.types.is_string(cells.type) or pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type)
    return [text or "" for text in cell_texts(cells).to_pylist()] if plain else [""] * len(cells)
