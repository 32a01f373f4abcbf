"""The layers' columns and types are the contract's, whatever the export carries along."""

import struct

import numpy as np
import pyarrow as pa
import pytest

from pipeline.issue.geopackage import layers

TEXT, NUMBER, COUNT, WHETHER = "string", "double", "int64", "bool"
TIME, SHAPE = "timestamp[ms, tz=UTC]", "binary"

# Spelled out from the contract's table of layers, not taken from the code; the statistics of a tie and the layers marks
# and lines are additions to it.
CONTRACT = {
    "points": f"""name {TEXT}; code {TEXT}; easting {NUMBER}; northing {NUMBER}; height {NUMBER};
        ellipsoid_height {NUMBER}; longitude {NUMBER}; latitude {NUMBER}; session {TEXT}; observed {TIME};
        hu95 {NUMBER}; vu95 {NUMBER}; proof {TEXT}; solution {TEXT}; source_file {TEXT}; source_row {COUNT};
        geometry {SHAPE}""",
    "check_marks": f"""session {TEXT}; mark {TEXT}; point {TEXT}; role {TEXT}; place {TEXT}; observed {TIME};
        known_easting {NUMBER}; known_northing {NUMBER}; known_height {NUMBER}; easting {NUMBER}; northing {NUMBER};
        height {NUMBER}; d_east {NUMBER}; d_north {NUMBER}; d_height {NUMBER}; d_horizontal {NUMBER};
        tolerance_h {NUMBER}; tolerance_v {NUMBER}; hu95 {NUMBER}; vu95 {NUMBER}; passed {WHETHER}; cause {TEXT};
        redundancy_east {NUMBER}; redundancy_north {NUMBER}; redundancy_up {NUMBER}; standardised_east {NUMBER};
        standardised_north {NUMBER}; standardised_up {NUMBER}; detectable_east {NUMBER}; detectable_north {NUMBER};
        detectable_up {NUMBER}; geometry {SHAPE}""",
    "sessions": f"""session {TEXT}; start {TIME}; end {TIME}; base {TEXT}; points {COUNT}; ties {COUNT};
        checks {COUNT}; shift_x {NUMBER}; shift_y {NUMBER}; shift_z {NUMBER}; shift_east {NUMBER};
        shift_north {NUMBER}; shift_up {NUMBER}; sigma_east {NUMBER}; sigma_north {NUMBER}; sigma_up {NUMBER};
        verdict {TEXT}; geometry {SHAPE}""",
    "marks": f"""mark {TEXT}; easting {NUMBER}; northing {NUMBER}; height {NUMBER}; hu95 {NUMBER}; vu95 {NUMBER};
        holds {TEXT}; occupations {COUNT}; status {TEXT}; published_easting {NUMBER}; published_northing {NUMBER};
        published_height {NUMBER}; drawn {TEXT}; geometry {SHAPE}""",
    "held_back": f"""name {TEXT}; code {TEXT}; session {TEXT}; observed {TIME}; reason {TEXT}; detail {TEXT};
        easting {NUMBER}; northing {NUMBER}; height {NUMBER}; source_file {TEXT}; source_row {COUNT};
        geometry {SHAPE}""",
    "lines": f"""name {TEXT}; code {TEXT}; number {TEXT}; description {TEXT}; closed {WHETHER}; points {COUNT};
        length {NUMBER}; hu95 {NUMBER}; vu95 {NUMBER}; proof {TEXT}; session {TEXT}; started {TIME}; ended {TIME};
        source_file {TEXT}; source_row {COUNT}; geometry {SHAPE}""",
    "changes": f"""name {TEXT}; change {TEXT}; old_easting {NUMBER}; old_northing {NUMBER}; old_height {NUMBER};
        new_easting {NUMBER}; new_northing {NUMBER}; new_height {NUMBER}; d_east {NUMBER}; d_north {NUMBER};
        d_height {NUMBER}; because {TEXT}; geometry {SHAPE}""",
}
SCHEMAS = {
    "points": layers.points_schema(),
    "check_marks": layers.CHECK_MARKS,
    "sessions": layers.SESSIONS,
    "marks": layers.MARKS,
    "held_back": layers.HELD_BACK,
    "changes": layers.CHANGES,
    "lines": layers.LINES,
}


@pytest.mark.parametrize("name", CONTRACT)
def test_columns_are_the_contracts(name: str) -> None:
    """Names, order and types of every layer."""
    expected = [tuple(" ".join(column.split()).split(" ", 1)) for column in CONTRACT[name].split(";")]
    assert [(field.name, str(field.type)) for field in SCHEMAS[name]] == expected


def _carried(*names: str) -> list[str]:
    schema = layers.points_schema([pa.field(name, pa.string()) for name in names])
    return schema.names[16:-1]


def test_carried_columns_keep_their_names_and_stand_before_the_geometry() -> None:
    """Nothing that does not collide is renamed."""
    assert _carried("Depth", "Remark", "oid", "straße") == ["Depth", "Remark", "oid", "straße"]
    assert layers.points_schema([pa.field("Depth", pa.int32())]).field("Depth").type == pa.int32()


@pytest.mark.parametrize("name", ["name", "Name", "HEIGHT", "fid", "FID", "geom", "Geometry", "rowid", "ogc_fid"])
def test_a_carried_column_never_takes_one_of_ours(name: str) -> None:
    """Our columns and those of the file keep their names, in whatever case the export writes them."""
    assert _carried(name) == [f"{name}_export"]


def test_carried_columns_alike_are_told_apart() -> None:
    """Also where the name that a rename would give is taken by another column, before or after it."""
    assert _carried("Depth", "depth", "DEPTH") == ["Depth", "depth_2", "DEPTH_3"]
    assert _carried("name_export", "Name") == ["name_export", "Name_export_2"]
    assert _carried("name", "name_export") == ["name_export", "name_export_2"]
    assert _carried("", " ") == ["column", "column_2"]


def test_types_that_a_geopackage_cannot_hold_are_replaced() -> None:
    """An empty column becomes text, a time in another zone UTC's; the instant stays when the column is cast."""
    zone = pa.timestamp("us", "Pacific/Auckland")
    schema = layers.points_schema([pa.field("a", pa.null()), pa.field("b", pa.string_view()), pa.field("c", zone)])
    assert [str(kind) for kind in schema.types[16:19]] == ["string", "string", "timestamp[ms, tz=UTC]"]
    assert pa.array([1_000_000], zone).cast(schema.types[18]).cast(pa.int64()).to_pylist() == [1000]


def test_points_are_iso_wkb() -> None:
    """29 bytes: little-endian, type 1001, x, y, z (OGC 06-103r4, clause 8.2); nothing where a number is missing."""
    x, y, z = np.array([1.5, 2.0, np.nan, 4.0]), np.array([-1.0, np.inf, 0.0, 5.0]), np.array([7.25, 0.0, 0.0, 6.0])
    for array in (x, y, z):
        array.flags.writeable = False
    made = layers.wkb_points(x, y, z)
    made.validate(full=True)
    assert made.to_pylist() == [
        struct.pack("<BIddd", 1, 1001, 1.5, -1.0, 7.25),
        None,
        None,
        struct.pack("<BIddd", 1, 1001, 4.0, 5.0, 6.0),
    ]
    assert len(layers.wkb_points(x[:0], y[:0], z[:0])) == 0


def test_lines_are_iso_wkb() -> None:
    """57 bytes: little-endian, type 1002, two vertices."""
    start, end = np.array([[1.0, 2.0, 3.0], [1.0, 2.0, np.nan]]), np.array([[4.0, 5.0, 6.0], [4.0, 5.0, 6.0]])
    made = layers.wkb_lines(start, end)
    assert made.to_pylist() == [struct.pack("<BII6d", 1, 1002, 2, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0), None]
