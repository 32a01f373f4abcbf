"""The sections of a job file that are right in themselves, and the rules between their keys."""

import copy
import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal, TypeVar

from msgspec import Struct, field
from pydantic import BaseModel, ValidationError

from pipeline import limits
from pipeline.job import job_rules
from pipeline.job.drawing_rules import check_drawing
from pipeline.job.error_messages import key_path
from pipeline.job.job_paths import resolve, shown_path
from pipeline.job.key_lines import Key, KeyLines, Where
from pipeline.job.key_values import ZONE
from pipeline.job.linework_rules import check_linework
from pipeline.job.model import (
    CodesSection,
    ControlSection,
    Drawing,
    JobSection,
    Linework,
    Points,
    Quality,
    Session,
    SessionsFile,
    Source,
    Target,
)
from pipeline.job.named_folder import of_windows
from pipeline.job.time_zones import zone_problem
from pipeline.problems import NOT_TEXT, Problems, is_text

Section = TypeVar("Section", bound=BaseModel)

#: The parts of a job that may have problems while all others are judged.
Part = Literal["sessions", "target", "frames", "register", "exports", "codes"]


class SoundSections(Struct, frozen=True):
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
    def of(cls, raw: dict[str, Any]) -> "SoundSections":
        """Take them out of a whole job file."""
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
                absolute = resolve(path.parent, file)
                if not is_text(absolute):
                    problems.add(*where(*keys), f"{what} cannot be read: {NOT_TEXT[0]}", NOT_TEXT[1])
                    continue
                before = len(problems.found)
                job_rules.check_file(absolute, shown_path(absolute, path, shown), what, most, where(*keys), problems)
                if not os.path.isfile(absolute):
                    faulty[part] = faulty.get(part, 0) + len(problems.found) - before
        if self.job is not None:
            folder = resolve(path.parent, self.job.folder)
            if not is_text(folder):
                problems.add(*where("job", "folder"), f"issues cannot be written there: {NOT_TEXT[0]}", NOT_TEXT[1])
            if of_windows(self.job.folder) and not folder.is_dir():
                what = f"{self.job.folder} is a path of Windows, and this system has no drives"
                problems.add(*where("job", "folder"), what, 'write it as this system has it, such as "../out"')
            job_rules.check_folder(
                folder, partial(shown_path, job_file=path, shown=shown), where("job", "folder"), problems
            )


@dataclass(frozen=True)
class _Reading:
    """Where a key of a ``[[points]]`` block is written: in the block itself, or else in ``[source]``."""

    lines: KeyLines
    shown: str
    index: int

    def __call__(self, *keys: Key) -> tuple[str, int]:
        return self.shown, self.lines.line(written_at(self.lines, ("points", self.index, *keys)))


def written_at(lines: KeyLines, keys: tuple[Key, ...]) -> tuple[Key, ...]:
    """Return where a key is written: in the ``[[points]]`` block itself, or else in ``[source]``."""
    shared: tuple[Key, ...] = ("source", *keys[2:])
    taken = keys[:1] == ("points",) and len(keys) > 2 and keys not in lines.known and shared in lines.known
    return shared if taken else keys


def clock_of(source: object) -> dict[str, str | None]:
    """Return the context in which sessions are validated: the clock of their times, if a sound one is named."""
    zone = source.get("time_zone") if isinstance(source, dict) else None
    return {ZONE: zone if isinstance(zone, str) and zone_problem(zone) is None else None}


def _part(model: type[Section], raw: object, context: dict[str, str | None] | None = None) -> Section | None:
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


def _blocks(model: type[Section], raw: object, context: dict[str, str | None] | None = None) -> dict[int, Section]:
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
