"""Files whose name begins with a point: nobody sees them, so what they hold is told and not read."""

import shutil
from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline.job.model import ControlSection
from pipeline.new_job import new_job

_HEADS = {"name": "Point", "code": "Code", "latitude": "Latitude", "longitude": "Longitude", "base": "Base",
          "height": "Ellipsoidal height", "time": "Time (UTC)", "solution": "Solution"}  # fmt: skip


def test_a_hidden_export_is_told_and_what_programs_keep_is_not(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    shutil.copy(tmp_path / "rover.csv", tmp_path / ".afternoon.csv")
    (tmp_path / ".settings.json").write_text('{"zoom": 3}', encoding="utf-8")
    (tmp_path / "._rover.csv").write_bytes(b"\0\5\26\7" + bytes(60))
    files = {name: (taken, why) for name, taken, why in new_job(tmp_path).files}
    assert files[".afternoon.csv"][0] == "neither" and "is hidden" in files[".afternoon.csv"][1]
    assert not {".settings.json", "._rover.csv"} & set(files)
    assert files["rover.csv"][0] == "export"


@pytest.mark.parametrize("sign", [" ", "blanks"])
def test_a_table_takes_the_word_for_blanks_as_exports_do(sign: str) -> None:
    assert (
        ControlSection.model_validate(
            {"file": "marks.txt", "crs": "EPSG:2193", "height": "ellipsoid", "delimiter": sign}
        ).delimiter
        == " "
    )
