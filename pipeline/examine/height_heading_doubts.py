"""Finds height columns whose heading states another kind of height than the job file assumes."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.crs import source_crs
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export
from pipeline.read.usual_heights import HeightKind, says_no_other
from pipeline.words import Doubt

if TYPE_CHECKING:  # 15 ms that jobs with usual headings need not wait for
    from pipeline.read.height_headings import HeightHeading


def heading_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which the heading of the heights contradicts its CRS.

    A heading that many programs write over heights of any kind ("Elevation") does so where another column of the file
    is by its heading what is wanted. Heights of poles are in doubt where theirs says that they were measured slantwise.
    """
    return [*_of_exports(survey), *_of_poles(survey), *_of_register(survey)]


def heading_notes(survey: Survey) -> list[str]:
    """Return in words which headings mostly stand over other heights than their numbers are taken for."""
    told = []
    for export, heading, taken, _ in _mapped(survey):
        if taken is HeightKind.ELLIPSOIDAL and _read(heading).mostly_level and not _others(export, taken):
            told.append(
                f'{export.shown}: the heading "{heading}", mapped as height, usually means heights above a height'
                " datum, but with this crs they are read as ellipsoidal: check which the export has"
            )
    return told


def _of_exports(survey: Survey) -> Iterator[Doubtful]:
    for export, heading, taken, sessions in _mapped(survey):
        read, others = _read(heading), _others(export, taken)
        said = _stated(read, taken)
        if said is None and taken is HeightKind.ELLIPSOIDAL and read.mostly_level and others:
            said = HeightKind.LEVEL
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
        if not isinstance(heading, str) or not log.rows:
            continue
        from pipeline.read.slant_headings import is_slant  # as above: jobs without heights of poles need not wait

        if not is_slant(heading):
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
    if not isinstance(heading, str) or says_no_other(heading, taken):
        return
    said = _stated(_read(heading), taken)
    if said is None or said is taken:
        return
    what = (
        f'the heading "{heading}", mapped as {key} of the register, states {said}, but control.height reads its numbers'
        f" as {taken}: check which of them the register has"
    )
    file, line = survey.where("control", "columns", key)
    yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None, Path(file).name, line)


def _mapped(survey: Survey) -> Iterator[tuple[Export, str, HeightKind, tuple[int, ...]]]:
    """Yield each export of which the heading of the heights may state other ones, as no usual one of theirs does.

    With it come its heading, what its heights are taken for, and the sessions that it has readings of.
    """
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        heading = export.points.columns.height
        if not isinstance(heading, str) or not log.rows:
            continue
        taken = HeightKind.LEVEL if source_crs(export.points.crs or "").is_compound else HeightKind.ELLIPSOIDAL
        if not says_no_other(heading, taken):
            yield export, heading, taken, _sessions(survey, export)


def _sessions(survey: Survey, export: Export) -> tuple[int, ...]:
    return tuple(np.flatnonzero(survey.first_pass.blocks[:, export.block]).tolist())


def _others(export: Export, taken: HeightKind) -> list[str]:
    """Return the export's other columns that by their headings are what is wanted."""
    from pipeline.read.height_headings import kind_beside

    return [column.name for column in export.carried if kind_beside(column.name) is taken]


def _read(heading: str) -> "HeightHeading":
    from pipeline.read.height_headings import read_height_heading

    return read_height_heading(heading)


def _stated(read: "HeightHeading", taken: HeightKind) -> HeightKind | None:
    """Return what a heading states without a doubt, or that it names the geoid, which contradicts ``taken`` anyhow."""
    of_geoid = taken is HeightKind.ELLIPSOIDAL and read.kind is HeightKind.OF_GEOID
    return read.kind if read.plain or of_geoid else None
