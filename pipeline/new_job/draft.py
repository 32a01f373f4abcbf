"""The draft of a job: the known value of each key with its reason, and the open questions."""

from datetime import datetime

from msgspec import Struct, field

from pipeline.new_job.questions import Question, State


class Block(Struct):
    """A ``[[points]]`` block: files, columns, the states of its keys, notes, and what is asked of its columns."""

    files: list[str]
    columns: dict[str, str | int]
    states: dict[str, State]
    layer: str | None = None
    notes: list[str] = field(default_factory=list)
    asks: list[Question] = field(default_factory=list)


class SessionDraft(Struct):
    """A ``[[session]]`` table; ties and checks are the points' names with their marks.

    ``start`` and ``end`` have no offset where they are on the clock of ``source.time_zone``, which is still asked for.
    ``otherwise`` are they with dates in each other order, where that is still asked for, behind its words; ``order`` is
    theirs in words.
    """

    name: str
    start: datetime
    end: datetime
    base: str
    why: str
    otherwise: list[tuple[str, datetime, datetime]] = field(default_factory=list)
    order: str = ""
    ties: list[tuple[str, str]] = field(default_factory=list)
    checks: list[tuple[str, str]] = field(default_factory=list)
    asks: Question | None = None


class SessionSketch(Struct):
    """What is known of a session of which nothing says when it was: as many readings, with ties and checks as above."""

    name: str
    base: str
    readings: int
    ties: list[tuple[str, str]] = field(default_factory=list)
    checks: list[tuple[str, str]] = field(default_factory=list)


class Draft(Struct):
    """A whole job, ready to be written; ``lacking`` is what has to be cured before any question is answered.

    ``sketches`` are the sessions whose start and end ``no_session`` asks for.
    ``left_out`` asks after files that are not read and may hold readings.
    ``may_mean_fixed`` are the words of which one means so, where it is asked which column has the solutions.
    ``sessions_as`` is the table that the sessions were taken from, "" where they were found from the readings.
    """

    target: dict[str, State] = field(default_factory=dict)
    source: dict[str, State] = field(default_factory=dict)
    blocks: list[Block] = field(default_factory=list)
    solutions: State = None
    may_mean_fixed: list[str] = field(default_factory=list)
    control: dict[str, State] = field(default_factory=dict)
    control_columns: dict[str, str | int] = field(default_factory=dict)
    control_asks: list[Question] = field(default_factory=list)
    control_notes: list[str] = field(default_factory=list)
    sessions: list[SessionDraft] = field(default_factory=list)
    sessions_as: str = ""
    sessions_file: State = None
    no_session: Question | None = None
    sketches: list[SessionSketch] = field(default_factory=list)
    codes: State = None
    files: list[tuple[str, str, str]] = field(default_factory=list)
    left_out: list[Question] = field(default_factory=list)
    lacking: str = ""
    notes: list[str] = field(default_factory=list)
