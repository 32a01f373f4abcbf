"""Compares every readable reading with its session: what is impossible, and what should be checked."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.geodesy.own_places import own_places
from pipeline.intake.base_log import SessionLog
from pipeline.intake.by_session import BySession
from pipeline.intake.far_out import LIES, Findings, look_in_brackets
from pipeline.intake.ledger import CANDIDATE, SOUND, ReadingRows
from pipeline.intake.like_heights import LikeHeights
from pipeline.intake.misplaced_bases import misplaced_notes
from pipeline.intake.prepare import Prepared
from pipeline.intake.session_judge import SessionJudge
from pipeline.near import and_more
from pipeline.plausible import (
    HeightJump,
    Levels,
    MarksApart,
    Middle,
    Mirrored,
    OffNeighbours,
    Steep,
    SteppedRun,
    among,
    on_sphere,
    raw_variants,
)
from pipeline.words import counted

#: Readings that each of two levels has at least before an export without an occupation is named.
_LEVEL = 10
#: The part of the readings of a level that have codes of their own where it is a thing's. Ours, no source.
_THINGS = 0.75
#: Readings that a note lists.
_LISTED = 3


class Implausible(Struct, frozen=True):
    """Readings that cannot lie where they say: (k,) numbers in the job, ascending, and why in words; ``notes``.

    ``cliffs`` are groups of readings, by session, between which and others no ground can be so steep.
    ``levels`` are likewise groups that lie on another level than the others, with nothing between.
    ``leaps`` are runs whose heights jump and come back by no round number.
    ``stepped`` are those that do so on flat ground, by whatever number, ``off_near`` those off all points around.
    ``off_marks`` are sessions whose points all lie far above or below their marks.
    ``mirrored`` are readings that leap to the other side of zero degrees as if their sign were lost.
    ``misplaced`` are sessions whose base stood nowhere near where their points have it.
    """

    numbers: Integers
    details: tuple[str, ...]
    notes: tuple[str, ...] = ()
    middles: Mapping[int, Middle] = field(default_factory=dict)
    cliffs: tuple["Cliff", ...] = ()
    levels: tuple["TwoLevels", ...] = ()
    misplaced: frozenset[int] = frozenset()
    mirrored: tuple["MirroredRows", ...] = ()
    off_marks: tuple["OffMarks", ...] = ()
    leaps: tuple["HeightLeap", ...] = ()
    stepped: tuple["SteppedRows", ...] = ()
    off_near: tuple["OffNear", ...] = ()

    def detail(self, number: int) -> str:
        """Return why the reading ``number`` of the job is one of them."""
        return self.details[int(np.searchsorted(self.numbers, number))]

    def detail_of(self, number: int, session: int, crs: str, raw: Sequence[float], limit: float) -> str:
        """Return the same, with what else its (3,) raw coordinates may have been meant as where those are metres."""
        said, mid = self.detail(number), self.middles.get(session)
        if mid is None or "(" in said or not said.startswith(LIES) or kind_of(source_crs(crs)) != "projected":
            return said
        looks, variants = raw_variants(raw[0], raw[1])
        longitude, latitude, _ = own_places(crs, variants[:, 0], variants[:, 1], np.full(len(looks), raw[2]))
        fits = np.flatnonzero(among(on_sphere(longitude, latitude), mid, limit))
        return said + (look_in_brackets(looks[fits[0]]) if len(fits) else "")


class Cliff(Struct, frozen=True):
    """Some readings of a session that stand off others hard by; the first of them by its export and row there."""

    session: int
    export: int
    row: int
    steep: Steep


class TwoLevels(Struct, frozen=True):
    """Some readings of a session on another level than the others; the first of them by its export and row there.

    ``things`` tells that most of them have codes that none of the others has, as decks, roofs and banks have.
    ``on_marks`` is how many of them, and how many of the others, are occupations of marks.
    ``without_mark`` is an export of which no reading is on a mark, where each export lies on one of the levels, and how
    many metres above the others its level lies.
    """

    session: int
    export: int
    row: int
    levels: Levels
    things: bool
    on_marks: tuple[int, int]
    without_mark: tuple[int, float] | None = None


class OffMarks(Struct, frozen=True):
    """A session whose readings on no mark lie off those on marks; the first of the former by its export and row."""

    session: int
    export: int
    row: int
    apart: MarksApart


class HeightLeap(Struct, frozen=True):
    """Some readings of a session in a row whose heights leap; the first of them by its export and row there."""

    session: int
    export: int
    row: int
    jump: HeightJump


class SteppedRows(Struct, frozen=True):
    """Some readings of a session that step up or down and back; first and last in time, by export and row there.

    ``times`` are those of the first and the last [UTC ms].
    """

    session: int
    export: int
    row: int
    last: int
    times: tuple[int, int]
    run: SteppedRun


class OffNear(Struct, frozen=True):
    """Some readings of a session that are off those around; first and last in time, by export and row there."""

    session: int
    export: int
    row: int
    last: int
    run: OffNeighbours


class MirroredRows(Struct, frozen=True):
    """Readings of a session that lie mirrored across zero degrees; the first of them by its export and row there."""

    session: int
    export: int
    row: int
    found: Mirrored


def find_implausible(
    rows: ReadingRows,
    duplicates: Integers,
    prepared: Prepared,
    logs: Sequence[SessionLog],
) -> Implausible:
    """Hold every sound reading that repeats no other against its base, its session and its neighbours.

    ``duplicates`` (d,) are numbers of those that repeat another.
    """
    sound = rows.having(SOUND)
    sound[duplicates] = False
    judged = SessionJudge(BySession(rows, sound), prepared, logs, LikeHeights(rows, prepared))
    held: dict[int, str] = {}
    notes: list[str] = []
    for window in prepared.windows:
        found = judged.judge(window.index)
        held |= found.held
        notes += _session_notes(rows, prepared, f"session {window.session.name}", found)
    far = judged.far_bases
    notes += misplaced_notes([(one.session.name, far[one.index]) for one in prepared.windows if one.index in far])
    numbers = np.array(sorted(held), np.int64)
    heights = judged.heights
    return Implausible(
        numbers=numbers,
        details=tuple(held[number] for number in numbers.tolist()),
        notes=tuple(notes),
        middles=judged.middles,
        cliffs=tuple(Cliff(session, *rows.place(number), of) for session, (number, of) in heights.steep.items()),
        levels=tuple(_levels(rows, heights.levels)),
        misplaced=frozenset(number for number, one in far.items() if not one.believed),
        mirrored=tuple(MirroredRows(session, *rows.place(number), of) for session, number, of in judged.mirrored),
        off_marks=tuple(OffMarks(session, *rows.place(number), of) for session, number, of in heights.apart),
        leaps=tuple(HeightLeap(session, *rows.place(number), of) for session, number, of in heights.leaps),
        stepped=tuple(
            SteppedRows(
                session,
                *rows.place(int(numbers[0])),
                last=rows.place(int(numbers[-1]))[1],
                times=(int(times[0]), int(times[1])),
                run=of,
            )
            for session, numbers, times, of in heights.stepped
        ),
        off_near=tuple(
            OffNear(session, *rows.place(int(numbers[0])), last=rows.place(int(numbers[-1]))[1], run=of)
            for session, numbers, of in heights.off_near
        ),
    )


def _session_notes(rows: ReadingRows, prepared: Prepared, name: str, found: Findings) -> Iterator[str]:
    """Yield what is to be said of a session, by the name that it has in words."""
    if found.held:
        yield f"{name}: {_cannot(len(found.held))}: {_listed(rows, prepared, found.held)}"
    if found.doubtful:
        some = counted(len(found.doubtful), "reading is", "readings are")
        yield f"{name}: {some} far from the others and should be checked: {_listed(rows, prepared, found.doubtful)}"
    if found.not_from_base is not None:
        yield found.not_from_base
    yield from _jumps(rows, prepared, name, found)


def _levels(rows: ReadingRows, found: list[tuple[int, Integers, Levels]]) -> Iterator[TwoLevels]:
    for session, numbers, of in found:
        fewer, others = numbers[of.rows], np.delete(numbers, of.rows)
        codes = rows.codes(fewer[(rows.flags[fewer] & CANDIDATE) == 0])
        own = int(np.count_nonzero((codes != 0) & ~np.isin(codes, rows.codes(others))))
        things, without_mark = own > _THINGS * len(fewer), _without_mark(rows, fewer, others, of.by)
        on_marks = _on_marks(rows, fewer), _on_marks(rows, others)
        yield TwoLevels(session, *rows.place(int(fewer[0])), of, things, on_marks, without_mark)


def _on_marks(rows: ReadingRows, level: Integers) -> int:
    return int(np.count_nonzero(rows.flags[level] & CANDIDATE))


def _without_mark(rows: ReadingRows, fewer: Integers, others: Integers, by: float) -> tuple[int, float] | None:
    """Return an export of a level without an occupation, and how far [m] it is above the others; see `TwoLevels`."""
    exports = [np.unique(rows.export(level)) for level in (fewer, others)]
    if np.isin(exports[0], exports[1]).any() or min(len(fewer), len(others)) < _LEVEL:
        return None
    stood = [bool((rows.flags[level] & CANDIDATE).any()) for level in (fewer, others)]
    if all(stood) or not any(stood):
        return None
    return int(exports[stood.index(False)][0]), by if stood[1] else -by


def _jumps(rows: ReadingRows, prepared: Prepared, name: str, found: Findings) -> Iterator[str]:
    """Yield in words which runs of a session's readings, and of their heights, jump and come back."""
    for run, metres in found.jumps:
        lie = counted(len(run), "reading in a row is", "readings in a row are")
        yield (
            f"{_first_of(rows, prepared, run)}: {name}: {lie} {metres:,.0f} m to one side of those before and after"
            " (first one here): if nothing was measured there, check whether a digit of a coordinate was mistyped"
        )
    for run, metres, seconds in found.fast:
        lie = counted(len(run), "reading lies", "readings in a row lie")
        yield (
            f"{_first_of(rows, prepared, run)}: {name}: {lie} {metres:,.0f} m from those before and after,"
            f" {seconds:,.0f} s there or back, where all others were measured on foot (first one here): if no other"
            " rover measured there, check coordinates and times"
        )
    for run, metres in found.height_jumps:
        yield (
            f"{_first_of(rows, prepared, run)}: {name}: {counted(len(run), 'reading')} in a row are"
            f" {abs(metres):,.1f} m {'above' if metres > 0 else 'below'} those before and after (first one here): if no"
            " roof, bridge, bench or pit was measured there, check whether a digit of the height was mistyped"
        )


def _first_of(rows: ReadingRows, prepared: Prepared, run: list[int]) -> str:
    export, row = rows.place(run[0])
    return f"{prepared.exports[export].shown}:{row}"


def _cannot(count: int) -> str:
    return counted(count, "reading cannot be where it states", "readings cannot be where they state")


def _listed(rows: ReadingRows, prepared: Prepared, told: dict[int, str]) -> str:
    first = np.array(sorted(told)[:_LISTED], np.int64)
    places = zip(rows.export(first).tolist(), rows.source_row(first).tolist(), first.tolist(), strict=True)
    where = [f"{prepared.exports[export].shown}:{line} {told[row]}" for export, line, row in places]
    return "; ".join(where) + and_more(len(told) - _LISTED)
