"""Texts and positions as LandXML has them: on one line, without the signs that XML cannot have."""

from collections.abc import Callable
from xml.sax.saxutils import quoteattr

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geodesy.axes import NAMES
from pipeline.issue.formats.figures import LENGTHS, fixed_or, floats, joined
from pipeline.issue.formats.layer_names import one_line

_NOT_IN_XML = str.maketrans(dict.fromkeys("\ufffe\uffff", "\ufffd"))
#: As Arrow reads it: what may have to be changed to be legal; what no blank name begins with; what quotes may not hold.
_ODD = "[\\x00-\\x1f\\x7f-\\x9f\u2028\u2029\ufffe\uffff]"
_SEEN = "^[!-~]"
_MARKUP = "[&<>\"'\n\r\t]"


def legal_text(text: str) -> str:
    """Return a text on one line, without the signs that XML cannot have."""
    return one_line(text).translate(_NOT_IN_XML)


def legal_name(text: str | None) -> str:
    """Return a text as a name, which is never blank."""
    found = legal_text(text or "")
    return found if found.strip() else "unnamed"


def quoted(text: str) -> str:
    """Return a text as an attribute's value, in its quotes."""
    return quoteattr(legal_text(text))


def legal_column(texts: pa.StringArray) -> pa.StringArray:
    """Return each text as `legal_text` does, none as an empty one."""
    given = pc.fill_null(texts, "")
    return _changed(given, pc.match_substring_regex(given, _ODD), legal_text)


def named_column(texts: pa.StringArray) -> pa.StringArray:
    """Return each text as `legal_name` does."""
    given = pc.fill_null(texts, "")
    odd = pc.or_(pc.match_substring_regex(given, _ODD), pc.invert(pc.match_substring_regex(given, _SEEN)))
    return _changed(given, odd, legal_name)


def quoted_column(texts: pa.StringArray) -> pa.StringArray:
    """Return each text, which is legal, as an attribute's value in its quotes."""
    return _changed(
        joined('"', texts, '"'), pc.match_substring_regex(texts, _MARKUP), lambda text: quoteattr(text[1:-1])
    )


def _changed(texts: pa.StringArray, odd: pa.BooleanArray, change: Callable[[str], str]) -> pa.StringArray:
    """Return texts of which few are ``odd`` and are to be changed."""
    if not pc.any(odd).as_py():
        return texts
    return pc.replace_with_mask(texts, odd, pa.array(map(change, texts.filter(odd).to_pylist()), pa.string()))


def positions(batch: pa.RecordBatch, factors: tuple[float, float, float]) -> pa.StringArray:
    """Return northing, easting and, where it is known, height as an element's text; null without a position.

    The format knows numbers to the north, to the east and upwards, in one unit: ``factors`` make them of easting,
    northing and height.
    """
    east, north, up = (floats(batch.column(name)) * by for name, by in zip(NAMES, factors, strict=True))
    texts = [fixed_or(values, LENGTHS, "") for values in (north, east, up)]
    height = pc.if_else(pa.array(np.isfinite(up)), joined(" ", texts[2]), "")
    placed = pa.array(np.isfinite(north) & np.isfinite(east))
    return pc.if_else(placed, joined(texts[0], " ", texts[1], height), None)
