"""Exports, and registers, whose degrees have their minutes and seconds in their decimals: all checks agree."""

from pathlib import Path

import numpy as np
import pytest
from examined import doubts_before
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.arrays import Floats


def packed(degrees: Floats) -> Floats:
    """Return decimal degrees as D.MMSSsssss, by the definition of minutes and seconds."""
    whole, minutes = np.divmod(np.abs(degrees), 1.0)
    minutes, seconds = np.divmod(minutes * 60.0, 1.0)
    return np.asarray(np.sign(degrees) * (whole + minutes / 100.0 + np.round(seconds * 60.0, 6) / 10_000.0))


def surveyed(reach: float, seed: int = 1) -> Simulation:
    """Return a day whose register is in degrees too."""
    plan = Plan(sessions=1, points=60, checks=3, marks=4, reach=reach, place=ELLIPSOIDAL, seed=seed)
    job = simulate(plan)
    del job.register["easting"], job.register["northing"], job.register["ellipsoid_height"]
    marks = job.marks
    job.register |= {
        "longitude": marks.longitude, "latitude": marks.latitude, "ellipsoid_height": marks.ellipsoid_height,
    }  # fmt: skip
    job.job["control"]["crs"] = plan.place.source
    return job


def pack(columns: dict[str, Floats]) -> None:
    for name in ("longitude", "latitude"):
        columns[name] = packed(columns[name])


def told(path: Path) -> list[str]:
    return [text for text in doubts_before(path) if "in one number, but are read" in text]


@pytest.mark.parametrize("form", ["csv", "geojson"])
def test_packed_export_and_register_are_doubted(form: str, tmp_path: Path) -> None:
    job = surveyed(2_500.0)
    pack(job.rows)
    pack(job.register)
    path = job.write(tmp_path, form)
    (doubt,) = told(path)
    assert f"rover001.{form}:" in doubt
    outcome = run_job(path, dry_run=True)
    assert outcome.exit_code == 3
    assert "units" in [one["kind"] for one in outcome.record["doubts"]]
    path.write_text(path.read_text(encoding="utf-8") + '[checks]\nconfirmed = ["units"]\n', encoding="utf-8")
    doubts = run_job(path, dry_run=True).record["doubts"]
    assert [one["confirmed"] for one in doubts if one["kind"] == "units"] == [True]


def test_exports_of_small_places_are_looked_at_together(tmp_path: Path) -> None:
    """Twelve files of five readings each."""
    job = surveyed(2_500.0)
    pack(job.rows)
    pack(job.register)
    assert len(told(job.write(tmp_path, files=12))) == 12


def test_a_packed_register_of_many_marks_is_doubted_itself(tmp_path: Path) -> None:
    job = surveyed(2_500.0)
    many = {name: np.concatenate([job.register[name], job.rows[name][1:-3]]) for name in ("longitude", "latitude")}
    count = len(many["longitude"])
    job.register |= many
    job.register["mark"] = np.array([*job.register["mark"], *(f"M{number}" for number in range(4, count))], object)
    for name, value in (("ellipsoid_height", 310.0), ("hu95", 0.01), ("vu95", 0.02)):
        job.register[name] = np.concatenate([job.register[name], np.full(count - 4, value)])
    assert told(job.write(tmp_path / "sound")) == []
    pack(job.register)
    (doubt,) = told(job.write(tmp_path / "packed"))
    assert "register.csv:2: " in doubt
    said = [one["what"] for one in run_job(tmp_path / "packed" / "job.toml", dry_run=True).record["doubts"]]
    assert any("degrees, minutes and seconds in one number" in what for what in said)  # the shift of it


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("reach", [150.0, 2_500.0])
def test_decimal_degrees_are_let_be(seed: int, reach: float, tmp_path: Path) -> None:
    assert told(surveyed(reach, seed).write(tmp_path)) == []
