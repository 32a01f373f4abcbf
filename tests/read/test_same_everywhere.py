"""The same points give the same readings, whatever the format they come in."""

import re

import numpy as np
import pyarrow as pa
from exports_made import block, feature, geojson, package, point, read, times
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.tables import READING

COLUMNS = {
    "name": "Point",
    "time": "Observed",
    "sigma_east": "sE",
    "sigma_up": "sU",
    "code": "Code",
    "solution": "Sol",
    "satellites": "Sats",
}
POSITION = {"longitude": "Lon", "latitude": "Lat", "height": "Ht"}

_TEXT = st.none() | st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=6)
_ROW = st.fixed_dictionaries(
    {
        "Point": _TEXT,
        "Observed": st.none() | st.datetimes().map(lambda time: time.replace(year=2026, day=7, microsecond=5000)),
        "Lon": st.floats(-180, 180),
        "Lat": st.floats(-90, 90),
        "Ht": st.floats(-500, 9000),
        "sE": st.none() | st.floats(0, 1),
        "sU": st.none() | st.floats(0, 1),
        "Code": _TEXT,
        "Sol": _TEXT,
        "Sats": st.none() | st.integers(0, 40),
    }
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(_ROW, min_size=1, max_size=8))
def test_one_set_of_points_in_three_formats(tmp_path, rows):
    """Positions from columns in CSV, from geometry in the others: equal column by column."""
    texts = [row | {"Observed": row["Observed"] and row["Observed"].isoformat() + "Z"} for row in rows]
    # At least one name, time and number, so that no column of the GeoJSON file is without a type or missing.
    first = {"Point": "001", "Observed": "2026-03-02T07:30:00Z", "sE": 0.01, "sU": 0.02, "Code": "1E5", "Sol": "NA"}
    texts.insert(0, {"Lon": 174.7, "Lat": -36.8, "Ht": 12.5, "Sats": 9} | first)

    def cell(value: object) -> str:
        return "" if value is None else '"' + str(value).replace('"', '""') + '"'

    lines = [",".join(texts[0]), *(",".join(cell(row[name]) for name in texts[0]) for row in texts)]
    (tmp_path / "a.csv").write_text("\n".join(lines), encoding="utf-8", newline="\n")
    plain = [{name: value for name, value in row.items() if name not in POSITION.values()} for row in texts]
    place = [[row["Lon"], row["Lat"], row["Ht"]] for row in texts]
    points = [{"type": "Point", "coordinates": xyz} for xyz in place]
    geojson(tmp_path / "a.geojson", [feature(at, **row) for at, row in zip(points, plain, strict=True)])
    columns = {name: pa.array([row[name] for row in plain]) for name in plain[0]}
    columns["Observed"] = times(*(row["Observed"] for row in plain))
    (tmp_path / "a.gpkg").unlink(missing_ok=True)
    package(tmp_path / "a.gpkg", pa.table(columns | {"geom": pa.array([point(*xyz) for xyz in place], pa.binary())}))

    columns_of = READING.remove(READING.get_field_index("source_row"))
    from_csv = read(tmp_path, block("a.csv", COLUMNS | POSITION))
    for name in ("a.geojson", "a.gpkg"):
        other = read(tmp_path, block(name, COLUMNS))
        assert other.schema == from_csv.schema == READING
        assert other["source_row"].to_pylist() == [line - 1 for line in from_csv["source_row"].to_pylist()]
        for field in columns_of:
            one, two = from_csv[field.name], other[field.name]
            if field.type == pa.float64():
                np.testing.assert_array_equal(one.to_numpy(), two.to_numpy(), field.name)
            else:
                assert _told(one) == _told(two), field.name


def _told(column: pa.ChunkedArray) -> list[object]:
    """Return the values, small numbers that a message repeats with exponents written alike: e-08 and e-8."""
    return [re.sub(r"e-0", "e-", one) if isinstance(one, str) else one for one in column.to_pylist()]
