"""Marks in a site's own system: a file with mark, easting, northing and height, read as a register is."""

from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control.register_rows import POSITION, check_decimals, read_mark
from pipeline.control.revisions import single
from pipeline.control.table_source import read_source
from pipeline.near import listed
from pipeline.problems import Problems
from pipeline.words import Holds, plural

_COLUMNS = (*POSITION["projected"], "height")


class SiteMarks(Struct, frozen=True, eq=False):
    """The marks of a site in its own system, (n,) of them: ``places`` (n, 3) in metres, NaN without a height.

    ``unused_heights`` (n,) are heights that the file has although none are wanted, NaN where it has none.
    """

    shown: str
    sha256: str
    names: tuple[str, ...]
    places: Floats
    unused_heights: Floats
    lines: tuple[int, ...]
    rows: int


def read_site_marks(path: Path, shown: str, problems: Problems, *, heights: bool) -> SiteMarks | None:
    """Read the site's marks from a .csv or .txt, .gpkg, .geojson or .json file.

    ``heights`` says whether heights are wanted; without them the column may be missing. Returns None where anything is
    wrong, which is noted among ``problems`` with its line.
    """
    before = len(problems.found)
    sheet, _ = read_source(path, shown, _COLUMNS, problems)
    if sheet is None:
        return None
    needed = ("mark", *_COLUMNS[: 3 if heights else 2])
    missing = [column for column in needed if column not in sheet.columns]
    if missing:
        what = f"the {plural(len(missing), 'column')} {listed(missing, chr(39))} of the site's marks"
        fix = f"the first line has {listed(sheet.columns, chr(39))}; rename them to match"
        if missing == ["height"]:
            fix += ', or write height = "none" in [target.site] where heights stay as they are'
        problems.add(shown, sheet.header, f"{what} {plural(len(missing), 'is', 'are')} missing", fix)
        return None
    check_decimals(sheet, _COLUMNS, problems)
    found, unused = [], dict[int, float | None]()
    for line, cells in sheet.rows:
        height = cells.get("height", "") if heights else ""
        unused[line] = None if heights else sheet.number(cells.get("height", ""))
        told = cells | {"holds": str(Holds.FULL if height else Holds.POSITION), "height": height}
        mark = read_mark(line, told, sheet, _COLUMNS, problems)
        if mark is not None:
            found.append(mark)
    marks = single(found, _COLUMNS, shown, problems)
    if len(problems.found) > before:
        return None
    places = np.array([mark.coordinates for mark in marks], np.float64).reshape(-1, 3)
    names, lines = tuple(mark.name for mark in marks), tuple(mark.line for mark in marks)
    heights_of = np.array([unused[line] for line in lines], np.float64)
    return SiteMarks(shown, sheet.sha256, names, places, heights_of, lines, len(sheet.rows))
