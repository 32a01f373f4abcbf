"""Decides what in an issue needs attention, is worth a look or is for information, from its record alone.

Exit code, summary, ``--quiet``, log, report and the page of an office all use this.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from pipeline.issue.over_critical import over_critical
from pipeline.issue.release import is_gone, stays, waits_for, what_is_gone
from pipeline.words import FailOn, HeldUnit, Proof, Reason, Role, Verdict, counted, plural

if TYPE_CHECKING:
    from pipeline.issue.record_types import DoubtNoted, Record, WhollyHeld
    from pipeline.issue.row_types import CheckRow

#: Reasons whose every row needs attention; a row held back for another may be an ordinary one.
REASONS = (Reason.SUSPECT, Reason.UNTIED)
#: What is said of a file such as a header that stands alone, and what to do.
NO_ROWS = (
    "the file has no rows",
    "if there are readings in the receiver, export it again",
)


class Level(StrEnum):
    """How far a remark concerns its reader.

    What needs somebody's attention makes exit code 3. What is worth a look does not, but ``--quiet`` prints it too;
    what is for information stands in summary and report alone.
    """

    NEEDED = "needs attention"
    LOOK = "worth a look"
    NOTED = "for information"


class Kind(StrEnum):
    """What a remark is about."""

    DOUBT = "doubt"
    PENDING = "pending"
    FAILING = "failing"
    HELD_BACK = "held back"
    SUSPECT = "suspect"
    WHOLLY = "wholly held back"
    ALTERED = "altered"
    UNCOMPARED = "uncompared"
    REPEATS = "repeats"
    VERDICT = "verdict"
    ADJUSTMENT = "adjustment"
    NOTES = "notes"


#: The section of the report that tells more of a kind.
_SECTIONS = {
    Kind.DOUBT: "notes",
    Kind.PENDING: "changes",
    Kind.FAILING: "checks",
    Kind.HELD_BACK: "rows",
    Kind.SUSPECT: "suspect",
    Kind.WHOLLY: "rows",
    Kind.ALTERED: "changes",
    Kind.UNCOMPARED: "checks",
    Kind.REPEATS: "repeats",
    Kind.VERDICT: "sessions",
    Kind.ADJUSTMENT: "adjustment",
    Kind.NOTES: "notes",
}


class Attention(Struct, frozen=True):
    """One remark on an issue, in words. ``of`` is the entry of the record that says it, where one does."""

    kind: Kind
    what: str
    of: DoubtNoted | CheckRow | WhollyHeld | None = None
    level: Level = Level.NEEDED

    @property
    def section(self) -> str:
        """Return the section of the report that tells more."""
        return _SECTIONS[self.kind]


class Counted(Protocol):
    """How a count is written with its noun: `words.counted`, or as the report writes it."""

    def __call__(self, count: int, one: str, more: str = "", /) -> str:
        """Return "1 row", "2 rows"; ``more`` is the plural where an "s" does not make it."""
        ...


def attention(record: Record) -> list[Attention]:
    """Return everything that needs attention, the gravest first; nothing where an issue is as it should be.

    Whether the issue waits to be released is not among it: that changes by hand, and the folder of the job knows it.
    """
    return [one for one in _needed(record, counted) if one.kind is not Kind.PENDING]


def remarks(record: Record, many: Counted = counted) -> list[Attention]:
    """Return all that is to be said of an issue when it is made, each with its level, the gravest of each first.

    Those that need attention are those of `attention`, and what waits for a release at that time.
    """
    return [*_needed(record, many), *_looks(record, many), *_noted(record, many)]


def worth_a_look(record: Record) -> list[Attention]:
    """Return what needs no attention, but is printed where only that is asked for."""
    return list(_looks(record, counted))


def _needed(record: Record, many: Counted) -> Iterator[Attention]:
    doubts = {one["what"]: one for one in reversed(record["doubts"]) if not one["confirmed"]}  # each sentence once
    yield from (Attention(Kind.DOUBT, what, one) for what, one in reversed(doubts.items()))
    for why in waits_for(record):
        yield Attention(Kind.PENDING, f"not released when it was made, {stays(record)}: {why}")
    for check in record["checks"]:
        if check["passed"] is False:
            yield Attention(Kind.FAILING, f"{occupation_label(check)} on {check['mark']} fails", check)
    yield from _held_back(record, REASONS, Level.NEEDED, many)
    if (issued := record["suspect"]["total"] - record["rows"]["by_reason"].get(Reason.SUSPECT, 0)) > 0:
        are = f"{plural(issued, 'is', 'are')} suspect"
        yield Attention(Kind.SUSPECT, f"{issued:,} of {many(record['rows']['points'], 'issued point')} {are}")
    yield from (Attention(Kind.ALTERED, what) for what in altered(record))
    for one in record["wholly_held_back"]:
        if not (is_gone(one) and _waited(record)):  # said above, and settled once it is released
            yield Attention(Kind.WHOLLY, wholly(one), one)


def _waited(record: Record) -> bool:
    """Say whether an issue waited to be released when it was made."""
    return record["release"] is not None and record["release"]["pending"]


def _looks(record: Record, many: Counted) -> Iterator[Attention]:
    if failed := record["repeats"]["failed"]:
        of = many(record["repeats"]["pairs"], "pair of readings", "pairs of readings")
        what = f"{failed:,} of {of} of one point {'does' if failed == 1 else 'do'} not agree"
        yield Attention(Kind.REPEATS, what, level=Level.LOOK)


def _noted(record: Record, many: Counted) -> Iterator[Attention]:
    def note(kind: Kind, what: str) -> Attention:
        return Attention(kind, what, level=Level.NOTED)

    if not any(check["passed"] is not None and check["role"] != Role.NOTED for check in record["checks"]):
        yield note(Kind.UNCOMPARED, "no control mark was occupied that the coordinates could be compared with")
    yield from _held_back(record, (Reason.UNCLOSED, Reason.UNCHECKED), Level.NOTED, many)
    for verdict in (Verdict.UNTIED, Verdict.UNCHECKED, Verdict.UNCLOSED):
        if number := sum(session["verdict"] == verdict for session in record["sessions"]):
            yield note(Kind.VERDICT, f"{many(number, 'session')} {verdict}")
    test = record["adjustment"]["chi_square"]
    if test is not None and not test["passed"]:
        how = "less well" if (record["adjustment"]["square_sum"] or 0.0) > test["high"] else "better"
        yield note(Kind.ADJUSTMENT, f"the ties agree {how} than their uncertainties suggest")
    if over := over_critical(record):
        over_it = many(over, "observation")
        yield note(Kind.ADJUSTMENT, f"{over_it} with a standardised residual over the critical value")
    if record["notes"]:
        yield note(Kind.NOTES, many(len(record["notes"]), "note"))


def _held_back(record: Record, reasons: Iterable[Reason], level: Level, many: Counted) -> Iterator[Attention]:
    counts = record["rows"]["by_reason"]
    for reason in reasons:
        if counts.get(reason):
            rows = many(counts[reason], "row is", "rows are")
            yield Attention(Kind.HELD_BACK, f"{rows} held back as {reason}", level=level)


def altered(record: Record) -> list[str]:
    """Return in words which files of the previous issue are not what was issued."""
    changes = record["changes"]
    if changes is None:
        return []
    return [f"{one['file']} of issue {changes['since']:03d}: {one['what']}" for one in changes["altered"]]


def occupation_label(check: CheckRow) -> str:
    """Return what an occupation is called: by its point, or, where no export has a row of it, as noted."""
    return "a check noted" if check["role"] == Role.NOTED else str(check["point"])


def chosen(record: Record, words: Collection[FailOn]) -> list[str]:
    """Return what of an issue is one of the chosen words, each with the count; nothing where none is."""
    told = []
    for word in FailOn:
        if word in words and (count := _count(record, word)):
            told.append(f"{word}: {count}")
    return told


def _count(record: Record, word: FailOn) -> str:
    """Return in words how many occupations, sessions, rows and files are what a word says; "" for none.

    Whether the issue waits to be released is not among it: that changes by hand, as in `attention`.
    """
    failing = sum(check["passed"] is False for check in record["checks"]) if word == FailOn.FAILED else 0
    suspect = word == FailOn.SUSPECT
    sessions = sum(
        session["verdict"] == word or (suspect and any(part["proof"] == Proof.SUSPECT for part in session["stretches"]))
        for session in record["sessions"]
    )
    rows = {str(reason): count for reason, count in record["rows"]["by_reason"].items()}.get(word, 0)
    wholly = sum(one.kind is Kind.WHOLLY for one in _needed(record, counted)) if word == FailOn.WHOLLY_HELD else 0
    counts = (
        (failing, "failing occupation"),
        (sessions, "session"),
        (rows, "row held back"),
        (wholly, "file, session or day"),
    )
    return ", ".join(counted(count, one, _MANY.get(one, "")) for count, one in counts if count)


_MANY = {"row held back": "rows held back", "file, session or day": "files, sessions and days"}


def wholly(entry: WhollyHeld) -> str:
    """Return an entry of the record's ``wholly_held_back`` in words."""
    if is_gone(entry):
        return what_is_gone(entry)
    counts = sorted(entry["by_reason"].items(), key=lambda item: (-item[1], item[0]))
    why = ", ".join(f"{count:,} {reason}" for reason, count in counts)
    name = entry["name"] if entry["kind"] == HeldUnit.DAY else f"{entry['kind']} {entry['name']}"
    if not entry["rows"]:
        return f"{entry['name']}: {NO_ROWS[0]}: {NO_ROWS[1]}"
    if entry["on_marks"]:
        return (
            f"{name}: no point of it is issued; {entry['held_back']:,} of its {counted(entry['rows'], 'row')}"
            f" {plural(entry['held_back'], 'is', 'are')} held back ({why}), the rest are occupations of marks"
        )
    return (
        f"{name}: "
        + ("its only row is" if entry["rows"] == 1 else f"all of its {counted(entry['rows'], 'row')} are")
        + (f" held back ({why})")
    )
