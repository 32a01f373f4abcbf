"""The order of day, month and year that a heading states; whoever wrote it knew it."""

from pathlib import Path

import pytest

from pipeline.new_job import new_job
from pipeline.new_job.order_in_heading import order_in_heading

_DAY, _MONTH, _YEAR = "the day first", "the month first", "the year first"


@pytest.mark.parametrize(
    ("heading", "order"),
    [
        ("Date(DMY)", _DAY), ("Date (MDY)", _MONTH), ("Date YMD", _YEAR),
        ("Datum [TT.MM.JJJJ]", _DAY), ("Fecha (dd/mm/aaaa)", _DAY), ("Date jj/mm/aaaa", _DAY),
        ("Date MM/DD/YYYY hh:mm", _MONTH), ("Date yyyy-mm-dd", _YEAR), ("data (gg/mm/aaaa)", _DAY),
        ("Date", None), ("Time", None), ("mm", None), ("Height (mm)", None), ("Date mm/dd/yyyy or DMY", None),
    ],
)  # fmt: skip
def test_a_heading_states_the_order(heading: str, order: str | None) -> None:
    assert order_in_heading(heading) == order


@pytest.mark.parametrize(
    ("heading", "form"), [("Date(DMY)", "%d.%m.%Y"), ("Date (mm.dd.yyyy)", "%m.%d.%Y"), ("Date", None)]
)
def test_the_order_is_asked_after_only_where_no_heading_states_it(
    heading: str, form: str | None, tmp_path: Path
) -> None:
    rows = [f"P{number};52.34{number};13.52{number};81.0;03.04.2026;10:0{number}:00" for number in range(6)]
    text = "\n".join([f"Point;Latitude;Longitude;Ellipsoidal height;{heading};UTC time", *rows])
    (tmp_path / "obs.csv").write_text(text, encoding="utf-8")
    started = new_job(tmp_path)
    assert ("time_format" in [one.question.key for one in started.asked]) == (form is None)
    if form is not None:
        assert f'\ntime_format = "{form} %H:%M:%S"' in Path(started.path).read_text(encoding="utf-8")
