"""Elements of a GeoJSON's features are counted as a JSON parser counts them, also those that GDAL passes over."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.read import elements
from pipeline.read.elements import count_elements

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text('ab"\\[]{},: é\n', max_size=6),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["a", "features", '"']), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(st.lists(VALUES, max_size=6), VALUES, st.sampled_from([None, 1]), st.integers(3, 40))
def test_as_many_as_a_parser_finds(
    tmp_path_factory: pytest.TempPathFactory, features: list[Any], other: Any, indent: int | None, chunk: int
) -> None:
    path = tmp_path_factory.mktemp("json") / "a.geojson"
    whole = {"name": other, "bbox": [1, 2, 3, 4], "features": features, "after": other}
    path.write_text(json.dumps(whole, indent=indent, ensure_ascii=False), encoding="utf-8")
    before, elements._CHUNK = elements._CHUNK, chunk
    try:
        assert count_elements(path) == len(features)
    finally:
        elements._CHUNK = before


def test_a_file_without_a_list_of_features_has_none(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    path.write_text('{"type": "Feature", "properties": {"features": [1, 2]}, "geometry": null}', encoding="utf-8")
    assert count_elements(path) is None


def test_a_list_with_something_else_than_features_is_a_problem(tmp_path: Path) -> None:
    from pipeline.digest import digest
    from pipeline.job.model import Columns, Points
    from pipeline.problems import JobError
    from pipeline.read.files import Export, read_batches

    point = {
        "type": "Feature",
        "properties": {"n": "P1", "t": "2026-03-02T00:00:00Z"},
        "geometry": {"type": "Point", "coordinates": [171.0, -43.0, 300.0]},
    }
    path = tmp_path / "a.geojson"
    whole = {"type": "FeatureCollection", "features": [point, None, point]}
    path.write_text(json.dumps(whole), encoding="utf-8")
    block = Points(
        files=("a.geojson",), crs="EPSG:4959", time_zone="UTC", angles="decimal", columns=Columns(name="n", time="t")
    )
    export = Export(path, "a.geojson", 0, block, digest(path), ())
    with pytest.raises(JobError, match="3 elements, and only 2 of them are features"):
        list(read_batches(export))
