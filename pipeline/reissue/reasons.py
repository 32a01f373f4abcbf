"""Why a point differs from the previous issue: only what reached it, and everything for the record."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct, field

from pipeline.intake.survey import Survey
from pipeline.issue.made_from import JOB_FILE, PART
from pipeline.read.sources import TEXT
from pipeline.reissue.change_rows import Reached
from pipeline.reissue.changed_marks import ChangedMark, changed_marks
from pipeline.reissue.changed_occupations import ChangedOccupation, changed_occupations, told_of
from pipeline.reissue.code_changes import code_changes, was_and_is
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import (
    CODES,
    FILE,
    OPERATION,
    ORIGIN,
    REGISTER,
    SESSION,
    SITE,
    Fingerprint,
    differences,
    identity_of,
    session_values,
    sum_of,
)
from pipeline.reissue.frames.frame_changes import frame_changes
from pipeline.reissue.job_file_changes import LISTED, POINTS, job_file_changes
from pipeline.reissue.line_ends import line_ends_alone
from pipeline.reissue.linked_sessions import linked
from pipeline.reissue.register_changes import marks_gone_and_new
from pipeline.reissue.renamed_files import renamed_files
from pipeline.reissue.renamed_sessions import renamed_sessions
from pipeline.reissue.session_changes import changed_in_session
from pipeline.reissue.site_changes import site_marks_changed
from pipeline.solve.solve import Solved
from pipeline.words import Change, Reason

#: What holds a reading back for its own row's sake, and what for its session's time or base id.
_OF_ROW = {
    Reason.UNREADABLE, Reason.NO_POSITION, Reason.NO_TIME, Reason.AMBIGUOUS_TIME, Reason.NOT_FIXED,
    Reason.POOR_QUALITY, Reason.IMPLAUSIBLE, Reason.DUPLICATE,
}  # fmt: skip

#: What becomes of a point for its numbers' sake, or its row's.
_OF_NUMBERS = (Change.MOVED, Change.ADDED, Change.WITHDRAWN)


class Reasons(Struct, frozen=True):
    """Why an issue differs from the one before, in words.

    Args:
        general: what reaches every point's numbers: the operations, the program, parts of the job file.
        settings: parts of the job file that hold points back or release them, and move none.
        moving: per session, what reaches its points' numbers.
        proving: per session, what reaches their proof alone: the marks that it only checks on.
        linked: per session, the reasons of others whose ties reach it.
        by_file: what reaches the points of a raw file.
        marks: changed marks in words, each with the same and the sessions that it reaches, for the record.
        words: what only the report, lines and drawings tell, such as the table of codes: it reaches no point.
        stands: the sessions whose numbers nothing reaches.
        altered: that the points of the last issue are not what was issued; empty where they are. What somebody did to
            them is no doing of a session or a mark: it alone is the reason where nothing else is one.
    """

    general: tuple[str, ...]
    settings: tuple[str, ...]
    moving: dict[str, tuple[str, ...]]
    proving: dict[str, tuple[str, ...]]
    linked: dict[str, tuple[str, ...]]
    by_file: dict[str, str]
    marks: dict[str, str]
    words: tuple[str, ...] = ()
    stands: frozenset[str] = frozenset()
    altered: str = ""

    def all(self) -> tuple[str, ...]:
        """Return every reason once, for the record."""
        of_sessions = [*self.moving.values(), *self.proving.values()]
        sessions = [text for texts in of_sessions for text in texts if text not in self.marks]
        every = [*self.marks.values(), *sessions, *self.by_file.values(), *self.general, *self.settings, *self.words]
        return tuple(dict.fromkeys(every))

    def of(self, reached: Reached) -> str:
        """Return the reason for the change of some points."""
        session = reached.session or ""
        moving, proving = list(self.moving.get(session, ())), list(self.proving.get(session, ()))
        linked, general, settings = list(self.linked.get(session, ())), list(self.general), list(self.settings)
        file = [self.by_file[reached.file]] if reached.file in self.by_file else []
        if self.altered and session in self.stands and reached.change in _OF_NUMBERS:
            moving, linked = [], []
        if reached.change in (Change.ADDED, Change.WITHDRAWN):
            order = [file, moving, general, settings]
        elif reached.change is Change.RECODED:
            order = [file, general, settings]
        elif reached.change is Change.MOVED:
            order = [(moving or linked or file) + general]
        elif reached.reason in _OF_ROW:
            order = [file, settings, general]
        elif reached.reason in (Reason.OUTSIDE_SESSIONS, Reason.TWO_SESSIONS):
            order = [moving + proving, file, general]
        else:
            order = [(moving + proving or linked) + settings, file, general]
        texts = next((texts for texts in order if texts), [])
        return "; ".join([*texts, self.altered] if self.altered else texts or self.all())


class _PerSession(Struct):
    """What reaches each session, in words: its points' numbers, or their proof alone. Filled on its way."""

    moving: defaultdict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    proving: defaultdict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def take_marks(self, changed: Iterable[ChangedMark]) -> dict[str, str]:
        """Take up changed marks; return each in words, with the same and the sessions that it reaches."""
        marks = {}
        for one in changed:
            marks[one.text] = f"{one.text}; sessions {', '.join(one.sessions)}" if one.sessions else one.text
            for session in one.sessions:
                (self.moving if session in one.moved else self.proving)[session].append(one.text)
        return marks

    def take_own(self, own: Mapping[str, str], called: Mapping[str, str], last: Last, now: Fingerprint) -> None:
        """Take up what is said of sessions themselves; ``called`` is what those of now were called before."""
        was, is_ = last.record["reach"]["sessions"], now.reach["sessions"]
        now_called = {before: name for name, before in called.items()}
        for session, text in own.items():
            name = now_called.get(session, session)
            before = called.get(name, name)
            (self.proving if was.get(before) == is_.get(name) else self.moving)[session].append(text)

    def take_ties(self, occupied: Mapping[str, Sequence[ChangedOccupation]], by_file: Mapping[str, str]) -> None:
        """Take up files whose changed occupations tie a session: they reach all of its points."""
        for file, session in ((file, one.session) for file, ones in occupied.items() for one in ones if one.tie):
            if by_file[file] not in self.moving[session]:
                self.moving[session].append(by_file[file])


def reasons(last: Last, survey: Survey, solved: Solved, now: Fingerprint) -> Reasons:
    """Return why the new issue, made from what ``now`` says, differs from the last."""
    then = identity_of(last.record)
    differing = {name: f"{name} {how}" for name, how in differences(then, now.beside(last.record)).items()}
    found = _PerSession()
    marks = found.take_marks(changed_marks(last, survey, solved, now))
    called = renamed_sessions(last.record, survey.windows)
    own = _of_sessions(last, survey, then, differing) | _of_renamed(called, survey, then)
    found.take_own(own, called, last, now)
    by_file, occupied = _of_files(last, survey, then, now, differing), _of_occupations(last, survey, differing)
    by_file |= {file: f"{by_file[file]}: {told_of(ones)}" for file, ones in occupied.items()}
    found.take_ties(occupied, by_file)
    general, settings, words = job_file_changes(last, survey, then, differing)
    general += _of_frames(last, survey, now, differing)
    words += [*_of_codes(last, survey, differing), *_of_origin(last, survey, differing)]
    if REGISTER in differing:
        gone_and_new = marks_gone_and_new(last.record["register"], now.register, survey.prepared.register_names)
        if marks or own or general or settings or by_file:
            words += gone_and_new
        else:
            general += gone_and_new or [differing[REGISTER]]
    was, is_ = last.record["reach"]["sessions"], now.reach["sessions"]
    return Reasons(
        general=tuple(general),
        settings=tuple(settings),
        moving={session: tuple(texts) for session, texts in found.moving.items()},
        proving={session: tuple(texts) for session, texts in found.proving.items()},
        linked=linked(last, survey, solved, own),
        by_file=by_file,
        marks=marks,
        words=tuple(words),
        stands=frozenset(name for name, total in is_.items() if was.get(name) == total),
    )


def _of_renamed(called: Mapping[str, str], survey: Survey, then: Mapping[str, str]) -> dict[str, str]:
    """Return what is to be said of sessions that have another name by now, under both."""
    own = {}
    for name, before in called.items():
        said = sum_of(session_values(survey.prepared)[name] | {"name": before})
        more = "" if said == then.get(f"{SESSION}{before}") else ", and is changed"
        own[name] = own[before] = f"session {before} is called {name} now{more}"
    return own


def _of_sessions(last: Last, survey: Survey, then: Mapping[str, str], told: Mapping[str, str]) -> dict[str, str]:
    """Return per session that is new, gone or otherwise stated what is to be said of it, with the keys that differ."""
    stated = session_values(survey.prepared)
    own = {}
    for name, text in told.items():
        if name.startswith(SESSION):
            session = name.removeprefix(SESSION)
            changed = changed_in_session(stated[session], last.record, then.get(name)) if session in stated else []
            own[session] = f"{text}: {', '.join(changed)}" if 0 < len(changed) <= LISTED else text
    return own


def _of_files(
    last: Last, survey: Survey, then: Mapping[str, str], now: Fingerprint, told: Mapping[str, str]
) -> dict[str, str]:
    """Return per raw file that is new, gone, changed or called otherwise what is to be said of it."""
    by_file = {name.removeprefix(FILE): text for name, text in told.items() if name.startswith(FILE)}
    by_file |= _of_line_ends(last, survey, by_file)
    for name, before in renamed_files(then, now.sums).items():
        by_file[name] = by_file[before] = f"{FILE}{before} is called {name} now, with the same bytes"
    return by_file


def _of_occupations(last: Last, survey: Survey, told: Mapping[str, str]) -> dict[str, list[ChangedOccupation]]:
    """Return per changed raw file its occupations with other numbers; none where they are read in another way."""
    if f"{PART}{POINTS}" in told or any(name.startswith((OPERATION, SITE)) for name in told):
        return {}
    changed = [name.removeprefix(FILE) for name, text in told.items() if name.startswith(FILE)]
    return changed_occupations(last.record, survey, changed)


def _of_line_ends(last: Last, survey: Survey, by_file: Mapping[str, str]) -> dict[str, str]:
    """Return what is to be said of changed texts that were saved anew and say the same."""
    sums = {one["path"]: one["sha256"] for one in last.record["inputs"]}
    return {
        export.shown: f"{by_file[export.shown]} (its line ends or byte order mark alone)"
        for export in survey.exports
        if export.shown in by_file
        and export.path.suffix.lower() in TEXT
        and line_ends_alone(export.path, sums.get(export.shown, ""))
    }


def _of_frames(last: Last, survey: Survey, now: Fingerprint, told: Mapping[str, str]) -> list[str]:
    """Return what reaches every point beside the job file: frames, operations that no frame accounts for, the rest."""
    frames = frame_changes(last.record, survey, now.sums)
    accounted = {f"{OPERATION}{step}" for step in frames.steps} if frames.all() or SITE in told else set()
    marks = site_marks_changed(last.record["target"]["site"], survey.target["site"])
    rest = [
        f"{text}: {marks}" if name == SITE and marks else text
        for name, text in told.items()
        if not name.startswith((SESSION, FILE, JOB_FILE, REGISTER, CODES, ORIGIN)) and name not in accounted
    ]
    return [*frames.all(), *rest]


def _of_codes(last: Last, survey: Survey, told: Mapping[str, str]) -> list[str]:
    """Return what changed in the table of codes."""
    table = survey.prepared.codes
    if CODES not in told or table is None:
        return [told[CODES]] if CODES in told else []
    return code_changes(last.record["codes"], [row.recorded() for row in table.codes]) or [told[CODES]]


def _of_origin(last: Last, survey: Survey, told: Mapping[str, str]) -> list[str]:
    """Return what changed in what the register says of marks beside their coordinates."""
    register = survey.register
    if ORIGIN not in told or register is None:
        return [told[ORIGIN]] if ORIGIN in told else []
    found = []
    for row in last.record["register"]:
        if (number := register.find(row["mark"])) is not None:
            was_is = {
                "source": (row.get("source", ""), register.source[number]),
                "date": (row.get("dated", ""), register.dated[number]),
            }
            parts = [was_and_is(of, was, now) for of, (was, now) in was_is.items() if was != now]
            found += [f"mark {row['mark']} in the register: {', '.join(parts)}"] if parts else []
    return found or ([told[ORIGIN]] if REGISTER not in told else [])
