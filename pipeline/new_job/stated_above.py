"""Takes up what lines above a file's header state of its units, datum, clock, heights and angles."""

import re

from pipeline.files.angle_notations import TO_DEGREES, unread_notation
from pipeline.geodesy.crs_hints import crs_hint
from pipeline.geodesy.units import FOOT, SURVEY_FOOT
from pipeline.job.toml_text import quoted, unquoted
from pipeline.new_job.heights import height_said
from pipeline.new_job.look import FileLook
from pipeline.new_job.questions import Candidate, Question, State
from pipeline.new_job.values import with_unit
from pipeline.read.clock_headings import offsets_of_zone_name, zone_in_heading
from pipeline.read.heading_units import unit_in_heading
from pipeline.read.lines_above import (
    Statement,
    UnitAbove,
    angles_above,
    clock_above,
    datum_above,
    heights_above,
    units_above,
)
from pipeline.replace import replace

#: What is said of degrees whose file states no datum.
_NONE_STATED = "the file gives degrees without a datum"
#: How a heading says the units that lines above it may state, by the metres of one.
_HEADED = {(1.0,): "m", (FOOT,): "ft int", (SURVEY_FOOT,): "ft us", (FOOT, SURVEY_FOOT): "ft"}


def unit_stated(look: FileLook, name: str, word: str) -> UnitAbove | None:
    """Return the unit that lines above the header state of a column that says none itself, nor a row below it."""
    if not name or not look.above or unit_in_heading(with_unit(name, look.columns.get(name, []))) is not None:
        return None
    up = word in ("height", "ellipsoid_height")
    return next((one for one in units_above(look.above) if (one.up if up else one.plan)), None)


def headed(look: FileLook, name: str, word: str) -> str:
    """Return a heading of lengths with its unit: as it says it, a row of units below it or lines above it."""
    one = unit_stated(look, name, word)
    if one is not None and one.metres in _HEADED:
        return f"{name} [{_HEADED[one.metres]}]"
    return with_unit(name, look.columns.get(name, []))


def heights_stated(look: FileLook) -> str:
    """Return what lines above the header say of heights: "ellipsoid", "level", "" for nothing that is known."""
    said = heights_above(look.above)
    if said is None:
        return ""
    return height_said(f"Height ({said.value})") or height_said(said.value) or ""


def clock_stated(look: FileLook) -> str:
    """Return what lines above the header say of the clock, as headings say it: "UTC-05:00"; "" for nothing known."""
    said = clock_above(look.above)
    if said is None:
        return ""
    offset = re.fullmatch(r"(?:UTC|GMT)?\s*([+\-\u2212\u2013]\d{1,2}(?::?\d\d)?)(?:\s*h)?", said.value, re.IGNORECASE)
    text = f"UTC{offset[1]}" if offset is not None else said.value
    return text if zone_in_heading(f"t [{text}]") is not None or offsets_of_zone_name(f"t [{text}]") else ""


def datum_stated(look: FileLook) -> Statement | None:
    """Return the datum or grid that lines above the header name, None where they name none."""
    return datum_above(look.above)


def with_datum_stated(state: State, look: FileLook, names: dict[str, str]) -> State:
    """Return the state of a ``crs`` that a file names above its header: the candidates first that are called so.

    ``names`` are those of the CRSs that may be meant, by their codes.
    """
    said = datum_stated(look)
    if said is None or state is None:
        return state
    told = f"the file states {said.shown}, {look.stands.replace('the header', 'its header')}"
    called = [code for code, name in names.items() if _is_called(said.value, name)]
    if not isinstance(state, Question):
        if any(quoted(code) == state.value for code in called):
            return replace(state, why=f"{names[unquoted(state.value)]}: {told}")
        if not called:
            return replace(state, why=f"{state.why.replace(_NONE_STATED, 'no such datum is known here')}; {told}")
        grid = (
            f"{names.get(unquoted(state.value), '')}, that of the grid: the shift from the ties absorbs the difference"
        )
        own = Candidate(state.value, grid)
        asks = f"which datum are the positions in? {told}, and the marks are in another"
        return Question("crs", asks, (*(Candidate(quoted(code), f"{names[code]}, as stated") for code in called), own))
    first = [Candidate(quoted(code), f"{names[code]}, as stated {look.stands}") for code in called]
    rest = [one for one in state.candidates if one.value not in {each.value for each in first}]
    known = {one.value for one in state.candidates}
    first = [one for one in first if one.value in known or not state.repeats]
    asks = state.asks.replace(" the file does not state it", f" {told}")
    asks = asks if told in asks else f"{asks}; {told}"
    # a word alone, as "local", stands in names of grids that are far away
    if not state.candidates and any(map(str.isdigit, said.value)) and (hint := crs_hint(said.value)):
        asks += f" ({hint})"
    return replace(state, asks=asks, candidates=(*first, *rest))


def _is_called(said: str, name: str) -> bool:
    """Tell whether a text names a CRS: by the same letters and figures, but for what is often left out."""
    plain, other = (re.sub(r"[\W_]", "", text.casefold()) for text in (said, name))
    plain = {"wgs1984": "wgs84", "etrs1989": "etrs89"}.get(plain, plain)
    return plain == other


def angles_refused(look: FileLook, *, dms: bool) -> str:
    """Return why angles cannot be read in the form that lines above the header state; "" where they can."""
    said = angles_above(look.above)
    told = unread_notation(f"x [{said.value}]", dms=dms) if said is not None else None
    return f"{said.shown}, {look.stands}, {told}: {TO_DEGREES}" if said is not None and told is not None else ""
