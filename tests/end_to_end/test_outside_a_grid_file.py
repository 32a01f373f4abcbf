"""A base whose mark lies outside the grid file of the datum's transformation, in which the readings lie."""

from pathlib import Path

import pytest
from closed_forms import GRS80
from pyproj import Transformer
from running import replace_in
from simulate import Place, Plan, simulate
from simulate_plan import utm

from pipeline import run_job
from pipeline.problems import JobError


@pytest.mark.usefixtures("real_grids")
def test_a_base_over_a_mark_outside_the_grid_is_refused(tmp_path: Path) -> None:
    """A grid file leads from ETRS89 to EPSG:28992; 9.5 degrees east is beyond it, by a slip of one digit."""
    zone = utm(31, south=False, ellipsoid=GRS80)
    place = Place(6.6, 52.24, 60.0, GRS80, zone, "EPSG:25831", "EPSG:4937", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=12, ties=1, checks=2, marks=3, reach=1500.0, noise=False, place=place))
    path = job.write(tmp_path)
    to_rd = Transformer.from_crs("EPSG:25831", "EPSG:28992", always_xy=True)
    header, *rows = [line.split(",") for line in (tmp_path / "register.csv").read_text().splitlines()]
    for row in rows:
        row[1:3] = [f"{value:.4f}" for value in to_rd.transform(float(row[1]), float(row[2]))]
    (tmp_path / "register.csv").write_text("\n".join(",".join(row) for row in [header, *rows]) + "\n")
    setup = 'setup = { mark = "TM1", longitude = 9.5, latitude = 52.24, ellipsoid_height = 60.0 }\nties ='
    replace_in(path, {"ties =": setup, "EPSG:25831": "EPSG:28992"})
    with pytest.raises(JobError) as refused:
        run_job(path)
    (problem,) = refused.value.problems
    assert problem.line and "session-01 over TM1 is outside coverage" in problem.what
