"""GeoJSON: every value of the class that it is written in, whatever the encoding and the pieces that are read."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from every import every
from exports_made import block, feature, find, geojson, problems_of, read
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.read import geojson as reader

MAPPED = {"name": "name", "time": "time", "height": "h"}
TIME = "2026-03-02T07:30:00Z"
PLACE = {"type": "Point", "coordinates": [174.7, -36.8, 12.5]}
HEAD = '{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": null, "properties": '


def heights(folder, *values, **keys):
    geojson(folder / "a.geojson", [feature(PLACE, name="P", time=TIME, h=value) for value in values])
    found = read(folder, block("a.geojson", MAPPED, **keys))
    return found["third"].to_pylist(), found["held"].to_pylist(), found["detail"].to_pylist()


def test_what_is_no_number_is_no_height(tmp_path):
    """GDAL makes 1.0 of true among numbers."""
    values, held, details = heights(tmp_path, 20.123, True, "20,123", "21.5", None, [1, 2], {"a": 1}, 7)
    np.testing.assert_array_equal(values, [20.123, np.nan, np.nan, 21.5, np.nan, np.nan, np.nan, 7])
    assert held == [0, 1, 1, 0, 2, 1, 1, 0]
    assert details[1] == 'height: "true" is not a number' and details[5] == 'height: "[1, 2]" is not a number'


def test_numbers_without_a_value_are_no_height(tmp_path):
    values, held, _ = heights(tmp_path, float("nan"), float("inf"), 10**400, 20.5)
    np.testing.assert_array_equal(values, [np.nan, np.nan, np.nan, 20.5])
    assert held == [1, 1, 1, 0]


def test_a_decimal_comma_counts_where_it_is_stated(tmp_path):
    assert heights(tmp_path, 20.25, "20,123", decimal=",")[0] == [20.25, 20.123]


@pytest.mark.parametrize(
    ("coordinates", "held", "says"),
    [
        ([174.7, -36.8, 12.5], 0, ""),
        ([174.7, -36.8, 12.5, 99, "m"], 0, ""),
        ([174.7, -36.8], 2, "no height"),
        ([174.7], 2, "no geometry"),
        ([], 2, "no geometry"),
        (None, 2, "no geometry"),
        (["174.7", "-36.8", "1"], 1, 'the coordinates are not numbers: ["174.7", "-36.8", "1"]'),
        ([174.7, -36.8, None], 1, "the coordinates are not numbers: [174.7, -36.8, null]"),
        ([True, -36.8, 1], 1, "the coordinates are not numbers"),
        ({"x": 1}, 1, "the coordinates are not numbers"),
        (["\ud800"], 1, "the coordinates are not numbers"),
        ([[174.7, -36.8, 12.5]], 1, "the coordinates are not numbers"),
        ([174.7, float("inf"), 1], 1, "the coordinates are not numbers"),
        ([174.7, -96.8, 1], 1, 'latitude: "-96.8" is beyond 90 degrees'),
    ],
)
def test_coordinates(tmp_path, coordinates, held, says):
    document = {
        "type": "FeatureCollection",
        "features": [feature(PLACE | {"coordinates": coordinates}, name="P", time=TIME)],
    }
    (tmp_path / "a.geojson").write_text(json.dumps(document))
    (found,) = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"})).to_pylist()
    assert (found["held"], says in (found["detail"] or "")) == (held, True), found["detail"]


def test_texts_that_are_none_spoil_their_row(tmp_path):
    names = ["P1", "P\x001", "\ud800", "K\u00e9rb"]
    document = {"type": "FeatureCollection", "features": [feature(PLACE, name=name, time=TIME) for name in names]}
    (tmp_path / "a.geojson").write_text(json.dumps(document))  # escapes spelled out
    found = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"}))
    assert found["held"].to_pylist() == [0, 1, 1, 0]
    assert found["detail"].to_pylist()[1] == 'name: a NUL character in "P␀1"'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-be"])
def test_encodings_that_json_can_be_told_in(tmp_path, encoding):
    document = {"type": "FeatureCollection", "features": [feature(PLACE, name="Kérb", time=TIME)]}
    (tmp_path / "a.geojson").write_bytes(json.dumps(document, ensure_ascii=False).encode(encoding))
    (found,) = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"})).to_pylist()
    assert (found["name"], found["time"], found["third"]) == ("Kérb", datetime(2026, 3, 2, 7, 30, tzinfo=UTC), 12.5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD + '{"h": 1, "h": 2}}]}', 'the name "h" occurs twice in one object'),
        (HEAD + '{"h": ' + "[" * 100_000 + "]" * 100_000 + "}}]}", "nested too deeply"),
        (HEAD + '{"h": ' + "1" * 5000 + "}}]}", "a number of fewer digits is expected"),
        (HEAD + '{"h": 01}}]}', "Expecting ',' delimiter"),
        (HEAD + "{'h': 1}}]}", "Expecting property name"),
        (HEAD + '{"h": "a\tb"}}]}', "Invalid control character"),
        (HEAD + '{"h": 1}}, 7, null]}', "its list of features has 3 elements, of which 2 are not features"),
        (HEAD + '{"h": 1}}]} {}', "nothing more is expected"),
        (HEAD + '{"h": 1}}],}', "a value is expected"),
        ('{"type": "FeatureCollection", "features": {}}', "JSON of another kind"),
        ('{"type": "Topology", "features": []}', "JSON of another kind"),
        ('{"features": []}', "JSON of another kind"),
        ("{}", "JSON of another kind"),
        ("{", "a value is expected"),
    ],
)
def test_what_is_no_geojson_is_told_with_a_line(tmp_path, text, says):
    (problem,) = problems_of(tmp_path, "a.geojson", text, columns={"name": "h", "time": "h"})
    assert problem.startswith("a.geojson:1: ") and says in problem


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.dictionaries(
            st.sampled_from(["a", "b", 'q"', "é"]),
            st.none() | st.booleans() | st.integers() | st.text('ab"\\{}[],: \n', max_size=4) | st.lists(st.integers()),
            max_size=3,
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from([None, 1]),
    st.integers(1, 30),
)
def test_as_a_parser_reads_it_whole(tmp_path, monkeypatch, rows, indent, chunk):
    """In pieces of any size: the same values as the standard library's parser finds in the whole text."""
    monkeypatch.setattr(reader, "_CHUNK_BYTES", chunk)
    reader._looked_through.cache_clear()
    features = [feature(PLACE, time=TIME, name=f"P{number}", **row) for number, row in enumerate(rows)]
    text = json.dumps({"x": 12, "type": "FeatureCollection", "features": features, "y": [None]}, indent=indent)
    (tmp_path / "a.geojson").write_text(text)
    table = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"}))
    for found, row in every(zip(table.to_pylist(), rows, strict=True)):
        for name, value in row.items():
            if isinstance(value, str):
                assert found[name] == (value.strip() or None)
            elif not isinstance(found[name], str):
                assert found[name] == value
            else:
                assert json.loads(found[name]) == value


def test_two_blocks_of_one_file(tmp_path):
    """A file is read as its block says; what was found out of it for one does not hold for another."""
    geojson(tmp_path / "a.geojson", [feature(PLACE, name="P", time="2026-03-02T20:30:00", h=1)])
    for zone, hour in (("UTC", 20), ("Pacific/Auckland", 7)):
        exports, problems = find(tmp_path, block("a.geojson", MAPPED, time_zone=zone))
        assert (len(exports), problems) == (1, [])
        assert read(tmp_path, block("a.geojson", MAPPED, time_zone=zone))["time"].to_pylist()[0].hour == hour


def test_members_of_objects_are_columns_by_dotted_names(tmp_path):
    gnss = [{"fix": "fixed", "sd": {"e": 0.01, "n": 0.02}, "sats": [1, 2]}, None, {"fix": "float", "sd": {"e": 0.5}}]
    odd = [{"a": 1}, 7, None]
    features = [
        feature(PLACE, name="P", time=TIME, h=1.0, gnss=one, odd=two) for one, two in zip(gnss, odd, strict=True)
    ]
    geojson(tmp_path / "a.geojson", features)
    found = reader.properties_of(tmp_path / "a.geojson")
    assert found.schema.names == ["name", "time", "h", "gnss.fix", "gnss.sd.e", "gnss.sd.n", "gnss.sats", "odd"]
    columns = read(tmp_path, block("a.geojson", MAPPED | {"sigma_east": "gnss.sd.e", "sigma_north": "gnss.sd.n"}))
    assert columns["gnss.fix"].to_pylist() == ["fixed", None, "float"]
    np.testing.assert_array_equal(columns["sigma_east"].to_numpy(zero_copy_only=False), [0.01, np.nan, 0.5])


@pytest.mark.parametrize(
    "properties",
    ['{"a": {"b": 1}, "a.b": 2}', '{"a": {"b.c": 1, "b": {"c": 2}}}', '{"a": {"b.c": 1}, "a.b": {"c": 2}}'],
)
def test_an_object_stays_whole_where_its_members_names_are_taken(properties, tmp_path):
    (tmp_path / "a.geojson").write_text(f"{HEAD}{properties}}}]}}", encoding="utf-8")
    found = reader.properties_of(tmp_path / "a.geojson")
    assert found.schema.names == list(json.loads(properties))


_FEATURE = (
    '{"type": "Feature", "geometry": {"type": "Point", "coordinates": [171.8, -43.7, %d]}, "properties": {"t": "%s"}}'
)


@pytest.mark.parametrize(
    ("before", "between", "count"), [("", "\n", 1), ("", "\n", 3), ("", "\r\n", 3), ("\x1e", "\n\x1e", 3), ("", "", 2)]
)
def test_features_without_a_collection_are_read(tmp_path: Path, before: str, between: str, count: int) -> None:
    """One alone, one per line, and a sequence of texts by RFC 8142, section 2."""
    features = [_FEATURE % (at, f"2026-03-02T07:3{at}:00Z") for at in range(count)]
    (tmp_path / "a.geojson").write_text(before + between.join(features) + "\n", encoding="utf-8")
    found = read(tmp_path, block("a.geojson", {"time": "t"})).to_pylist()
    assert [one["third"] for one in found] == [float(at) for at in range(count)]
    assert [one["time"].minute for one in found] == [30 + at for at in range(count)]


def test_what_is_no_feature_among_them_is_told(tmp_path: Path) -> None:
    text = _FEATURE % (1, "2026-03-02T07:30:00Z") + "\n[]\n"
    (problem,) = problems_of(tmp_path, "a.geojson", text, columns={"time": "t"})
    assert "of which 1 is not a feature" in problem
