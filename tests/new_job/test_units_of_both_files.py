"""Readings and marks in a plane that no file names, with units in the headings of either, both or none."""

from pathlib import Path

import pytest

from pipeline.new_job import new_job

#: By definition; a base's error of 1.3 m and 0.7 m lies between readings and marks.
_FEET = {"": 1200 / 3937, " (US ft)": 1200 / 3937, " (m)": 1.0}
_MARKS = ((0.0, 0.0), (640.0, 310.0), (-220.0, 760.0), (500.0, -420.0))


#: A file without a unit beside one in metres is in metres, the plain case that all other tests have.
_BOTH = [(rows, register) for rows in _FEET for register in _FEET if {rows, register} != {"", " (m)"}]


@pytest.mark.parametrize(("rows", "register"), _BOTH)
def test_ties_are_found_in_whichever_units_the_headings_say(rows: str, register: str, tmp_path: Path) -> None:
    marks, read = [], []
    for number, (x, y) in enumerate(_MARKS):
        east, north = (863174.0 + x) / _FEET[register], (267387.0 + y) / _FEET[register]
        marks.append(f"K{number},{east:.3f},{north:.3f},{40.0 / _FEET[register]:.3f}")
        east, north = (863175.3 + x) / _FEET[rows], (267386.3 + y) / _FEET[rows]
        read.append(f"K{number},CTRL,2026-03-12T0{number}:00:00Z,{east:.3f},{north:.3f},{43.0 / _FEET[rows]:.3f},fix")
    head = f"Mark,Easting{register},Northing{register},Ellipsoid height{register}"
    (tmp_path / "control.csv").write_text("\n".join([head, *marks]), encoding="utf-8")
    head = f"Point,Code,Time,Easting{rows},Northing{rows},Ellipsoid height{rows},Solution"
    (tmp_path / "obs.csv").write_text("\n".join([head, *read]), encoding="utf-8")
    started = new_job(tmp_path)
    assert not any(one.question.key.startswith("session") for one in started.asked)
    assert "ties = [{" in Path(started.path).read_text(encoding="utf-8")
    assert not any("m from it" in note for note in started.notes)
