"""An export of the whole day beside one of its morning: what both have counts once, as it was measured once."""

from pathlib import Path

import pytest
from every import every
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job

_HEADS = {"name": "Point", "code": "Code", "base": "Base", "time": "UTC", "longitude": "Longitude",
          "latitude": "Latitude", "height": "Ellipsoidal height"}  # fmt: skip


@pytest.mark.parametrize("decimals", [None, 9])
def test_readings_that_two_exports_have_count_once(tmp_path: Path, decimals: int | None) -> None:
    job = job_of()
    for folder in (alone := tmp_path / "alone", both := tmp_path / "both"):
        folder.mkdir()
        lay(folder, job)
        write(folder / "day.csv", job, _HEADS)
    head, *rows = (both / "day.csv").read_text().splitlines()
    morning = [row.split(",") for row in rows[: len(rows) // 2]]
    if decimals is not None:
        place = [head.split(",").index(_HEADS[word]) for word in ("longitude", "latitude")]
        morning = [
            [f"{float(cell):.{decimals}f}" if at in place else cell for at, cell in enumerate(row)] for row in morning
        ]
    (both / "morning.csv").write_text("\n".join([head, *(",".join(row) for row in morning)]) + "\n")
    (once, twice) = (drafted(new_job(folder)) for folder in (alone, both))
    assert [(one.start, one.ties, one.checks) for one in twice.sessions] == [
        (one.start, one.ties, one.checks) for one in once.sessions
    ]
    assert all(one.ties and one.checks for one in every(twice.sessions))


def test_a_name_at_two_places_at_one_time_is_told(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "day.csv", job, _HEADS)
    lines = (tmp_path / "day.csv").read_text().splitlines()
    started = new_job(tmp_path)
    (tie,) = drafted(started).sessions[0].ties
    row = next(line for line in lines if line.split(",")[0] == tie[0]).split(",")
    at = lines[0].split(",").index("Latitude")
    row[at] = f"{float(row[at]) + 2e-6:.11f}"  # 22 cm
    (tmp_path / "day.csv").write_text("\n".join([*lines, ",".join(row)]) + "\n")
    told = drafted(started)
    assert any("at the same time, at different positions" in note for note in told.notes)
