"""Finds readings that look like checks (code, name or mark column) but match no mark: not to be issued as points."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.candidates import Candidates
from pipeline.intake.check_words import mentions_check, says_check
from pipeline.intake.few_alike import Few
from pipeline.intake.named_elsewhere import Elsewhere
from pipeline.intake.occasions import direction, of_numbers, of_occasion, of_witness, shape
from pipeline.intake.occupations import MarkNames, Wanted
from pipeline.intake.survey import Survey
from pipeline.job.model import Job, Session
from pipeline.near import and_more
from pipeline.sessions.toml_lines import more_occupations
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import Corrected
from pipeline.solve.differences import differences
from pipeline.solve.misnamed import Misnamed, misnamed
from pipeline.solve.temporary_marks import Temporary
from pipeline.solve.which_mark import VICINITY, Places
from pipeline.tolerance import Tolerance
from pipeline.words import Doubt, counted, plural

#: Metres. A reading of another code is told of by a name that is a little more than the mark's within this of it;
#: witness marks and fences are named after marks too. Common practice, no source.
_BESIDE = 5.0
#: Readings of a session up to which those that are named after a temporary mark are occupations of it; more are points
#: that are numbered from it. Common practice, no source.
_OCCUPATIONS = 3
#: Readings of a session up to which those that name one mark in another column are occupations of it; more are points
#: measured from it. Common practice, no source.
_OFTEN = 6
#: Readings in no list at the least from which those that are like the listed ones can be told apart.
_PLAIN = 5
#: Readings that a sentence lists.
_LISTED = 4

#: Why a reading is told of, in words, whether it is held back for that, and the mark that a point stands on.
_Told = tuple[str, bool, str | None]


@dataclass(frozen=True)
class Unanswered:
    """A reading, ``row`` of the candidates, ``number`` of the whole job, of a session; ``why`` it is told of, in words.

    ``held`` is whether it says that it stands on a mark which is not there, else it is a point: on ``mark``, or, where
    that is None, one that has the name of a mark far away.
    """

    row: int
    number: int
    session: int
    why: str
    held: bool
    mark: str | None = None


def unanswered(
    candidates: Candidates,
    corrected: Corrected,
    marks: Sequence[str | None],
    job: Job,
    register: Reference,
    temporary: Temporary,
    few: Few,
    elsewhere: Elsewhere,
) -> tuple[Unanswered, ...]:
    """Return the candidates on no mark, by ``marks``, whose code, ``mark`` column or name says that they are on one.

    ``few`` is what of the listed occupations few other readings have, ``elsewhere`` the marks that readings name in
    columns which are not mapped.
    """
    wanted, reference = Wanted.of([], job.checks.codes, register.names), _with(register, temporary)
    coded, columns = wanted.stated(candidates.table)
    pegs = MarkNames.arranged(temporary.names)
    codes = candidates.table.column("code").to_pylist()
    numbers = candidates.table.column("number").to_pylist()
    at = np.column_stack([corrected.easting, corrected.northing, corrected.height])
    numbered = _numbered_from(candidates, pegs)
    alike = _Alike.of(candidates, marks, at, few, register, wanted.marks, job)
    often = Counter(
        (int(session), *elsewhere[number])
        for session, number, mark in zip(candidates.session, numbers, marks, strict=True)
        if mark is None and number in elsewhere
    )
    occupied = _occupied_by_name(candidates, wanted.marks)
    found = []
    for row in np.flatnonzero(np.isfinite(at).all(axis=1)).tolist():
        if marks[row] is not None:
            continue
        column = columns[row]
        says = f"its code {codes[row]} makes" if coded[row] else f"its mark {column!r} makes" if _word(column) else ""
        told = None
        if not says:
            told = alike.told(row, codes[row], at[row])
            told = told or _told(_Said(candidates.names[row], codes[row], at[row]), wanted, reference, job)
            told = alike.softened(row, codes[row], told)
        if says:
            told = f"{says} it a check, but {_nowhere(reference, at[row], job.checks.radius)}", True, None
        if told is None:
            told = _of_peg(_Said(candidates.names[row], codes[row], at[row]), pegs, temporary, reference, job)
            if told is not None and (int(candidates.session[row]), pegs.like(candidates.names[row])) in numbered:
                told = told[0], False, told[2]
        named, session = elsewhere.get(numbers[row]), int(candidates.session[row])
        open_yet = (told is None or not told[1]) and (named is None or (session, named[1]) not in occupied)
        if named is not None and open_yet and often[session, *named] <= _OFTEN:
            told = _named_elsewhere(named, at[row], reference, job) or told
        if told is not None:
            why, held, mark = told
            found.append(Unanswered(row, numbers[row], int(candidates.session[row]), why, held, mark))
    return tuple(found)


@dataclass(frozen=True)
class _Alike:
    """What a reading that no list names has in common with the listed ones, and how it lies to the marks.

    ``code`` is the one that all listed readings have, "" where they differ; ``own`` whether (nearly) no other reading
    has it. ``far`` are listed readings that are named after other marks than theirs, ``count`` readings by session and
    what they are named, ``last`` UTC milliseconds of the last listed reading of each session.
    """

    names: Sequence[str | None]
    session: Integers
    time: Integers
    last: Mapping[int, int]
    code: str
    own: bool
    shapes: frozenset[str]
    marks: MarkNames
    register: Reference
    far: Sequence[Misnamed]
    count: Mapping[tuple[int, str], int]
    job: Job

    @classmethod
    def of(
        cls,
        candidates: Candidates,
        on: Sequence[str | None],
        at: Floats,
        few: Few,
        register: Reference,
        marks: MarkNames,
        job: Job,
    ) -> "_Alike":
        """Gather it from all candidates, ``on`` the marks that they stand on, ``at`` (n, 3) places."""
        codes = [(code or "").strip().lower() for code in candidates.table.column("code").to_pylist()]
        listed = [row for row, said in enumerate(candidates.named) if said is not None]
        of_listed = {codes[row] for row in listed}
        code = of_listed.pop() if len(listed) > 1 and len(of_listed) == 1 else ""
        unlisted = [row for row in range(len(codes)) if on[row] is None]
        plain = few.others >= max(_PLAIN, 2 * sum(codes[row] == code for row in unlisted))
        shaped = Counter(shape(candidates.names[row] or "") for row in unlisted)
        shapes = {one for one in few.shapes if few.others >= max(_PLAIN, 2 * shaped[one])} if len(listed) > 1 else set()
        count = Counter((int(candidates.session[row]), _kind(marks, candidates.names[row])) for row in unlisted)
        far = misnamed(
            [candidates.names[row] for row in listed],
            [on[row] for row in listed],
            candidates.session[listed],
            at[listed],
            marks,
            register,
        )
        own = bool(code) and code in few.codes and plain
        last: dict[int, int] = {}
        for row in listed:
            number = int(candidates.session[row])
            last[number] = max(last.get(number, 0), int(candidates.time[row]))
        return cls(
            candidates.names,
            candidates.session,
            candidates.time,
            last,
            code,
            own,
            frozenset(shapes),
            marks,
            register,
            far,
            count,
            job,
        )

    def told(self, row: int, code: str | None, at: Floats) -> _Told | None:
        """Say of a reading why it may be an occupation that no list names, off the mark; None where nothing does."""
        name, session = self.names[row], int(self.session[row])
        bears = self.marks.bearing(name)
        places = Places(self.register.names, self.register.grid[:, :2])
        said = (code or "").strip().lower()
        own, sister = self.own and said == self.code, shape(name or "") in self.shapes
        if bears is None:
            if not (own or sister) or self.marks.like(name) is not None or of_witness((name or "").lower()):
                return None
            here, distance = places.nearest(at[:2], _BESIDE)
            if here is None or self._agrees(here, at):
                return None
            has = f"its code {code} is used almost only for ties and checks" if own else ""
            has = has or "its name follows the pattern of the ties and checks in the job file"
            why = f"{has}, and it is beside the mark {here}, {_away(self.register, here, distance, at)}"
            # a new mark is set beside an old one, too: where a check comes after it, that tells whether the base stood
            last = self.last.get(session, 0) <= int(self.time[row])
            return why, last or sister or of_occasion((name or "").lower()), here
        mark, beside = bears
        here, distance = places.beside(mark, at[:2], np.inf)
        if here is None:
            return None
        away = _away(self.register, mark, distance, at)
        apart = at - self.register.grid[self.register.names.index(mark)]
        for one in self.far:
            if one.session == session and one.alike(apart, self.job):
                return (
                    f"{one.says()}; this reading, named after the mark {mark}, is off it by the same vector, {away}",
                    True,
                    mark,
                )
        occasion, few = of_occasion(beside), self.count[session, _kind(self.marks, name)] <= _OCCUPATIONS
        repeats = few and (occasion or (sister and of_numbers(beside)))
        numbers = few and of_numbers(beside) and said in ("", self.code)
        witness = of_witness(beside) and not (direction(beside) and own and self._alone(session, mark))
        near = distance <= (VICINITY if repeats and said in ("", self.code) else _BESIDE)
        if near and not witness and (repeats or numbers or own) and not self.marks.like(name):
            if distance > self.job.checks.radius:
                return f"its name refers to the mark {mark}, but that is {away}", True, mark
            return _on(mark, f"named after the mark {mark} and", _Said(name, code, at), self.register, self.job)
        thing = bool(said) and said in beside
        if self.job.checks.radius < distance <= _BESIDE and few and not thing and not self.marks.like(name):
            return f"it is named after the mark {mark}, which is {away}", False, mark
        return None

    def softened(self, row: int, code: str | None, told: _Told | None) -> _Told | None:
        """Return why a reading is told of, no more held back where its name makes it a witness of the mark: CM2-N."""
        if told is None or not told[1] or mentions_check(self.names[row]) or told[2] is not None:
            return told
        mark, beside = self.marks.bearing(self.names[row]) or ("", "")
        of_code = (code or "").strip().lower()
        says = mentions_check(code, code=True) or (self.own and of_code == self.code)
        if not says and len(of_code) > 1 and of_code == "".join(filter(str.isalpha, beside)):
            return told[0], False, mark  # a manhole MH beside it, called CM2-MH
        if not direction(beside) or not mark:
            return told
        return told if says and self._alone(int(self.session[row]), mark) else (told[0], False, mark)

    def _agrees(self, mark: str, at: Floats) -> bool:
        """Tell whether a reading would pass as a check of a mark."""
        return not _on(mark, "", _Said(None, None, at), self.register, self.job)[1]

    def _alone(self, session: int, mark: str) -> bool:
        """Tell whether no more than one reading of a session is named after a mark with a direction."""
        return sum(self.count.get((session, f"{mark} {letter}"), 0) for letter in "nesw") <= 1


def _kind(marks: MarkNames, name: str | None) -> str:
    """Return the mark that a name bears with the shape of the rest, or the shape of the whole."""
    bears = marks.bearing(name)
    if bears is None:
        return shape(name or "")
    only = "".join(filter(str.isalpha, bears[1]))
    return f"{bears[0]} {only if direction(bears[1]) else shape(bears[1])}"


def _with(register: Reference, temporary: Temporary) -> Reference:
    """Return the register with the temporary marks behind its own: a reading lies beside one or the other."""
    more = len(temporary.names)
    return Reference(
        (*register.names, *temporary.names),
        np.vstack([register.xyz, np.full((more, 3), np.nan)]),
        np.vstack([register.grid, temporary.grid]),
        np.vstack([register.held, np.isfinite(temporary.grid)]),
        np.vstack([register.sigma, np.full((more, 3), np.nan)]),
        np.vstack([register.lost, np.zeros((more, 2), bool)]),
    )


def _word(column: str) -> bool:
    return any(character.isalnum() for character in column)


@dataclass(frozen=True)
class _Said:
    """Name and code of a reading that is no check by the job file, and (3,) where it lies."""

    name: str | None
    code: str | None
    at: Floats

    def check(self) -> str:
        """Return in words that name or code hold a word for a check, else nothing."""
        if mentions_check(self.code, code=True):
            return f"its code {self.code} makes"
        return "its name makes" if mentions_check(self.name) else ""


def _told(said: _Said, wanted: Wanted, reference: Reference, job: Job) -> _Told | None:
    """Say how a reading lies to the mark that its name, or a word for a check, stands for, and whether it is held.

    On a mark it is held where a check would fail there; off every mark where it can hardly be anything but a check. A
    point that has a mark's very name far from it is told: in a drawing one would be taken for the other.
    """
    says, mark = said.check(), wanted.marks.like(said.name)
    if says and mark is None:
        mark = wanted.marks.like(said.code)
    if not says and mark is None:
        return None
    places, point, radius = Places(reference.names, reference.grid[:, :2]), said.at[:2], job.checks.radius
    here, _ = places.beside(mark, point, radius) if mark else (None, 0.0)
    here = here or places.nearest(point, radius)[0]
    if here is not None:
        named = (
            f"named after the mark {here} and" if here == mark else f"{says or 'its name makes'} it a check, and it is"
        )
        return _on(here, named, said, reference, job)
    if mark is not None:
        within = np.inf if says else VICINITY if wanted.marks.plainly(said.name) else _BESIDE
        near, distance = places.beside(mark, point, within)
        if near is not None:
            away = _away(reference, mark, distance, said.at)
            return f"its name refers to the mark {mark}, but that is {away}", True, None
        near, distance = places.beside(mark, point, np.inf)
        if near is not None and wanted.marks.plainly(said.name):
            return (
                f"it has the name of the mark {mark}, which is {_away(reference, mark, distance, said.at)}",
                False,
                None,
            )
    whole = says_check(said.code) or (says_check(said.name) and places.nearest(point, VICINITY)[0] is not None)
    return (f"{says} it a check, but {_nowhere(reference, said.at, radius)}", True, None) if whole else None


def _of_peg(said: _Said, pegs: MarkNames, temporary: Temporary, reference: Reference, job: Job) -> _Told | None:
    """Say how a reading lies to the temporary mark that it is named after, and whether it is held.

    It is where a check would fail on the mark within ``checks.radius``: a base that moved since shows there alone. One
    beyond that is a point which is told, up to `_BESIDE`: names of pegs are given to points as well.
    """
    mark = pegs.like(said.name)
    if mark is None:
        return None
    places = Places(temporary.names, temporary.grid[:, :2])
    near, distance = places.beside(mark, said.at[:2], _BESIDE)
    if near is None:
        return None
    if distance <= job.checks.radius:
        return _on(near, f"named after the mark {near} and", said, reference, job)
    away = _away(reference, near, distance, said.at)
    return f"its name refers to the mark {near}, but that is {away}", False, None


def _named_elsewhere(named: tuple[str, str], at: Floats, reference: Reference, job: Job) -> _Told | None:
    """Say how a reading lies to the mark that it names in a column which is not mapped.

    It is held where a check would fail on the mark, up to `_BESIDE`: farther away the column says something else.
    """
    heading, mark = named
    near, distance = Places(reference.names, reference.grid[:, :2]).beside(mark, at[:2], _BESIDE)
    if near is None:
        return None
    says = f"its unmapped column {heading!r} gives {mark}"
    if distance <= job.checks.radius:
        why, failing, _ = _on(mark, f"{says}, and it is", _Said(None, None, at), reference, job)
        return why, failing, mark
    return f"{says}, but that is {_away(reference, mark, distance, at)}", True, mark


def _occupied_by_name(candidates: Candidates, marks: MarkNames) -> set[tuple[int, str]]:
    """Return sessions with the marks that a list says are occupied in them by a name that is the mark's."""
    return {
        (int(session), said.mark)
        for session, name, said in zip(candidates.session, candidates.names, candidates.named, strict=True)
        if said is not None and marks.named(name, said.mark)
    }


def _numbered_from(candidates: Candidates, pegs: MarkNames) -> set[tuple[int, str | None]]:
    """Return sessions with the temporary marks that many of their readings are named after."""
    count = Counter(
        (int(session), pegs.like(name)) for session, name in zip(candidates.session, candidates.names, strict=True)
    )
    return {key for key, readings in count.items() if readings > _OCCUPATIONS}


def _on(mark: str, named: str, said: _Said, reference: Reference, job: Job) -> _Told:
    """Say of a reading on a mark how it compares, and whether a check would fail with it."""
    number = reference.names.index(mark)
    tolerance = Tolerance(job.checks.horizontal, job.checks.vertical)
    compared = differences(said.at[None], reference.grid[[number]], reference.holds()[[number]], tolerance)
    failing = bool(compared.judged[0] and not compared.passed[0])
    away = _away(reference, mark, float(np.hypot(*(said.at - reference.grid[number])[:2])), said.at)
    on = f"beside {'it' if mark in named else mark}" if failing else f"on {'it' if mark in named else mark}"
    return f"{named} {on}, {away}, but neither a tie nor a check of its session", failing, mark


def _nowhere(reference: Reference, at: Floats, radius: float) -> str:
    name, distance = Places(reference.names, reference.grid[:, :2]).nearest(at[:2], np.inf)
    if name is None:
        return "neither the register nor a tie gives a mark with a position"
    return f"no mark is within {radius:g} m: the nearest is {name}, {_away(reference, name, distance, at)}"


def _away(reference: Reference, name: str, distance: float, at: Floats) -> str:
    if distance > 1000.0:
        return f"{distance:,.0f} m away"
    east, north, up = at - reference.grid[reference.names.index(name)]
    height = f", height {up:+.3f}" if np.isfinite(up) else ""
    return f"{distance:.2f} m away (east {east:+.3f}, north {north:+.3f}{height})"


def unanswered_doubts(survey: Survey, candidates: Candidates, found: Sequence[Unanswered]) -> list[Doubtful]:
    """Return a doubt per session that has readings which say that they are checks and compare with nothing."""
    doubts = []
    for window in survey.windows:
        here = [one for one in found if one.held and one.session == window.index]
        if not here:
            continue
        listed = "; ".join(f"{where_read(survey, candidates, one.row)}: {one.why}" for one in here[:_LISTED])
        more = and_more(len(here) - _LISTED, "; ")
        what = (
            f"session {window.session.name}: {counted(len(here), 'reading')} that"
            f" {plural(len(here), 'seems to be a check is', 'seem to be checks are')} compared with no mark, so nothing"
            f" shows whether the base moved: {listed}{more};"
            f" {_what_to_write(survey, candidates, window.session, here)}, or add the code to checks.codes"
        )
        doubts.append(Doubtful(Doubt.UNANSWERED_CHECK, what, (window.index,)))
    return doubts


def _what_to_write(survey: Survey, candidates: Candidates, session: Session, found: Sequence[Unanswered]) -> str:
    pairs = {candidates.names[one.row] or "": one.mark for one in found if one.mark is not None}
    pairs.pop("", None)
    if not pairs:
        return "name the mark in checks = [{ point, mark }] of the session"
    return more_occupations(session, "checks", list(pairs.items())[:_LISTED], survey.job.sessions)


def where_read(survey: Survey, candidates: Candidates, row: int) -> str:
    """Return a candidate by its name, file and row."""
    export = survey.exports[candidates.table.column("export")[row].as_py()]
    return f"{candidates.names[row] or 'a reading'} ({export.shown}:{candidates.table.column('source_row')[row]})"


def held_back(found: Sequence[Unanswered], doubts: Sequence[Doubtful]) -> Mapping[int, str]:
    """Return, by number of the whole job, why a reading is held back; none where the job file confirms the doubt."""
    if any(doubt.kind is Doubt.UNANSWERED_CHECK and doubt.confirmed for doubt in doubts):
        return {}
    return {one.number: one.why for one in found if one.held}
