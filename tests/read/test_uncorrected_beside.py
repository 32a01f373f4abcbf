"""Columns of the mapped position before a correction are compared in all rows that a file gives at first."""

from pathlib import Path

import geopandas
import pytest
from openpyxl import Workbook

from pipeline.job.model import Points
from pipeline.read.sources import open_source
from pipeline.read.uncorrected_beside import uncorrected_beside

_COLUMNS = ["Point", "Time", "Easting", "Northing", "Height", "Raw Easting"]
_ROWS = [
    [f"p{at}", "2026-03-20T08:00:00Z", 1506510.5 + at, 5160613.2 + 2 * at, 21.3, 1506508.2 + at] for at in range(2_500)
]


def _workbook(path: Path) -> None:
    book = Workbook()
    for row in (_COLUMNS, *_ROWS):
        book.worksheets[0].append(row)
    book.save(path)


def _package(path: Path) -> None:
    table = geopandas.GeoDataFrame(dict(zip(_COLUMNS, zip(*_ROWS, strict=True), strict=True)))
    table.set_geometry(geopandas.points_from_xy(table["Easting"], table["Northing"]), crs="EPSG:2193").to_file(path)


@pytest.mark.parametrize(("name", "write"), [("rover.xlsx", _workbook), ("rover.gpkg", _package)])
def test_numbers_of_more_rows_than_texts_are_looked_at_are_compared(name: str, write, tmp_path: Path) -> None:
    write(tmp_path / name)
    points = Points.model_validate({
        "files": [name], "crs": "EPSG:2193",
        "columns": {"name": "Point", "time": "Time", "easting": "Easting", "northing": "Northing", "height": "Height"},
    })  # fmt: skip
    with open_source(tmp_path / name, points, 65_536, look=True) as source:
        first = [next(iter(source.batches))]
        told = uncorrected_beside(source, first)
    assert told is not None and told.columns == (("Easting", "Raw Easting"),)
    assert told.compared == told.differ == len(first[0].row) >= 1_000
