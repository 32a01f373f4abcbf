"""What GeoJSON and a GeoPackage state beside their rows: taken up by a draft, as lines above a header are."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from folders_made import job_of, lay
from simulate_files import write_geojson, write_gpkg

from pipeline.new_job import new_job


def _asked(folder: Path, said: dict[str, str], form: str) -> dict[str, str]:
    """Return what is asked of a folder whose export says so beside its rows, by key."""
    job = job_of()
    lay(folder, job)
    if form == "geojson":
        write_geojson(job.rows, folder / "rover.geojson")
        whole = json.loads((folder / "rover.geojson").read_text(encoding="utf-8"))
        (folder / "rover.geojson").write_text(json.dumps({**said, **whole}), encoding="utf-8")
    else:
        write_gpkg(job.rows, folder / "rover.gpkg", None)
        text = "\n".join(f"{name}: {value}" for name, value in said.items())
        with closing(sqlite3.connect(folder / "rover.gpkg")) as package, package:
            package.execute("UPDATE gpkg_contents SET description = ? WHERE table_name = 'points'", (text,))
    return {one.question.key: one.question.asks for one in new_job(folder).asked}


@pytest.mark.parametrize(("form", "where"), [("geojson", "beside the features"), ("gpkg", "says of its layer")])
def test_a_datum_that_is_not_that_of_the_marks_is_asked_after(form: str, where: str, tmp_path: Path) -> None:
    asks = " ".join(_asked(tmp_path, {"datum": "GDA2020"}, form).values())
    assert "GDA2020" in asks and where in asks


@pytest.mark.parametrize("form", ["geojson", "gpkg"])
def test_what_says_nothing_of_coordinates_asks_nothing(form: str, tmp_path: Path) -> None:
    said = {"title": "Day one", "source": "field", "author": "crew 2", "created": "2026-03-22", "comment": "north bank"}
    assert set(_asked(tmp_path, said, form)) == {"target.height"}
