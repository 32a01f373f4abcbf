"""A register in a grid that counts from Paris, and readings in degrees of its datum: from the first draft to points.

The truth is pyproj's own transformation between the two, which knows of the meridian what the registry says.
"""

import csv
from pathlib import Path

import numpy as np
from answered import answer
from every import every
from issued import current_issue
from pyproj import Transformer

from pipeline import run_job
from pipeline.new_job import new_job


def test_what_is_issued_are_coordinates_of_the_grid_from_paris(tmp_path: Path) -> None:
    grid = Transformer.from_crs("EPSG:4275", "EPSG:27572", always_xy=True)
    random = np.random.default_rng(3)
    places = np.array([2.3469, 48.8469]) + random.uniform(-0.006, 0.006, (24, 2))
    names = [*(f"CP{number}" for number in range(1, 5)), *(f"{number}" for number in range(101, 121))]
    heights = random.uniform(60.0, 80.0, 24)
    truth = dict(zip(names, zip(*grid.transform(*places.T), heights, strict=True), strict=True))
    with (tmp_path / "control.csv").open("w", newline="", encoding="utf-8") as file:
        rows = ([name, *(f"{value:.4f}" for value in truth[name])] for name in names[:4])
        csv.writer(file).writerows([("Mark", "E", "N", "Ellipsoidal height"), *rows])
    order = [*range(24), 1, 2]  # two marks again at the end
    with (tmp_path / "rover.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("Point", "UTC", "Latitude", "Longitude", "Ellipsoidal height", "Solution"))
        for minute, at in enumerate(order):
            longitude, latitude = places[at] + [1.4e-5, -0.8e-5]
            written = f"2026-03-17T08:{minute:02d}:00Z", f"{latitude:.10f}", f"{longitude:.10f}"
            writer.writerow((names[at], *written, f"{heights[at] - 1.3:.4f}", "FIX"))
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    written = next(line for line in text.splitlines() if line.startswith(("grid =", "# grid =")))
    assert "(EPSG:27572), counted from Greenwich" in written
    code = '"' + written.split('"')[1] + '"'
    answers = {"target.grid": code, "control.crs": code, "source.crs": '"EPSG:4275"', "points.crs": '"EPSG:4275"'}
    asked = {key: value for key, value in answers.items() if _asks(text, key)}
    answer(Path(started.path), asked, own=["source.crs"])
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    issued = {row["name"]: (row["easting"], row["northing"], row["height"])
              for row in current_issue(tmp_path / "out").points.rows}  # fmt: skip
    assert set(issued) == set(names[4:])
    for name, found in every(issued.items()):
        assert np.allclose(found, truth[name], rtol=0.0, atol=0.002)


def _asks(text: str, key: str) -> bool:
    table, word = key.split(".")
    section = text.split(f"[{table}]")[-1].split("\n[")[0]
    return any(line.startswith(f"# {word} =") for line in section.splitlines())
