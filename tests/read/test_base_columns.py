"""The base's position on every point: degrees or metres, as the job file maps it."""

import numpy as np
import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, find, read

GEOGRAPHIC = {"base_longitude": "BLon", "base_latitude": "BLat", "base_height": "BHt"}
PROJECTED = {"base_easting": "BE", "base_northing": "BN", "base_height": "BHt"}
PLACES = ("base_first", "base_second", "base_third")


def values(folder, header, cells, columns, **keys):
    (folder / "a.csv").write_text(f"{HEADER},{header}\n" + "".join(f"{GOOD},{row}\n" for row in cells))
    table = read(folder, block("a.csv", COLUMNS | columns, **keys))
    return table, np.column_stack([table[name].to_numpy() for name in PLACES])


def test_degrees_and_metres(tmp_path):
    table, found = values(tmp_path, "BLon,BLat,BHt", ["174.5,-36.25,40.125", ",,"], GEOGRAPHIC)
    np.testing.assert_array_equal(found, [[174.5, -36.25, 40.125], [np.nan] * 3])
    assert table["held"].to_pylist() == [0, 0]
    assert "BLon" not in table.schema.names


def test_degrees_minutes_and_seconds_for_the_base_too(tmp_path):
    columns = COLUMNS | GEOGRAPHIC
    row = "P1,2026-03-02T07:30:00Z,36 48 00 S,174 42 00 E,12.5,,,,fix,KERB,B,174 30 00 E,36 15 00 S,40.125"
    (tmp_path / "a.csv").write_text(f"{HEADER},BLon,BLat,BHt\n{row}\n")
    table = read(tmp_path, block("a.csv", columns, angles="dms"))
    assert [table[name][0].as_py() for name in PLACES] == [174.5, -36.25, 40.125]


def test_feet(tmp_path):
    columns = {name: word for name, word in COLUMNS.items() if name not in ("longitude", "latitude")}
    columns |= {"easting": "Lon", "northing": "Lat"}
    (tmp_path / "a.csv").write_text(f"{HEADER},BE,BN,BHt\n{GOOD},1000,2000,10\n")
    table = read(tmp_path, block("a.csv", columns | PROJECTED, crs="EPSG:2193", units="foot"))
    assert [table[name][0].as_py() for name in PLACES] == pytest.approx([304.8, 609.6, 3.048])


def test_what_is_not_mapped_is_not_there(tmp_path):
    _, found = values(tmp_path, "BLon,BLat,BHt", ["174.5,-36.25,40.125"], {})
    assert np.isnan(found).all()


def test_a_cell_that_is_no_number_makes_its_row_unreadable(tmp_path):
    table, _ = values(tmp_path, "BLon,BLat,BHt", ["174.5,-36.2S,40.125"], GEOGRAPHIC)
    (detail,) = table["detail"].to_pylist()
    assert detail.startswith('base_latitude: "-36.2S" is not a number: it has a hemisphere letter')


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"base_longitude": "BLon"}, "map base_longitude but not base_latitude, base_height"),
        ({"base_height": "BHt"}, "map base_height, which is not a base position"),
        (GEOGRAPHIC | PROJECTED, "which is not a base position"),
    ],
)
def test_half_a_position_is_a_problem_of_the_job_file(tmp_path, columns, says):
    (tmp_path / "a.csv").write_text(f"{HEADER},BLon,BLat,BHt,BE,BN\n{GOOD},1,2,3,4,5\n")
    _, problems = find(tmp_path, block("a.csv", COLUMNS | columns))
    assert len(problems) == 1
    assert problems[0].startswith("job.toml:100: ") and says in problems[0]
