"""Named checksums of what an issue was made from: equal sums mean the same issue, others name what changed."""

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import numpy as np

from pipeline.arrays import Floats
from pipeline.control.register_rows import POSITION
from pipeline.digest import PACKAGE, modules
from pipeline.draft.merged_readings import MergedReadings
from pipeline.geodesy.crs import database_version, proj_version
from pipeline.geodesy.grids import at_hand as grids_at_hand
from pipeline.geodesy.grids import grid
from pipeline.intake.prepare import Prepared
from pipeline.intake.survey import Survey
from pipeline.issue.made_from import JOB_FILE, PART, PROGRAM
from pipeline.issue.record_types import Reach, Record, RegisterMark
from pipeline.job.canonical_text import former_meanings, meaning, meaning_of, meanings
from pipeline.job.model import Job
from pipeline.job.time_zones import zone_rules
from pipeline.reissue.stated_anyway import states_the_same
from pipeline.replace import replace
from pipeline.solve.solve import Adjusted

SITE = "the site's localisation"
REGISTER = "the register of control marks"
#: What the report says of control beside its coordinates.
ORIGIN = "source and date of control"
CODES = "the table of codes"
FILE, SESSION = "the raw file ", "session "
OPERATION = "the operation "


@lru_cache(maxsize=1)
def program_version() -> str:
    """Return the versions that shape a result: tiedown's, PROJ's and that of PROJ's database."""
    return f"tiedown {version('tiedown')}, PROJ {proj_version()}, EPSG database {database_version()}"


@lru_cache(maxsize=1)
def _modules() -> str:
    """Return the sum of the program's own modules: of one version they may judge otherwise than before."""
    found = hashlib.sha256()
    for file in modules():
        found.update(os.path.relpath(file, PACKAGE).replace(os.sep, "/").encode() + b"\0")
        found.update(Path(file).read_bytes() + b"\0")
    return found.hexdigest()


def at_hand(prepared: Prepared) -> str:
    """Return one sum of everything that a run would read and of what reads it, known before anything is read in full.

    The operations follow from it: from the CRSs, the places of the points, PROJ's version and the grids at hand.
    """
    job = prepared.loaded.job
    parts = [
        meaning(job),
        session_values(prepared),
        prepared.site.sha256 if prepared.site else None,
        prepared.register.sha256 if prepared.register else None,
        [[export.shown, export.sha256, export.block] for export in prepared.exports],
        program_version(),
        _modules(),
        grids_at_hand(),
        grid(job.target.geoid).sha256 if job.target.geoid else None,
        *([prepared.codes.told()] if prepared.codes else []),
        sorted({zone_rules(points.time_zone) for points in job.points if points.time_zone}),
    ]
    return sum_of(parts)


@dataclass(frozen=True)
class Fingerprint:
    """What an issue was made from: the same ``sums``, the same issue.

    Args:
        sums: of everything that shapes it, by the words that a reader would use for it.
        reach: of everything that numbers depend on, per session and per raw file.
        register: the register's rows that the job uses, as text.
        origins: name, source and date of those of them that have any of the two.
        formerly: sums that early versions, which lacked keys of the job file, had of the same job.
        stated_anyway: tells of the sum of a former job file whether it differs by what holds anyway alone.
    """

    sums: dict[str, str]
    reach: Reach
    register: list[RegisterMark]
    origins: list[list[str]]
    formerly: list[dict[str, str]]
    stated_anyway: Callable[[str], bool] = field(compare=False, repr=False)

    def beside(self, last: Record) -> dict[str, str]:
        """Return the sums to be compared with an issue's.

        The rows are summed in the order in which that issue has them, and the job file as the program did that made
        it. Nor does it change anything to state what holds anyway: the job file has the sums of that issue then.
        """
        order = {row["mark"]: number for number, row in enumerate(last["register"])}
        rows = sorted(self.register, key=lambda row: order.get(row["mark"], len(order)))
        origins = sorted(self.origins, key=lambda one: order.get(one[0], len(order)))
        again = {REGISTER: sum_of(rows), ORIGIN: sum_of(origins)}
        then = last["identity"]
        for former in self.formerly:
            again |= {name: total for name, total in former.items() if total == then.get(name)}
        if then.get(JOB_FILE) not in (None, again.get(JOB_FILE, self.sums[JOB_FILE])) and self.stated_anyway(
            then[JOB_FILE]
        ):
            again |= {name: total for name, total in then.items() if name == JOB_FILE or name.startswith(PART)}
        return {name: again.get(name, total) for name, total in self.sums.items()}


def fingerprint(survey: Survey, adjusted: Adjusted, merged: MergedReadings | None = None) -> Fingerprint:
    """Return what the issue of a job is made from; ``merged`` is what it has of points measured twice."""
    register = register_rows(survey, adjusted)
    origins = _origins(survey, register)
    return Fingerprint(
        sums=identity(survey, register, origins),
        reach=reach(survey, adjusted, merged or MergedReadings()),
        register=register,
        origins=origins,
        formerly=_formerly(survey.job),
        stated_anyway=cache(lambda total: states_the_same(survey, lambda former: _sum_of_job(former) == total)),
    )


def with_means(now: Fingerprint, survey: Survey, adjusted: Adjusted, merged: MergedReadings) -> Fingerprint:
    """Return a fingerprint that was taken before it was known which readings of points measured twice are issued."""
    return replace(now, reach=reach(survey, adjusted, merged)) if len(merged.number) else now


def identity(survey: Survey, register: Sequence[RegisterMark], origins: Sequence[list[str]]) -> dict[str, str]:
    """Return the sums of everything that shapes the job's issue, by the words that a reader would use for it.

    ``register`` are the register's rows that the job uses, ``origins`` theirs, as in `Fingerprint`: a mark that nothing
    occupies shapes nothing.
    """
    job = survey.job
    parts: dict[str, Any] = {
        JOB_FILE: meaning(_without_sessions(job)),
        REGISTER: list(register),
        PROGRAM: program_version(),
    }
    parts |= {f"{PART}{name}": text for name, text in meanings(job).items()}
    parts |= {f"{SESSION}{name}": session for name, session in session_values(survey.prepared).items()}
    if origins:
        parts[ORIGIN] = list(origins)
    if survey.prepared.codes is not None:
        parts[CODES] = survey.prepared.codes.told()
    if survey.operations.site is not None:
        parts[SITE] = survey.operations.site.plain_values()
    for operation in survey.operations.recorded():
        parts[f"{OPERATION}{operation.step}"] = [
            operation.definition,
            operation.epoch,
            [[used.name, used.sha256] for used in operation.grids],
        ]
    for export in survey.exports:
        parts[f"{FILE}{export.shown}"] = [export.sha256, export.block]
    return {name: sum_of(part) for name, part in parts.items()}


def _formerly(job: Job) -> list[dict[str, str]]:
    return [
        {JOB_FILE: sum_of(text), **{f"{PART}{name}": sum_of(part) for name, part in parts.items()}}
        for text, parts in former_meanings(_without_sessions(job))
    ]


def _without_sessions(job: Job) -> Job:
    return job.model_copy(update={"session": (), "sessions": None})


def _sum_of_job(job: Job) -> str:
    return sum_of(meaning(_without_sessions(job)))


def identity_of(record: Record) -> dict[str, str]:
    """Return the identity of an issue that was made; early versions left out what its record says all the same."""
    told = _stated([row["mark"], row.get("source", ""), row.get("dated", "")] for row in record["register"])
    return {**({ORIGIN: sum_of(told)} if told else {}), **record["identity"]}


def _origins(survey: Survey, rows: Sequence[RegisterMark]) -> list[list[str]]:
    """Return name, source and date of the marks that the job uses and that have any of the two."""
    register = survey.register
    if register is None:
        return []
    numbers = [(row["mark"], register.find(row["mark"])) for row in rows]
    return _stated([mark, register.source[at], register.dated[at]] for mark, at in numbers if at is not None)


def _stated(origins: Iterable[list[str]]) -> list[list[str]]:
    return [one for one in origins if any(one[1:])]


def session_values(prepared: Prepared) -> dict[str, Any]:
    """Return what the job says of each session, by its name, as plain values."""
    return {
        window.session.name: window.session.model_dump(
            mode="json", exclude={"start", "end"} if window.session.noted else {"start", "end", "noted"}
        )
        | {"start": window.start_ms, "end": window.end_ms}
        for window in prepared.windows
    }


def register_rows(survey: Survey, adjusted: Adjusted) -> list[RegisterMark]:
    """Return the register's rows that the job uses, as text: coordinates as written, what is held, how well."""
    register = survey.register
    if register is None:
        return []
    noted = (one.mark for window in survey.windows for one in window.session.noted)
    used = {*adjusted.occupations.marks, *adjusted.tied.marks.names, *noted}
    axes = (*POSITION[register.kind], "height")
    rows = []
    for number, name in enumerate(register.names):
        if name in used:
            row: RegisterMark = {
                **cast(RegisterMark, dict(zip(axes, register.written[number], strict=True))),
                "mark": name,
                "holds": str(register.holds[number]),
                "sigma horizontal": f"{register.sigma_east[number]:.6g}",
                "sigma vertical": f"{register.sigma_up[number]:.6g}",
            }
            rows.append(row)
    return rows


def reach(survey: Survey, adjusted: Adjusted, merged: MergedReadings) -> Reach:
    """Return a sum per session and per raw file of everything that a point's numbers depend on.

    Where both are as they were in an earlier issue, the numbers are too, to the bit.
    """
    job = survey.job
    common = [
        program_version(),
        [[step.definition, step.epoch, [grid.sha256 for grid in step.grids]] for step in survey.operations.recorded()],
        job.quality.model_dump(mode="json"),
        job.shift.model,
        job.target.geoid_sigma,
        None if survey.operations.site is None else survey.operations.site.plain_values(),
    ]
    if len(merged.number):  # which readings bear a mean: without it their numbers are their own again
        common += [merged.number.tolist(), merged.gone.tolist()]
    shared = sum_of(common)
    sessions = {}
    for window in survey.windows:
        number = window.index
        parts = (
            adjusted.applied.shift[number],
            adjusted.applied.covariance[number],
            *_taken_out(adjusted, number),
            survey.bases.receiver[number],
            survey.operations.epochs[number],
        )
        digest = hashlib.sha256(shared.encode())
        for part in parts:
            digest.update(np.ascontiguousarray(part).tobytes())
        sessions[window.session.name] = digest.hexdigest()
    files = {export.shown: sum_of([export.sha256, meaning_of(export.points)]) for export in survey.exports}
    return {"sessions": sessions, "files": files}


def _taken_out(adjusted: Adjusted, session: int) -> Iterator[Floats]:
    """Yield the numbers of each field shift of a session, and who carries it."""
    for one in adjusted.field.of(session):
        who = [one.window.start, one.window.until, *(one.window.exports or (-1,)), *(one.window.base or "").encode()]
        yield from (one.geocentric, one.grid, np.array(who, np.float64))


def same(before: Mapping[str, str], after: Mapping[str, str]) -> bool:
    """Tell whether two identities are one; the parts of the job file only say what of it differs."""
    one, other = ({name: text for name, text in of.items() if not name.startswith(PART)} for of in (before, after))
    return one == other


def differences(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, str]:
    """Return what differs between two identities, each with "changed", "is new" or "is gone", in a stable order."""
    told = {name: "changed" for name in after if name in before and before[name] != after[name]}
    told |= {name: "is new" for name in after if name not in before}
    return told | {name: "is gone" for name in before if name not in after}


def sum_of(part: Any) -> str:
    """Return the SHA-256 of a plain value, in hexadecimal."""
    text = json.dumps(part, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
