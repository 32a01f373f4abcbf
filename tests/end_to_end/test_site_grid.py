"""Whole jobs in a site's own grid, by PROJ string and by `.prj`, on a stated base.

Truth is the closed form of the simulator's transverse Mercator, in the site's own numbers.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
from issued import off_truth
from numpy.testing import assert_allclose
from running import replace_in, run_simulated, run_written
from simulate import ELLIPSOIDAL, Plan, simulate
from simulate_plan import NZTM2000

SITE = "+proj=tmerc +lat_0=-43.5 +lon_0=171.8 +k=1.00003 +x_0=10000 +y_0=50000 +ellps=GRS80 +units=m"
MAPPING = replace(NZTM2000, central_meridian=171.8, scale=1.00003, false_easting=10_000.0, false_northing=50_000.0,
                  origin_latitude=-43.5)  # fmt: skip


def test_points_in_a_grid_of_the_site(tmp_path: Path) -> None:
    """Grid and register in the site's grid; a GIS that opens the layer finds the points where they are."""
    job = simulate(Plan(sessions=1, points=6, noise=False, place=replace(ELLIPSOIDAL, projection=MAPPING)))
    job.job["target"] |= {"grid": SITE, "base": "EPSG:4959"}
    job.job["control"]["crs"] = f"{SITE} on EPSG:4959"
    issue = run_simulated(job, tmp_path)
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)
    assert len(issue.points.rows) == 6 and issue.record["target"]["grid_name"] == "Transverse Mercator on NZGD2000"
    crs = pyogrio.read_info(issue.package, layer="points")["crs"]
    to_geographic = pyproj.Transformer.from_crs(pyproj.CRS(crs).to_2d(), "EPSG:4167", always_xy=True)
    found = np.array(to_geographic.transform(*issue.points.xyz()[:, :2].T))
    assert_allclose(found, [issue.points.column("longitude"), issue.points.column("latitude")], rtol=0, atol=1e-9)
    # the same by the file that a GIS program wrote, and a changed file makes another issue
    (tmp_path / "site.prj").write_text(pyproj.CRS(SITE).to_wkt("WKT1_ESRI", pretty=True))
    replace_in(tmp_path / "job.toml", {f'grid = "{SITE}"': 'grid = "site.prj"'})
    by_file = run_written(tmp_path / "job.toml")
    assert_allclose(off_truth(by_file.points.rows, job.truth), 0, rtol=0, atol=1e-4)
    replace_in(tmp_path / "site.prj", {"50000.0": "50100.0"})
    moved = run_written(tmp_path / "job.toml")
    assert_allclose(off_truth(moved.points.rows, job.truth), [[0, 100, 0]] * 6, rtol=0, atol=1e-4)
