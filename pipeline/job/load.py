"""A job file turned into a `Job`, with every problem in it noted at once, each with its file and line."""

import copy
import hashlib
import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal, TypeVar

from msgspec import Struct, field
from pydantic import BaseModel, ValidationError

from pipeline import limits
from pipeline.files.regular_files import NoFile, read_whole
from pipeline.job import crs_files, job_rules
from pipeline.job.drawing_rules import check_drawing
from pipeline.job.error_messages import KeyMistake, explain, key_path, without_echoes
from pipeline.job.key_lines import Key, KeyLines, Where, key_lines
from pipeline.job.key_values import ZONE
from pipeline.job.linework_rules import check_linework
from pipeline.job.model import (
    CodesSection,
    ControlSection,
    Drawing,
    Job,
    JobSection,
    Linework,
    Points,
    Quality,
    Session,
    SessionsFile,
    Source,
    Target,
)
from pipeline.job.named_folder import long_key, of_windows
from pipeline.job.open_questions import check_open
from pipeline.job.time_zones import zone_problem
from pipeline.problems import NOT_TEXT, Problems, is_text, without_folder
from pipeline.words import counted

_Model = TypeVar("_Model", bound=BaseModel)

#: The parts of a job that may have problems while all others are judged.
Part = Literal["sessions", "target", "frames", "register", "exports", "codes"]


class LoadedJob(Struct, frozen=True):
    """A job file as read.

    ``job`` has its paths resolved against the file's folder and every ``[[points]]`` block filled from ``[source]``;
    the ``files`` of a block are patterns, not paths, and stay as written: they count from the folder of ``path``.
    ``path`` is absolute; ``shown`` is the path as the user gave it, for messages; ``sha256`` the sum of what was read.
    ``faulty`` names the parts that have problems, of a job that is only good for looking for more.
    """

    job: Job
    path: Path
    shown: str
    lines: KeyLines
    sha256: str = ""
    faulty: frozenset[Part] = frozenset()

    def where(self, *keys: Key) -> tuple[str, int]:
        """Return the file as shown and the line of a key, or of its nearest written parent.

        A key that a ``[[points]]`` block leaves to ``[source]`` is found there.
        """
        return self.shown, self.lines.line(_written(self.lines, keys))

    def recorded_at(self, *keys: Key) -> tuple[str, int]:
        """Return what `where` does, the file by its name alone: an issue says the same wherever the job lies."""
        file, line = self.where(*keys)
        return Path(file).name, line

    def stated(self, *keys: Key) -> bool:
        """Return whether the job file has a key, for a ``[[points]]`` block there or in ``[source]``."""
        return _written(self.lines, keys) in self.lines.known

    def recorded(self, path: str | Path) -> str:
        """Return a path from the job file's folder, as an issue has it wherever the job lies."""
        return Path(os.path.relpath(path, self.path.parent)).as_posix()

    def show(self, path: Path) -> str:
        """Return a path that the job file names as it is best shown: reached the way the user reached the job file."""
        return _show(path, self.path, self.shown)


def load_job(path: str | Path, problems: Problems, *, sessions: bool = True) -> LoadedJob | None:
    """Read the job file at ``path``; without ``sessions`` it may be one that has none yet.

    Returns None where anything is wrong with it; what is wrong is added to ``problems``, all of it at once.
    A CSV of sessions, the register and the exports are looked for here, but not read.
    """
    loaded = begin_job(path, problems, sessions=sessions)
    return loaded if loaded is not None and not loaded.faulty else None


def begin_job(path: str | Path, problems: Problems, *, sessions: bool = True) -> LoadedJob | None:
    """Read the job file at ``path`` like `load_job`, and return it too where the rest of the job can be judged still.

    That is where only its sessions are wrong, or files that it names are not there.
    """
    shown, before = str(path), len(problems.found)
    if (lost := without_folder(path)) is not None:
        problems.add(lost.file, lost.line, lost.what, lost.fix)
        return None
    absolute = Path(path).absolute()
    data = _read_bytes(absolute, shown, problems)
    text = _decoded(data, shown, problems) if data is not None else None
    if text is not None and not text.strip():
        problems.add(
            shown, 0, "the job file is empty", "restore it from a copy, or write a new one (tiedown new FOLDER)"
        )
        return None
    parsed = _parse(text, shown, problems) if text is not None else None
    if data is None or parsed is None:
        return None
    raw, lines = parsed
    if _too_many(raw, shown, lines, problems):
        return None
    job = _validate(raw, shown, lines, problems)
    parts = _Parts.of(raw)
    faulty = parts.check(raw, absolute, shown, lines, problems, sessions=sessions)
    apart = sum(faulty.values())
    job = None if job is None else _with_crs(job, absolute, shown, lines, problems)
    check_open(text or "", raw, shown, problems, alone=len(problems.found) == before)
    if job is None or len(problems.found) > before + apart:
        return None
    sum_of = hashlib.sha256(data).hexdigest()
    wrong = frozenset(part for part, count in faulty.items() if count)
    return LoadedJob(_resolved(job, absolute.parent), absolute, shown, lines, sum_of, wrong)


def _read_bytes(path: Path, shown: str, problems: Problems) -> bytes | None:
    try:
        return read_whole(path, limits.JOB_FILE)
    except FileNotFoundError:
        problems.add(shown, 0, "there is no such job file", "check the current folder")
        return None
    except NoFile as error:
        what = f"this is {error.kind}, not a job file" if error.kind else f"this is no job file: {error}"
        fix = (
            "name the .toml file in it"
            if path.is_dir()
            else "give a .toml job file (a table of sessions is named inside it)"
        )
        problems.add(shown, 0, what, fix)
        return None
    except OSError as error:
        problems.add(shown, 0, f"the job file cannot be read: {error.strerror}")
        return None


def _decoded(data: bytes, shown: str, problems: Problems) -> str | None:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problems.add(shown, line, "the job file is not UTF-8 text", "save it with the encoding UTF-8")
        return None


#: So many mistakes of a job file are told; of the others only how many there are.
_MOST_TOLD = 1_000


def _parse(text: str, shown: str, problems: Problems) -> tuple[dict[str, Any], KeyLines] | None:
    if (deep := long_key(text)) is not None:
        what = "a dotted key has more parts here than any key of a job file"
        problems.add(shown, text.count("\n", 0, deep.start(1)) + 1, what, "configs/KEYS.md lists the keys")
        return None
    try:
        return tomllib.loads(text), key_lines(text)
    except RecursionError:
        what = "brackets are nested too deeply here for a job file"
        problems.add(shown, _deepest(text), what, "check that each [ and { is closed where it should be")
        return None
    except ValueError as error:  # a TOMLDecodeError, or a number of thousands of figures
        what = re.sub(r" \(at [^()]*\)$", "", str(error))
        place = re.search(r"at line (\d+), column (\d+)\)$", str(error))
        line = int(place[1]) if place else len(text.rstrip().splitlines()) or 1
        column = f" in column {place[2]}" if place else ""
        said = what.split(":")[0] if "4300" in what else what
        problems.add(
            shown,
            line,
            f"the job file cannot be read from here on{column} (TOML: {said[:1].lower()}{said[1:]})",
            _toml_fix(text.split("\n")[line - 1]),
        )
        return None


#: What stands right of the = in a line that is no TOML, and what to write instead; the first that fits is told.
_NO_TOML = (
    (r"-?\d+,\d+", "the decimal sign is a point here, as in 0.05"),
    (r"true|false|yes|no|on|off", "write true or false, in small letters and without quotes"),
    (
        r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}.*",
        "write a time as 2026-03-02T07:30:00+13:00: year first, with its offset from UTC, without quotes",
    ),
)


def _toml_fix(line: str) -> str:
    """Return what to do about a line that is no TOML."""
    if any(quote in line for quote in "“”„«»‘’"):
        return 'write straight quotes, "...", in the place of curly ones'
    if any(sign in line.partition("#")[0] for sign in "［］｛｝＝，＂"):
        return "write brackets, quotes, commas and = as plain characters, not as full-width ones"
    key, equals, value = (part.strip() for part in line.partition("="))
    if equals and not key.isascii() and not key.startswith("#"):
        return "the key of tiedown goes left of the =, and the export's own name on the right, in quotes"
    for pattern, fix in _NO_TOML:
        if re.fullmatch(pattern, value.partition("#")[0].strip(), re.IGNORECASE):
            return fix
    if "\\" in line:
        return r"in double quotes a \ starts an escape sequence: write / between folders, or use single quotes"
    return "text goes in quotes, lists in [ ], tables in { } on one line; no key or table may appear twice"


def _deepest(text: str) -> int:
    """Return the line on which brackets are nested most deeply, quotes left out of account."""
    depths, depth = [], 0
    for line in text.split("\n"):
        depth += sum(map(line.count, "[{")) - sum(map(line.count, "]}"))
        depths.append(depth + sum(map(line.count, "]}")))
    return max(range(len(depths)), key=depths.__getitem__) + 1


def _too_many(raw: dict[str, Any], shown: str, lines: KeyLines, problems: Problems) -> bool:
    """Note more blocks, sessions or patterns than a job has at most."""
    before = len(problems.found)
    points, sessions = ([each for each in found if isinstance(each, dict)] if isinstance(found, list) else []
                        for found in (raw.get("points"), raw.get("session")))  # fmt: skip
    named = [block["files"] for block in points if isinstance(block.get("files"), list)]
    for key, count, most, what in (
        ("session", len(sessions), limits.SESSIONS, "session"),
        ("points", len(points), limits.BLOCKS, "block"),
        ("points", sum(map(len, named)), limits.EXPORTS, "file"),
    ):
        if count > most:
            problems.add(shown, lines.line((key,)), *job_rules.too_many(count, what, most))
    return len(problems.found) > before


def _validate(raw: dict[str, Any], shown: str, lines: KeyLines, problems: Problems) -> Job | None:
    try:
        return Job.model_validate(raw, context=clock_of(raw.get("source")))
    except ValidationError as error:
        every = error.errors(include_url=False)
        found = without_echoes(every[:_MOST_TOLD])
        for line, what, fix in _gathered([(lines.line(key_path(each)), explain(each, Job)) for each in found]):
            problems.add(shown, line, what, fix)
        if len(every) > _MOST_TOLD:
            left = counted(len(every) - _MOST_TOLD, "more problem")
            problems.add(shown, 0, f"{left} not shown", "fix the ones above first")
        return None


def _gathered(mistakes: list[tuple[int, KeyMistake]]) -> Iterator[tuple[int, str, str]]:
    """Yield line, what and fix of each mistake, what a table takes only with the first key that it does not take."""
    seen: set[str] = set()
    for line, (what, fix, fix_again) in mistakes:
        yield line, what, fix_again if fix in seen else fix
        seen.add(fix)


class _Parts(Struct, frozen=True):
    """The sections that are right in themselves, so that one mistake does not hide the next.

    None where a section is absent or wrong; an unknown key alone does not make it wrong.
    """

    job: JobSection | None
    target: Target | None
    source: Source | None
    control: ControlSection | None
    sessions: SessionsFile | None
    quality: Quality | None = None
    drawing: Drawing | None = None
    codes: CodesSection | None = None
    linework: Linework | None = None
    points: dict[int, Points] = field(default_factory=dict)
    session: dict[int, Session] = field(default_factory=dict)

    @classmethod
    def of(cls, raw: dict[str, Any]) -> "_Parts":
        return cls(
            job=_part(JobSection, raw.get("job")),
            target=_part(Target, raw.get("target")),
            source=_part(Source, raw.get("source", {})),
            control=_part(ControlSection, raw.get("control")),
            sessions=_part(SessionsFile, raw.get("sessions")),
            quality=_part(Quality, raw.get("quality", {})),
            drawing=_part(Drawing, raw.get("drawing", {})),
            codes=_part(CodesSection, raw.get("codes")),
            linework=_part(Linework, raw.get("linework")),
            points=_blocks(Points, raw.get("points")),
            session=_blocks(Session, raw.get("session"), clock_of(raw.get("source"))),
        )

    def check(
        self, raw: dict[str, Any], path: Path, shown: str, lines: KeyLines, problems: Problems, *, sessions: bool
    ) -> dict[Part, int]:
        """Note every rule between keys that is broken; return how many that leave all else as it is, by part."""

        def where(*keys: Key) -> tuple[str, int]:
            return shown, lines.line(keys)

        if self.target is not None:
            job_rules.check_target(self.target, partial(where, "target"), problems)
        if self.target is not None and self.target.site is not None and "control" not in raw:
            problems.add(*where("target", "site"), *job_rules.SITE_ALONE)
        self._check_points(path, shown, lines, problems)
        for name, table in (("control", self.control), ("sessions", self.sessions), ("codes", self.codes)):
            if table is not None:
                job_rules.check_table(table, partial(where, name), problems)
        if self.quality is not None:
            job_rules.check_solutions(self.quality, self.points.values(), where("quality", "solutions"), problems)
        if self.drawing is not None:
            check_drawing(self.drawing, partial(where, "drawing"), problems)
        if self.linework is not None:
            check_linework(self.linework, "codes" in raw, partial(where, "linework"), problems)
        before, faulty = len(problems.found), dict[Part, int]()
        job_rules.check_sessions(
            [(session, partial(where, "session", index)) for index, session in self.session.items()],
            "control" in raw,
            problems,
        )
        faulty["sessions"] = len(problems.found) - before
        if sessions or raw.get("session") or "sessions" in raw:
            _check_either(raw, where("session"), where("sessions"), problems)
        self._check_files(path, shown, where, problems, faulty)
        return faulty

    def _check_points(self, path: Path, shown: str, lines: KeyLines, problems: Problems) -> None:
        if self.source is None:
            return
        for index, points in self.points.items():
            filled = job_rules.fill_points(points, self.source)
            job_rules.check_reading(filled, path.parent, _Reading(lines, shown, index), problems)

    def _check_files(self, path: Path, shown: str, where: Where, problems: Problems, faulty: dict[Part, int]) -> None:
        grid, table = limits.GRID, limits.TABLE
        site = self.target.site if self.target else None
        register, sessions = self.control.file if self.control else None, self.sessions.file if self.sessions else None
        named: list[tuple[Path | None, str, int, tuple[str, ...], Part]] = [
            (self.target.geoid if self.target else None, "the geoid grid", grid, ("target", "geoid"), "target"),
            (site.marks if site else None, "the site's file of marks", table, ("target", "site", "marks"), "target"),
            (register, "the register of control marks", table, ("control", "file"), "register"),
            (sessions, "the table of sessions", table, ("sessions", "file"), "sessions"),
            (self.codes.file if self.codes else None, "the table of codes", table, ("codes", "file"), "codes"),
        ]
        for file, what, most, keys, part in named:
            if file is not None:
                absolute = _resolve(path.parent, file)
                if not is_text(absolute):
                    problems.add(*where(*keys), f"{what} cannot be read: {NOT_TEXT[0]}", NOT_TEXT[1])
                    continue
                before = len(problems.found)
                job_rules.check_file(absolute, _show(absolute, path, shown), what, most, where(*keys), problems)
                if not os.path.isfile(absolute):
                    faulty[part] = faulty.get(part, 0) + len(problems.found) - before
        if self.job is not None:
            folder = _resolve(path.parent, self.job.folder)
            if not is_text(folder):
                problems.add(*where("job", "folder"), f"issues cannot be written there: {NOT_TEXT[0]}", NOT_TEXT[1])
            if of_windows(self.job.folder) and not folder.is_dir():
                what = f"{self.job.folder} is a path of Windows, and this system has no drives"
                problems.add(*where("job", "folder"), what, 'write it as this system has it, such as "../out"')
            job_rules.check_folder(folder, partial(_show, job_file=path, shown=shown), where("job", "folder"), problems)


@dataclass(frozen=True)
class _Reading:
    """Where a key of a ``[[points]]`` block is written: in the block itself, or else in ``[source]``."""

    lines: KeyLines
    shown: str
    index: int

    def __call__(self, *keys: Key) -> tuple[str, int]:
        return self.shown, self.lines.line(_written(self.lines, ("points", self.index, *keys)))


def _written(lines: KeyLines, keys: tuple[Key, ...]) -> tuple[Key, ...]:
    """Return where a key is written: in the ``[[points]]`` block itself, or else in ``[source]``."""
    shared: tuple[Key, ...] = ("source", *keys[2:])
    taken = keys[:1] == ("points",) and len(keys) > 2 and keys not in lines.known and shared in lines.known
    return shared if taken else keys


def clock_of(source: object) -> dict[str, str | None]:
    """Return the context in which sessions are validated: the clock of their times, if a sound one is named."""
    zone = source.get("time_zone") if isinstance(source, dict) else None
    return {ZONE: zone if isinstance(zone, str) and zone_problem(zone) is None else None}


def _part(model: type[_Model], raw: object, context: dict[str, str | None] | None = None) -> _Model | None:
    """Return ``raw`` as a model, its unknown keys left out, or None where anything else is wrong with it."""
    try:
        return model.model_validate(raw, context=context)
    except ValidationError as error:
        wrong = error.errors(include_url=False)
        if any(each["type"] != "extra_forbidden" for each in wrong):
            return None
        known = copy.deepcopy(raw)
        for each in wrong:
            *above, key = key_path(each)
            table: Any = known
            for step in above:
                table = table[step]
            del table[key]
        return model.model_validate(known, context=context)


def _blocks(model: type[_Model], raw: object, context: dict[str, str | None] | None = None) -> dict[int, _Model]:
    found = {index: _part(model, block, context) for index, block in enumerate(raw)} if isinstance(raw, list) else {}
    return {index: part for index, part in found.items() if part is not None}


def _check_either(raw: dict[str, Any], session: tuple[str, int], sessions: tuple[str, int], problems: Problems) -> None:
    if raw.get("session") and "sessions" in raw:
        problems.add(
            *sessions,
            f"there are both [[session]] blocks (from line {session[1]}) and a [sessions] file",
            "keep the sessions in one place",
        )
    elif not raw.get("session") and "sessions" not in raw:
        problems.add(
            *session, "there is no session", 'write a [[session]] block per base session, or [sessions] file = "..."'
        )


def _with_crs(job: Job, path: Path, shown: str, lines: KeyLines, problems: Problems) -> Job:
    """Return ``job`` with every CRS that stands in a file as that file's content, and the grid on its stated base."""

    def filled(section: _Model, *place: Key, names: tuple[str, ...] = ("crs",)) -> _Model:
        told = {}
        for name in names:
            text = getattr(section, name)
            if isinstance(text, str):
                where, show = (shown, lines.line((*place, name))), partial(_show, job_file=path, shown=shown)
                told[name] = crs_files.content_of(text, path.parent, show, where, problems) or text
        return section.model_copy(update=told)

    target = filled(job.target, "target", names=("grid", "height"))
    if target.base is not None:
        target = target.model_copy(update={"grid": f"{target.grid} on {target.base}"})
    control = None if job.control is None else filled(job.control, "control", names=("crs", "height"))
    points = tuple(filled(block, "points", number) for number, block in enumerate(job.points))
    source = filled(job.source, "source")
    return job.model_copy(update={"target": target, "control": control, "points": points, "source": source})


def _resolved(job: Job, folder: Path) -> Job:
    """Return ``job`` with absolute paths and filled ``[[points]]`` blocks."""

    def absolute(section: BaseModel | None, key: str) -> Any:
        path = getattr(section, key, None)
        return section if section is None or path is None else section.model_copy(update={key: _resolve(folder, path)})

    target = absolute(job.target, "geoid")
    return job.model_copy(
        update={
            "job": absolute(job.job, "folder"),
            "target": target.model_copy(update={"site": absolute(target.site, "marks")}),
            "control": absolute(job.control, "file"),
            "sessions": absolute(job.sessions, "file"),
            "codes": absolute(job.codes, "file"),
            "points": tuple(job_rules.fill_points(points, job.source) for points in job.points),
        }
    )


def _resolve(folder: Path, path: Path) -> Path:
    return Path(os.path.realpath(folder / path))


def _show(path: Path, job_file: Path, shown: str) -> str:
    try:
        from_job = os.path.relpath(path, job_file.parent.resolve())
    except ValueError:  # another drive
        return str(path)
    return os.path.normpath(os.path.join(os.path.dirname(shown), from_job))
