"""The points, the marks and their occupations as a drawing (DXF), a block with attributes at each.

Written from the package in two passes: the first finds layers and extent, the second writes. Read back by GDAL, which
shares nothing with the writers.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.files.gdal import gdal
from pipeline.files.plain_path import plain_file
from pipeline.issue.about import About
from pipeline.issue.formats import ezdxf_alone
from pipeline.issue.formats.dxf_rows import Drawn, Plan
from pipeline.issue.formats.dxf_symbols import Tags
from pipeline.issue.geopackage.streamed import Differs, Package, first_difference, side_by_side, vertices

#: GDAL's options for reading back: insertions as they are, and the text as a drawing of this version has it.
READING = {"DXF_INLINE_BLOCKS": "NO", "DXF_ENCODING": "UTF-8"}

_LAYERS = ("points", "check_marks", "marks")


def write(path: Path, package: Package, about: About) -> dict[str, int]:
    """Write a new drawing from a package and return the rows drawn by layer. Raises OSError."""
    # 0.3 s of ezdxf, which a job without a drawing need not wait for
    ezdxf_alone.load()
    from pipeline.issue.formats.dxf_drawing import frame

    plan = Plan.of(package, about.axes)
    around = frame(about, plan.overview, plan.layers, plan.unproven, plan.handles)
    size = plan.overview.text_height
    tags, rows = Tags(around.owner, size, around.first), dict.fromkeys(_LAYERS, 0)
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(around.before)
        for name, drawn in plan.drawn(package):
            file.write("".join(tags.lines(drawn.insertions(size))))
            rows[name] += len(drawn.layers)
        file.write(around.after)
    return rows


def read_back(path: Path, package: Package, about: About) -> None:
    """Compare every insertion with the package's rows. Raises Differs at the first that is not the same, or OSError."""
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError

    path.stat()
    plan = Plan.of(package, about.axes)
    try:
        with (
            plain_file(path) as plain,
            pyogrio.open_arrow(plain, layer="entities", batch_size=8192, use_pyarrow=True) as (_, reader),
        ):
            given = (_as_batch(drawn) for _, drawn in plan.drawn(package))
            for before, wanted, found in side_by_side(given, _insertions(reader)):
                _compare(wanted, found, before)
    except (DataSourceError, DataLayerError, pa.ArrowException) as error:
        raise Differs(f"GDAL cannot read it: {error}") from error


def _insertions(reader: Any) -> Iterator[pa.RecordBatch]:
    """Yield the drawing's insertions; the note is the one thing beside them."""
    others = 0
    for batch in reader:
        blocks = batch.column("BlockName")
        others += blocks.null_count
        yield batch.filter(blocks.is_valid())
    if others != 1:
        raise Differs(f"it has {others} entities beside its points, given was the note alone")


def _as_batch(drawn: Drawn) -> pa.RecordBatch:
    """Return rows to be drawn with the columns in which GDAL gives them."""
    texts = [
        [f"{tag.name} {_as_read(text)}" for tag, text in zip(symbol.tags, values, strict=True)]
        for symbol, values in zip(drawn.symbols, drawn.values, strict=True)
    ]
    return pa.record_batch(
        {
            "Layer": pa.array(drawn.layers, pa.string()),
            "BlockName": pa.array([symbol.block for symbol in drawn.symbols], pa.string()),
            "BlockAttributes": pa.array(texts, pa.list_(pa.string())),
            **{axis: pa.array(np.nan_to_num(drawn.places[:, place])) for place, axis in enumerate("xyz")},
        }
    )


def _as_read(text: str) -> str:
    """Return an attribute's value as GDAL reads it."""
    return text.replace("^ ", "^") if "^" in text else text


def _compare(wanted: pa.RecordBatch, found: pa.Table, before: int) -> None:
    for name in ("Layer", "BlockName", "BlockAttributes"):
        first_difference(name, wanted.column(name).to_pylist(), found.column(name).to_pylist(), before)
    places = vertices(found.column("wkb_geometry").combine_chunks())
    given = np.column_stack([wanted.column(axis).to_numpy(zero_copy_only=False) for axis in "xyz"])
    same = np.isclose(places, given, rtol=1e-15, atol=0).all(axis=1)
    if not same.all():
        row = int(np.flatnonzero(~same)[0])
        raise Differs(f"row {before + row + 1} is at {places[row].tolist()}, given was {given[row].tolist()}")
