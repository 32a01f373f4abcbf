"""`tiedown marks`: control handed to the field, as a file and as a page to print."""

import math
from pathlib import Path
from typing import Any

from pipeline.cli.console import print_json
from pipeline.cli.faults import report
from pipeline.cli.line_folding import print_lines
from pipeline.cli.progress import progress_on_terminal
from pipeline.fieldwork.mark_handout import HandedOut, hand_out
from pipeline.fieldwork.mark_pairs import Pair
from pipeline.geodesy.crs import ELLIPSOID
from pipeline.issue.control_sheet.mark_files import Said
from pipeline.issue.file_facts import carried_told
from pipeline.visible import one_line
from pipeline.words import counted

#: Written, and something in it should be looked at.
ATTENTION = 3
#: Pairs that are printed.
_PAIRS = 6


def hand_marks_out(
    job: Path, to: Path, sheet: Path | None, around: str | None, within: float | None, *, force: bool, as_json: bool
) -> int:
    """Write the marks around a job and return the exit code: 0, or 3 where a note needs a look; 2 for none."""
    try:
        with progress_on_terminal(not as_json) as progress:
            found = hand_out(job, to, sheet=sheet, around=around, within=within, force=force, progress=progress)
    except Exception as error:
        return report(str(job), error, as_json=as_json)
    code = ATTENTION if found.notes else 0
    if as_json:
        print_json({"file": str(job), "outcome": "written", "exit_code": code} | _document(found))
    else:
        print_lines(_lines(found))
    return code


def _lines(found: HandedOut) -> list[str]:
    rows, names = found.rows.to_pylist(), found.look.marks.names
    where = f" around {found.look.work.what}" if found.look.work is not None else ""
    adjusted = sum(row["status"] != "register" for row in rows)
    lines = [
        f"{found.said.job}: {counted(len(rows), 'mark')}{where} written to {one_line(str(found.file))}",
        f"  {len(rows) - adjusted:,} of the register, {adjusted:,} adjusted; to print: {one_line(str(found.sheet))}",
        f"  grid {found.said.grid_text}; heights {found.said.height_text}",
        *_units(found),
        f"  {_places(found.said)}",
    ]
    lines += [f"  {found.left_out}"] if found.left_out else []
    good = [pair for pair in found.pairs if pair.good]
    if len(names) > 1:
        lines.append(f"  {counted(len(good), 'pair')} of {len(found.pairs):,} good for tie and check")
    lines += [f"    {_pair(pair, names)}" for pair in good[:_PAIRS]]
    if len(good) > _PAIRS:
        lines.append(f"    and {len(good) - _PAIRS:,} more; --json has all of them")
    return [*lines, *(f"  note: {one_line(note)}" for note in found.notes)]


def _units(found: HandedOut) -> list[str]:
    """Return in words what the numbers count in where that is not metres alone, and how a job reads them then."""
    said, height = found.said, found.look.loaded.job.target.height
    if said.axes.plain:
        return []
    told = [f"  {said.axes.described}; ellipsoid_height, hu95 and vu95 in metres"]
    if height == ELLIPSOID and abs(said.axes.easting.count) != 1.0 and said.datum is not None:
        # no unit of [control] is that of such a grid and that of its ellipsoidal heights
        told.append(f'  as [control] file: crs = "{said.datum}", height = "{ELLIPSOID}", by longitude and latitude')
    return told


def _places(said: Said) -> str:
    if said.carried is None:
        return f"longitude, latitude and ellipsoidal height in {said.datum_text}"
    return f"longitude, latitude in {said.datum_text}; ellipsoidal height {carried_told(said.carried)}"


def _pair(pair: Pair, names: tuple[str, ...]) -> str:
    shows = " and ".join(
        f"{value:.3f} m in {word}"
        for value, word in ((pair.detects.horizontal, "plan"), (pair.detects.vertical, "height"))
        if math.isfinite(value)
    )
    both = f"{one_line(names[pair.first])} and {one_line(names[pair.second])}"
    return f"{both}: {pair.ground:,.0f} m, height {pair.rise:+.1f} m; a check shows a blunder from {shows}"


def _document(found: HandedOut) -> dict[str, Any]:
    names = found.look.marks.names
    return {
        "job": found.said.job,
        "written": [str(found.file), str(found.sheet)],
        "grid": found.said.grid_text,
        "height": found.said.height_text,
        "datum": found.said.datum_text,
        "around": None if found.look.work is None else found.look.work.what,
        "left_out": found.look.left_out,
        "marks": [
            row | {"distance": _n(distance)}
            for row, distance in zip(found.rows.to_pylist(), found.look.distance.tolist(), strict=True)
        ],
        "pairs": [
            {
                "marks": [names[pair.first], names[pair.second]],
                "grid_distance": pair.grid,
                "ground_distance": _n(pair.ground),
                "grid_bearing": pair.bearing,
                "height_difference": _n(pair.rise),
                "both_sides": pair.both_sides,
                "shown": {"horizontal": _n(pair.detects.horizontal), "vertical": _n(pair.detects.vertical)},
                "good": pair.good,
                "against": list(pair.against),
            }
            for pair in found.pairs
        ],
        "notes": list(found.notes),
    }


def _n(value: float) -> float | None:
    return value if math.isfinite(value) else None
