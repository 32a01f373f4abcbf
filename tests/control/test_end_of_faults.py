"""A file that is no register at all is not read to its end."""

from pathlib import Path

import pytest

from pipeline import limits
from pipeline.control.register import read_register
from pipeline.problems import Problems


def test_rows_below_very_many_faulty_ones_are_not_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "WRONG", 5)
    path = tmp_path / "control.csv"
    rows = [f"M{number},here,there,up" for number in range(40)]
    path.write_text("\n".join(["mark,easting,northing,height", *rows]) + "\n", encoding="utf-8")
    problems = Problems()
    assert read_register(path, problems, kind="projected", ellipsoid=False) is None
    told = [problem for problem in problems.found if "not checked" in problem.what]
    assert [problem.line for problem in told] == [6] and max(problem.line for problem in problems.found) == 6
