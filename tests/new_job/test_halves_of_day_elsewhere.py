"""Times of a 12-hour clock with the day periods of Unicode's Common Locale Data Repository, written out by hand here.

The moment that is expected is the standard library's, of the 24-hour time that each was made from.
"""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pytest
from answered import answer
from folders_made import HEIGHT, cells, job_of, lay, write

from pipeline.files.odd_text import look_of_time
from pipeline.new_job import new_job
from pipeline.new_job.time_notation import time_notation
from pipeline.read.clock_fields import pattern_of
from pipeline.run.run_job import run_job

_HEADS = {"name": "Point", "time": "Time (UTC)", "latitude": "Lat", "longitude": "Lon", "height": "EllHt"}
_HEADS |= {"code": "Code", "solution": "Sol"}

#: Language, morning, afternoon, and whether they stand behind the time.
PERIODS = [
    ("el", "π.μ.", "μ.μ.", True), ("el", "πμ", "μμ", True), ("el", "ΠΜ", "ΜΜ", True), ("es", "a. m.", "p. m.", True),
    ("hu", "de.", "du.", False), ("bg", "пр.об.", "сл.об.", True), ("vi", "SA", "CH", True), ("tr", "ÖÖ", "ÖS", False),
    ("ar", "ص", "م", True), ("zh", "上午", "下午", False), ("ko", "오전", "오후", False), ("ja", "午前", "午後", False),
    ("hi", "पूर्वाह्न", "अपराह्न", True), ("fa", "ق.ظ.", "ب.ظ.", True), ("fa", "ق.ظ", "ب.ظ", True),
    ("sv", "fm", "em", True),
    ("sv", "f.m.", "e.m.", True), ("fi", "ap.", "ip.", True), ("cs", "dop.", "odp.", True),
    ("sl", "dop.", "pop.", True),
    ("lv", "priekšp.", "pēcp.", True), ("lt", "priešpiet", "popiet", True), ("sq", "p.d.", "m.d.", True),
    ("is", "f.h.", "e.h.", True), ("uk", "дп", "пп", True), ("ms", "PG", "PTG", True), ("ga", "r.n.", "i.n.", True),
    ("af", "vm.", "nm.", True), ("th", "ก่อนเที่ยง", "หลังเที่ยง", True), ("he", "לפנה״צ", "אחה״צ", True),
    ("mk", "претпл.", "попл.", True), ("ta", "முற்பகல்", "பிற்பகல்", False), ("ru", "утра", "вечера", True),
]  # fmt: skip

_HOURS = [(0, 5), (7, 30), (11, 59), (12, 0), (12, 41), (13, 15), (23, 58)]


def _written(hour: int, minute: int, halves: tuple[str, str], behind: bool) -> str:
    half, clock = halves[hour >= 12], f"{hour % 12 or 12}:{minute:02d}:07"
    return f"2026-03-14 {clock} {half}" if behind else f"2026-03-14 {half} {clock}"


@pytest.mark.parametrize(("language", "morning", "afternoon", "behind"), PERIODS)
def test_both_halves_of_a_day_are_read(language: str, morning: str, afternoon: str, behind: bool) -> None:
    texts = [_written(*at, (morning, afternoon), behind) for at in _HOURS]
    how = time_notation(texts)
    assert how is not None and len(how.formats) == 1, language
    found = pattern_of(how.formats[0]).read(pa.array(texts))
    expected = [dt.datetime(2026, 3, 14, *at, 7, tzinfo=dt.UTC).timestamp() * 1000 for at in _HOURS]
    assert found.real.all() and found.milliseconds.tolist() == expected


@pytest.mark.parametrize(
    "texts",
    [
        ["07:30 du 02/03/2026", "11:30 du 02/03/2026"],  # French: of the
        ["07:30 em 02/03/2026", "12:30 em 02/03/2026"],  # Portuguese: on
        ["2026/03/14 م 07:30:00", "2026/03/14 م 08:30:00"],  # Arabic: of the common era
        ["14.03.2026 07:30:00 Sa", "14.03.2026 12:30:00 Sa"],  # German: Saturday
        ["14.03.2026 10:30:00 ночи", "14.03.2026 2:30:00 ночи"],  # Russian: 22:30, and 02:30
    ],
)
def test_words_that_mean_something_else_are_no_halves_of_a_day(texts: list[str]) -> None:
    how = time_notation(texts)
    assert how is None or not any("%p" in form for form in how.formats)


@pytest.mark.parametrize(("language", "morning", "afternoon", "behind"), PERIODS)
def test_a_run_without_a_format_is_told_which_to_state(
    language: str, morning: str, afternoon: str, behind: bool
) -> None:
    told = str(look_of_time(_written(13, 15, (morning, afternoon), behind)))
    assert "12-hour clock" in told and "%I and %p" in told, language


def _clock(halves: tuple[str, str], behind: bool) -> Callable[[dt.datetime], str]:
    def said(at: dt.datetime) -> str:
        at += dt.timedelta(hours=12)
        clock = f"{at.hour % 12 or 12}:{at:%M:%S}"
        return (
            f"{at:%Y-%m-%d} {clock} {halves[at.hour >= 12]}"
            if behind
            else f"{at:%Y-%m-%d} {halves[at.hour >= 12]} {clock}"
        )

    return said


@pytest.mark.parametrize(("language", "morning", "afternoon", "behind"), [PERIODS[1], PERIODS[4], PERIODS[8]])
def test_a_folder_with_such_times_comes_to_an_issue(
    language: str, morning: str, afternoon: str, behind: bool, tmp_path: Path
) -> None:
    job = job_of()
    lay(tmp_path, job)
    told = {"time": cells(job, "time", _clock((morning, afternoon), behind))}
    write(tmp_path / "rover.csv", job, _HEADS, told=told)
    started = new_job(tmp_path)
    assert "%I" in Path(started.path).read_text(encoding="utf-8"), language
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"
