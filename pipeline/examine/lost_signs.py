"""Says of exports whose work touches 0 or 180 degrees, or a grid's central meridian, that minus signs may be lost.

Readings of the other side then lie mirrored, a few hundred metres from where they were made, and no check tells unless
a mark was occupied there.
"""

import re
from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.intake.file_log import FileLog
from pipeline.intake.implausible import MirroredRows
from pipeline.intake.survey import Survey
from pipeline.plausible import Look
from pipeline.plausible.mirrored import Mirrored
from pipeline.read.exports import Export
from pipeline.sphere import DEGREE
from pipeline.words import Doubt, counted, plural

#: Leaps to the mirrored side and back from which on no way of working explains them; fewer are told.
_SURE = 4
#: Readings from which on an export shows where its work ends, and how many times as far as its readings are apart on
#: average it may end from zero to touch it.
_ENOUGH, _TOUCHES = 30, 3.0
_OPPOSITE, _HALF = "meridian of 180 degrees", 180.0
_REGISTERED = re.compile(r"[Ee][Pp][Ss][Gg]:\d+")


def mirrored_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each session whose readings leap to the mirrored side of zero and back, again and again."""
    return [
        Doubtful(Doubt.PLACE, _leaps(survey, one), (one.session,), survey.exports[one.export].shown, one.row)
        for one in survey.first_pass.implausible.mirrored
        if _is_sure(one.found)
    ]


def lost_sign_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which readings leap so less often, and which exports end where their signs would change."""
    for one in survey.first_pass.implausible.mirrored:
        if not _is_sure(one.found):
            yield f"{survey.exports[one.export].shown}:{one.row}: {_leaps(survey, one)}"
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for word, line, least, ends in _touching(export, log):
            yield (
                f"{export.shown}: every {word} has the same sign, and the work ends {least:.3f} m from {ends}: if"
                f" it goes on beyond {line}, the export lost the signs, and all readings of one side lie mirrored on"
                " the other"
            )


def _is_sure(found: Mirrored) -> bool:
    """Tell whether leaps are no way of working."""
    return found.leaps >= _SURE and not found.by_turns


def _leaps(survey: Survey, one: MirroredRows) -> str:
    word, line = ("longitude", "zero meridian") if one.found.look is Look.LONGITUDE_SIGN else ("latitude", "equator")
    line = _OPPOSITE if one.found.opposite else line
    if one.found.aside:
        many = one.found.aside
        return (
            f"session {survey.windows[one.session].session.name}: {counted(many, 'reading')} (first one here)"
            f" {plural(many, 'lies', 'lie')} beyond the {line}, {one.found.metres:,.0f} m or more from all others with"
            f" none in between, and with the other sign of {plural(many, 'its', 'their')} {word} would lie among them:"
            " check whether the export lost minus signs, as where a spreadsheet makes 0 of -0 degrees"
        )
    return (
        f"session {survey.windows[one.session].session.name}: its readings leap {counted(one.found.leaps, 'time')}"
        f" across the {line}, {one.found.metres:,.0f} m or more (first one here), and with the other sign of their"
        f" {word} would follow one another as all others do: check whether the export lost minus signs"
    )


def _touching(export: Export, log: FileLog) -> Iterator[tuple[str, str, float, str]]:
    """Yield which coordinates have one sign and end where it changes: their word, what lies there, how far off [m].

    Last is where that is: zero, or 180 degrees.
    """
    crs = export.points.crs or ""
    here = log.sessions > 0
    count = int(log.sessions[here].sum())
    kind = kind_of(source_crs(crs)) if count >= _ENOUGH else ""
    if kind == "geographic":
        axes = [("longitude", "the zero meridian"), ("latitude", "the equator")]
    elif kind == "projected" and _REGISTERED.fullmatch(crs):
        axes = [("coordinate across the grid", "its central meridian"), ("coordinate along the grid", "the equator")]
    else:
        return
    for axis, (word, zero) in enumerate(axes):
        low, high = float(log.extent.low[here, axis].min()), float(log.extent.high[here, axis].max())
        least, most = (low, high) if low >= 0.0 else (-high, -low)
        ends = [(least, zero, "zero")]
        if word == "longitude":
            ends.append((_HALF - most, f"the {_OPPOSITE}", "180 degrees"))
        for off, line, called in ends:
            if least > 0.0 and 0.0 <= off <= _TOUCHES * (most - least) / count:
                yield word, line, off * (1.0 if kind == "projected" else DEGREE), called
