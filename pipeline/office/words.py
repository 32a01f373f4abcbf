"""What becomes of a job, in a word: the order in which an office looks at its jobs."""

from enum import IntEnum


class Word(IntEnum):
    """What becomes of a job in a word, the gravest first; `GOOD` needs nobody."""

    UNREADABLE = 0
    NOT_TO_BE_RUN = 1
    DAMAGED = 2
    FAULT = 3
    DIED = 4
    TIMED_OUT = 5
    REFUSED = 6
    PENDING = 7
    ATTENTION = 8
    NEVER = 9
    GOOD = 10


WORDS = {
    Word.UNREADABLE: "cannot be read",
    Word.NOT_TO_BE_RUN: "cannot be run",
    Word.DAMAGED: "damaged",
    Word.FAULT: "fault",
    Word.DIED: "died",
    Word.TIMED_OUT: "timed out",
    Word.REFUSED: "refused",
    Word.PENDING: "pending",
    Word.ATTENTION: "needs attention",
    Word.NEVER: "never issued",
    Word.GOOD: "good",
}
