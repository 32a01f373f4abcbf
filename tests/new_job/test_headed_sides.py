"""Headings that state a hemisphere in the files of a folder."""

from pathlib import Path

import pytest
from told_of import told_of

from pipeline.new_job import new_job

MARKS = "Mark,Easting,Northing,Ellipsoidal height\nKP1,311111.11,5229999.99,82.1\nKP2,310444.44,5230111.11,79.6\n"


def laid(folder: Path, heading: str, sign: str = "") -> None:
    (folder / "marks.csv").write_text(MARKS, encoding="utf-8")
    rows = [
        f"P{at},2026-03-14 08:{at:02d}:00,47.1977530{at:02d},{sign}1.5046401{at:02d},8{at % 10}.301,Fixed"
        for at in range(1, 13)
    ]
    head = f"Name,Time (UTC),Latitude,{heading},Ellipsoidal height,Solution"
    (folder / "rover.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def job_text(folder: Path) -> str:
    (path,) = folder.glob("*.toml")
    return path.read_text(encoding="utf-8").replace("\n#  ", " ")


@pytest.mark.parametrize("heading", ["Longitude (W)", "Longitude W", "West Longitude", "Lon W"])
def test_positive_degrees_west_are_refused(heading: str, tmp_path: Path) -> None:
    laid(tmp_path, heading)
    told = told_of(tmp_path)
    assert f'"{heading}" states degrees west, but its numbers are positive' in told
    assert "export signed degrees" in told
    assert "rename" not in told


def test_an_o_is_asked(tmp_path: Path) -> None:
    laid(tmp_path, "Longitude (O)")
    new_job(tmp_path)
    assert "its letter may also stand for the west" in job_text(tmp_path)


@pytest.mark.parametrize(("heading", "sign"), [("Longitude (W)", "-"), ("Longitude (E)", ""), ("Länge (O)", "")])
def test_others_are_neither(heading: str, sign: str, tmp_path: Path) -> None:
    laid(tmp_path, heading, sign)
    new_job(tmp_path)
    assert f'longitude = "{heading}"\n' in job_text(tmp_path)
    assert "may also stand for" not in job_text(tmp_path)
