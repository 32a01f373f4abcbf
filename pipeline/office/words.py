"""What becomes of a job, in a word: the order in which an office looks at its jobs."""

from enum import IntEnum


class Word(IntEnum):
    """What becomes of a job in a word, the gravest first; `GOOD` needs nobody."""

    UNREADABLE = 0
    NO_JOB_FILE = 1
    NOT_TO_BE_RUN = 2
    DAMAGED = 3
    FAULT = 4
    DIED = 5
    TIMED_OUT = 6
    REFUSED = 7
    PENDING = 8
    ATTENTION = 9
    NEVER = 10
    GOOD = 11


WORDS = {
    Word.UNREADABLE: "cannot be read",
    Word.NO_JOB_FILE: "without a job file",
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
