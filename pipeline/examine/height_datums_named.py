"""Says of files that name two height datums: one in a heading, another beside the rows or in the file's own name.

What the job file states cannot be right for both. Names of datums are those of the registry that have a year in them
("NAVD88", "NZVD2016"): others are words like any.
"""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.geodesy.registry import height_datum_words
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.read.exports import Export
from pipeline.visible import one_line

#: Letters and a year, written together or apart: "NAVD88", "NAVD 1988", "NGVD_29".
_NAME = re.compile(r"(?<![^\W\d_])([a-z]{2,})[ _-]?(\d{4}|\d\d)(?!\d)")
#: Names that are no datum of heights alone: models of the geoid, and datums of positions too.
_OTHERS = frozenset({"egm", "gntrans", "jgd"})


def height_datum_notes(survey: Survey) -> Iterator[str]:
    """Yield for each export, and the register, which two height datums are named in its heading and beside it."""
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        if log.rows:
            yield from _told(export.shown, _of_export(export))
    control, register = survey.job.control, survey.register
    if control is not None and register is not None:
        heading, path = control.columns.height, Path(register.shown)
        said = [(f'the heading "{one_line(heading)}"', heading)] if isinstance(heading, str) else []
        yield from _told(path.name, [*said, ("its file name", path.stem)])


def _of_export(export: Export) -> Iterator[tuple[str, str]]:
    """Yield what may name a datum, each after what it is in words."""
    heading = export.points.columns.height
    if isinstance(heading, str):
        yield f'the heading "{one_line(heading)}"', heading
    for one in export.said:
        yield f'"{one_line(one.text.strip())}" {one.where}', one.text
    yield "its file name", Path(export.path).stem


def _told(shown: str, texts: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield the first two of (what it is, text) that name one datum each, and not the same."""
    named = [(what, names) for what, text in texts if (names := _names(text))]
    if len({name for _, names in named for name in names}) < 2:  # the registry takes a while to be asked
        return
    registered = _registered()
    # who names two in one text may say that one was converted into the other
    known = [(what, one) for what, names in named if len(one := names & registered.keys()) == 1]
    for what, (name,) in known[1:]:
        before, (first,) = known[0]
        if name != first:
            yield (
                f"{shown}: the height datum is {registered[first]} by {before}, and {registered[name]} by {what}:"
                " heights can be above one of them alone; find out which, and state that one in the job file"
            )
            return


def _names(text: str) -> frozenset[str]:
    """Return what in a text may be the name of a datum, a year of the 1900s by its last two digits."""
    return frozenset(
        letters + (year.removeprefix("19") if len(year) == 4 else year)
        for letters, year in _NAME.findall(folded(text))
        if letters not in _OTHERS
    )


def _registered() -> dict[str, str]:
    """Return the names that the registry has, as `_names` has them and as they are written there."""
    return {name: word for word in sorted(height_datum_words()) for name in _names(word)}
