"""What of an issue needs somebody's attention, from its record alone: by this go exit code, summary and report."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from pipeline.words import FailOn, Proof, Reason, Role, Whole, counted, plural

if TYPE_CHECKING:
    from pipeline.issue.record_types import DoubtNoted, Record, WhollyHeld
    from pipeline.issue.row_types import CheckRow

#: Reasons whose every row needs attention; a row held back for another may be an ordinary one.
REASONS = (Reason.SUSPECT, Reason.UNTIED)
#: What is said of a file such as a header that stands alone, and what to do.
NO_ROWS = (
    "the file has no rows, so that no reading of it is in the job",
    "if that is not so in the receiver, export it again",
)


class Kind(StrEnum):
    """Why an issue needs attention."""

    FAILING = "failing"
    HELD_BACK = "held back"
    WHOLLY = "wholly held back"
    DOUBT = "doubt"


@dataclass(frozen=True)
class Attention:
    """One thing that needs attention, in words. ``of`` is the entry of the record that says it, where one does."""

    kind: Kind
    what: str
    of: DoubtNoted | CheckRow | WhollyHeld | None = None


def attention(record: Record) -> list[Attention]:
    """Return everything that needs attention, the gravest first; nothing where an issue is as it should be."""
    found = [Attention(Kind.DOUBT, one["what"], one) for one in record["doubts"] if not one["confirmed"]]
    for check in record["checks"]:
        if check["passed"] is False:
            found.append(Attention(Kind.FAILING, f"{called(check)} on {check['mark']} fails", check))
    counts = record["rows"]["by_reason"]
    for reason in REASONS:
        if counts.get(reason):
            rows = counted(counts[reason], "row is", "rows are")
            found.append(Attention(Kind.HELD_BACK, f"{rows} held back as {reason}"))
    return [*found, *(Attention(Kind.WHOLLY, wholly(one), one) for one in record["wholly_held_back"])]


def called(check: CheckRow) -> str:
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
    """Return in words how many occupations, sessions and rows are what a word says; "" for none."""
    failing = sum(check["passed"] is False for check in record["checks"]) if word == FailOn.FAILED else 0
    suspect = word == FailOn.SUSPECT
    sessions = sum(
        session["verdict"] == word or (suspect and any(part["proof"] == Proof.SUSPECT for part in session["stretches"]))
        for session in record["sessions"]
    )
    rows = {str(reason): count for reason, count in record["rows"]["by_reason"].items()}.get(word, 0)
    counts = ((failing, "failing occupation"), (sessions, "session"), (rows, "row held back"))
    return ", ".join(counted(count, one, _MANY.get(one, "")) for count, one in counts if count)


_MANY = {"row held back": "rows held back"}


def wholly(entry: WhollyHeld) -> str:
    """Return an entry of the record's ``wholly_held_back`` in words."""
    counts = sorted(entry["by_reason"].items(), key=lambda item: (-item[1], item[0]))
    why = ", ".join(f"{count:,} {reason}" for reason, count in counts)
    name = entry["name"] if entry["kind"] == Whole.DAY else f"{entry['kind']} {entry['name']}"
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
