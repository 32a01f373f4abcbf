"""`tiedown history --between`: what differs between two issues."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline.between import Between, between
from pipeline.cli.console import print_json
from pipeline.cli.faults import report
from pipeline.issue.change_summary import counts_in_words
from pipeline.issue.drawn_changes import drawn_among, reasons_among, with_drawn
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.visible import one_line
from pipeline.words import Change

#: So many points are printed one by one; the layer has all of them.
_POINTS_PRINTED_MAX = 40


def show_between(job: Path, first: int, second: int, to: Path | None, *, as_json: bool) -> int:
    """Print what differs and return the exit code: 0, or 2 where the issues cannot be compared."""
    try:
        found = between(job, first, second, to)
    except Exception as error:
        return report(str(job), error, as_json=as_json)
    if as_json:
        told = {"because": list(found.because), "without_effect": list(found.without_effect)}
        print_json(
            {"from": first, "to": second}
            | told
            | dict(found.counts)
            | {"points": found.rows.drop_columns(GEOMETRY).to_pylist()}
        )
    else:
        print("\n".join(_lines(found, to)))
        sys.stdout.flush()
    return 0


def _lines(found: Between, to: Path | None) -> list[str]:
    counts: Mapping[str, Any] = found.counts
    told = counts_in_words(counts, found.rows.num_rows)
    head = f"from issue {found.first['issue']:03d} to issue {found.second['issue']:03d}: "
    drawn = drawn_among(found.because)
    lines = [head + with_drawn(told, [*map(one_line, drawn)])]
    if counts["max_horizontal"] is not None:
        farthest = f"{counts['max_horizontal']:.4f} m horizontally, {counts['max_vertical']:.4f} m in height"
        lines.append(f"  moved by up to {farthest}")
    because = "because " if found.rows.num_rows or drawn else ""
    lines += [f"  {because}{one_line(reason)}" for reason in reasons_among(found.because)]
    if found.without_effect:
        lines.append("  what changed from one to the other affects no point, or was reverted:")
        lines += [f"    {one_line(reason)}" for reason in found.without_effect]
    lines += [_line(row, found.recoded(row["because"])) for row in found.rows.slice(0, _POINTS_PRINTED_MAX).to_pylist()]
    if found.rows.num_rows > _POINTS_PRINTED_MAX:
        lines.append(f"  and {found.rows.num_rows - _POINTS_PRINTED_MAX:,} more; --to FILE.gpkg has all of them")
    if to is not None:
        lines.append(f"the layer changes is in {one_line(str(to))}")
    return lines


def _line(row: Mapping[str, Any], recoded: str) -> str:
    text = f"  {row['change']:<9}  {one_line(row['name'] or '(no name)')}"
    other = f"  {one_line(recoded)}" if recoded else ""
    if row["change"] == Change.MOVED:
        east, north, height = (round(row[axis], 4) + 0.0 for axis in ("d_east", "d_north", "d_height"))  # no "-0.0000"
        return f"{text}  east {east:+.4f}, north {north:+.4f}, height {height:+.4f}{other}"
    return f"{text}{other}"
