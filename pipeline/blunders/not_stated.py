"""The hypotheses that readings already carry a shift that the field applied and the job does not state."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.blunders.carried import TIMES, Levels, Pattern, Source, Way, patterns
from pipeline.blunders.misstated import StatedGroups
from pipeline.blunders.scope import Case, Scope
from pipeline.blunders.score import ALL, HEIGHT, LEVEL, Hypothesis, Kind, OneShape
from pipeline.clock import DAY, stamp
from pipeline.job.model import GivenShift
from pipeline.replace import replace
from pipeline.solve.reading_precision import with_centring
from pipeline.words import Role

#: Milliseconds after which nobody forgets to switch off the shift of a session before.
_KEPT = 3 * DAY
#: Sessions before, the latest, whose shift may still have been on.
_BEFORE = 4
#: Metres at most by which the shift of a session before may be off the one that the field kept, horizontally.
_KEPT_OFF = 0.02
#: Occupations of a session that may be raw readings from which the field derived its shift; its ties come first.
_SOURCES = 12
#: How much less likely a check is to be the reading that the field derived its shift from. Common practice, no source.
_CHECK = 8.0
#: Upper 95 % of chi-square with three degrees of freedom.
_CHI_SQUARE = 7.815
#: Metres by which a shift in the grid has to be off one in space at some occupation to be told from it.
_BENT = 0.003
#: Chi-square of three numbers that one reading in some thousands exceeds: another fits as well within it.
_ALSO = 16.0
#: Patterns with odd occupations beside which a second cause is looked for, those with the fewest first.
_PATTERNS = 12


class FoundPattern(Struct, frozen=True):
    """A pattern among some occupations of a session, with what it takes to say and to state it.

    Args:
        session: index of the session.
        rows: (n,) rows of `OnMarks` by time, those that ``pattern`` is about.
        pattern: which of them carry what.
        vector: (3,) what they carry, geocentric.
        given: the row of the reading that the field took the shift from, None where it is none of the session's.
        before: index of the session whose shift it is, None where it is this one's own.
        also: names of other readings that give the same shift as well.
        grid: whether it was added to easting, northing and height, which bends it away from its place.
    """

    session: int
    rows: Integers
    pattern: Pattern
    vector: Floats
    given: int | None
    before: int | None
    also: tuple[str, ...] = ()
    grid: bool = False

    @property
    def carrying(self) -> Integers:
        """(k,) the rows that carry the shift."""
        return self.rows[self.pattern.carrying]


def find_patterns(case: Case, session: int, rows: Integers) -> list[FoundPattern]:
    """Return the patterns among some of a session's occupations, by time, each way once and the best source of it."""
    rows = rows[np.isfinite(known_places(case, rows)).all(axis=1)] if len(rows) else rows
    if not len(rows):
        return []
    rotation = case.rotation(session)
    levels = _levels(case, rows, rotation)
    sources = list(_sources(case, session, rows, levels, rotation))
    grouped: dict[tuple[Way, bytes, int], list[Pattern]] = {}
    for pattern in patterns(levels, sources, case.tolerance):
        before = pattern.source.number if pattern.source.number != session else -1
        grouped.setdefault((pattern.way, pattern.carrying.tobytes(), before), []).append(pattern)
    return [one for some in grouped.values() for one in _best(case, session, rows, some, rotation)]


def partial(some: Sequence[tuple[Hypothesis, FoundPattern]]) -> list[tuple[Hypothesis, FoundPattern]]:
    """Return the patterns that leave occupations to a second cause, the likeliest few."""
    odd = [pair for pair in some if pair[1].pattern.odd.any() and pair[1].pattern.way is not Way.REVISED]
    return sorted(odd, key=lambda pair: (int(pair[1].pattern.odd.sum()), pair[1].pattern.guesses))[:_PATTERNS]


def known_places(case: Case, rows: Integers) -> Floats:
    """Return (n, 3) where the marks of occupations are, working frame: of the register, else as adjusted."""
    adjusted = dict(zip(case.solved.tied.marks.names, case.solved.shifts.marks, strict=True))
    nowhere = np.full(3, np.nan)
    return np.array(
        [
            case.solved.reference.xyz[case.mark[row]]
            if case.mark[row] >= 0
            else adjusted.get(case.solved.occupations.marks[row], nowhere)
            for row in rows.tolist()
        ]
    ).reshape(-1, 3)


def _levels(case: Case, rows: Integers, rotation: Floats) -> Levels:
    on_marks = case.solved.occupations
    centring = case.survey.job.quality.centring
    needed = (known_places(case, rows) - on_marks.raw[rows]) @ rotation.T
    of_mark = np.vstack([case.solved.reference.sigma, np.zeros((1, 3))])[case.mark[rows]]
    sigma = np.hypot(with_centring(on_marks.precision.sigma[rows], centring), of_mark)
    held = case.held[rows] | (case.mark[rows] < 0)[:, None]
    bases = {name: number for number, name in enumerate(dict.fromkeys(on_marks.table.column("base").to_pylist()))}
    receiver = np.array([bases[name] for name in on_marks.table.column("base").to_pylist()], np.int64)[rows]
    file = np.asarray(on_marks.table.column("export"), np.int64)[rows]
    return Levels(np.where(held, needed, np.nan), sigma, receiver, file)


def _sources(case: Case, session: int, rows: Integers, levels: Levels, rotation: Floats) -> Iterator[Source]:
    """Yield the shifts that the field may have applied, and at what level raw readings then are."""
    on_marks, tied = case.solved.occupations, case.solved.tied
    whole = np.isfinite(levels.needed).all(axis=1) & (case.mark[rows] >= 0)
    ties = on_marks.ties[rows]
    places = np.flatnonzero(whole)[np.argsort(~ties[whole], kind="stable")][:_SOURCES].tolist()
    for place in places:
        needed = levels.needed[place]
        yield Source(needed, needed, levels.sigma[place], place, session, rarer=1.0 if ties[place] else _CHECK)
    stood = _set_up(case, session) if session in tied.setups else None
    if stood is not None:
        needed, sigma = rotation @ stood[0], stood[1]
        if stood[2]:
            yield Source(needed, needed, sigma, -1, session)
    lone = session not in tied.setups and not (ties & whole).any()
    if lone and np.isfinite(own := rotation @ case.solved.shifts.shift[session]).all():
        yield Source(own, own, np.zeros(3), -1, session)
    for other in _sessions_before(case, session):
        kept = rotation @ case.solved.shifts.shift[other]
        if stood is not None:
            yield Source(needed, kept, sigma, -1, other, False)
        for place in places[:3]:
            raw = levels.needed[place]
            yield Source(raw, kept, levels.sigma[place], place, other, False)
            yield Source(raw + kept, kept, levels.sigma[place], place, other, False)


def _set_up(case: Case, session: int) -> tuple[Floats, Floats, bool] | None:
    """Return of a base over a mark what raw readings need, geocentric, its sigma, and whether the register says it."""
    over = case.survey.windows[session].session.setup
    if over is None:
        return None
    number, marks = case.number.get(over.mark), case.solved.tied.marks.names
    if number is not None:
        at, sigma = case.solved.reference.xyz[number], case.solved.reference.sigma[number]
    else:
        at, sigma = case.solved.shifts.marks[list(marks).index(over.mark)], np.full(3, case.survey.job.quality.centring)
    needed = at - case.survey.bases.mark[session]
    return (needed, sigma, number is not None) if np.isfinite(needed).all() else None


def _sessions_before(case: Case, session: int) -> list[int]:
    windows = case.survey.windows
    start, tied = windows[session].start_ms, case.solved.shifts.fully_tied
    before = [window for window in windows if 0 < start - window.start_ms < _KEPT and tied[window.index]]
    return [window.index for window in sorted(before, key=lambda window: -window.start_ms)[:_BEFORE]]


def _best(
    case: Case, session: int, rows: Integers, some: Sequence[Pattern], rotation: Floats
) -> Iterator[FoundPattern]:
    """Yield of patterns that differ only in where the shift comes from the tie whose numbers fit best, and the check.

    Each names the other readings that give the same shift within their noise.
    """
    on_marks = case.solved.occupations
    names = on_marks.table.column("name").to_pylist()

    def unlikely(pattern: Pattern) -> float:
        return float(((pattern.off / np.maximum(pattern.expected, 1e-4)) ** 2).sum())

    def tied(pattern: Pattern) -> bool:
        return pattern.source.row < 0 or on_marks.roles[int(rows[pattern.source.row])] is Role.TIE

    for role in (True, False):
        alike = [pattern for pattern in some if tied(pattern) is role]
        if not alike:
            continue
        best = min(alike, key=unlikely)
        own = best.source.number == session
        given = int(rows[best.source.row]) if own and best.source.row >= 0 else None
        also = [one for one in some if own and one is not best and one.source.row >= 0 and unlikely(one) < _ALSO]
        vector = (best.source.shift * TIMES[best.way]) @ rotation
        told = tuple(dict.fromkeys(str(names[int(rows[one.source.row])]) for one in also))
        yield FoundPattern(
            session=session,
            rows=rows,
            pattern=best,
            vector=vector,
            given=given,
            before=None if own else best.source.number,
            also=told,
        )
        if not own:
            return


def hypotheses_of(scope: Scope, session: int, own: Integers) -> Iterator[tuple[FoundPattern, Hypothesis]]:
    """Yield the hypotheses about one session of a scope, each with the pattern that it is about."""
    stated = StatedGroups.of(scope.case, session, own)
    for one in find_patterns(scope.case, session, own):
        if stated.accounts_for(one.carrying, one.vector) or _is_mistyped(scope.case, one):
            continue
        carrying = one.carrying.tolist()
        (given,) = scope.influence.displaced(carrying, one.vector[None])
        text, decide = pattern_in_words(scope.case, one), "the field record of what was applied, and when"
        # the shift of another session has the noise of that session's ties, which nothing of this one takes off again
        slack = 0.0 if one.before is None else min(_KEPT_OFF, 2.0 * float(one.pattern.expected[:2].max()))
        hypothesis = Hypothesis(Kind.NOT_STATED, text, given, decide=decide, slack=slack, guesses=one.pattern.guesses)
        if one.pattern.way is not Way.REVISED:
            yield one, hypothesis
            yield from _in_grid(scope, one, hypothesis)
            continue
        shape, group = scope.influence.any_displaced(dict.fromkeys(carrying, 1.0)), OneShape()
        for free in (ALL, LEVEL, HEIGHT):
            yield one, replace(hypothesis, shape=shape, given=given, free=free, group=group)


def _is_mistyped(case: Case, one: FoundPattern) -> bool:
    """Whether all readings of a session carry the shift that the job file states for it, twice or reversed.

    Nothing but that statement says what the shift is, so it is the statement that is wrong (see `stated_shifts`).
    """
    given = case.survey.windows[one.session].session.shift
    of_it = isinstance(given, GivenShift) and one.pattern.source.row < 0 and one.before is None
    return of_it and one.pattern.way in (Way.TWICE, Way.REVERSED) and bool(one.pattern.carrying.all())


def _in_grid(scope: Scope, one: FoundPattern, hypothesis: Hypothesis) -> Iterator[tuple[FoundPattern, Hypothesis]]:
    """Yield the same with the shift added to easting, northing and height, where that shows."""
    case = scope.case
    if one.given is None or one.pattern.way is not Way.ONCE:
        return
    to_issued, marks = case.survey.operations.frames.to_issued, case.solved.reference.xyz
    ends = np.vstack([case.solved.occupations.raw[one.given], marks[case.mark[one.given]]])
    raw, mark = np.column_stack(to_issued.forward(*ends.T))
    known = known_places(case, one.carrying)
    there = np.column_stack(to_issued.inverse(*(np.column_stack(to_issued.forward(*known.T)) + (mark - raw)).T))
    errors = there - known
    if not (np.linalg.norm(errors - one.vector, axis=1) > _BENT).any():
        return
    in_grid = replace(one, grid=True)
    shape = scope.influence.each_displaced(one.carrying.tolist(), errors)
    yield (
        in_grid,
        replace(hypothesis, shape=shape, text=pattern_in_words(case, in_grid), guesses=2.0 * hypothesis.guesses),
    )


def pattern_in_words(case: Case, one: FoundPattern) -> str:
    """Return the sentence of a pattern: since when, which readings, and what they carry; a revision's size is open."""
    pattern = one.pattern
    return f"{_when(case, one)} {_who(case, one)} already {_what_it_carries(case, one)}{_how_well(pattern)}"


def _who(case: Case, one: FoundPattern) -> str:
    on_marks, first = case.solved.occupations, int(one.carrying[0])
    who = "the readings"
    if one.pattern.limited == "receiver":
        who = f"the readings with base id {on_marks.table.column('base')[first].as_py()}"
    elif one.pattern.limited == "file":
        who = f"the readings of {case.survey.exports[on_marks.table.column('export')[first].as_py()].shown}"
    if len(one.carrying) == 1:
        return f"{on_marks.table.column('name')[first].as_py()} alone of {who}" if _alone(one) else who
    return who


def _alone(one: FoundPattern) -> bool:
    """Whether one occupation carries the shift, and the next one does not."""
    states = one.pattern.carrying[one.pattern.among]
    return int(states.sum()) == 1 and not bool(states[-1])


def _what_it_carries(case: Case, one: FoundPattern) -> str:
    verb = "carries" if len(one.carrying) == 1 and _alone(one) else "carry"
    shift = f"the shift that {_whose(case, one)}"
    up = (case.rotation(one.session) @ one.vector) + 0.0
    size = f", ({up[0]:+.3f}, {up[1]:+.3f}, {up[2]:+.3f}) m east, north, up, which the job does not state"
    match one.pattern.way:
        case Way.ONCE:
            return f"{verb} {shift}{', added to easting, northing and height in the grid' if one.grid else ''}{size}"
        case Way.TWICE:
            return f"{verb} {shift} twice{size}"
        case Way.REVERSED:
            return f"{verb} {shift} with the opposite sign, subtracted instead of added{size}"
        case Way.LEVEL:
            return f"{verb} {shift} in position only, not in height{size}"
        case Way.HEIGHT:
            return f"{verb} {shift} in height only, not in position{size}"
        case _:
            mark = case.solved.occupations.marks[one.given] if one.given is not None else "its mark"
            return (
                f"{verb} {shift}{size}, except for {{size}}: {mark} had other coordinates in the field (before a"
                " revision of the register, or typed wrongly), or the base moved by {opposite} as well"
            )


def _whose(case: Case, one: FoundPattern) -> str:
    on_marks, names = case.solved.occupations, case.solved.occupations.table.column("name")
    if one.before is not None:
        return f"session {case.survey.windows[one.before].session.name} had, kept from its base"
    if one.given is not None:
        others = f" (or {' or '.join(one.also[:3])})" if one.also else ""
        return f"{names[one.given].as_py()} on {on_marks.marks[one.given]} gives{others}"
    return "its base over its mark gives" if one.session in case.solved.tied.setups else "the session has"


def _when(case: Case, one: FoundPattern) -> str:
    return "; ".join(_window(case, *edges) for edges in windows(one))


def windows(one: FoundPattern) -> Iterator[tuple[int | None, int, int, int | None]]:
    """Yield rows: the last before a stretch that carries the shift, its first and its last, the first after it."""
    rows, carrying = one.rows[one.pattern.among], one.pattern.carrying[one.pattern.among]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], carrying.astype(np.int8), [0]]))).reshape(-1, 2)
    for first, end in edges.tolist():
        before = int(rows[first - 1]) if first else None
        yield before, int(rows[first]), int(rows[end - 1]), int(rows[end]) if end < len(rows) else None


def _window(case: Case, before: int | None, first: int, last: int, after: int | None) -> str:
    time, day, told = case.solved.occupations.time, "", []
    for row in (before, first, last, after):
        text = stamp(int(time[row])) if row is not None else ""
        told.append(text[11:] if text[:10] == day else text)
        day = text[:10] or day
    since = f"from between {told[0]} and {told[1]} UTC" if told[0] else "from the start"
    return f"{since} on" if not told[3] else f"{since} until between {told[2]} and {told[3]} UTC"


def _how_well(pattern: Pattern) -> str:
    if pattern.way is Way.REVISED:
        return ""
    expected = float(np.sqrt(_CHI_SQUARE / 3.0 * (pattern.expected**2).sum()))
    return f" (they differ by {1000 * float(np.linalg.norm(pattern.off)):.0f} mm; expected up to {1000 * expected:.0f})"
