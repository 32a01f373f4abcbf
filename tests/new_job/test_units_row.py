"""A row of units below the header says what a heading with the unit would: feet are asked after, which foot it is."""

from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.questions import Known, Question

_HEADS = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "EllHt",
          "solution": "Sol", "base": "Base"}  # fmt: skip
_FOOT = {"ft": 0.3048, "US ft": 1200 / 3937, "int ft": 0.3048}


def made(folder: Path, unit: str) -> None:
    job = job_of()
    lay(folder, job)
    job.rows["height"] = job.rows["height"] / _FOOT[unit]
    write(folder / "rover.csv", job, _HEADS)
    header, *rows = (folder / "rover.csv").read_text(encoding="utf-8").splitlines()
    units = ",".join({"Lat": "deg", "Lon": "deg", "EllHt": unit}.get(name, "") for name in header.split(","))
    (folder / "rover.csv").write_text("\n".join([header, units, *rows]) + "\n", encoding="utf-8")


@pytest.mark.parametrize(("unit", "value"), [("US ft", '"us-survey-foot"'), ("int ft", '"foot"')])
def test_which_foot_the_row_says_is_stated(unit: str, value: str, tmp_path: Path) -> None:
    made(tmp_path, unit)
    draft = drafted(new_job(tmp_path))
    state = draft.blocks[0].states["units"]
    assert isinstance(state, Known) and (state.value, state.why) == (value, "as the row of units below the header says")
    assert len(draft.sessions) == 2


def test_which_foot_it_is_is_asked(tmp_path: Path) -> None:
    made(tmp_path, "ft")
    draft = drafted(new_job(tmp_path))
    state = draft.blocks[0].states["units"]
    assert isinstance(state, Question) and "the row of units below the header says feet: which foot" in state.asks
    assert [one.value for one in state.candidates] == ['"foot"', '"us-survey-foot"']
    assert draft.no_session is None and len(draft.sessions) == 2
