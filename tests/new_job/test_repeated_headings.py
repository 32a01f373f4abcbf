"""A second column of one heading: asked where it differs from the first, told where it says the same."""

from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import HEIGHT, cells, drafted, job_of, lay, write
from issued import current_issue

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started

_HEADS = {"name": "Point", "time": "Time (UTC)", "latitude": "Lat", "longitude": "Lon", "height": "EllHt",
          "sigma_east": "sE", "sigma_north": "sN", "solution": "Sol", "base": "Base", "code": "Code"}  # fmt: skip


def laid(folder: Path, word: str, change: str | None, before: bool = False) -> Started:
    """Lay an export with a second column of a word's heading, all its texts changed; none where they are the same."""
    job = job_of()
    lay(folder, job)
    same = cells(job, word, lambda at: f"{at:%Y-%m-%d %H:%M:%S.%f}")
    second = same if change is None else [change.format(text=text, at=at) for at, text in enumerate(same)]
    heads = {"more": _HEADS[word], **_HEADS} if before else {**_HEADS, "more": _HEADS[word]}
    write(folder / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S.%f", told={"more": second})
    return new_job(folder)


@pytest.mark.parametrize(
    ("word", "change"),
    [
        ("height", "1{text}"), ("latitude", "-43.{at}"), ("longitude", "171.{at}"),
        ("time", "2026-01-01 00:00:{at}"),
        ("sigma_east", "0.0{at}1"), ("name", "X{at}"), ("code", "C{at}"), ("base", "BASE-09"), ("solution", "float"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("before", [False, True])
def test_columns_of_one_heading_that_differ_are_asked(word: str, change: str, before: bool, tmp_path: Path) -> None:
    started = laid(tmp_path, word, change.replace("{at}", "{at:02d}"), before)
    places = [1, 1 + len(_HEADS)] if not before else [1, 2]
    at = list(_HEADS).index(word) + (2 if before else 1)
    asked = {one.question.key: [each.value for each in one.question.candidates] for one in started.asked}
    assert asked[word] == ([str(at), str(places[1])] if not before else ["1", str(at)])
    block = drafted(started).blocks[0]
    assert word not in block.columns
    # nor is the other one anything else
    assert not set(block.columns.values()) & {int(value) for value in asked[word]}


def test_the_right_one_comes_to_the_truth(tmp_path: Path) -> None:
    started = laid(tmp_path, "height", "1{text}", before=True)
    asked = [one.question.key for one in started.asked]
    where = 1 + list(_HEADS).index("height") + 1
    answer(Path(started.path), {"points.columns.height": str(where), "target.height": HEIGHT["height"],
                                "control.height": HEIGHT["height"]})  # fmt: skip
    assert "height" in asked
    run_job(started.path)
    issue = current_issue(tmp_path / "out")
    known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
    assert np.abs(issue.points.xyz() - known).max() < 0.001


@pytest.mark.parametrize("word", ["height", "latitude", "time", "name", "solution", "base", "sigma_east"])
def test_columns_of_one_heading_that_say_the_same_are_one(word: str, tmp_path: Path) -> None:
    started = laid(tmp_path, word, None)
    assert word not in [one.question.key for one in started.asked]
    assert drafted(started).blocks[0].columns[word] == list(_HEADS).index(word) + 1
    page = Path(started.path).read_text(encoding="utf-8")
    assert f'column {len(_HEADS) + 1} is also called "{_HEADS[word]}" and has the same values' in page
    assert "nothing shows what its numbers are" not in page


def test_solutions_of_two_columns_show_where_they_differ(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    second = ["float" if at == 5 else "fixed" for at in range(len(job.rows["name"]))]
    told = {"solution": ["fixed"] * len(second), "more": second}
    write(tmp_path / "rover.csv", job, {**_HEADS, "more": "Sol"}, told=told)
    started = new_job(tmp_path)
    (asked,) = (one.question for one in started.asked if one.question.key == "solution")
    assert [each.why for each in asked.candidates] == [
        "the first that differs is fixed",
        "the first that differs is float",
    ]
    assert drafted(started).blocks[0].columns["base"] == 9  # and the second one is no base


def test_a_spreadsheet_with_two_columns_of_one_heading_goes_by_numbers(tmp_path: Path) -> None:
    from openpyxl import Workbook

    job = job_of()
    lay(tmp_path, job)
    book = Workbook()
    book.active.append([*_HEADS.values(), "EllHt"])
    columns = [cells(job, word, lambda at: f"{at:%Y-%m-%d %H:%M:%S.%f}") for word in _HEADS]
    numeric = {"latitude", "longitude", "height", "sigma_east", "sigma_north"}
    for row in zip(*columns, strict=True):
        typed = [float(cell) if word in numeric else cell for word, cell in zip(_HEADS, row, strict=True)]
        book.active.append([*typed, typed[4] + 1.5])
    book.save(tmp_path / "rover.xlsx")
    asked = {one.question.key: one.question for one in new_job(tmp_path).asked}
    assert [each.value for each in asked["height"].candidates][:2] == ["5", str(len(_HEADS) + 1)]
