"""Reports exports whose times state another offset from UTC than the job file, as a doubt where either may be right.

The times are read as the file says. Read the other way, by hours most often, they would lie outside every session: then
the sessions bear the file out, and so do base ids and lists of ties and checks where these readings cannot be of the
sessions that they would lie in. Where they can, every point may hang on the wrong base.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.read.stated_offsets import StatedOffsets, stated_zone
from pipeline.sessions.attach import base_key
from pipeline.words import Doubt, counted


class Zoned(Struct, frozen=True):
    """An export whose times say another zone; ``sessions`` are those that may as well have been read the other way."""

    shown: str
    what: str
    sessions: tuple[int, ...]


def zoned(survey: Survey) -> Iterator[Zoned]:
    """Yield the exports whose times say another offset from UTC than a time_zone that stands in the job file."""
    for export, claims in zip(survey.exports, survey.first_pass.claims, strict=True):
        zone, known = export.points.time_zone or "UTC", survey.prepared.loaded.lines.known
        stated = ("points", export.block, "time_zone") in known or ("source", "time_zone") in known
        if not claims.apart or not stated:
            continue
        count, apart = sum(claims.apart.values()), claims.apart.most_common(1)[0][0]
        what = (
            f"{counted(count, 'time states its', 'times state their')} own offset from UTC, such as {claims.first}, not"
            f' that of time_zone = "{zone}", {_amount(apart)} away. They are read as the file says. If the file is'
            f' right, write {_own(claims)} for its block; if the job file is right, export the times without "Z" and'
            " offset"
        )
        yield Zoned(export.shown, what, tuple(_either_way(survey, export.block, claims.apart)))


def _own(claims: StatedOffsets) -> str:
    """Return what to write as time_zone for times as a file states them."""
    if len(claims.apart) > 1 and not claims.first.endswith("Z"):
        return "as time_zone the zone that its times are in"
    return f'time_zone = "{stated_zone(claims.first)}"'


def _amount(milliseconds: int) -> str:
    seconds = abs(milliseconds) / 1000
    return f"{seconds:g} s" if seconds < 60 else f"{int(seconds // 3600)} h {int(seconds % 3600 // 60):02d} min"


def _either_way(survey: Survey, block: int, apart: dict[int, int]) -> Iterator[int]:
    """Yield the sessions of a block whose readings would lie in a session read the other way too."""
    starts = np.array([window.start_ms for window in survey.windows])
    ends = np.array([window.end_ms for window in survey.windows])
    for session in np.flatnonzero(survey.first_pass.blocks[:, block]).tolist():
        first, last = int(survey.first_pass.first_point[session]), int(survey.first_pass.last_point[session])
        if first > last:  # nothing but occupations
            first, last = int(starts[session]), int(ends[session])
        middles = [(first + last) // 2 + step for step in apart]
        others = {
            other
            for middle in middles
            for other in np.flatnonzero((starts <= middle) & (middle < ends)).tolist()
            if other == session or _may_be_of(survey, block, session, other)
        }
        if others:
            yield session


def _may_be_of(survey: Survey, block: int, session: int, other: int) -> bool:
    """Tell whether readings of a session may be of another one: not by its base id, nor where it lists none of them.

    Both are asked of the occupations: an export may have a column of base ids and nothing in it. Where two sessions
    list points of one name, as where points are called by their marks each day, the lists do not tell.
    """
    candidates, its_own = survey.candidates, survey.windows[other].session
    named = {occupation.point for occupation in (*its_own.ties, *its_own.checks)}
    exports = [number for number, export in enumerate(survey.exports) if export.block == block]
    of_block = np.isin(np.asarray(candidates.table.column("export"), np.int64), exports)
    rows = np.flatnonzero((candidates.session == session) & of_block).tolist()
    listed = {candidates.names[row] for row in rows if candidates.named[row] is not None}
    if listed - named:
        return False
    own, its = (base_key(survey.windows[number].session.base) for number in (session, other))
    bases = {base_key(text) for text in candidates.table.column("base").take(rows).to_pylist()}
    return its is None or own == its or bases != {own}


def zone_notes(survey: Survey) -> list[str]:
    """Return in words what is told of exports without being a doubt."""
    return [f"{found.shown}: {found.what}" for found in zoned(survey) if not found.sessions]


def zone_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt per export whose sessions would have points whichever zone is right."""
    return [
        Doubtful(Doubt.TIME_ZONE, found.what, found.sessions, found.shown) for found in zoned(survey) if found.sessions
    ]
