"""Headings with line breaks in quotes, of an export and of the register: a draft maps them."""

import tomllib
from pathlib import Path

import pytest

from pipeline.new_job import new_job

EXPORT = ["Point\nname", "Time\n(UTC)", "Latitude\n(deg)", "Longitude\n(deg)", "Ellipsoidal\nheight\n(m)"]
REGISTER = ["Mark\nname", "Easting\n(m)", "Northing\n(m)", "Height\n(m)"]
MAPPED = {
    "name": "Point name",
    "time": "Time (UTC)",
    "latitude": "Latitude (deg)",
    "longitude": "Longitude (deg)",
    "height": "Ellipsoidal height (m)",
}


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_they_are_mapped(tmp_path: Path, end: str, sign: str) -> None:
    rows = [
        f"P{at},2026-03-02T07:{30 + at}:00Z,{-36.8 + at * 1e-4:.9f},{174.7 + at * 1e-4:.9f},{12.5 + at / 10:.3f}"
        for at in range(12)
    ]
    marks = ["CP1,1751000.123,5926000.234,10.345", "CP2,1751100.123,5926000.234,11.345"]
    for name, heads, lines in (("rover.csv", EXPORT, rows), ("control.csv", REGISTER, marks)):
        text = "\n".join([",".join(f'"{head}"' for head in heads), *lines]) + "\n"
        (tmp_path / name).write_bytes(text.replace(",", sign).replace("\n", end).encode())
    started = new_job(tmp_path)
    assert {name: role for name, role, _ in started.files} == {"rover.csv": "export", "control.csv": "register"}
    job = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert job["points"][0]["columns"] == MAPPED
    assert job["control"]["file"] == "control.csv"
