"""A file that is no register at all is not read to its end."""

from pathlib import Path

import pytest
from registers_read import read_marks

from pipeline import limits


def test_rows_below_very_many_faulty_ones_are_not_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "WRONG", 5)
    rows = [f"M{number},here,there,up" for number in range(40)]
    register, problems = read_marks(tmp_path, "\n".join(["mark,easting,northing,height", *rows]) + "\n")
    assert register is None
    told = [problem for problem in problems if "not checked" in problem.what]
    assert [problem.line for problem in told] == [6] and max(problem.line for problem in problems) == 6
