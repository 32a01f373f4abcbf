"""The points, the marks and their occupations as a drawing (DXF), a block with attributes at each; lines as polylines.

Written from the package in two passes: the first finds layers and extent, the second writes. Read back by GDAL, which
shares nothing with the writers.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.files.gdal import gdal
from pipeline.files.plain_path import plain_file
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats import ezdxf_alone
from pipeline.issue.formats.dxf_facts import facts, lines_of
from pipeline.issue.formats.dxf_layers import LIST, NOTE, Group
from pipeline.issue.formats.dxf_polylines import MORE_HANDLES, compare_lines, lines_read, polyline_tags
from pipeline.issue.formats.dxf_rows import DrawingContents, Drawn
from pipeline.issue.formats.dxf_symbols import Symbol, Tags
from pipeline.issue.formats.dxf_tags import Text, layers_of, texts_of
from pipeline.issue.formats.figures import joined
from pipeline.issue.geopackage.layer_stream import Differs, Package, first_difference, side_by_side, vertices
from pipeline.words import counted

#: GDAL's options for reading back: insertions as they are, and the text as a drawing of this version has it.
READING = {"DXF_INLINE_BLOCKS": "NO", "DXF_ENCODING": "UTF-8"}

#: Insertions that GDAL gives at a time: it holds some 2 kB of each, and slows down beyond a processor's cache.
_AT_ONCE = 1024

_LAYERS = ("points", "check_marks", "marks")


def write(path: Path, package: Package, about: FileFacts) -> dict[str, int]:
    """Write a new drawing from a package and return the rows drawn by layer. Raises OSError."""
    # 0.3 s of ezdxf, which a job without a drawing need not wait for
    ezdxf_alone.load()
    from pipeline.issue.formats.dxf_drawing import frame

    plan = DrawingContents.from_package(package, about)
    around = frame(about, plan.overview, plan.layers, plan.unproven, plan.listed, plan.handles)
    size = plan.overview.text_height
    tags, rows = Tags(around.owner, size, around.first), dict.fromkeys(_LAYERS, 0)
    with path.open("xb") as file:
        file.write(around.before.encode())
        for name, drawn in plan.drawn(package):
            file.write(drawn.lines(tags))
            if name in rows:
                rows[name] += len(drawn.which)
        handle = tags.next
        for lines in plan.lines(package):
            file.write("".join(polyline_tags(lines, around.owner, handle)).encode())
            handle += sum(len(line.places) + MORE_HANDLES for line in lines)
            rows["lines"] = rows.get("lines", 0) + len(lines)
        file.write(around.after.encode())
    return rows


def read_back(path: Path, package: Package, about: FileFacts) -> None:
    """Compare every insertion with the package's rows. Raises Differs at the first that is not the same, or OSError."""
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError

    path.stat()
    plan = DrawingContents.from_package(package, about)
    try:
        with (
            plain_file(path) as plain,
            pyogrio.open_arrow(plain, layer="entities", batch_size=_AT_ONCE, use_pyarrow=True) as (_, reader),
        ):
            notes, texts = list[tuple[str, str]](), Counter[tuple[Symbol, Group]]()
            lines = list[tuple[str, Floats]]()
            given = (_as_batch(drawn, texts) for _, drawn in plan.drawn(package))
            for before, wanted, found in side_by_side(given, _insertions(reader, notes, lines)):
                _compare(wanted, found, before)
    except (DataSourceError, DataLayerError, pa.ArrowException) as error:
        raise Differs(f"GDAL cannot read it: {error}") from error
    compare_lines((line for some in plan.lines(package) for line in some), lines)
    wanted_notes = [(NOTE, lines_of(facts(about, plan.unproven))), (LIST, plan.listed)]
    first_difference("note", [(on, _bare("".join(lines))) for on, lines in wanted_notes if lines], notes, 0)
    _compare_tags(path, plan, texts)


def _compare_tags(path: Path, plan: DrawingContents, texts: Counter[tuple[Symbol, Group]]) -> None:
    """Compare the table of layers, and layer, height and kind of all texts."""
    colours = layers_of(path)
    for layer in plan.layers:
        if colours.get(layer.name) != layer.colour:
            raise Differs(f"its layer {layer.name} has colour {colours.get(layer.name)}, given was {layer.colour}")
    wanted, height = Counter[Text](), str(plan.overview.text_height)
    for (symbol, group), count in texts.items():
        for tag in symbol.tags:
            wanted[group.of(tag.name), height, tag.name, tag.hidden] += count
    found = texts_of(path)
    for text in sorted({*wanted, *found}):
        if wanted[text] != found[text]:
            told = "{2} with height {1} on layer {0}".format(*text)
            raise Differs(f"it has {counted(found[text], 'text')} {told}, given were {wanted[text]:,}")


def _insertions(
    batches: Iterable[pa.RecordBatch], notes: list[tuple[str, str]], lines: list[tuple[str, Floats]]
) -> Iterator[pa.RecordBatch]:
    """Yield the drawing's insertions; what is beside them goes to ``notes``, by layer and text, or to ``lines``."""
    for batch in batches:
        blocks = batch.column("BlockName")
        if blocks.null_count:
            others = batch.filter(blocks.is_null())
            of_lines = pc.match_substring(pc.fill_null(others.column("SubClasses"), ""), "Polyline")
            lines += lines_read(others.filter(of_lines))
            others = others.filter(pc.invert(of_lines))
            texts = (_bare(text or "") for text in others.column("Text").to_pylist())
            notes += zip(others.column("Layer").to_pylist(), texts, strict=True)
        yield batch.filter(blocks.is_valid())


def _bare(text: str) -> str:
    """Return a note without blanks and the signs that programs read in ways of their own."""
    return "".join(sign for sign in text if not sign.isspace() and sign not in "\\^{}%~")


def _as_batch(drawn: Drawn, counted_texts: Counter[tuple[Symbol, Group]]) -> pa.RecordBatch:
    """Return rows to be drawn with the columns in which GDAL gives them, and count what their texts are on."""
    for kind, count in zip(drawn.kinds, np.bincount(drawn.which, minlength=len(drawn.kinds)).tolist(), strict=True):
        counted_texts[kind] += count
    blocks = pa.array([symbol.block for symbol, _ in drawn.kinds], pa.string())
    return pa.record_batch(
        {
            "Layer": drawn.layers(),
            "BlockName": blocks.take(pa.array(drawn.which)),
            "BlockAttributes": _attributes(drawn),
            **{axis: pa.array(np.nan_to_num(drawn.places[:, place])) for place, axis in enumerate("xyz")},
        }
    )


def _attributes(drawn: Drawn) -> pa.ListArray:
    """Return the attributes of each row as GDAL reads them, name and value of each in a text."""
    many, rows = drawn.of_each(lambda symbol: len(symbol.tags)), len(drawn.which)
    columns = [
        joined(f"{tag.name} ", pc.replace_substring(text, "^ ", "^"))
        for tag, text in zip(drawn.tags, drawn.texts, strict=False)
    ]
    # from column by column to row by row, without those that a row's symbol has not
    order = np.arange(rows)[:, None] + np.arange(len(columns)) * rows
    order = order[np.arange(len(columns)) < many[:, None]]
    told = pa.concat_arrays([pa.array([], pa.string()), *columns]).take(pa.array(order))
    return pa.ListArray.from_arrays(pa.array(np.cumsum([0, *many]), pa.int32()), told)


def _compare(wanted: pa.RecordBatch, found: pa.Table, before: int) -> None:
    for name in ("Layer", "BlockName", "BlockAttributes"):
        given, read = wanted.column(name), found.column(name).combine_chunks()
        if not read.cast(given.type).equals(given):
            first_difference(name, given.to_pylist(), read.to_pylist(), before)
    places = vertices(found.column("wkb_geometry").combine_chunks())
    given = np.column_stack([wanted.column(axis).to_numpy(zero_copy_only=False) for axis in "xyz"])
    same = np.isclose(places, given, rtol=1e-15, atol=0).all(axis=1)
    if not same.all():
        row = int(np.flatnonzero(~same)[0])
        raise Differs(f"row {before + row + 1} is at {places[row].tolist()}, given was {given[row].tolist()}")
