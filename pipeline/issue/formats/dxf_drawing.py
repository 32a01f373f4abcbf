"""Everything of a drawing but its points: header, layers, blocks, the note and the view, made by ezdxf.

The same facts give the same text on any day and by any version of ezdxf that writes the same form: ezdxf's own dates,
identifiers and version are the constant ones that it keeps for this, and the dates are the data's.
"""

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime

from ezdxf._options import default_config, options
from ezdxf.document import Drawing
from ezdxf.filemanagement import new
from ezdxf.tools.juliandate import juliandate
from msgspec import Struct

from pipeline.geodesy.axes import FOOT, SURVEY_FOOT
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.dxf_facts import facts, lines_of
from pipeline.issue.formats.dxf_layers import LIST, NOTE, Layer, Overview
from pipeline.issue.formats.dxf_symbols import define

#: The format's version of 2010: the first that is in UTF-8 and that every program of today reads.
VERSION = "R2010"

#: The format's numbers for units, by their metres: metre, foot, US survey foot; 0 is none.
_UNITS = {1.0: 6, FOOT: 2, SURVEY_FOOT: 21}
_OF_FEET = (FOOT, SURVEY_FOOT)

#: Characters of the pieces that ezdxf cuts a note into.
_PIECE = 250

_DATES = re.compile(r"(?<=\n)(\$TDU?(?:CREATE|UPDATE)\n 40\n)[^\n]+")


class DrawingFrame(Struct, frozen=True):
    """The drawing's text before and after its insertions, their owner and their first handle."""

    before: str
    after: str
    owner: str
    first: int


def frame(
    about: FileFacts,
    overview: Overview,
    layers: Sequence[Layer],
    unproven: str | None,
    listed: Sequence[str],
    handles: int,
) -> DrawingFrame:
    """Return what stands around the insertions.

    Args:
        about: the issue's facts.
        overview: extent and text height.
        layers: all layers of the drawing.
        unproven: in words, how many points are not proven.
        listed: the list of occupations.
        handles: how many handles the insertions will take.
    """
    told = facts(about, unproven)
    with _constant():
        drawing = new(VERSION, units=_UNITS.get(about.axes.easting.metres, 0))
        drawing.header["$MEASUREMENT"] = 0 if about.axes.easting.metres in _OF_FEET else 1  # of line types and hatches
        drawing.header["$LASTSAVEDBY"] = "tiedown"
        for layer in layers:
            entry = drawing.layers.add(layer.name, color=layer.colour)
            entry.description = layer.description
        drawing.styles.get("Standard").dxf.font = "arial.ttf"  # the default has no letters beyond Latin
        define(drawing, overview.text_height)
        for name, text in told:
            drawing.header.custom_vars.append(name, text)
        _notes(drawing, overview, lines_of(told), listed)
        _view(drawing, overview)
        _text(drawing)  # gives handles to all that ezdxf adds on writing, and adds classes in a set's order
        drawing.classes.classes = dict(sorted(drawing.classes.classes.items()))
        first = int(str(drawing.entitydb.handles), 16)
        drawing.entitydb.handles.reset(f"{first + handles:X}")
        text = _dated(_text(drawing), about.data_to)
    end = text.index("\n  0\nENDSEC\n", text.index("\n  2\nENTITIES\n")) + 1
    return DrawingFrame(text[:end], text[end:], drawing.modelspace().layout_key, first)


@contextmanager
def _constant() -> Iterator[None]:
    """Let ezdxf have its own settings for a while, whatever it was loaded with, and nothing of the day and the user."""
    before = options._config
    options._config = default_config()
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options._config = before


def _text(drawing: Drawing) -> str:
    stream = io.StringIO()
    drawing.write(stream)
    return stream.getvalue()


def _dated(text: str, moment: datetime) -> str:
    return _DATES.sub(rf"\g<1>{juliandate(moment.replace(tzinfo=None))}", text)


def _notes(drawing: Drawing, overview: Overview, *notes: Sequence[str]) -> None:
    """Write the facts to be seen below the points, and the list of occupations to the right of them."""
    low, high = overview.extent
    size = max(overview.text_height, float(max(high[:2] - low[:2])) / 100)
    for place, (layer, lines) in enumerate(zip((NOTE, LIST), notes, strict=True)):
        if not lines:
            continue
        escaped = [line.replace("\\", "\\\\").replace("{", "\\{").replace("}", "\\}") for line in lines]
        drawing.modelspace().add_mtext(
            in_whole_signs("\\P".join(line.replace("^", "^ ") for line in escaped)),
            dxfattribs={
                "layer": layer,
                "insert": (float(low[0]) + 65 * size * place, float(low[1]) - 4 * size, 0.0),
                "char_height": size if layer == NOTE else overview.text_height,
                "width": 60 * size,
            },
        )


def in_whole_signs(text: str) -> str:
    """Return a note with blanks where a piece of it, as ezdxf cuts it, would end within a sign such as a new line.

    Readers take each piece by itself, and have then a letter P in place of the new line.
    """
    start = 0
    while len(text) >= start + _PIECE:
        last = start + _PIECE - 1
        if text[last] == "^":  # ezdxf itself leaves that to the next piece
            start = last
            continue
        if (last + 1 - len(text[: last + 1].rstrip("\\"))) % 2:
            text = f"{text[:last]} {text[last:]}"
        start = last + 1
    return text


def _view(drawing: Drawing, overview: Overview) -> None:
    low, high = ([float(value) for value in corner] for corner in overview.extent)
    drawing.modelspace().reset_extents(low, high)
    drawing.modelspace().reset_limits(low[:2], high[:2])
    across, up = high[0] - low[0], high[1] - low[1]
    height = 1.2 * max(up, across / 1.6, 20 * overview.text_height)
    drawing.set_modelspace_vport(height, center=(low[0] + across / 2, low[1] + up / 2))
