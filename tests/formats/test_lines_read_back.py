"""A line that a drawing or LandXML does not have as it was given is found when the file is read back."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from format_layers import ABOUT, points

from pipeline.issue.formats.formats import FORMATS, hold_to, write_formats
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import CHECK_MARKS, LINE_Z, LINES, MARKS, wkb_strings
from pipeline.issue.geopackage.readback import ReadBackError
from pipeline.issue.geopackage.write import write_geopackage


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """An open and a closed line, in both formats."""
    path = tmp_path_factory.mktemp("spoilt") / "made-007.gpkg"
    rows = points(["1", "2", "3"], ["KERB"] * 3, ["bracketed"] * 3)
    columns = {name: [None] * 2 for name in LINES.names}
    columns |= {"name": ["KERB 1", "KERB 2"], "code": ["KERB"] * 2, "proof": ["bracketed"] * 2}
    columns |= {"closed": [False, True], "points": [2, 3]}
    arrays = [pa.array(columns[field.name], field.type) for field in list(LINES)[:-1]]
    square = np.array([[1000.0, 2000.0, 3.0], [1010.5, 2000.0, 3.5], [1010.5, 2020.25, 4.0], [1000.0, 2000.0, 3.0]])
    shapes = wkb_strings(np.concatenate([square[:2], square]), np.array([2, 4]))
    lines = pa.RecordBatch.from_arrays([*arrays, shapes], schema=LINES)
    layers = [
        LayerSource("points", rows.schema, [rows]),
        LayerSource("check_marks", CHECK_MARKS, []),
        LayerSource("marks", MARKS, []),
        LayerSource("lines", LINES, [lines], geometry_type=LINE_Z),
    ]
    written = write_geopackage(path, layers, Georeference("EPSG:2193"), ABOUT.data_to)
    package = Package(path, {layer.name: layer.rows for layer in written})
    files = write_formats(["dxf", "landxml"], package, ABOUT)
    assert [file["rows"]["lines"] for file in files] == [2, 2]
    return package


@pytest.mark.parametrize(
    ("word", "old", "new"),
    [
        ("dxf", "2020.2500", "2020.2501"),
        ("dxf", "AcDb3dPolyline\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n9\n",
         "AcDb3dPolyline\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n8\n"),
        ("dxf", "AcDbEntity\n  8\nKERB\n100\nAcDb3dPolyline", "AcDbEntity\n  8\nmarks\n100\nAcDb3dPolyline"),
        ("landxml", "2020.2500 1010.5000 4.0000</End>", "2020.2500 1010.5000 4.0001</End>"),
        ("landxml", 'PlanFeature name="KERB 2"', 'PlanFeature name="KERB 3"'),
        ("landxml", 'PlanFeatures name="lines"', 'PlanFeatures name="line"'),
        ("landxml", "<PlanFeature name=", "<PlanFeature name=\"x\"/><PlanFeature name="),
    ],
)  # fmt: skip
def test_what_was_spoilt_is_found(word: str, old: str, new: str, made: Package) -> None:
    form = FORMATS[word]
    path: Path = made.path.with_suffix(form.ending)
    whole = path.read_text(encoding="utf-8")
    assert old in whole
    hold_to(form, made, ABOUT)
    try:
        path.write_text(whole.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(ReadBackError):
            hold_to(form, made, ABOUT)
    finally:
        path.write_text(whole, encoding="utf-8")
