"""Tells whether a job file differs from an issue's only by stating what holds anyway, or by stating it no more.

``units = "metre"`` of lengths that are read in metres, or the delimiter that is found by looking, changes nothing of
what is read. A record has nothing of the former job file but a checksum: job files that state more or less of this are
summed, and where one gives the same sum, every export must be read alike by both.
"""

from collections.abc import Callable, Iterator
from itertools import product
from typing import Any

from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.units import lengths
from pipeline.intake.survey import Survey
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Job, Points
from pipeline.problems import JobError
from pipeline.read.columns import lengths_of
from pipeline.read.dialect import find_dialect
from pipeline.read.exports import Export
from pipeline.read.findings import Unusable
from pipeline.read.sources import TEXT

#: Blocks of exports up to which job files are tried: some 100 ms, of a job file that changed.
_BLOCKS = 8


def states_the_same(survey: Survey, is_former: Callable[[Job], bool]) -> bool:
    """Tell whether a former job file states nothing else than this one; ``is_former`` knows it by its checksum."""
    if len(survey.job.points) > _BLOCKS:
        return False
    return any(is_former(former) and _reads_alike(survey, former) for former in _formers(survey))


def _formers(survey: Survey) -> Iterator[Job]:
    """Yield the job with other keys stated that may hold anyway: of all blocks, or of one; and of the register."""
    job = survey.job
    registers: list[Any] = [job.control]
    if job.control is not None and job.control.units in (None, "metre"):
        other = "metre" if job.control.units is None else None
        registers.append(job.control.model_copy(update={"units": other}))
    used = _used(survey)
    states: list[list[dict[str, Any]]] = [[{}, {key: None}, {key: value}] for key, value in used.items()]
    for control in registers:
        for chosen in product(*states):
            update = {key: value for one in chosen for key, value in one.items()}
            blocks = [block.model_copy(update=update) for block in job.points]
            yield job.model_copy(update={"points": tuple(blocks), "control": control})
        for number, block in enumerate(job.points if len(job.points) > 1 else ()):
            for one in (one for state in states for one in state if one):
                blocks = [*job.points[:number], block.model_copy(update=one), *job.points[number + 1 :]]
                yield job.model_copy(update={"points": tuple(blocks), "control": control})


def _used(survey: Survey) -> dict[str, Any]:
    """Return what the first export is read by, by the keys that state it."""
    found: dict[str, Any] = {"units": "metre", "decimal": "."}
    text = next((export for export in survey.exports if _is_text(export)), None)
    if text is not None:
        how = find_dialect(text.path, text.points)
        found |= {"decimal": how.decimal, "delimiter": BLANKS if how.blanks else how.delimiter}
        found["header"] = how.header_line
    return found


def _reads_alike(survey: Survey, former: Job) -> bool:
    """Tell whether every export and the register are read by a former job file as they are now."""
    now, then = survey.job.control, former.control
    try:
        if (
            now is not None
            and then is not None
            and lengths(now.crs, now.units, now.height) != lengths(then.crs, then.units, then.height)
        ):
            return False
        return all(_read_alike(export, former.points[export.block]) for export in survey.exports)
    except (OperationError, Unusable, JobError):
        return False


def _read_alike(export: Export, stated: Points) -> bool:
    """Tell whether an export is read as it is now by what its block stated."""
    now, then = (
        export.points,
        export.points.model_copy(
            update={key: getattr(stated, key) for key in ("units", "decimal", "delimiter", "header")}
        ),
    )
    if lengths_of(now) != lengths_of(then):
        return False
    if _is_text(export):
        return find_dialect(export.path, now) == find_dialect(export.path, then)
    same = (now.delimiter, now.header) == (then.delimiter, then.header)
    return same and (now.decimal or ".") == (then.decimal or ".")


def _is_text(export: Export) -> bool:
    return export.path.suffix.lower() in TEXT
