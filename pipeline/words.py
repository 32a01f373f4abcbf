"""The closed lists of words that the outputs use. Nothing else in the house spells one of them out."""

from enum import StrEnum

#: Why a first issue is there, in the list of issues.
FIRST_ISSUE = "first issue"


class Reason(StrEnum):
    """Why a row of an export is held back."""

    UNREADABLE = "unreadable"
    NO_POSITION = "no_position"
    NO_TIME = "no_time"
    AMBIGUOUS_TIME = "ambiguous_time"
    OUTSIDE_SESSIONS = "outside_sessions"
    TWO_SESSIONS = "two_sessions"
    UNTIED = "untied"
    NOT_FIXED = "not_fixed"
    POOR_QUALITY = "poor_quality"
    IMPLAUSIBLE = "implausible"
    OUTSIDE_COVERAGE = "outside_coverage"
    SUSPECT = "suspect"
    UNCLOSED = "unclosed"
    UNCHECKED = "unchecked"
    DUPLICATE = "duplicate"


#: What a point is held back for because of what the marks say of its session: it has coordinates all the same.
REASONS_OF_PROOF = (Reason.SUSPECT, Reason.UNCLOSED, Reason.UNCHECKED)


class HeldUnit(StrEnum):
    """What may be held back as a whole, with all of its rows."""

    FILE = "file"
    SESSION = "session"
    DAY = "day"


class Proof(StrEnum):
    """What the occupations of control marks around a point say about its base at that time."""

    BRACKETED = "bracketed"
    UNCLOSED = "unclosed"
    SUSPECT = "suspect"
    UNCHECKED = "unchecked"


class Verdict(StrEnum):
    """What a session's evidence amounts to, and a job's as the worst of its sessions'."""

    PROVEN = "proven"
    UNCLOSED = "unclosed"
    UNCHECKED = "unchecked"
    FAILED = "failed"
    UNTIED = "untied"


class Doubt(StrEnum):
    """What may be wrong with all points of a session alike while its checks agree; it takes their proof away."""

    REGISTER_HEIGHTS = "register-heights"
    EXPORT_HEIGHTS = "export-heights"
    DATUM = "datum"
    UNITS = "units"
    SHIFT = "shift"
    TRANSFORMATION = "transformation"
    EPOCH = "epoch"
    PRECISION = "precision"
    TIME_ZONE = "time-zone"
    UNANSWERED_CHECK = "unanswered-check"
    PLACE = "place"
    TOLERANCE = "tolerance"
    SITE = "site"
    BASE = "base"
    CUT_OFF = "cut-off"


class FailOn(StrEnum):
    """What may be chosen to make the exit code of a run other than 0."""

    FAILED = "failed"
    UNTIED = "untied"
    SUSPECT = "suspect"
    UNCLOSED = "unclosed"
    UNCHECKED = "unchecked"
    OUTSIDE_SESSIONS = "outside_sessions"
    WHOLLY_HELD = "wholly_held"
    PENDING = "pending"
    REFUSED = "refused"


class ReleaseRule(StrEnum):
    """What moves ``current`` to a new issue."""

    SAFE = "safe"
    PROVEN = "proven"
    ANY = "any"


class Role(StrEnum):
    """What an occupation of a mark is used for: a tie is adjusted, a check never is; a noted one proves nothing."""

    TIE = "tie"
    CHECK = "check"
    NOTED = "noted"


class Place(StrEnum):
    """Where in its session an occupation stands: before, among or after the drafted points."""

    OPENING = "opening"
    BETWEEN = "between"
    CLOSING = "closing"


class Holds(StrEnum):
    """Which components of a control mark's register coordinates are held."""

    FULL = "3d"
    POSITION = "position"
    HEIGHT = "height"


#: Which of its two coordinates a control mark is drawn with, for what has room for the rule once.
MARKS_DRAWN = (
    "Control marks are drawn at their adjusted positions, which the points are based on; where one is published"
    " elsewhere, it says so beside its coordinates."
)

#: Layers of a drawing that are no code's, and of which no code may take the name: the format's own, then ours.
OWN_LAYERS = ("0", "Defpoints", "marks", "check_marks", "check_marks_failed", "check_marks_list", "note")


class Change(StrEnum):
    """What became of a point between two issues."""

    MOVED = "moved"
    ADDED = "added"
    WITHDRAWN = "withdrawn"
    HELD = "held"
    RELEASED = "released"
    RECODED = "recoded"


class Unjoined(StrEnum):
    """Why the readings of a string are not drawn as a line."""

    NO_START = "no_start"
    NO_END = "no_end"
    NEITHER = "neither"
    ONE_POINT = "one_point"
    TOO_FEW = "too_few"
    HELD_BACK = "held_back"
    UNKNOWN_WORD = "unknown_word"


class MarkStatus(StrEnum):
    """How a mark's coordinates in the layer ``marks`` came about."""

    CONSTRAINED = "constrained"
    ADJUSTED = "adjusted"


#: Codes for `tables.READING`'s ``held`` column: 0 is "not held back", n is REASONS[n - 1].
REASONS: tuple[Reason, ...] = tuple(Reason)


def reason_code(reason: Reason) -> int:
    """Return the number that stands for ``reason`` in a ``held`` column."""
    return REASONS.index(reason) + 1


def plural(count: int, one: str, more: str = "") -> str:
    """Return what goes with a count, without it: "file" with one, "files" with two or none."""
    return one if count == 1 else more or f"{one}s"


def counted(count: int, one: str, more: str = "") -> str:
    """Return a count with its noun: "1 file", "2 files", "1,200 matches"."""
    return f"{count:,} {plural(count, one, more)}"
