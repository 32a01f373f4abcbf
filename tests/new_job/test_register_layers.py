"""Registers in degrees whose layer says a CRS: what a new job offers or writes for them can be run."""

import json
from pathlib import Path

import pytest
from folders_made import job_of, write

from pipeline.check import check_job
from pipeline.new_job import new_job


@pytest.mark.parametrize("crs", [None, "urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326"])
@pytest.mark.parametrize("answer", ["EPSG:4959", "EPSG:4979"])
def test_a_geojson_register_takes_every_datum_that_is_offered(crs: str | None, answer: str, tmp_path: Path) -> None:
    """As GeoJSON of readings does: by its standard it says WGS 84 whatever it is in."""
    job = job_of()
    features = [
        {"type": "Feature", "properties": {"mark": str(name), "ellipsoid_height": float(up)},
         "geometry": {"type": "Point", "coordinates": [float(lon), float(lat)]}}
        for name, lon, lat, up in zip(job.register["mark"], job.marks.longitude, job.marks.latitude,
                                      job.marks.ellipsoid_height, strict=True)
    ]  # fmt: skip
    document: dict[str, object] = {"type": "FeatureCollection", "features": features}
    if crs is not None:
        document["crs"] = {"type": "name", "properties": {"name": crs}}
    (tmp_path / "marks.geojson").write_text(json.dumps(document), encoding="utf-8")
    heads = {"name": "Point", "code": "Code", "latitude": "Latitude", "longitude": "Longitude", "base": "Base",
             "height": "Ellipsoidal height", "time": "Time (UTC)", "solution": "Solution"}  # fmt: skip
    write(tmp_path / "rover.csv", job, heads)
    started = new_job(tmp_path)
    path, questions = Path(started.path), [one for one in started.asked if one.question.key == "crs"]
    assert f'"{answer}"' in [each.value for each in questions[-1].question.candidates]
    lines = path.read_text(encoding="utf-8").splitlines()
    for one in started.asked:
        value = {"target.grid": '"EPSG:2193"', "target.height": '"ellipsoid"'}.get(one.question.key, f'"{answer}"')
        key = one.question.key.split(".")[-1]
        if key in ("grid", "height", "crs"):
            lines[one.line - 1] = f"{key} = {value}"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    check_job(path)
