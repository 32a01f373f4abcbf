"""Tells keys of the job file that change nothing as the job has the rest: what somebody asked for is not done."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.geodesy.crs import parse
from pipeline.intake.survey import Survey
from pipeline.job.model import Drawing, Quality
from pipeline.near import and_more, listed
from pipeline.read.sources import has_layers
from pipeline.words import counted, plural

#: A key by the tables it is in, and what is said of it.
_Idle = tuple[tuple[str | int, ...], str]

#: Limits of ``[quality]`` beyond which readings are reported, and those beyond which they are held back.
_REPORTED = (
    ("doubtful_distance", "max_distance"),
    ("doubtful_height_difference", "max_height_difference"),
)
#: Sessions that are named.
_NAMED = 5
#: Keys of a block that are of texts alone.
_OF_TEXT = ("delimiter", "encoding")


def idle_keys(survey: Survey, recorded: bool) -> Iterator[str]:
    """Yield in words which keys of the job file change nothing, with their lines.

    What is ``recorded`` names the job file without its folder, so that an issue says the same wherever the job lies.
    """
    for keys, what in (*_of_files(survey), *_of_columns(survey), *_of_values(survey), *_of_other_keys(survey)):
        yield _at(survey.where(*keys), what, recorded)
    for where, what in _of_sessions(survey):
        yield _at(where, what, recorded)


def _at(where: tuple[str, int], what: str, recorded: bool) -> str:
    file, line = where
    return f"{Path(file).name if recorded else file}:{line}: {what}"


def _of_files(survey: Survey) -> Iterator[_Idle]:
    """Yield keys that are of files of another kind than the job's."""
    for number, block in enumerate(survey.job.points):
        layered = [has_layers(export.path) for export in survey.exports if export.block == number]
        if block.layer is not None and not any(layered):
            what = "`layer` has no effect: no file of this block is a GeoPackage or spreadsheet; remove it, or check"
            yield ("points", number, "layer"), f"{what} `files`"
        if layered and all(layered):
            for key in _OF_TEXT:
                if ("points", number, key) in survey.prepared.loaded.lines.known:
                    yield ("points", number, key), f"`{key}` has no effect: no file of this block is a text; remove it"
    job = survey.job
    for name, table in (("control", job.control), ("codes", job.codes), ("sessions", job.sessions)):
        if table is not None and table.layer is not None and not has_layers(table.file):
            what = (
                f"`layer` has no effect: {table.file.name} is no GeoPackage or spreadsheet; remove it, or check `file`"
            )
            yield (name, "layer"), what


def _of_columns(survey: Survey) -> Iterator[_Idle]:
    """Yield keys about columns that no export has as the job maps them, so that nobody hears of what they ask for."""
    for number, block in enumerate(survey.job.points):
        beside = [one for export in survey.exports if export.block == number for one in export.beside]
        if block.not_measured and not any(one.is_set_aside(block) for one in beside):
            what = "`not_measured` has no effect: no file of this block has a second position in these columns; check"
            yield ("points", number, "not_measured"), f"{what} their names, or remove it"
    job, mapped = survey.job, [export.points.columns for export in survey.exports]
    stated = survey.prepared.loaded.stated
    unsolved = mapped and all(columns.solution is None for columns in mapped)
    if unsolved and job.quality.solutions and stated("quality", "solutions"):
        what = "`solutions` holds nothing back: no export has a column mapped as `solution`; map the one that says how"
        yield ("quality", "solutions"), f"{what} each reading was solved, or remove the key"
    if not mapped or any(columns.code is not None for columns in mapped):
        return
    hang = any(not window.session.checks for window in survey.windows)  # else each is listed
    asked: list[tuple[tuple[str | int, ...], str, bool]] = [
        (("codes",), "[codes]", job.codes is not None),
        (("issue", "by_code"), "`by_code`", job.issue.by_code),
        (("drawing", "codes"), "`codes` of [drawing]", bool(job.drawing.codes) and "dxf" in job.issue.formats),
        (("checks", "codes"), "`codes` of [checks]", hang and bool(job.checks.codes) and stated("checks", "codes")),
    ]
    idle = [(keys, name) for keys, name, is_asked in asked if is_asked]
    if idle:
        names = " and ".join(name for _, name in idle)
        have = "has" if len(idle) == 1 else "have"
        what = f"{names} {have} no effect: no export has a column mapped as `code`; map it in [points.columns]"
        yield idle[0][0], what


def _of_values(survey: Survey) -> Iterator[_Idle]:
    """Yield keys about values that no reading has, or that each has itself."""
    logs, exports = survey.first_pass.files, survey.exports
    for number, block in enumerate(survey.job.points):
        of_block = [log for export, log in zip(exports, logs, strict=True) if export.block == number]
        sound = sum(log.sound for log in of_block)
        if block.columns.mark is not None and sound and not any(log.given["mark"] for log in of_block):
            what = f"the column mapped as `mark` is empty in {_all(sound)} of this block; map the one that has the mark"
            yield ("points", number, "columns", "mark"), f"{what} that the pole stood on, or leave it unmapped"
    sound = sum(log.sound for log in logs)
    if sound and survey.job.plan is None:  # a plan forecasts by them
        yield from _of_uncertainties(survey, sound)


def _all(count: int) -> str:
    return "the only accepted reading" if count == 1 else f"all {counted(count, 'accepted reading')}"


def _of_uncertainties(survey: Survey, sound: int) -> Iterator[_Idle]:
    """Yield standard uncertainties of ``[quality]`` that no reading and no shift takes; defaults ask for nothing."""
    quality, windows = survey.job.quality, survey.windows
    network = any(window.session.shift == "none" for window in windows)
    without = sum((log.unstated for log in survey.first_pass.files), start=np.zeros(2, np.int64))
    for key, lacking in zip(("sigma_horizontal", "sigma_vertical"), without.tolist(), strict=True):
        if _other_than_default(quality, key) and not lacking and not network:
            what = f"`{key}` is taken for no reading: {_all(sound)} {plural(sound, 'has', 'have')} a standard"
            yield (
                ("quality", key),
                f"{what} uncertainty of {plural(sound, 'its', 'their')} own; `scale` takes these larger",
            )
    if quality.ppm and _other_than_default(quality, "ppm") and not np.isfinite(survey.bases.receiver).any():
        what = "`ppm` adds nothing: no base position is known; map the columns of the base's position, or state `setup`"
        yield ("quality", "ppm"), what


def _other_than_default(quality: Quality, key: str) -> bool:
    return bool(getattr(quality, key) != Quality.model_fields[key].default)


def _of_sessions(survey: Survey) -> Iterator[tuple[tuple[str, int], str]]:
    """Yield that the base ids of sessions tell no reading from another, with where the first of them is stated.

    Where a column of them is mapped and empty, `examine/base_ids.py` tells.
    """
    logs = survey.first_pass.files
    stated = [window for window in survey.windows if window.base is not None]
    mapped = any(export.points.columns.base is not None for export in survey.exports)
    if not stated or mapped or any(log.ids for log in logs) or not any(log.sound for log in logs):
        return
    names = [window.session.name for window in stated]
    of = f"{plural(len(names), 'session')} {listed(names[:_NAMED])}{and_more(len(names) - _NAMED)}"
    what = f"`base` of {of} tells no reading from another: none has a base id; map the column that has it as `base`"
    yield stated[0].where, f"{what} in [points.columns], or remove the key"


def _of_other_keys(survey: Survey) -> Iterator[_Idle]:
    """Yield keys that other keys, or what the register has, leave without an effect."""
    job, quality = survey.job, survey.job.quality
    if (
        job.control is not None
        and job.control.angles == "dms"
        and survey.register is not None
        and survey.register.kind == "projected"
    ):
        yield ("control", "angles"), "`angles` has no effect: the register has eastings and northings; remove it"
    if job.target.geoid_sigma and job.target.height == "ellipsoid" and not _through_geoid(survey):
        what = (
            "`geoid_sigma` makes every height less certain, but no height of this job goes through a geoid: those"
            ' issued are above the ellipsoid (height = "ellipsoid"); remove it, or name the height datum in `height`'
        )
        yield ("target", "geoid_sigma"), what
    alone = job.target.grid.removesuffix(f" on {job.target.base}")
    if job.target.base is not None and parse(alone) == parse(job.target.grid):
        yield ("target", "base"), "`base` changes nothing: the grid is on that datum by its own definition; remove it"
    if job.drawing != Drawing() and "dxf" not in job.issue.formats:
        yield ("drawing",), '[drawing] has no effect: there is no "dxf" in issue.formats'
    network = any(window.session.shift == "none" for window in survey.windows)
    for doubtful, most in () if network else _REPORTED:
        reported, held = getattr(quality, doubtful), getattr(quality, most)
        if doubtful in quality.model_fields_set and reported > held:
            what = f"{doubtful} = {reported:g} reports no reading: those beyond {most} = {held:g} are held back"
            yield ("quality", doubtful), what


def _through_geoid(survey: Survey) -> bool:
    """Say whether an operation of the job converts heights by a grid of separations."""
    return any("proj=vgridshift" in operation.definition for operation in survey.operations.recorded())
