"""Asks or notes what heights of exports refer to where they may be above a height datum."""

import re
from collections.abc import Sequence

from pipeline.geodesy.registry import Registered, crs_name, crs_parts, flat
from pipeline.job.toml_text import quoted, unquoted
from pipeline.new_job.headings import bare
from pipeline.new_job.height_datums import height_datums
from pipeline.new_job.heights import height_said
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.questions import Candidate, Known, Question, State

#: Height datums that are listed behind a CRS, and CRSs behind which they are where it is open itself.
_DATUMS, _SYSTEMS = 8, 3


def may_be_level(mapped: Mapped) -> bool:
    """Tell whether a heading of an export's heights says a height datum, or is the H that stands beside an h.

    Beside separations of a geoid it may be either, unless it says the ellipsoid.
    """
    rivals = mapped.rivals.get("height", [])
    either = bool(mapped.separation) and not mapped.height and mapped.kind != "geocentric"
    return mapped.height == "level" or either or any(_is_level(name) for name in rivals)


def _is_level(heading: str) -> bool:
    return height_said(heading) == "level" or _letter(heading) == "H"


def _letter(heading: str) -> str:
    """Return the one letter that a heading is, its unit left out; "" for other headings."""
    first = re.split(r"[\W_]", heading.strip())[0]
    return first if bare(heading) == "h" and len(first) == 1 else ""


def with_datum(state: State, mapped: Mapped, place: tuple[float, float] | None, said: Sequence[str]) -> State:
    """Return the state of an export's ``crs`` where a heading says that its heights are above a height datum.

    That is open unless the CRS names one. ``said`` are texts in which the datum may be named, ``place`` is where the
    job lies [deg].
    """
    if not may_be_level(mapped) or not isinstance(state, Known | Question):
        return state
    values = [state.value] if isinstance(state, Known) else [one.value for one in state.candidates]
    codes = [unquoted(value) for value in values]
    if isinstance(state, Known) and crs_parts(codes[0])[1] is not None:
        return state
    names = mapped.rivals.get("height", [mapped.columns[word] for word in ("height",) if word in mapped.columns])
    datums = height_datums(place, [*names, *said])[: _DATUMS if len(codes) == 1 else 2]
    candidates = [
        Candidate(quoted(f"{code}+{datum.code[5:]}"), f"{crs_name(code)} with heights above {datum.name}")
        for each in codes[:_SYSTEMS]
        if (code := flat(each)) is not None
        for datum in datums
    ]
    candidates += [
        Candidate(quoted(code), f"{crs_name(code)}, if the heights are ellipsoidal after all")
        for code in codes[:_SYSTEMS]
    ]
    asks = (
        f"are the readings' heights above the ellipsoid or which height datum? {_why_open(mapped, names)}: state it"
        " after the CRS, as in EPSG:2193+7839"
    )
    if isinstance(state, Question):
        asks += f"; {state.asks}"
    return Question("crs", asks, tuple(candidates))


def _why_open(mapped: Mapped, names: Sequence[str]) -> str:
    """Return what leaves open above what heights are."""
    level = next((name for name in names if _is_level(name)), None)
    if level is not None:
        says = "names a height datum" if height_said(level) == "level" else "may mean one"
        return f"the heading {quoted(level)} {says}"
    which = "the geometry" if not names or mapped.beside_z else f"the heading {quoted(names[0])}"
    beside = f"beside the separations of the geoid in {quoted(mapped.separation)} they may be above a height datum"
    return f"{which} does not say it, and {beside}"


def read_as(state: State, mapped: Mapped, place: tuple[float, float] | None) -> str | None:
    """Return what is told of heights whose heading does not say above what; None where there is nothing to tell.

    It names a height datum in use where the job lies, at ``place`` [deg].
    """
    name = mapped.columns.get("height")
    if name is None or mapped.height or mapped.kind == "geocentric" or "height" in mapped.rivals or mapped.separation:
        return None
    code = flat(unquoted(state.value)) if isinstance(state, Known) else None
    datums: Sequence[Registered] = height_datums(place, [name]) if code is not None else ()
    such = f', as "{code}+{datums[0].code[5:]}" does' if datums else ""
    return (
        f"{quoted(name)} does not state above what: it is read as ellipsoidal; if it is above a height datum, crs"
        f" has to name that datum{such}"
    )


def why_meant(heading: str) -> str:
    """Return what a heading says for itself, of columns of which any may be the heights."""
    said = height_said(heading)
    if said == "ellipsoid":
        return "above the ellipsoid, as it says"
    if _is_level(heading):
        return "above a height datum" + (", as it says" if said == "level" else ", as H often is") + ": crs names it"
    return "above the ellipsoid, as h often is" if _letter(heading) == "h" else ""
