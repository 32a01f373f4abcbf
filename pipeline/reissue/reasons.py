"""Why a point differs from the previous issue: only what reached it, and everything for the record."""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.issue.made_from import JOB_FILE, PART
from pipeline.issue.record_types import RegisterMark
from pipeline.job.canonical_text import LIMITS_OF, meanings
from pipeline.job.model import Source
from pipeline.job.stated_keys import in_words, stated_keys
from pipeline.read.sources import TEXT
from pipeline.reissue.changed_occupations import ChangedOccupation, changed_occupations, told_of
from pipeline.reissue.changes import MOVED, Reached
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
from pipeline.reissue.former_tables import changed_in_blocks, changed_keys
from pipeline.reissue.frames import frame_changes
from pipeline.reissue.line_ends import line_ends_alone
from pipeline.reissue.register_changes import mark_changes, marks_gone_and_new
from pipeline.reissue.renamed_files import renamed_files
from pipeline.reissue.renamed_sessions import renamed_sessions
from pipeline.reissue.session_changes import changed_in_session
from pipeline.reissue.site_changes import site_marks_changed
from pipeline.reissue.stated_uncertainties import as_stated
from pipeline.solve.solve import Solved
from pipeline.sphere import DEGREE
from pipeline.tolerance import tolerance_text
from pipeline.words import Change, Reason, Role

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


#: Parts of the job file that hold points back or release them, and move none.
_CHECKS = "[checks]"
_SETTINGS = (_CHECKS, "[drawing]", "[issue]", "[job]", "limits of [quality]", "limits of [shift]")
#: Metres by which a tolerance is another.
_SAME = 5e-7
#: Those that reach no point.
_PARTICULARS = "[particulars]"
_WORDS = (_PARTICULARS, "[linework]")
#: Those of which more is told beside, or of which too much is stated to be listed.
_TOLD_BESIDE = ("[target]", "[control]", "[job]", _PARTICULARS)
_POINTS = "[[points]]"
#: Keys of a table up to which they are listed.
_LISTED = 4


def reasons(last: Last, survey: Survey, solved: Solved, now: Fingerprint) -> Reasons:
    """Return why the new issue, made from what ``now`` says, differs from the last."""
    then = identity_of(last.record)
    differing = {name: f"{name} {how}" for name, how in differences(then, now.beside(last.record)).items()}
    moving, proving = defaultdict[str, list[str]](list), defaultdict[str, list[str]](list)
    marks: dict[str, str] = {}
    for text, sessions, moved in _of_marks(last, survey, solved, now):
        marks[text] = f"{text}; sessions {', '.join(sessions)}" if sessions else text
        for session in sessions:
            (moving if session in moved else proving)[session].append(text)
    own = _of_sessions(last, survey, then, differing)
    was, is_ = last.record["reach"]["sessions"], now.reach["sessions"]
    called = renamed_sessions(last.record, survey.windows)
    now_called = {before: name for name, before in called.items()}
    for name, before in called.items():
        said = sum_of(session_values(survey.prepared)[name] | {"name": before})
        more = "" if said == then.get(f"{SESSION}{before}") else ", and is changed"
        own[name] = own[before] = f"session {before} is called {name} now{more}"
    for session, text in own.items():
        name = now_called.get(session, session)
        before = called.get(name, name)
        (proving if was.get(before) == is_.get(name) else moving)[session].append(text)
    by_file = _of_files(last, survey, then, now, differing)
    occupied = _of_occupations(last, survey, differing)
    by_file |= {file: f"{by_file[file]}: {told_of(ones)}" for file, ones in occupied.items()}
    for file, session in ((file, one.session) for file, ones in occupied.items() for one in ones if one.tie):
        if by_file[file] not in moving[session]:
            moving[session].append(by_file[file])
    general, settings, words = _of_job_file(last, survey, then, differing)
    general += _of_frames(last, survey, now, differing)
    words += [*_of_codes(last, survey, differing), *_of_origin(last, survey, differing)]
    if REGISTER in differing:
        gone_and_new = marks_gone_and_new(last.record["register"], now.register, survey.prepared.register_names)
        if marks or own or general or settings or by_file:
            words += gone_and_new
        else:
            general += gone_and_new or [differing[REGISTER]]
    return Reasons(
        general=tuple(general),
        settings=tuple(settings),
        moving={session: tuple(texts) for session, texts in moving.items()},
        proving={session: tuple(texts) for session, texts in proving.items()},
        linked=_linked(last, survey, solved, own),
        by_file=by_file,
        marks=marks,
        words=tuple(words),
        stands=frozenset(name for name, total in is_.items() if was.get(name) == total),
    )


def _of_sessions(last: Last, survey: Survey, then: Mapping[str, str], told: Mapping[str, str]) -> dict[str, str]:
    """Return per session that is new, gone or otherwise stated what is to be said of it, with the keys that differ."""
    stated = session_values(survey.prepared)
    own = {}
    for name, text in told.items():
        if name.startswith(SESSION):
            session = name.removeprefix(SESSION)
            changed = changed_in_session(stated[session], last.record, then.get(name)) if session in stated else []
            own[session] = f"{text}: {', '.join(changed)}" if 0 < len(changed) <= _LISTED else text
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
    if f"{PART}{_POINTS}" in told or any(name.startswith((OPERATION, SITE)) for name in told):
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


def _of_marks(
    last: Last, survey: Survey, solved: Solved, now: Fingerprint
) -> Iterator[tuple[str, list[str], set[str]]]:
    """Yield each changed mark in words, with the sessions that it reaches, and those whose shift it reaches."""
    control, register = survey.job.control, survey.register
    if control is None or register is None:
        return
    key = f"{PART}[control]"
    as_before = last.record["identity"].get(key) == now.sums.get(key)
    unstated = (control.sigma_horizontal, control.sigma_vertical)
    before, after = as_stated(last.record["register"], now.register, register, unstated, as_before=as_before)
    for mark, text in mark_changes(before, after).items():
        moved, seen = _reached(last, survey, solved, mark, now.register)
        sessions = [window.session.name for window in survey.windows if window.session.name in moved | seen]
        yield text + _stays(solved, mark), sessions, moved


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


def _stays(solved: Solved, mark: str) -> str:
    """Return in words that what the field applied by a mark's coordinates of before is taken out as before."""
    since = [one.used.since for one in solved.field.taken if one.used is not None and one.window.stated.mark == mark]
    issues = sorted({f"{number:03d}" for number in since if number is not None})
    return f" (the field shift derived from it is taken out as in issue {' and '.join(issues)})" if issues else ""


def _tolerances(last: Last, survey: Survey) -> list[str]:
    """Return which tolerances of checks are others than in the last issue, from what to what [m].

    The last issue says what each occupation was held to; those on temporary marks were held to more.
    """
    marks = {row["mark"] for row in last.record["register"]}
    held = [(row["tolerance_h"], row["tolerance_v"]) for row in last.record["checks"] if row["mark"] in marks]
    checks = survey.job.checks
    both = zip(("horizontal", "vertical"), zip(*held, strict=True), (checks.horizontal, checks.vertical), strict=False)
    tested = ((key, [one for one in each if one is not None], now) for key, each, now in both)
    return [
        f"{key} {tolerance_text(min(before))} -> {tolerance_text(now)}"
        for key, before, now in tested
        if before and abs(min(before) - now) > _SAME
    ]


def _of_job_file(
    last: Last, survey: Survey, then: Mapping[str, str], told: Mapping[str, str]
) -> tuple[list[str], list[str], list[str]]:
    """Return what of the job file reaches numbers, what only holds points back, and what only the report tells.

    Each is a sentence or none.
    """
    if JOB_FILE not in told:
        return [], [], []
    parts = [name.removeprefix(PART) for name in told if name.startswith(PART)]
    if not parts or not any(name.startswith(PART) for name in then):
        return [told[JOB_FILE]], [], []
    holds, tells = ([part for part in parts if part in some] for some in (_SETTINGS, _WORDS))
    makes = [part for part in parts if part not in (*_SETTINGS, *_WORDS)]
    general, settings, words = (
        [f"{told[JOB_FILE]}: {'; '.join(_of_part(part, last, survey) for part in some)}"] if some else []
        for some in (makes, holds, tells)
    )
    return general, settings, words


def _of_part(part: str, last: Last, survey: Survey) -> str:
    """Return a table of the job file that differs, with what its keys said and say, or what they say now.

    The last record keeps tolerances and particulars, and checksums of all else (`former_tables.changed_keys`).
    """
    before = {_CHECKS: _tolerances, _PARTICULARS: _particulars}.get(part)
    if before is not None and 0 < len(told := before(last, survey)) <= _LISTED:
        return f"{part} {', '.join(told)}"
    table = json.loads(meanings(survey.job).get(part, "null"))
    total = last.record["identity"].get(f"{PART}{part}")
    if part == _POINTS:
        return _of_blocks(survey, changed_in_blocks(table, total))
    told = changed_keys(part, table or {}, total)
    if 0 < len(told) <= _LISTED:
        return f"{part} {', '.join(told)}"
    if part in _TOLD_BESIDE:
        return part
    now = list(stated_keys(part.removeprefix(LIMITS_OF).strip("[]"), table or {}))
    if len(now) > _LISTED:
        return part
    says = f"only {', '.join(now)}" if now else "nothing but defaults"
    return f"{part}, which now says {says}"


def _of_blocks(survey: Survey, changed: tuple[str, str] | None) -> str:
    """Return what changed of how exports are read: keys that ``[source]`` has count for all blocks."""
    lines = survey.prepared.loaded.lines.known
    key, text = changed or ("", "")
    own = any(("points", number, key) in lines for number in range(len(survey.job.points)))
    table = "[source]" if ("source", key) in lines and not own else f"[source] or {_POINTS}"
    if own or (key and key not in Source.model_fields):
        table = _POINTS
    return f"{table} {text}".rstrip()


def _particulars(last: Last, survey: Survey) -> list[str]:
    """Return which particulars are others than in the last issue, from what to what."""
    before = last.record["particulars"] or {}
    now = survey.job.particulars.given if survey.job.particulars is not None else {}
    both = [(key, before.get(key), now.get(key)) for key in dict.fromkeys((*before, *now))]
    return [f"{in_words(key)} {in_words(was)} -> {in_words(is_)}" for key, was, is_ in both if was != is_]


def _reached(
    last: Last, survey: Survey, solved: Solved, mark: str, rows: Sequence[RegisterMark]
) -> tuple[set[str], set[str]]:
    """Return the sessions whose shift a mark's revision reaches, and those in which the mark is occupied."""
    names = [window.session.name for window in survey.windows]
    on_marks = solved.occupations
    occupied = {names[s] for s, name in zip(on_marks.session, on_marks.marks, strict=True) if name == mark}
    if mark not in solved.tied.marks.names:
        return set(), occupied
    node = solved.tied.marks.names.index(mark)
    ties = solved.shifts.adjustment.ties
    reached = np.zeros(len(names), bool)
    for group in (ties.position_group, ties.height_group):
        reached |= group[: len(names)] == group[len(names) + node]
    revision = _revision(last, mark, rows)
    control = np.flatnonzero(solved.shifts.control == node)
    if revision is not None and len(control):
        chosen = np.flatnonzero(reached)
        number = len(solved.tied.occupied) + int(control[0])
        change = np.where(solved.tied.marks.held[node], -revision, 0.0)
        moves = np.linalg.norm(solved.shifts.response.shifts(number, change, chosen), axis=1)
        reached[chosen] = ~(moves < MOVED / 10)
    return {names[number] for number in np.flatnonzero(reached)}, occupied


def _revision(last: Last, mark: str, rows: Sequence[RegisterMark]) -> Floats | None:
    """Return (3,) by how many metres a mark's coordinates were revised, roughly; None where not only they were."""
    old = next((_texts(row) for row in last.record["register"] if row["mark"] == mark), None)
    new = next(_texts(row) for row in rows if row["mark"] == mark)
    old = {key: text for key, text in old.items() if key not in _OF_ORIGIN} if old is not None else None
    axes = [name for name in new if name not in ("mark", "holds") and not name.startswith("sigma")]
    if old is None or set(old) != set(new) or any(old[key] != new[key] for key in new if key not in axes):
        return None
    scale = DEGREE if "longitude" in axes else 1.0
    try:
        off = [float(new[axis]) - float(old[axis]) for axis in axes]
    except ValueError:  # written in another way than as a plain number
        return None
    return np.array(off) * [scale, scale, 1.0]


#: What a record says of a mark besides its coordinates: it shapes nothing.
_OF_ORIGIN = frozenset(("source", "dated", "others", "former"))


def _texts(row: RegisterMark) -> dict[str, str]:
    return {key: str(text) for key, text in row.items()}


def _linked(last: Last, survey: Survey, solved: Solved, own: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """Return per session the changes of other sessions that marks tie to it, now or in the previous issue."""
    pairs = {(row["session"], row["mark"]) for row in last.record["checks"] if row["role"] == Role.TIE}
    on_marks = solved.occupations
    for number, mark, role in zip(on_marks.session.tolist(), on_marks.marks, on_marks.roles, strict=True):
        if role is Role.TIE:
            pairs.add((survey.windows[number].session.name, mark))
    for window in survey.windows:
        if window.session.setup is not None:
            pairs.add((window.session.name, window.session.setup.mark))
    return {
        session: texts
        for group in joined(pairs)
        for session in group
        if (texts := tuple(text for name, text in own.items() if name in group and name != session))
    }


def joined(pairs: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Return the sessions that marks join, by (session, mark)."""
    by_mark: dict[str, set[str]] = {}
    for session, mark in pairs:
        by_mark.setdefault(mark, set()).add(session)
    groups: list[set[str]] = []
    for sessions in by_mark.values():
        joined = [group for group in groups if group & sessions]
        groups = [group for group in groups if not group & sessions]
        groups.append(set().union(sessions, *joined))
    return groups
