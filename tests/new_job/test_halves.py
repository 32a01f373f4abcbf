"""An export on a 12-hour clock with AM and PM in a column of their own cannot be read, and is told so."""

from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline.new_job import new_job
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


@pytest.mark.parametrize("apart", [False, True])
def test_times_of_a_12_hour_clock_with_their_half_apart_are_no_export(apart: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    moments = job.rows["time"].astype("datetime64[us]").tolist()
    halves = [f"{at:%p}" for at in moments]
    if apart:
        told = {"day": [f"{at:%Y-%m-%d}" for at in moments], "clock": [f"{at:%I:%M:%S}" for at in moments]}
        heads = _HEADS | {"day": "Date", "clock": "Time (UTC)", "half": "AM/PM"}
    else:
        told = {"clock": [f"{at:%Y-%m-%d %I:%M:%S}" for at in moments]}
        heads = _HEADS | {"clock": "Time (UTC)", "half": "AM/PM"}
    write(tmp_path / "rover.csv", job, heads, told=told | {"half": halves})
    with pytest.raises(JobError, match='12-hour clock: "AM/PM" says "PM"'):
        new_job(tmp_path)


def test_a_half_beside_a_24_hour_clock_is_let_be(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    halves = [f"{at:%p}" for at in job.rows["time"].astype("datetime64[us]").tolist()]
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time (UTC)", "half": "AM/PM"}, told={"half": halves})
    assert ("rover.csv", "export") in [one[:2] for one in new_job(tmp_path).files]
