"""A job file turned into a `Job`, with every problem in it noted at once, each with its file and line."""

import hashlib
import os
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

from msgspec import Struct
from pydantic import BaseModel, ValidationError

from pipeline import limits
from pipeline.job import crs_files, job_rules
from pipeline.job.error_messages import KeyMistake, explain, key_path, without_echoes
from pipeline.job.job_paths import resolve, shown_path
from pipeline.job.key_lines import Key, KeyLines
from pipeline.job.model import Job
from pipeline.job.open_questions import check_open
from pipeline.job.sound_sections import Part, Section, SoundSections, clock_of, written_at
from pipeline.job.toml_file import decoded, parse, read_bytes
from pipeline.problems import Problems, without_folder
from pipeline.words import counted


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
        return self.shown, self.lines.line(written_at(self.lines, keys))

    def recorded_at(self, *keys: Key) -> tuple[str, int]:
        """Return what `where` does, the file by its name alone: an issue says the same wherever the job lies."""
        file, line = self.where(*keys)
        return Path(file).name, line

    def stated(self, *keys: Key) -> bool:
        """Return whether the job file has a key, for a ``[[points]]`` block there or in ``[source]``."""
        return written_at(self.lines, keys) in self.lines.known

    def recorded(self, path: str | Path) -> str:
        """Return a path from the job file's folder, as an issue has it wherever the job lies."""
        return Path(os.path.relpath(path, self.path.parent)).as_posix()

    def show(self, path: Path) -> str:
        """Return a path that the job file names as it is best shown: reached the way the user reached the job file."""
        return shown_path(path, self.path, self.shown)


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
    data = read_bytes(absolute, shown, problems)
    text = decoded(data, shown, problems) if data is not None else None
    if text is not None and not text.strip():
        problems.add(
            shown, 0, "the job file is empty", "restore it from a copy, or write a new one (tiedown new FOLDER)"
        )
        return None
    parsed = parse(text, shown, problems) if text is not None else None
    if data is None or parsed is None:
        return None
    raw, lines = parsed
    if _too_many(raw, shown, lines, problems):
        return None
    job = _validate(raw, shown, lines, problems)
    faulty = SoundSections.of(raw).check(raw, absolute, shown, lines, problems, sessions=sessions)
    apart = sum(faulty.values())
    job = None if job is None else _with_crs(job, absolute, shown, lines, problems)
    check_open(text or "", raw, shown, problems, alone=len(problems.found) == before)
    if job is None or len(problems.found) > before + apart:
        return None
    sum_of = hashlib.sha256(data).hexdigest()
    wrong = frozenset(part for part, count in faulty.items() if count)
    return LoadedJob(_resolved(job, absolute.parent), absolute, shown, lines, sum_of, wrong)


#: So many mistakes of a job file are told; of the others only how many there are.
_MOST_TOLD = 1_000


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


def _with_crs(job: Job, path: Path, shown: str, lines: KeyLines, problems: Problems) -> Job:
    """Return ``job`` with every CRS that stands in a file as that file's content, and the grid on its stated base."""

    def filled(section: Section, *place: Key, names: tuple[str, ...] = ("crs",)) -> Section:
        told = {}
        for name in names:
            text = getattr(section, name)
            if isinstance(text, str):
                where, show = (shown, lines.line((*place, name))), partial(shown_path, job_file=path, shown=shown)
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
        return section if section is None or path is None else section.model_copy(update={key: resolve(folder, path)})

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
