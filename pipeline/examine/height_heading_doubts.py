"""Finds height columns whose heading states another kind of height than the job file assumes."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.crs import source_crs
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export
from pipeline.read.height_headings import (
    HeightKind,
    height_kind_in_heading,
    kind_beside,
    mostly_level,
    read_height_heading,
)
from pipeline.read.slant_headings import is_slant
from pipeline.words import Doubt


def heading_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which the heading of the heights contradicts its CRS.

    A heading that many programs write over heights of any kind ("Elevation") does so where another column of the file
    is by its heading what is wanted. Heights of poles are in doubt where theirs says that they were measured slantwise.
    """
    return [*_of_exports(survey), *_of_poles(survey), *_of_register(survey)]


def heading_notes(survey: Survey) -> list[str]:
    """Return in words which headings mostly stand over other heights than their numbers are taken for."""
    told = []
    for export, heading, _ in _mapped(survey):
        taken = _taken(export.points.crs)
        loose = mostly_level(heading) and height_kind_in_heading(heading) is None
        if taken is HeightKind.ELLIPSOIDAL and loose and not _others(export, taken):
            told.append(
                f'{export.shown}: the heading "{heading}", mapped as height, usually means heights above a height'
                " datum, but with this crs they are read as ellipsoidal: check which the export has"
            )
    return told


def _of_exports(survey: Survey) -> Iterator[Doubtful]:
    for export, heading, sessions in _mapped(survey):
        taken = _taken(export.points.crs)
        said, others = height_kind_in_heading(heading), _others(export, taken)
        if said is None and taken is HeightKind.ELLIPSOIDAL and mostly_level(heading) and others:
            said = HeightKind.LEVEL
        said = said or _of_geoid(heading, taken)
        if said is None or said is taken or not sessions:
            continue
        beside = f'; the column "{others[0]}" beside it looks like what is wanted' if others else ""
        what = (
            f'the heading "{heading}", mapped as height, states {said}, but with this crs its numbers are read as'
            f" {taken}{beside}: map the column with {taken}, or give a crs whose height datum fits the heading"
        )
        file, line = survey.where("points", export.block, "columns", "height")
        yield _noted(survey, export, what, file, line)


def _of_poles(survey: Survey) -> Iterator[Doubtful]:
    """Yield that lengths are taken off as heights of poles which their heading calls slant ones."""
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        heading = export.points.columns.pole_height
        if not isinstance(heading, str) or not log.rows or not is_slant(heading):
            continue
        what = (
            f'the heading "{heading}", mapped as pole_height, states a slant measure, which is centimetres longer than'
            " the vertical height and can be reduced only with the antenna dimensions: export vertical heights"
        )
        file, line = survey.where("points", export.block, "columns", "pole_height")
        yield _noted(survey, export, what, file, line)


def _noted(survey: Survey, export: Export, what: str, file: str, line: int) -> Doubtful:
    sessions = _sessions(survey, export)
    every = len(sessions) == len(survey.windows)
    shown = f"{export.shown}: {what}"
    return Doubtful(Doubt.EXPORT_HEIGHTS, shown, None if every else sessions, Path(file).name, line)


def _of_register(survey: Survey) -> Iterator[Doubtful]:
    """Yield that a column of the register is named for another kind of height than it is mapped as."""
    control = survey.job.control
    if control is None or survey.register is None:
        return
    taken = HeightKind.ELLIPSOIDAL if control.height == "ellipsoid" else HeightKind.LEVEL
    key = "ellipsoid_height" if taken is HeightKind.ELLIPSOIDAL else "height"
    heading = getattr(control.columns, key)
    said = height_kind_in_heading(heading) or _of_geoid(heading, taken) if isinstance(heading, str) else None
    if said is None or said is taken:
        return
    what = (
        f'the heading "{heading}", mapped as {key} of the register, states {said}, but control.height reads its numbers'
        f" as {taken}: check which of them the register has"
    )
    file, line = survey.where("control", "columns", key)
    yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None, Path(file).name, line)


def _mapped(survey: Survey) -> Iterator[tuple[Export, str, tuple[int, ...]]]:
    """Yield each export whose heights are mapped by name, their heading, and the sessions that it has readings of."""
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        heading = export.points.columns.height
        if isinstance(heading, str) and log.rows:
            yield export, heading, _sessions(survey, export)


def _sessions(survey: Survey, export: Export) -> tuple[int, ...]:
    return tuple(np.flatnonzero(survey.first_pass.blocks[:, export.block]).tolist())


def _others(export: Export, taken: HeightKind) -> list[str]:
    """Return the export's other columns that by their headings are what is wanted."""
    return [column.name for column in export.carried if kind_beside(column.name) is taken]


def _of_geoid(heading: str, taken: HeightKind) -> HeightKind | None:
    """Return that a heading names the geoid without saying what of it, where that contradicts it either way."""
    return (
        HeightKind.OF_GEOID
        if taken is HeightKind.ELLIPSOIDAL and read_height_heading(heading).kind is HeightKind.OF_GEOID
        else None
    )


def _taken(crs: str | None) -> HeightKind:
    return HeightKind.LEVEL if source_crs(crs or "").is_compound else HeightKind.ELLIPSOIDAL
