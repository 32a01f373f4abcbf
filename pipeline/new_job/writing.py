"""Writes a draft as a job file: each value with its reason, each open question marked."""

import re
from collections.abc import Sequence
from fnmatch import fnmatch
from pathlib import PurePosixPath

from msgspec import Struct

from pipeline.job.toml_text import listed, quoted, value_text
from pipeline.new_job.draft import Block, Draft, SessionDraft, SessionSketch
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.visible import one_line
from pipeline.words import counted

#: Columns of a line, and files of a block beyond which a pattern stands for them where one does.
_WIDTH, _MANY = 120, 4


class Asked(Struct, frozen=True):
    """A question with the line of the job file that marks it."""

    question: Question
    line: int


class JobFileLines:
    """The lines of a job file as they are written, and the questions among them."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.asked: list[Asked] = []

    def add(self, *lines: str) -> None:
        """Add lines as they are."""
        self.lines += lines

    def comment(self, text: str, indent: str = "") -> None:
        """Add a comment, on as many lines as it needs."""
        line = f"#{indent}"
        for word in one_line(text).split(" "):
            if len(line) + len(word) >= _WIDTH and line.strip("# "):
                self.add(line)
                line = f"#{indent} "
            line += f" {word}"
        self.add(line)

    def value(self, key: str, value: str, why: str = "") -> None:
        """Add a key with its reason: beside it where there is room, else above."""
        line = f"{key} = {value}"
        beside = f"{line}  # {one_line(why)}" if why else line
        if len(beside) <= _WIDTH:
            self.add(beside)
            return
        self.comment(why)
        self.add(line)

    def state(self, key: str, state: State) -> None:
        """Add what is known of a key, or the question after it with its candidates."""
        if isinstance(state, Known):
            self.value(key, state.value, state.why)
        elif isinstance(state, Question):
            self.question(key, state)

    def question(self, key: str, asks: Question) -> None:
        """Add a question; one that only repeats another's answer does not count."""
        if not asks.repeats:
            self.asked.append(Asked(asks, len(self.lines) + 1))
        self.comment(f"OPEN: {asks.asks}")
        for one in (*([asks.blank] if asks.blank is not None else []), *asks.candidates):
            self.add(f"# {one.key or key} = {one.value}" + (f"  # {one_line(one.why)}" if one.why else ""))
        if not asks.candidates and asks.blank is None and re.fullmatch(r"[a-z_]+", key):
            self.add(f"# {key} = ")


def page_of(draft: Draft, name: str) -> JobFileLines:
    """Return the job file of a draft."""
    body = JobFileLines()
    _tables(body, draft, name)
    head = JobFileLines()
    _head(head, draft, len(body.asked))
    page = JobFileLines()
    page.add(*head.lines, *body.lines)
    page.asked = [Asked(one.question, one.line + len(head.lines)) for one in body.asked]
    return page


def _head(page: JobFileLines, draft: Draft, questions: int) -> None:
    told = f"{counted(questions, 'question')} left, marked OPEN" if questions else "no question left"
    page.comment(f"A job file to start from, written by `tiedown new`: {told}.")
    if questions:
        page.comment(
            "Remove the # from the correct line, or write another value there; if none is right, delete the lines."
            " Unanswered questions stop the job. Then run `tiedown check` on this file."
        )
    if draft.lacking:
        page.comment(f"Note: {draft.lacking}")
    page.add("#")
    page.comment("Files read:")
    for file, role, why in draft.files:
        page.comment(f"{file}: {role}, {why}", "  ")
    page.add("")


def _tables(page: JobFileLines, draft: Draft, name: str) -> None:
    page.add("[job]", f"name = {quoted(name)}", 'folder = "out"  # where the issues are kept')
    for asks in draft.left_out:
        page.question(asks.key, asks)
    page.add("")
    page.add("[target]")
    for key in ("grid", "height", "geoid"):
        page.state(key, draft.target.get(key))
    page.add("")
    if draft.source:
        page.add("[source]")
        for key, state in draft.source.items():
            page.state(key, state)
        page.add("")
    every = [file for file, _, _ in draft.files]
    for block in draft.blocks:
        _block(page, block, every)
    _quality(page, draft)
    if draft.control:
        _control(page, draft)
    _sessions(page, draft)
    if draft.codes is not None:
        page.add("[checks]")
        page.state("codes", draft.codes)
        page.add("")
    while page.lines[-1] == "":
        page.lines.pop()


def _block(page: JobFileLines, block: Block, every: Sequence[str]) -> None:
    page.add("[[points]]")
    if "files" not in block.states:
        page.add(f"files = {listed(_files(block.files, every))}")
    if block.layer is not None:
        page.add(f"layer = {quoted(block.layer)}")
    for key, state in block.states.items():
        page.state(key, state)
    for note in block.notes:
        page.comment(note)
    page.add("[points.columns]")
    for word, name in block.columns.items():
        page.add(f"{word} = {value_text(name)}")
    for asks in block.asks:
        page.question(asks.key, asks)
    page.add("")


def _files(files: Sequence[str], every: Sequence[str]) -> list[str]:
    """Return the files of a block, or the one pattern that stands for many of them and for no other file."""
    if len(files) >= _MANY:
        first = PurePosixPath(files[0])
        pattern = (first.parent / f"*{first.suffix}").as_posix()
        matched = [file for file in every if PurePosixPath(file).parent == first.parent and fnmatch(file, pattern)]
        if sorted(matched) == sorted(files) and "[" not in pattern:
            return [pattern]
    return list(files)


def _quality(page: JobFileLines, draft: Draft) -> None:
    page.add("[quality]")
    page.state("solutions", draft.solutions)
    if draft.may_mean_fixed:
        page.comment("with a column of solutions, as asked above, one of these, or a list of those that mean fixed:")
        page.add(*(f"# solutions = {listed([word])}" for word in draft.may_mean_fixed))
    page.add("# max_sigma_horizontal = 0.05  # limits that hold readings back, in metres: remove the # to use them")
    page.add("# max_sigma_vertical = 0.08", "")


def _control(page: JobFileLines, draft: Draft) -> None:
    page.add("[control]")
    for key in ("file", "layer", "delimiter", "header", "encoding", "angles", "crs", "units", "height", "columns"):
        state = draft.control.get(key)
        page.state(key, state)
    for note in draft.control_notes:
        page.comment(note)
    page.add("")
    if draft.control_columns or draft.control_asks:
        page.add("[control.columns]")
        for word, name in draft.control_columns.items():
            asked = word == "ellipsoid_height" and "height" in draft.control_columns
            page.value(
                word,
                value_text(name),
                'used if the answer for height is "ellipsoid"' if asked else "",
            )
        for asks in draft.control_asks:
            page.question(asks.key, asks)
        page.add("")


def _sessions(page: JobFileLines, draft: Draft) -> None:
    if draft.sessions_file is not None:
        page.add("[sessions]")
        page.state("file", draft.sessions_file)
    elif draft.sessions_as:
        page.comment(
            f"The sessions are those of {draft.sessions_as}. Nothing is said there of ties: they stand here with the"
            " readings on marks. The first reading on a mark is a tie, those on other marks are checks. Changes to"
            f" {draft.sessions_as} are not read."
        )
    elif draft.sessions:
        page.comment(
            "Each session has the readings with one base id and no gap of three hours; check that each is a"
            " base that stood still. The first reading on a mark is a tie, those on other marks are checks."
        )
    for note in draft.notes:
        page.comment(f"Note: {note}")
    if draft.sessions_file is not None:
        page.add("")
    if draft.no_session is not None:
        page.question("[[session]]", draft.no_session)
    for sketch in draft.sketches:
        page.add(*_sketch(sketch), "")
    for session in draft.sessions:
        _session(page, session)


def _session(page: JobFileLines, session: SessionDraft) -> None:
    page.add("[[session]]", f"name = {quoted(session.name)}  # {one_line(session.why)}")
    for key, moment, others in (
        ("start", session.start, [(order, start) for order, start, _ in session.otherwise]),
        ("end", session.end, [(order, end) for order, _, end in session.otherwise]),
    ):
        if others:
            told = [Candidate(at.isoformat(), order) for order, at in ((session.order, moment), *others)]
            page.question(key, Question(key, "the same answer as time_format", tuple(told), repeats=True))
        else:
            page.add(f"{key} = {moment.isoformat()}")
    if session.base:
        page.add(f"base = {quoted(session.base)}")
    if session.asks is not None:
        page.question("ties", session.asks)
    page.add(*_occupations(session))
    page.add("")


def _sketch(one: SessionSketch) -> list[str]:
    """Return the lines of a session that has no start and end yet, each behind a #."""
    whose = f"base id {one.base}" if one.base else "no base id"
    lines = ["[[session]]", f"name = {quoted(one.name)}  # {counted(one.readings, 'reading')} with {whose}"]
    lines += ["start = ", "end = "]
    if one.base:
        lines.append(f"base = {quoted(one.base)}")
    return [f"# {line}" for line in (*lines, *_occupations(one))]


def _occupations(one: SessionDraft | SessionSketch) -> list[str]:
    """Return the lines of a session's ties and checks, as far as it has such."""
    lines = []
    for key, pairs in (("ties", one.ties), ("checks", one.checks)):
        if pairs:
            lines.append(f"{key} = [{', '.join(f'{{ point = {quoted(p)}, mark = {quoted(m)} }}' for p, m in pairs)}]")
    return lines
