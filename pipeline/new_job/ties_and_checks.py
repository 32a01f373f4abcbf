"""Decides which readings on marks are ties and which checks, by name, since a job file lists them by name."""

from collections.abc import Callable, Sequence

from msgspec import Struct, field

from pipeline.arrays import Flags, Integers
from pipeline.clock import MINUTE
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.timed_rows import TimedRows
from pipeline.occupations.check_words import mentions_check
from pipeline.words import counted

#: Metres. A reading that has the name of one on a mark, and lies farther from it, is of something else; nearer, the
#: base moved between them, and a check that fails says so. Common practice, no source.
_BESIDE = 5.0
#: Milliseconds: readings on a mark that are this close in time are of one occupation. Common practice, no source.
_ONE_OCCUPATION = 15 * MINUTE

#: A reading, by its place in the rows, and the number of the mark that it stands on.
_Pair = tuple[int, int]


class SessionOccupations(Struct):
    """The occupations of one session: places in the rows with their mark's name, in order of time.

    ``by`` says how they were found; ``astray`` are readings that name a mark which they do not stand on, with the
    mark and the distance in metres. ``told`` says of readings on marks why no line can name them, or why they have
    another role than usual, ``computed`` which have the register's own coordinates, "" for none.
    """

    ties: list[tuple[int, str]] = field(default_factory=list)
    checks: list[tuple[int, str]] = field(default_factory=list)
    by: str = ""
    astray: list[tuple[int, str, float]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    computed: str = ""

    @property
    def every(self) -> list[tuple[int, str]]:
        """Ties and checks."""
        return [*self.ties, *self.checks]

    def named(self, rows: TimedRows) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
        """Return ties and checks as a job file writes them: names with marks, each name once and with one role."""
        ties = dict.fromkeys((str(rows.name[at]), mark) for at, mark in self.ties)
        checks = dict.fromkeys((str(rows.name[at]), mark) for at, mark in self.checks)
        names = {name for name, _ in ties}
        return list(ties), [pair for pair in checks if pair[0] not in names]


def is_check(rows: TimedRows, at: int) -> bool:
    """Tell whether a reading says by code or name that it is a check."""
    return mentions_check(rows.code[at], True) or mentions_check(rows.name[at])


def roles(
    pairs: Sequence[_Pair],
    members: Integers,
    rows: TimedRows,
    marks: tuple[Sequence[str], Flags],
    away: Callable[[int, int], float] | None,
    by: str,
) -> SessionOccupations:
    """Let the first occupation tie and those on other marks check; one that says that it is a check ties only if none
    else does.

    All readings of a name have the role that the job file gives the name. Where names come again, that occupation ties
    beside which others open and close the session, and rather one whose name does not come again hours later. A mark
    without a position or a height ties only if no other can.

    Args:
        pairs: readings on marks.
        members: all readings of the session.
        rows: all rows.
        marks: their names, and (m,) which have both position and height.
        away: metres between a reading and a mark; None where nobody knows.
        by: how the pairs were found.
    """
    names, whole = marks
    pairs = _one_of_a_name(pairs, names)
    usable, told = _nameable(pairs, members, rows, names, away)
    usable.sort(key=lambda pair: (rows.time[pair[0]], pair[0]))
    if not usable:
        return SessionOccupations(told=told)
    told += _one_role(usable, rows, names, chosen := _chosen(usable, members, rows, set(pairs), whole))
    ties = _ties(usable, rows, chosen)
    told += _by_heights(usable, ties, rows, marks)
    return SessionOccupations(
        [(at, names[mark]) for at, mark in ties],
        [(at, names[mark]) for at, mark in usable if (at, mark) not in ties],
        by,
        told=told,
    )


def _one_of_a_name(pairs: Sequence[_Pair], names: Sequence[str]) -> list[_Pair]:
    """Return pairs with one number per name of a mark: an old and a new row of one name are one mark."""
    first: dict[str, int] = {}
    for number, name in enumerate(names):
        first.setdefault(folded(name), number)
    return [(at, first[folded(names[mark])] if names[mark] else mark) for at, mark in pairs]


def _ties(pairs: Sequence[_Pair], rows: TimedRows, first: _Pair) -> list[_Pair]:
    """Return the occupations that tie where one does: those of its name, and plain ones beside others that check."""
    plain = [pair for pair in pairs if not is_check(rows, pair[0])]
    checked = {mark for at, mark in pairs if is_check(rows, at)}
    ties = [pair for pair in plain if pair[1] not in checked] if plain and checked - {first[1]} else []
    names = {rows.name[at] for at, _ in (first, *ties)}
    return [pair for pair in pairs if rows.name[pair[0]] in names and (pair in plain or not plain)]


def _by_heights(
    pairs: list[_Pair], ties: list[_Pair], rows: TimedRows, marks: tuple[Sequence[str], Flags]
) -> list[str]:
    """Return in words that marks without a position or a height do not tie since others do, or that none does both."""
    names, whole = marks
    if not any(whole[mark] for _, mark in ties):
        lacking = listed(names[mark] for _, mark in ties)
        return [
            f"no tie is on a mark that has both position and height in the register: {lacking} leaves the other of the"
            " two untied, and points are held back, unless another session or a further tie gives it"
        ]
    first = min(rows.time[at] for at, mark in ties if whole[mark])
    tied = {mark for _, mark in ties}
    before = [mark for at, mark in pairs if not whole[mark] and mark not in tied and rows.time[at] < first]
    if not before:
        return []
    shown = listed(names[mark] for mark in before)
    return [f"{shown}, occupied before the tie, lacks position or height in the register, and so is a check alone"]


def _chosen(pairs: list[_Pair], members: Integers, rows: TimedRows, on: set[_Pair], whole: Flags) -> _Pair:
    """Return the occupation that ties, ``on`` being the pairs that lie on their marks.

    ``whole`` (m,) are the marks that have position and height.
    """
    plain = [pair for pair in pairs if not is_check(rows, pair[0])] or pairs
    by_name = _by_name(pairs, rows)
    if all(len(some) == 1 for some in by_name.values()):
        return next((pair for pair in plain if any(whole[mark] for _, mark in _ties(pairs, rows, pair))), plain[0])
    occupied = {at for at, _ in pairs}
    times = [int(rows.time[at]) for at in members.tolist() if at not in occupied]
    since, until = (min(times), max(times)) if times else (0, 0)

    def worth(pair: _Pair) -> tuple[bool, bool, int, bool, int]:
        ties = _ties(pairs, rows, pair)
        tied = {mark for _, mark in ties}
        checks = [int(rows.time[at]) for at, mark in pairs if (at, mark) not in ties and mark not in tied]
        ends = any(time <= since for time in checks) + any(time >= until for time in checks)
        mine = by_name[rows.name[pair[0]]]
        sound, tying = all(each in on for each in mine), any(whole[mark] for mark in tied)
        return sound, tying, ends, _is_one(mine, rows), -plain.index(pair)

    return max(plain, key=worth)


def _by_name(pairs: Sequence[_Pair], rows: TimedRows) -> dict[str, list[_Pair]]:
    found: dict[str, list[_Pair]] = {}
    for pair in pairs:
        found.setdefault(rows.name[pair[0]], []).append(pair)
    return found


def _is_one(pairs: Sequence[_Pair], rows: TimedRows) -> bool:
    """Tell whether readings are of one occupation by their times."""
    times = [int(rows.time[at]) for at, _ in pairs]
    return max(times) - min(times) < _ONE_OCCUPATION


def _one_role(pairs: list[_Pair], rows: TimedRows, names: Sequence[str], chosen: _Pair) -> list[str]:
    """Return in words that a tie has the name of later readings, or that it is not the first since others have."""
    name, mine = rows.name[chosen[0]], _by_name(pairs, rows)[rows.name[chosen[0]]]
    if not _is_one(mine, rows):
        return [
            f"{name} is the name of {counted(len(mine), 'reading')} on {names[chosen[1]]} at several times: all of them"
            " have the role that its line gives, so none checks another; with different names they would"
        ]
    before = {rows.name[at] for at, _ in pairs if rows.time[at] < rows.time[mine[0][0]]}
    again = [one for one, some in _by_name(pairs, rows).items() if one in before and not _is_one(some, rows)]
    if not again:
        return []
    return [
        f"{name} is the tie, not {listed(again)} before it: readings at other times have that name too, so all of"
        " them are checks"
    ]


def _nameable(
    pairs: Sequence[_Pair],
    members: Integers,
    rows: TimedRows,
    names: Sequence[str],
    away: Callable[[int, int], float] | None,
) -> tuple[list[_Pair], list[str]]:
    """Return the occupations that a line of a job file can name, and why it can name no others.

    A line names every reading of its session that is called so: those beside the mark too, as after a base was moved.
    """
    called: dict[str, list[int]] = {}
    for at in members.tolist():
        called.setdefault(rows.name[at], []).append(at)
    usable: list[_Pair] = []
    told: list[str] = []
    for name, some in _by_name(pairs, rows).items():
        marks = list(dict.fromkeys(mark for _, mark in some))
        shown = listed([names[mark] for mark in marks])
        others = [at for at in called.get(name, []) if at not in {one for one, _ in some}]
        far = [at for at in others if away is not None and away(at, marks[0]) > _BESIDE]
        times = [int(rows.time[at]) for at in called.get(name, [])]
        if not name:
            told.append(f"readings on {shown} have no name that a line could use")
        elif len(marks) > 1:
            told.append(f"{name} is the name of readings on {shown}, so no line can name them: give each its own name")
        elif far:
            told.append(
                f"{name} is the name of a reading on {shown} and of others elsewhere (row {rows.row[far[0]]}), so"
                " no line can name it: give them different names"
            )
        elif len(set(times)) < len(times):
            told.append(
                f"{name} on {shown} occurs twice at the same time, at different positions, so no line can name either:"
                " give them different names, or take out the wrong one"
            )
        else:
            usable += [*some, *((at, marks[0]) for at in others)]
    return usable, told
