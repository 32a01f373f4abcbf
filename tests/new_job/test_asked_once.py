"""Exports of one layout are asked about once, whatever their own rows are; others each by itself."""

import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest

from pipeline.new_job import new_job
from pipeline.new_job.start import Started


def _lay(folder: Path, heads: str, files: Sequence[Sequence[str]], other: str = "") -> Started:
    """Lay exports of readings of a day, whose rows end in these cells; the last header may be an ``other`` one."""
    marks = ["CM1,1506500.000,5160600.000,20.000", "CM2,1507100.000,5160650.000,22.000"]
    (folder / "control.csv").write_text("\n".join(["Mark,Easting,Northing,RL", *marks]) + "\n", encoding="utf-8")
    for number, behind in enumerate(files):
        lines = [other if other and number == len(files) - 1 else heads]
        for at in range(20):
            place = f"{-43.70 - 0.0001 * at - 0.00003 * number:.9f},{171.84 + 0.0002 * at:.9f}"
            lines.append(f"p{number}-{at},2026-03-20 {8 + number:02d}:{at:02d}:07Z,{place},{behind[at % len(behind)]}")
        (folder / f"r{number}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return new_job(folder)


def _blocks(started: Started) -> list[list[str]]:
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    return [block["files"] for block in raw["points"]]


def _count(started: Started, key: str) -> int:
    return sum(one.question.key == key for one in started.asked)


@pytest.mark.parametrize(
    ("heads", "cells", "key"),
    [
        # no heading shows the heights, of which each file has its own
        ("Point,UTC,Lat,Lon,Grumble", [["31.257", "32.1"], ["41.382", "40.2"], ["51.119", "50.3"]], "height"),
        # two heights that differ
        ("Point,UTC,Lat,Lon,H,h", [["31.257,43.1", "32.1,44.2"], ["41.382,53.1", "40.2,52.2"]], "height"),
        # poles of several lengths
        (
            "Point,UTC,Lat,Lon,Ell Ht,Pole height",
            [["31.257,2.0", "32.1,1.8"], ["41.38,2.2", "40.2,1.5"]],
            "pole_height",
        ),
    ],
)
def test_files_of_one_layout_are_asked_about_once(heads: str, cells: list[list[str]], key: str, tmp_path: Path) -> None:
    started = _lay(tmp_path, heads, cells)
    assert _count(started, key) == 1
    assert _blocks(started) == [[f"r{number}.csv" for number in range(len(cells))]]


def test_files_of_other_layouts_are_asked_about_each(tmp_path: Path) -> None:
    cells = [["31.257", "32.1"], ["41.382", "40.2"]]
    started = _lay(tmp_path, "Point,UTC,Lat,Lon,Grumble", cells, "Point,UTC,Lat,Lon,Mumble")
    assert _count(started, "height") == 2 and len(_blocks(started)) == 2


def test_a_question_about_rows_of_one_file_stays_its_own(tmp_path: Path) -> None:
    """Rows that are called deleted are told by their names: those of another file are others."""
    cells = [[*["31.257,no"] * 9, "32.1,yes"], ["41.382,no", "40.2,yes", *["41.1,no"] * 7]]
    started = _lay(tmp_path, "Point,UTC,Lat,Lon,Ell Ht,Deleted", cells)
    assert _count(started, "[[points]]") == 2
