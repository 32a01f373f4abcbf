"""Gathers what the rules for readings that no list names ask: what they say, and how they lie to the marks."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.candidates import Candidates
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.rare_kinds import Rare
from pipeline.job.model import Job
from pipeline.letter_case import folded
from pipeline.occupations.code_slips import slip_of
from pipeline.occupations.features import BESIDE, OCCUPATIONS, Features, MarkNearby
from pipeline.occupations.name_words import direction, shape
from pipeline.occupations.signs import MarkNames, Wanted
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import Corrected
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.misnamed import Misnamed, misnamed

#: Readings in no list at the least from which those that are like the listed ones can be told apart.
_PLAIN = 5
#: Readings elsewhere than at marks up to which a code that is nearly a check's is mistyped there. Ours, no source.
_ELSEWHERE = 1


def features_of(
    candidates: Candidates,
    corrected: Corrected,
    stands_on: Sequence[str | None],
    known: KnownMarks,
    first: FirstPass,
) -> Iterator[tuple[int, Features]]:
    """Yield the candidates that are on no mark and have a place, by row, with what is known of each.

    Args:
        candidates: (n,) readings, with ``corrected`` their places.
        stands_on: the mark that each is on, None for no mark.
        known: the marks, and how the job has readings compared with them.
        first: what of the listed occupations few other readings have, and the marks that columns name which are not
            mapped.
    """
    unlisted = _Unlisted(candidates, corrected.places, stands_on, known, first)
    for row in np.flatnonzero(np.isfinite(corrected.places).all(axis=1)).tolist():
        if stands_on[row] is None:
            yield row, unlisted.features(row)


class _Unlisted:
    """The candidates of a job, with what is counted over all of them."""

    def __init__(
        self, candidates: Candidates, at: Floats, stands_on: Sequence[str | None], known: KnownMarks, first: FirstPass
    ) -> None:
        """Count; arguments are those of `features_of`, ``at`` (n, 3) the places."""
        self._candidates, self._at, self._known, self._elsewhere = candidates, at, known, first.elsewhere
        self._codes = candidates.table.column("code").to_pylist()
        self._numbers = candidates.table.column("number").to_pylist()
        wanted = Wanted.of([], known.job.checks.codes, known.register.names)
        self._coded, self._columns = wanted.stated(candidates.table)
        self._marks, self._pegs = wanted.marks, MarkNames.arranged(known.temporary.names)
        self._alike = _Alike.of(candidates, self._codes, stands_on, first.few, self._marks)
        self._far = _misnamed(candidates, stands_on, at, self._marks, known.register)
        self._of_peg = Counter(
            (int(session), self._pegs.like(name))
            for session, name in zip(candidates.session, candidates.names, strict=True)
        )
        self._of_column: Counter[tuple[int, str, str | None]] = Counter(
            (int(session), *self._elsewhere[number])
            for session, number, mark in zip(candidates.session, self._numbers, stands_on, strict=True)
            if mark is None and number in self._elsewhere
        )
        self._occupied = _occupied_by_name(candidates, self._marks)
        beside = [known.nearest(place).within(BESIDE) for place in at]
        self._slips = _slips(first.few, self._codes, stands_on, beside, known.job)

    def features(self, row: int) -> Features:
        """Return what is known of a candidate."""
        known, marks, alike = self._known, self._marks, self._alike
        name, code, place = self._candidates.names[row], self._codes[row], self._at[row]
        session = int(self._candidates.session[row])
        borne, beside = marks.bearing(name) or (None, "")
        to_borne = known.to(borne, place)
        peg, (heading, in_column) = self._pegs.like(name), self._elsewhere.get(self._numbers[row], ("", None))
        return Features(
            radius=known.job.checks.radius,
            name=name,
            code=code,
            coded=bool(self._coded[row]),
            mark_column=self._columns[row],
            nearest=known.nearest(place),
            nearest_register=known.nearest_register(place),
            like_name=known.to(marks.like(name), place),
            like_code=known.to(marks.like(code), place),
            plain_name=marks.plainly(name),
            borne=to_borne,
            beside=beside,
            namesakes=alike.count[session, _kind(marks, name)],
            witnesses=sum(alike.count[session, f"{borne} {letter}"] for letter in "nesw"),
            ties_code=alike.code,
            ties_code_rare=alike.code_rare,
            slip=self._slips.get(folded(code), ""),
            ties_shape=shape(name or "") in alike.shapes,
            off_alike=_off_alike(self._far, session, to_borne, known.job),
            last=alike.last.get(session, 0) <= int(self._candidates.time[row]),
            peg=known.to(peg, place),
            numbered_from_peg=self._of_peg[session, peg] > OCCUPATIONS,
            column=heading,
            of_column=known.to(in_column, place),
            column_readings=self._of_column[session, heading, in_column],
            occupied_by_name=(session, in_column) in self._occupied,
        )


class _Alike(Struct, frozen=True):
    """What the listed readings of a job have in common, and how many others are named alike.

    Args:
        code: the one that all listed readings have, in lower case; "" where they differ.
        code_rare: whether (nearly) no other reading has it.
        shapes: of listed names, those that few others have.
        count: readings in no list by session and what they are named (`_kind`).
        last: UTC milliseconds of the last listed reading of each session.
    """

    code: str
    code_rare: bool
    shapes: frozenset[str]
    count: Counter[tuple[int, str]]
    last: Mapping[int, int]

    @classmethod
    def of(
        cls,
        candidates: Candidates,
        codes: Sequence[str | None],
        stands_on: Sequence[str | None],
        few: Rare,
        marks: MarkNames,
    ) -> "_Alike":
        """Gather it from all candidates."""
        lower = [folded(code) for code in codes]
        listed = _listed(candidates)
        of_listed = {lower[row] for row in listed}
        code = of_listed.pop() if len(listed) > 1 and len(of_listed) == 1 else ""
        unlisted = [row for row, mark in enumerate(stands_on) if mark is None]
        plain = few.others >= max(_PLAIN, 2 * sum(lower[row] == code for row in unlisted))
        shaped = Counter(shape(candidates.names[row] or "") for row in unlisted)
        shapes = {one for one in few.shapes if few.others >= max(_PLAIN, 2 * shaped[one])} if len(listed) > 1 else set()
        last: dict[int, int] = {}
        for row in listed:
            session = int(candidates.session[row])
            last[session] = max(last.get(session, 0), int(candidates.time[row]))
        return cls(
            code=code,
            code_rare=bool(code) and code in few.codes and plain,
            shapes=frozenset(shapes),
            count=Counter((int(candidates.session[row]), _kind(marks, candidates.names[row])) for row in unlisted),
            last=last,
        )


def _slips(
    few: Rare, codes: Sequence[str | None], stands_on: Sequence[str | None], at_mark: Sequence[bool], job: Job
) -> dict[str, str]:
    """Return codes that are mistyped for the code of a check, in lower case, with that.

    A code that several readings have elsewhere than at marks is a code of its own.
    """
    here = Counter(
        folded(code) for code, mark, near in zip(codes, stands_on, at_mark, strict=True) if mark is None and near
    )
    slips = [code for code, count in few.slips.items() if count - here[code] <= _ELSEWHERE]
    return {code: slip_of(code, job.checks.codes) for code in slips}


def _listed(candidates: Candidates) -> list[int]:
    return [row for row, named in enumerate(candidates.named) if named is not None]


def _kind(marks: MarkNames, name: str | None) -> str:
    """Return the mark that a name bears with the shape of the rest, or the shape of the whole."""
    bears = marks.bearing(name)
    if bears is None:
        return shape(name or "")
    only = "".join(filter(str.isalpha, bears[1]))
    return f"{bears[0]} {only if direction(bears[1]) else shape(bears[1])}"


def _misnamed(
    candidates: Candidates, stands_on: Sequence[str | None], at: Floats, marks: MarkNames, register: Reference
) -> tuple[Misnamed, ...]:
    """Return which listed readings are named after other marks than theirs; ``at`` (n, 3) are the places of all."""
    listed = _listed(candidates)
    names, on = [candidates.names[row] for row in listed], [stands_on[row] for row in listed]
    return misnamed(names, on, candidates.session[listed], at[listed], marks, register)


def _off_alike(far: Sequence[Misnamed], session: int, borne: MarkNearby, job: Job) -> str:
    """Return in words the first listed reading of a session that is off the mark of its name as another is; or ""."""
    if not borne.placed:
        return ""
    return next((one.sentence() for one in far if one.session == session and one.alike(np.array(borne.apart), job)), "")


def _occupied_by_name(candidates: Candidates, marks: MarkNames) -> set[tuple[int, str | None]]:
    """Return sessions with the marks that a list says are occupied in them by a name that is the mark's."""
    return {
        (int(session), named.mark)
        for session, name, named in zip(candidates.session, candidates.names, candidates.named, strict=True)
        if named is not None and marks.named(name, named.mark)
    }
