"""Compares every readable reading with its session: what is impossible, and what should be checked."""

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.duplicates.decimals import metres_of
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import own_places
from pipeline.intake.base_log import SessionLog, ValueSeen
from pipeline.intake.by_session import BySession, OfSession
from pipeline.intake.far_out import (
    LIES,
    Against,
    Findings,
    PositionLook,
    distance_in_words,
    length_in_words,
    look_at_positions,
    look_in_brackets,
)
from pipeline.intake.ledger import CANDIDATE, PLACEHOLDER, SOUND, ReadingRows
from pipeline.intake.like_heights import LikeHeights
from pipeline.intake.misplaced_bases import SERVES, Misplaced, misplaced_base, misplaced_notes
from pipeline.intake.misread_exports import Misread, find_misread, places_of_marks
from pipeline.intake.prepare import Prepared
from pipeline.near import and_more
from pipeline.plausible import (
    Fence,
    HeightJump,
    JumpLook,
    Levels,
    MarksApart,
    Middle,
    Mirrored,
    Steep,
    among,
    distances,
    fence,
    from_base,
    height_jumps,
    height_looks,
    jumps,
    levels,
    limit_of_middle,
    marks_apart,
    middle,
    mirrored,
    on_sphere,
    out_of_place,
    raw_variants,
    rises,
    steep,
    zeros_by_chance,
)
from pipeline.read.columns import lengths_of
from pipeline.words import counted

#: Readings from which on a session speaks for itself; a smaller one is compared with the whole job.
_ENOUGH, _JOB_ENOUGH = 5, 3
#: One in so many readings too far from the middle is no single slip: whole exports may be misread.
_SCATTERED = 10
#: Readings from which on one that stands apart is worth a word.
_COMPANY = 10
#: A reading stands apart so many times as far from the middle as four fifths of the others.
_REACHES = 4.0
#: Readings from which a session is known as well as from all.
_SAMPLE = 4_000
#: Network corrections serve a country, not the surroundings of a base: so many times the distance.
_NETWORK = 10.0
#: Metres within which the positions that points carry of their base are one base; a network's virtual ones are not.
_ONE_BASE = 1_000.0
#: Metres from which on a height is no place's and is shortened.
_PRINTED = 1e7
#: The part of the readings of a level that have codes of their own where it is a thing's. Ours, no source.
_THINGS = 0.75
#: Readings up to which a session is somebody's way from point to point.
_TRACK = 100_000
#: One in so many readings at the most has a height of zero where that stands for none; and last digits, and metres,
#: next to zero within which one in so many others says that the ground is there.
_LEVEL, _NEXT_DIGITS, _NEXT, _BESIDE = 4, 5, 0.02, 10
#: Chance of heights of exactly zero up to which none of them is one, and up to which they are worth a word.
_NO_ZERO, _ODD_ZERO = 0.01, 0.2
#: Metres off its neighbours from which on a height is said to be.
_SAID = 0.5
#: Readings that a note lists.
_LISTED = 3

#: Gives of numbers of readings (n,), and what each looks like alone, what they look like.
Looks = Callable[[Integers, NDArray[np.uint8]], NDArray[np.uint8]]


class Implausible(Struct, frozen=True):
    """Readings that cannot lie where they say: (k,) numbers in the job, ascending, and why in words; ``notes``.

    ``cliffs`` are groups of readings, by session, between which and others no ground can be so steep.
    ``levels`` are likewise groups that lie on another level than the others, with nothing between.
    ``leaps`` are runs whose heights jump and come back by no round number.
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
    ``without_mark`` is an export of which no reading is on a mark, where each export lies on one of the levels, and how
    many metres above the others its level lies.
    """

    session: int
    export: int
    row: int
    levels: Levels
    things: bool
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
    bases: Sequence[str | None],
) -> Implausible:
    """Hold every sound reading that repeats no other against its base, its session and its neighbours.

    ``duplicates`` (d,) are numbers of those that repeat another; ``bases`` are the keys of base ids by the numbers that
    ``rows`` have of them.
    """
    sound = rows.having(SOUND)
    sound[duplicates] = False
    judged = _Judge(BySession(rows, sound), prepared, logs, LikeHeights(rows, prepared, bases))
    held: dict[int, str] = {}
    notes = []
    for window in prepared.windows:
        of_session = judged.session(window.index)
        held |= of_session.held
        name = f"session {window.session.name}"
        if of_session.held:
            notes.append(f"{name}: {_cannot(len(of_session.held))}: {_listed(rows, prepared, of_session.held)}")
        if of_session.doubtful:
            some = counted(len(of_session.doubtful), "reading is", "readings are")
            listed = _listed(rows, prepared, of_session.doubtful)
            notes.append(f"{name}: {some} far from the others and should be checked: {listed}")
        if of_session.not_from_base is not None:
            notes.append(of_session.not_from_base)
        notes += _jumps(rows, prepared, name, of_session)
    far = [
        (window.session.name, judged.far_bases[window.index])
        for window in prepared.windows
        if window.index in judged.far_bases
    ]
    notes += misplaced_notes(far)
    numbers = np.array(sorted(held), np.int64)
    details = tuple(held[number] for number in numbers.tolist())
    misplaced = frozenset(number for number, one in judged.far_bases.items() if not one.believed)
    cliffs, two = tuple(_cliffs(rows, judged.steep)), tuple(_levels(rows, judged.levels))
    turned = tuple(_mirrored(rows, judged.mirrored))
    leaps = tuple(HeightLeap(session, *rows.place(number), of) for session, number, of in judged.leaps)
    apart = tuple(OffMarks(session, *rows.place(number), of) for session, number, of in judged.apart)
    middles = judged.middles
    return Implausible(numbers, details, tuple(notes), middles, cliffs, two, misplaced, turned, apart, leaps)


def _cliffs(rows: ReadingRows, found: dict[int, tuple[int, Steep]]) -> Iterator[Cliff]:
    for session, (number, of) in found.items():
        yield Cliff(session, *rows.place(number), of)


def _mirrored(rows: ReadingRows, found: list[tuple[int, int, Mirrored]]) -> Iterator[MirroredRows]:
    for session, number, of in found:
        yield MirroredRows(session, *rows.place(number), of)


def _levels(rows: ReadingRows, found: list[tuple[int, Integers, Levels]]) -> Iterator[TwoLevels]:
    for session, numbers, of in found:
        fewer, others = numbers[of.rows], np.delete(numbers, of.rows)
        codes = rows.codes(fewer[(rows.flags[fewer] & CANDIDATE) == 0])
        own = int(np.count_nonzero((codes != 0) & ~np.isin(codes, rows.codes(others))))
        without_mark = _without_mark(rows, fewer, others, of.by)
        yield TwoLevels(session, *rows.place(int(fewer[0])), of, own > _THINGS * len(fewer), without_mark)


def _without_mark(rows: ReadingRows, fewer: Integers, others: Integers, by: float) -> tuple[int, float] | None:
    """Return an export of a level without an occupation, and how far [m] it is above the others; see `TwoLevels`."""
    exports = [np.unique(rows.export(level)) for level in (fewer, others)]
    if np.isin(exports[0], exports[1]).any() or min(len(fewer), len(others)) < _COMPANY:
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


def _away(base: Floats, mid: Middle) -> float:
    """Return how far [m] a base (3,), longitude, latitude, height, is from the middle of the readings."""
    return float(distances(on_sphere(base[:1], base[1:2]), mid.at)[0])


def _not_from_base(name: str, far: int, count: int, away: float, limit: float) -> str:
    return (
        f"{name}: {far:,} of {counted(count, 'reading')} are farther from the base than quality.max_distance ="
        f" {limit:g} m; its stated position, {length_in_words(away)} away, is taken to be wrong, so the limit counts"
        " from the middle of the readings: correct the position, or raise the limit if the base stood there"
    )


def _listed(rows: ReadingRows, prepared: Prepared, told: dict[int, str]) -> str:
    first = np.array(sorted(told)[:_LISTED], np.int64)
    places = zip(rows.export(first).tolist(), rows.source_row(first).tolist(), first.tolist(), strict=True)
    where = [f"{prepared.exports[export].shown}:{line} {told[row]}" for export, line, row in places]
    return "; ".join(where) + and_more(len(told) - _LISTED)


class _Judge:
    """Holds sessions' readings against what is known of each session."""

    def __init__(self, rows: BySession, prepared: Prepared, logs: Sequence[SessionLog], heights: LikeHeights) -> None:
        self.rows, self.prepared, self.logs, self.heights = rows, prepared, logs, heights
        self.quality = prepared.loaded.job.quality
        self.middles: dict[int, Middle] = {}
        self.steep: dict[int, tuple[int, Steep]] = {}
        self.off_ground = np.zeros(0, np.int64)
        self.levels: list[tuple[int, Integers, Levels]] = []
        self.mirrored: list[tuple[int, int, Mirrored]] = []
        self.apart: list[tuple[int, int, MarksApart]] = []
        self.leaps: list[tuple[int, int, HeightJump]] = []
        self.units = np.array([lengths_of(export.points).up for export in prepared.exports])
        self.far_bases: dict[int, Misplaced] = {}
        self._whole: tuple[Floats, Floats] | None = None

    def session(self, session: int) -> Findings:
        """Return what is to be said of a session's readings."""
        mine = self.rows.of(session)
        if not mine.count:
            return Findings()
        network = self.prepared.windows[session].session.shift == "none"
        quality = self.quality
        limit = quality.max_distance * (_NETWORK if network else 1.0)
        around, high, misread = self._references(mine, limit)
        own = len(around) >= _ENOUGH
        if not own:
            around, high = self._job()
        base = None if self._misplaced(session, around, network) or network else self._base(session)
        if not own:
            limit = limit if base is not None else max(limit, quality.max_distance * _NETWORK)
        if base is not None and len(around) < _JOB_ENOUGH:
            around, high = on_sphere(base[:1], base[1:2]), base[2:]
        elif len(around) < _JOB_ENOUGH:
            return Findings()
        name = f"session {self.prepared.windows[session].session.name}"
        mid = self.middles[session] = middle(around)
        of_middle = f"the middle of {name}" if own else "the job's middle"
        beyond = max(quality.doubtful_distance, _REACHES * min(mid.reach, limit))
        against = Against(mid, limit, beyond, fence(high), of_middle)
        positions = self._positions(mine, against, base, name)
        positions.out = [(number, away, misread(number, looks)) for number, away, looks in positions.out]
        positions.describe_far()
        ordinary = own and mine.count >= _COMPANY
        for number, away in positions.apart.alone(mine) if ordinary else ():
            positions.findings.doubtful[number] = f"is {distance_in_words(away, of_middle)}"
        self._heights(positions, mine, ordinary, session)
        if mine.count <= _TRACK:
            self._jumps(positions, mine, session)
            self._height_jumps(positions, mine, session)
            self._levels(positions, mine, session)
            self._apart(positions, mine, session)
        return positions.findings

    def _positions(self, mine: OfSession, against: Against, base: Floats | None, name: str) -> PositionLook:
        """Hold positions against the base (3,), if one is known and serves most of them, else against the middle."""
        if base is None:
            return look_at_positions(mine, against)
        found = look_at_positions(mine, against.with_base(base, f"the base of {name}"))
        stated, away = "max_distance" in self.quality.model_fields_set, _away(base, against.mid)
        if from_base(found.far, mine.count) or (stated and away <= max(against.limit, SERVES)):
            return found
        far, found = found.far, look_at_positions(mine, against)
        if stated:
            found.findings.not_from_base = _not_from_base(name, far, mine.count, away, against.limit)
        return found

    def _references(self, mine: OfSession, limit: float) -> tuple[Floats, Floats, Looks]:
        """Return what a session's readings are held against, and what those look like that are misread as a whole."""
        around, high = mine.references_of(max(mine.references // _SAMPLE, 1))
        found = self._misread(mine, around, limit)
        if found is None:
            return around, high, lambda _, looks: looks
        return found.places, found.heights, lambda number, looks: found.look(self.rows.rows.export(number), looks)

    def _misread(self, mine: OfSession, around: Floats, limit: float) -> Misread | None:
        """Return which exports of a session are misread as a whole, where many of its places (n, 3) are scattered."""
        register, control = self.prepared.register, self.prepared.loaded.job.control
        if len(around) < _ENOUGH or len(self.prepared.exports) < 2 or register is None or control is None:
            return None
        mid = middle(around)
        far = int(np.count_nonzero(distances(around, mid.at) > limit_of_middle(mid, limit)))
        if far * _SCATTERED <= len(around):
            return None
        try:
            longitude, latitude, _ = own_places(control.crs, register.first, register.second, 0.0 * register.first)
        except OperationError:
            return None
        marks = places_of_marks(longitude, latitude)
        return find_misread(mine, self.rows.rows.export, marks, self.quality.max_distance)

    def _jumps(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Add runs of readings that jump and come back, or else note those that lie mirrored across zero degrees."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            number, places = piece.number[near], piece.places[near]
            group, marks = self.rows.rows.export(number).astype(np.int64), (piece.flags[near] & CANDIDATE) != 0
            if (turned := mirrored(places, group, marks)) is not None:
                self.mirrored.append((session, int(number[turned.row]), turned))
                continue
            for run, metres in jumps(places, group, marks):
                found.findings.jumps.append((number[run].tolist(), metres))

    def _height_jumps(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Add runs of heights that jump and come back, unless they are of things of their own or told otherwise."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            if not rises(piece.height):
                continue
            known = near & np.isfinite(piece.height) & ((piece.flags & PLACEHOLDER) == 0)
            number, flags, rows = piece.number[known], piece.flags[known], self.rows.rows
            group = rows.export(number).astype(np.int64)
            marks = (flags & CANDIDATE) != 0
            told = height_jumps(piece.places[known], piece.height[known], self.units[group], group, marks)
            for jump in told:
                run = number[jump.rows]
                codes, others = rows.codes(run), np.delete(number, jump.rows)
                if not ((codes == 0) | np.isin(codes, rows.codes(others))).any():
                    continue
                if jump.looks is JumpLook.DIGIT:
                    found.findings.height_jumps.append((run.tolist(), jump.by))
                elif not (np.isin(run, self.off_ground).any() or found.findings.tells(run)):
                    self.leaps.append((session, int(run[0]), jump))

    def _levels(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Note readings that lie on two levels, among those whose heights count from one; a tower's are no level."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            sound = np.flatnonzero(near & np.isfinite(piece.height) & ((piece.flags & PLACEHOLDER) == 0))
            for alike in self.heights.alike(session, piece.number[sound]):
                here = sound[alike]
                two = levels(piece.places[here], piece.height[here])
                if two is not None:
                    self.levels.append((session, piece.number[here], two))
                if two is not None and len(self.off_ground):
                    tower = np.isin(piece.number[here], self.off_ground)
                    rest = here[~tower]
                    if tower[two.rows].all() and (two := levels(piece.places[rest], piece.height[rest])) is not None:
                        self.levels.append((session, piece.number[rest], two))

    def _apart(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Note that all readings on no mark lie far above or below those on marks whose heights count from one."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            sound = np.flatnonzero(near & np.isfinite(piece.height) & ((piece.flags & PLACEHOLDER) == 0))
            for alike in self.heights.alike(session, piece.number[sound]):
                here = sound[alike]
                marks = (piece.flags[here] & CANDIDATE) != 0
                if (off := marks_apart(piece.places[here], piece.height[here], marks)) is not None:
                    self.apart.append((session, int(piece.number[here[~marks][0]]), off))

    def _heights(self, found: PositionLook, mine: OfSession, ordinary: bool, session: int) -> None:
        """Add what is to be said of the heights; ``ordinary`` says whether readings on no mark are told as well."""
        around, findings = found.against.heights, found.findings
        quiet = around.level and not mine.placeholders
        if quiet and np.max(found.beyond) <= self.quality.doubtful_height_difference:
            return
        pieces = list(mine)
        number = np.concatenate([piece.number for piece in pieces])
        places = np.concatenate([piece.places for piece in pieces])
        height = np.concatenate([piece.height for piece in pieces])
        flags = np.concatenate([piece.flags for piece in pieces])
        del pieces
        placeholder, told_of = (flags & PLACEHOLDER) != 0, ((flags & CANDIDATE) == 0) & ordinary
        right, beyond = np.concatenate(found.near), around.beyond(height)
        impossible = right & (np.abs(beyond) > self.quality.max_height_difference)
        off, false, odd = np.zeros(len(number)), np.zeros(len(number), bool), np.zeros(len(number), bool)
        rest = np.flatnonzero(right & ~impossible)
        if len(rest):
            doubtful = self.quality.doubtful_height_difference
            off[rest], false[rest], odd[rest] = out_of_place(
                places[rest], height[rest], placeholder[rest], around, doubtful
            )
        zero = right & ~impossible & ~false & placeholder & (height == 0.0)
        chance = self._zeros(number[zero], height[right & np.isfinite(height)], around)
        no_zero, odd_zero = zero & (chance <= _NO_ZERO), zero & (chance <= _ODD_ZERO)
        sound = np.flatnonzero(right & ~impossible & ~false & ~placeholder & np.isfinite(height))
        for alike in self.heights.of_system(number[sound]):
            here = sound[alike]
            if (cliff := steep(places[here], height[here])) is not None:
                self.steep[session] = int(number[here[cliff.rows[0]]]), cliff
                self.off_ground = np.append(self.off_ground, number[here[cliff.rows]])
        looks = np.zeros(len(number), np.uint8)
        some = np.flatnonzero(impossible | false | (odd & told_of) | no_zero | (odd_zero & told_of))
        looks[some] = height_looks(height[some], around, placeholder[some])
        for row in some.tolist():
            by = off[row] if off[row] else beyond[row]
            where = f"{length_in_words(abs(by))} {'above' if by > 0 else 'below'} its neighbours"
            written = f"{height[row]:.3f}" if abs(height[row]) < _PRINTED else f"{height[row]:g}"
            height_told = f"has a height of {written} m, {where if abs(by) >= _SAID else 'to the last digit'}"
            certain = impossible[row] or false[row] or no_zero[row]
            into = findings.held if certain else findings.doubtful
            into[int(number[row])] = height_told + look_in_brackets(looks[row])

    def _zeros(self, numbers: Integers, heights: Floats, around: Fence) -> float:
        """Return the chance that all of these readings have a height of zero, among those of their session.

        Where many have it, or others lie next to it, the ground is level there.
        """
        if not len(numbers) or len(numbers) * _LEVEL > len(heights):
            return 1.0
        digit = float(metres_of(self.rows.rows.observed(numbers).up).max())
        beside = (heights != 0.0) & (np.abs(heights) <= max(_NEXT_DIGITS * digit, _NEXT))
        if np.count_nonzero(beside) * _BESIDE >= len(heights):
            return 1.0
        return zeros_by_chance(len(numbers), len(heights), digit, around)

    def _job(self) -> tuple[Floats, Floats]:
        """Return places and heights of the whole job, for a session that is too small."""
        if self._whole is None:
            self._whole = self.rows.references()
        return self._whole

    def _base(self, session: int) -> Floats | None:
        """Return (3,) longitude, latitude, height of a session's base, as broadcast; None where it is not known."""
        setup = self.prepared.windows[session].session.setup
        if setup is not None:
            return np.array([setup.longitude, setup.latitude, setup.ellipsoid_height])
        found = [place for _, place in self._carried(session)]
        if not found or not np.isfinite(found).all():
            return None
        places = on_sphere(np.array(found)[:, 0], np.array(found)[:, 1])
        return found[0] if np.linalg.norm(places - places[0], axis=1).max() <= _ONE_BASE else None

    def _misplaced(self, session: int, around: Floats, network: bool) -> bool:
        """Tell whether a session's base, as logged, is nowhere near places (k, 3), and keep what to say of it."""
        if self.prepared.windows[session].session.setup is not None or len(around) < _JOB_ENOUGH:
            return False
        carried = list(self._carried(session))
        found = misplaced_base(carried, self.prepared.exports, middle(around), network=network) if carried else None
        if found is not None:
            self.far_bases[session] = found
        return found is not None and not found.believed

    def _carried(self, session: int) -> Iterator[tuple[ValueSeen, Floats]]:
        for seen in sorted(self.logs[session].positions, key=lambda seen: (seen.time, seen.export, seen.row)):
            crs = self.prepared.exports[seen.export].points.crs or ""
            yield seen, np.array([np.ravel(part)[0] for part in own_places(crs, *([part] for part in seen.value))])
