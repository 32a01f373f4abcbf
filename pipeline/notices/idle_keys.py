"""Tells keys of the job file that change nothing as the job has the rest: what somebody asked for is not done."""

from collections.abc import Iterator
from pathlib import Path

from pipeline.intake.survey import Survey
from pipeline.job.model import Drawing
from pipeline.read.sources import has_layers

#: A key by the tables it is in, and what is said of it.
_Idle = tuple[tuple[str | int, ...], str]

#: Limits of ``[quality]`` beyond which readings are reported, and those beyond which they are held back.
_REPORTED = (
    ("doubtful_distance", "max_distance"),
    ("doubtful_height_difference", "max_height_difference"),
)
#: Keys of a block that are of texts alone.
_OF_TEXT = ("delimiter", "encoding")


def idle_keys(survey: Survey, recorded: bool) -> Iterator[str]:
    """Yield in words which keys of the job file change nothing, with their lines.

    What is ``recorded`` names the job file without its folder, so that an issue says the same wherever the job lies.
    """
    for keys, what in (*_of_files(survey), *_of_columns(survey), *_of_other_keys(survey)):
        file, line = survey.where(*keys)
        yield f"{Path(file).name if recorded else file}:{line}: {what}"


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
