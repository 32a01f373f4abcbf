"""Registers with heights above the ellipsoid and above a datum side by side: which are issued is asked."""

import json
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from answered import answer
from folders_made import job_of, lay, write
from issued import current_issue
from simulate import Simulation

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.questions import Question
from pipeline.new_job.start import Started

#: Headings of heights above the ellipsoid and above a datum, as registers of many countries have them side by side.
_SIDE_BY_SIDE = [
    ("Ell Ht", "RL"),
    ("Ellipsoidal height", "Orthometric height"),
    ("Ellipsoidal height", "Height"),
    ("Höhe ell.", "Höhe NHN"),
    ("Ellipsoidische Höhe", "Höhe"),
    ("Hauteur ellipsoïdale", "Altitude NGF-IGN69"),
    ("Altura elipsoidal", "Cota ortométrica"),
    ("Wysokość elipsoidalna", "Wysokość normalna"),
    ("Ellipsoidisk høyde", "Høyde NN2000"),
    ("h_ell", "H_orth"),
    ("楕円体高", "標高"),
    ("Эллипсоидальная высота", "Нормальная высота"),
]


def _columns(job: Simulation) -> dict[str, list[float]]:
    """Return the heights of the marks above the ellipsoid and above the geoid, and how far it lies above the first."""
    levels = [round(float(one), 4) for one in job.register["height"]]
    ell = [round(float(one), 4) for one in job.marks.ellipsoid_height]
    return {"h": ell, "H": levels, "N": [round(one - other, 4) for one, other in zip(ell, levels, strict=True)]}


def _laid(folder: Path, heads: Sequence[tuple[str, str]], *, geoid: bool = False, form: str = "csv") -> Started:
    """Lay a job whose register has columns of these headings, each with h, H or N in it (see `_columns`)."""
    job = job_of()
    lay(folder, job)
    (folder / "control.csv").unlink()
    if not geoid:
        (each,) = [one for one in folder.iterdir() if one.suffix in (".gtx", ".tif")]
        each.unlink()
    numbers, register = _columns(job), job.register
    marks = [str(one) for one in register["mark"]]
    beside = {heading: numbers[of] for heading, of in heads}
    if form == "csv":
        plan = {"Easting": register["easting"], "Northing": register["northing"]}
        lines = [",".join(["Mark", *plan, *beside])]
        for at, mark in enumerate(marks):
            lines.append(",".join([mark, *(f"{values[at]:.4f}" for values in (*plan.values(), *beside.values()))]))
        (folder / "marks.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    else:
        _layer(folder, job, marks, beside, form)
    export = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "Ell Ht"}
    more = {"solution": "Solution", "base": "Base", "code": "Code"}
    write(folder / "rover.csv", job, {**export, **more}, time="%Y-%m-%d %H:%M:%S.%f")
    return new_job(folder)


def _layer(folder: Path, job: Simulation, marks: list[str], beside: Mapping[str, list[float]], form: str) -> None:
    """Write the register as a layer in degrees or on the grid, flat or with heights above the ellipsoid as Z."""
    made = []
    for at, mark in enumerate(marks):
        place = [float(job.marks.longitude[at]), float(job.marks.latitude[at])]
        place += [_columns(job)["h"][at]] if form == "z.geojson" else []
        properties = {"mark": mark, **{heading: values[at] for heading, values in beside.items()}}
        made.append({"type": "Feature", "properties": properties, "geometry": {"type": "Point", "coordinates": place}})
    text = json.dumps({"type": "FeatureCollection", "features": made})
    if form.endswith("geojson"):
        (folder / "marks.geojson").write_text(text, encoding="utf-8")
        return
    east, north = job.register["easting"].tolist(), job.register["northing"].tolist()
    for one, *place in zip(made, east, north, strict=True):
        one["geometry"] = {"type": "Point", "coordinates": place}
    points = np.array([np.array([one], [("o", "u1"), ("t", "<u4"), ("xy", "<f8", 2)]).tobytes() for one in
                       ((1, 1, each["geometry"]["coordinates"]) for each in made)], object)  # fmt: skip
    fields = {"mark": np.array(marks, object), **{heading: np.array(values) for heading, values in beside.items()}}
    pyogrio.raw.write(folder / "marks.gpkg", points, list(fields.values()), list(fields), geometry_type="Point",
                      crs="EPSG:2193")  # fmt: skip


def _asked(started: Started) -> dict[str, Question]:
    return {one.question.key: one.question for one in started.asked}


def _whys(question: Question) -> dict[str, str]:
    return {each.value: each.why for each in question.candidates}


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("ellipsoidal", "level"), _SIDE_BY_SIDE)
def test_a_register_of_both_heights_is_asked_about_with_both_columns(
    ellipsoidal: str, level: str, turned: bool, tmp_path: Path
) -> None:
    heads = [(ellipsoidal, "h"), (level, "H")]
    started = _laid(tmp_path, heads[::-1] if turned else heads)
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    asked = _asked(started)["target.height"]
    assert "height" not in raw["target"] and "height" not in raw["control"]
    assert f'"{ellipsoidal}"' in asked.asks and f'"{level}"' in asked.asks
    whys = _whys(asked)
    assert f'"{ellipsoidal}"' in whys.pop('"ellipsoid"')
    assert all(f'"{level}"' in why for why in whys.values()) and '"EPSG:5773"' in whys
    assert raw["control"]["columns"]["ellipsoid_height"] == ellipsoidal
    assert raw["control"]["columns"].get("height", "Height") == level


@pytest.mark.parametrize("form", ["csv", "geojson", "z.geojson", "gpkg"])
@pytest.mark.parametrize("height", ['"EPSG:5773"', '"ellipsoid"'])
def test_the_answer_takes_the_column_of_its_heights(height: str, form: str, tmp_path: Path) -> None:
    """In every form of a register: what is issued is the truth above the surface that was answered."""
    heads = [("RL", "H")] if form == "z.geojson" else [("Ell Ht", "h"), ("RL", "H")]
    started = _laid(tmp_path, heads, geoid=height != '"ellipsoid"', form=form)
    answers = {"height": height}
    if form.endswith("geojson"):
        answers |= {"grid": '"EPSG:2193"', "crs": '"EPSG:4959"'}
    answer(Path(started.path), answers)
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    job = job_of()
    points = current_issue(tmp_path / "out").points
    known = np.array([job.truth.of(row["name"]) for row in points.rows])
    if height == '"ellipsoid"':
        known[:, 2] += job.plan.place.separation(*_degrees(job, points.rows))
    assert np.abs(points.xyz() - known).max() < 0.001


def _degrees(job: Simulation, rows: Sequence[Mapping[str, object]]) -> tuple[np.ndarray, np.ndarray]:
    at = {str(name): number for number, name in enumerate(job.rows["name"].tolist())}
    order = [at[str(row["name"])] for row in rows]
    return job.rows["longitude"][order], job.rows["latitude"][order]


@pytest.mark.parametrize(
    "heads",
    [
        [("Ell Ht", "h")],
        [("Ell Ht", "h"), ("N", "N")],
        [("Ell Ht", "h"), ("Geoid separation", "N")],
        [("Ell Ht", "h"), ("Undulation", "N")],
        [("Ell Ht", "h"), ("Height", "h")],  # once more
        [("Ell Ht", "h"), ("Elevation", "h")],
    ],
)
def test_nothing_more_is_asked_where_there_are_no_other_heights(heads: list[tuple[str, str]], tmp_path: Path) -> None:
    started = _laid(tmp_path, heads)
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert raw["target"]["height"] == raw["control"]["height"] == "ellipsoid"
    assert "target.height" not in _asked(started)


def test_several_columns_above_a_datum_are_asked_about_too(tmp_path: Path) -> None:
    started = _laid(tmp_path, [("Ell Ht", "h"), ("NZVD2016 height", "H"), ("EGM96 height", "H")])
    asked = _asked(started)
    assert "NZVD2016 height" in asked["target.height"].asks and "EGM96 height" in asked["target.height"].asks
    assert [each.value for each in asked["height"].candidates] == ['"NZVD2016 height"', '"EGM96 height"']


def test_a_separation_beside_both_is_no_height(tmp_path: Path) -> None:
    started = _laid(tmp_path, [("h", "h"), ("N", "N"), ("Ell Ht", "h"), ("RL", "H")])
    assert '"N"' not in _asked(started)["target.height"].asks and "height" not in _asked(started)
