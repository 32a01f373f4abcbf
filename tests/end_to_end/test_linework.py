"""Strings become lines, held to simulated truth: from issued point to issued point, and none that is in doubt."""

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from every import every
from ezdxf.entities import Polyline
from issued import Issue, read_layer
from line_layer import lines_of, points_of
from running import record_of, replace_in, rewrite_export, run_written
from simulate import Plan, Simulation, simulate
from simulate_plan import to_geocentric

from pipeline import run_job
from pipeline.check import check_job
from pipeline.verify import verify

CODES = [
    "KERB1 start", "KERB1", "FENCE start", "kerb01 END", "fence", "FENCE close", "KERB2 start", "KERB2", "KERB3 begin",
    "KREB start", "KERB", "TREE", "KERB4 start end", "KERB2 start", "KERB2", "KERB2 end", "POND start", "POND", "TREE",
    "POND end", "KERB5 start", "KERB5 close", "KERB6", "KERB6 end",
]  # fmt: skip


def coded(codes: Sequence[str], **plan: Any) -> Simulation:
    """A job whose points have these codes, in the order of observation, and strings of three codes."""
    sessions = plan.setdefault("sessions", 1)
    made = simulate(Plan(points=len(codes) // sessions, **plan))
    own = made.rows["code"].astype("<U30").copy()
    own[made.rows["kind"] == "point"] = codes
    made.rows["code"] = own
    made.job["linework"] = {"codes": ["KERB", "FENCE", "POND"]}
    return made


def told(record: Any) -> list[tuple[str, str, int]]:
    return [(one["string"], one["reason"], one["readings"]) for one in record["linework"]["left_out"]]


def names(made: Simulation) -> list[str]:
    return [str(name) for name in made.rows["name"][made.rows["kind"] == "point"]]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Simulation, Path]:
    """A job without noise, so that truth is met to the arithmetic's end."""
    made = coded(CODES, noise=False)
    made.job["codes"] = {"file": "codes.csv"}
    made.job["issue"] = {"formats": ["dxf", "landxml"]}
    for name in ("longitude", "latitude", "height"):  # the second vertex of KERB 2 is that of the first
        made.rows[name][16] = made.rows[name][15]
    path = made.write(tmp_path_factory.mktemp("lines"))
    table = (
        "code,description,kind\nKERB,lip of the kerb,line\nPOND,edge of a pond,area\nTREE,tree,point\nCM,mark,point\n"
    )
    (path.parent / "codes.csv").write_text(table, encoding="utf-8")
    return made, path


@pytest.fixture(scope="module")
def issue(job: tuple[Simulation, Path]) -> Issue:
    return run_written(job[1])


def test_lines_join_the_points_of_their_strings_in_time(job: tuple[Simulation, Path], issue: Issue) -> None:
    made, (lines, points, called) = job[0], (lines_of(issue.package), points_of(issue.package), names(job[0]))
    assert [(row["name"], row["code"], row["number"], row["closed"], row["points"]) for row in lines] == [
        ("KERB 1", "KERB", "1", 0, 3), ("FENCE", "FENCE", None, 1, 3), ("KERB 2", "KERB", "2", 0, 3),
        ("POND", "POND", None, 1, 3),
    ]  # fmt: skip
    ways = ([0, 1, 3], [2, 4, 5, 2], [13, 14, 15], [16, 17, 19, 16])
    for row, way in every(zip(lines, ways, strict=True)):
        assert row["vertices"] == [points[called[at]] for at in way]  # to the bit
        truth = np.array([made.truth.of(called[13 if at == 14 else at]) for at in way])
        np.testing.assert_allclose(row["vertices"], truth, rtol=0, atol=2e-4)
        np.testing.assert_allclose(row["length"], np.hypot(*np.diff(truth[:, :2], axis=0).T).sum(), rtol=0, atol=1e-3)
        assert row["source_row"] == 4 + way[0] and row["proof"] == "bracketed" and row["session"] == "session-01"
    assert [row["description"] for row in lines] == ["lip of the kerb", None, "lip of the kerb", "edge of a pond"]
    of_points = {row["name"]: row for row in read_layer(issue.package, "points").rows}
    for row, way in every(zip(lines, ways, strict=True)):
        assert row["hu95"] == max(of_points[called[at]]["hu95"] for at in way)
        assert row["started"] == of_points[called[way[0]]]["observed"]


def test_what_is_unfinished_is_told_and_not_drawn(job: tuple[Simulation, Path], issue: Issue) -> None:
    found = issue.record["linework"]
    assert (found["lines"], found["closed"], found["points"]) == (4, 2, 12)
    assert told(issue.record) == [
        ("KERB 2", "no_end", 2), ("KERB 3", "unknown_word", 1), ("KERB 4", "one_point", 1), ("KERB 5", "too_few", 2),
        ("KERB 6", "no_start", 2), ("KERB", "neither", 1),
    ]  # fmt: skip
    assert found["not_drawn"] == 5 and found["stray_readings"] == 1
    assert found["left_out"][0]["first"] == "S01-00007 (rover001.csv:10)"
    assert found["left_out"][0]["last"] == "S01-00008 (rover001.csv:11)"
    (misread,) = found["misread"]
    assert (misread["code"], misread["first"], misread["nearest"]) == ("KREB start", ["rover001.csv:13"], ["KERB"])
    notes = [note for note in issue.record["notes"] if "string" in note]
    assert [note for note in check_job(job[1]).warnings if "string" in note] == notes
    assert notes[0].startswith("5 strings are not drawn: KERB 2, S01-00007 (rover001.csv:10) to S01-00008 (rover001")
    unknown = [(one["code"], one["readings"]) for one in issue.record["codes"]["unknown"]]
    assert unknown == [("FENCE", 3), ("KREB start", 1)]


def test_the_report_lists_what_is_not_drawn(issue: Issue) -> None:
    report = (issue.folder / "simulated-001.html").read_text(encoding="utf-8")
    assert '<h2 id="lines">Lines</h2>' in report and "4 lines of 12 points, 2 of them closed" in report
    assert "it has one point only" in report and "5 strings are not drawn" in report


def test_the_layer_is_verified_like_any(issue: Issue) -> None:
    assert verify(issue.folder.resolve().parents[1]).findings == ()
    layers = {layer["name"]: layer["rows"] for layer in issue.record["files"][0]["layers"]}
    assert layers["lines"] == 4
    with closing(sqlite3.connect(f"file:{issue.package}?mode=ro&immutable=1", uri=True)) as file:
        said = "SELECT geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns WHERE table_name = 'lines'"
        assert file.execute(said).fetchall() == [("LINESTRING", 2193, 1, 0)]
        styles = file.execute("SELECT styleSLD FROM layer_styles WHERE f_table_name = 'lines'").fetchall()
    assert "all points bracketed" in styles[0][0]


def test_a_drawing_has_them_on_their_codes_layers(issue: Issue) -> None:
    """Read by ezdxf; layers of strings bear their codes, without numbers and words."""
    drawing = ezdxf.readfile(issue.package.with_suffix(".dxf"))
    assert not drawing.audit().errors and not drawing.audit().fixes
    drawn = list(drawing.modelspace().query("POLYLINE"))
    given = lines_of(issue.package)
    assert [line.dxf.layer for line in drawn] == [row["code"] for row in given]
    for line, row in every(zip(drawn, given, strict=True)):
        assert isinstance(line, Polyline) and line.is_3d_polyline and line.is_closed == bool(row["closed"])
        vertices = row["vertices"][: -1 if row["closed"] else None]
        np.testing.assert_allclose([tuple(point) for point in line.points()], vertices, rtol=0, atol=5.1e-5)
    layers = {layer.dxf.name for layer in drawing.layers if "_" not in layer.dxf.name}
    assert {"KERB", "FENCE", "POND", "KREB start", "TREE"} <= layers and not {"KERB1 start", "KERB2"} & layers
    assert drawing.layers.get("KERB").description == "code KERB (lip of the kerb): 15 points"
    (file,) = [file for file in issue.record["files"] if file["name"].endswith(".dxf")]
    assert file["rows"]["lines"] == 4


def test_landxml_has_them_as_plan_features(issue: Issue) -> None:
    """By the schema (LandXML-1.2): PlanFeatures, PlanFeature, CoordGeom, Line with Start and End, in this order."""
    space = "{http://www.landxml.org/schema/LandXML-1.2}"
    root = ElementTree.parse(issue.package.with_suffix(".xml")).getroot()
    (collected,) = root.findall(f"{space}PlanFeatures")
    assert collected.attrib == {"name": "lines"} and list(root)[-1] is collected
    given = lines_of(issue.package)
    assert [one.attrib for one in collected] == [
        {"name": row["name"], "desc": row["description"] or row["code"]} for row in given
    ]
    for feature, row in every(zip(collected, given, strict=True)):
        (geometry,) = feature
        assert geometry.tag == f"{space}CoordGeom" and not geometry.attrib
        found = []
        for line in geometry:
            assert line.tag == f"{space}Line" and [end.tag for end in line] == [f"{space}Start", f"{space}End"]
            found.append([[float(part) for part in (end.text or "").split()] for end in line])
        wanted = [[(n, e, h) for e, n, h in pair] for pair in pairwise(row["vertices"])]
        np.testing.assert_allclose(found, wanted, rtol=0, atol=5.1e-5)


def test_other_jobs_have_no_such_layer(tmp_path: Path) -> None:
    made = coded(CODES)
    del made.job["linework"]
    found = run_written(made.write(tmp_path))
    assert "lines" not in {layer["name"] for layer in found.record["files"][0]["layers"]}
    assert found.record["linework"] is None


def _bad_quality(made: Simulation, at: int) -> None:
    made.rows["solution"] = made.rows["solution"].astype("<U20").copy()
    made.rows["solution"][at] = "float"


def _outside(made: Simulation, at: int) -> None:
    made.rows["base"] = made.rows["base"].astype("<U20").copy()
    made.rows["base"][at] = "BASE-99"


def _on_a_mark(made: Simulation, at: int) -> None:
    made.job["session"][0]["checks"].append({"point": str(made.rows["name"][at]), "mark": "CM2"})
    here = np.arange(len(made.rows["name"])) == at
    ellipsoid, mark = made.plan.place.ellipsoid, made.marks.geographic("CM2")
    now = to_geocentric(*(made.rows[name][here] for name in ("longitude", "latitude", "height")), ellipsoid)
    made.displace(here, to_geocentric(*(np.array([one]) for one in mark), ellipsoid) - made.shifts[0] - now)


@pytest.mark.parametrize(
    ("spoil", "word"),
    [(_bad_quality, "is held back as not_fixed"), (_outside, "is held back as outside_sessions"),
     (_on_a_mark, "is on a mark")],
)  # fmt: skip
def test_no_line_goes_past_a_reading_that_is_not_issued(
    spoil: Callable[[Simulation, int], None], word: str, tmp_path: Path
) -> None:
    """KERB is spoilt in its middle; FENCE, picked in between, is not."""
    made = coded(["KERB start", "FENCE start", "KERB", "FENCE", "KERB", "FENCE end", "KERB end"], overlap=True)
    at = int(np.flatnonzero(made.rows["kind"] == "point")[2])
    spoil(made, at)
    found = run_written(made.write(tmp_path))
    assert [row["name"] for row in lines_of(found.package)] == ["FENCE"]
    (left,) = found.record["linework"]["left_out"]
    assert (left["string"], left["reason"]) == ("KERB", "held_back") and word in left["what"]
    assert str(made.rows["name"][at]) in left["what"]


def test_a_reading_without_time_or_that_nobody_can_read_holds_the_string_around_it_back(tmp_path: Path) -> None:
    """It may be a vertex: by its row it lies within the string. One behind the end does no harm."""
    made = coded(
        ["KERB start", "KERB", "KERB end", "FENCE start", "FENCE", "FENCE end", "POND start", "POND end", "TREE"]
    )
    path = made.write(tmp_path)
    export = tmp_path / "rover001.csv"
    lines = export.read_text(encoding="utf-8").splitlines()
    lines[4] = lines[4].replace(lines[4].split(",")[1], "")  # KERB in the middle has no time
    lines[7] = "half a row"  # FENCE in the middle
    lines.append("another half")
    export.write_text("\n".join([*lines, ""]), encoding="utf-8")
    record = record_of(path)
    assert [(one[0], one[1]) for one in told(record)] == [("KERB", "held_back"), ("FENCE", "held_back")]
    assert record["linework"] is not None and record["linework"]["lines"] == 1
    assert record["linework"]["stray_readings"] == 1
    assert "held back as no_time" in record["linework"]["left_out"][0]["what"]
    assert record["linework"]["left_out"][1]["what"].endswith("rover001.csv:8 in it is held back as unreadable")


def test_order_is_that_of_time_and_not_of_rows(tmp_path: Path) -> None:
    made = coded(["KERB start", "KERB", "KERB", "KERB end"])
    called = names(made)
    rows = np.arange(len(made.rows["name"]))
    mixed = np.concatenate([rows[:2], rows[2:6][::-1], rows[6:]])
    made.keep(mixed)
    found = run_written(made.write(tmp_path))
    (line,) = lines_of(found.package)
    points = points_of(found.package)
    assert line["vertices"] == [points[name] for name in called]


def test_two_rovers_and_two_sessions_keep_their_strings_apart(tmp_path: Path) -> None:
    """Interleaved in time and alike by code and number: each export has its own; a string ends with its session."""
    made = coded(["KERB1 start"] * 2 + ["KERB1"] * 4 + ["KERB1 end"] * 2)
    rows = np.arange(len(made.rows["name"]))
    made.keep(np.concatenate([rows[:2], rows[2:10:2], rows[3:10:2], rows[10:]]))
    path = made.write(tmp_path, files=2)
    found = run_written(path)
    points, called = points_of(found.package), names(made)
    lines = lines_of(found.package)
    assert [row["source_file"] for row in lines] == ["rover001.csv", "rover002.csv"]
    for row, way in zip(lines, (called[:4], called[4:]), strict=True):
        assert row["vertices"] == [points[name] for name in way]


@pytest.mark.parametrize(("within", "expected"), [("session", ["no_start", "no_end"]), ("export", []), ("job", [])])
def test_a_string_over_two_sessions_is_drawn_where_the_job_says_so(
    within: str, expected: list[str], tmp_path: Path
) -> None:
    made = coded(["TREE", "KERB start", "KERB", "KERB end"], sessions=2)
    made.job["linework"]["within"] = within
    found = run_written(made.write(tmp_path))
    assert sorted(one[1] for one in told(found.record)) == sorted(expected)
    assert [row["session"] for row in lines_of(found.package)] == [] if expected else ["session-01, session-02"]


def test_a_day_exported_twice_is_drawn_once_and_whole(tmp_path: Path) -> None:
    """At noon a part was exported, in the evening all of it: the string goes on in the second export."""
    made = coded(["KERB start", "KERB", "KERB", "KERB", "KERB end", "FENCE start", "FENCE end"])
    path = made.write(tmp_path)
    whole = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (tmp_path / "rover001.csv").write_text("".join(whole[:6]), encoding="utf-8")
    (tmp_path / "rover002.csv").write_text("".join(whole), encoding="utf-8")
    found = run_written(path)
    assert found.record["rows"]["by_reason"] == {"duplicate": 5}
    points, called = points_of(found.package), names(made)
    assert [(row["name"], row["points"]) for row in lines_of(found.package)] == [("KERB", 5), ("FENCE", 2)]
    assert lines_of(found.package)[0]["vertices"] == [points[name] for name in called[:5]]
    assert told(found.record) == []


@pytest.mark.parametrize("repeats", ["last", "mean", "all"])
def test_a_vertex_measured_again_is_drawn_where_its_point_is_issued(repeats: str, tmp_path: Path) -> None:
    """Vertex 2 is measured again in the afternoon, by name; its string is that of the morning."""
    made = coded(["KERB start", "KERB", "KERB end", "TREE", "KERB", "TREE"], sessions=2)
    points = np.flatnonzero(made.rows["kind"] == "point")
    again, once = int(points[4]), int(points[1])
    made.rows["name"] = made.rows["name"].copy()
    made.rows["name"][again] = made.rows["name"][once]
    here = np.arange(len(made.rows["name"])) == again
    place = {name: np.array([made.truth.geographic("S01-00002")[at]]) for at, name in enumerate(("lon", "lat", "up"))}
    ellipsoid = made.plan.place.ellipsoid
    now = to_geocentric(*(made.rows[name][here] for name in ("longitude", "latitude", "height")), ellipsoid)
    made.displace(
        here, to_geocentric(place["lon"], place["lat"], place["up"], ellipsoid) - made.shifts[1] - now + 0.004
    )
    made.job["issue"] = {"repeats": repeats}
    found = run_written(made.write(tmp_path))
    (line,) = lines_of(found.package)
    at = points_of(found.package)
    assert line["vertices"] == [at["S01-00001"], at["S01-00002"], at["S01-00003"]]
    strays = found.record["linework"]["stray_readings"]
    assert strays == (1 if repeats == "all" else 0)
    if repeats != "all":
        assert line["session"] == "session-01, session-02"


def test_lines_bear_the_worst_word_and_uncertainty_of_their_points(tmp_path: Path) -> None:
    """No check closes the session, and its points are released all the same."""
    made = coded(["TREE", "KERB start", "KERB end", "FENCE start", "FENCE end"], checks=1)
    made.job["issue"] = {"hold_back": []}
    found = run_written(made.write(tmp_path))
    words = {row["name"]: row["proof"] for row in lines_of(found.package)}
    assert set(words.values()) == {"unclosed"} and len(words) == 2


def test_a_job_without_a_drawn_line_has_an_empty_layer(tmp_path: Path) -> None:
    found = run_written(coded(["TREE"] * 4).write(tmp_path))
    assert lines_of(found.package) == []
    notes = [note for note in found.record["notes"] if note.startswith("[linework]")]
    assert notes == [f"[linework] names the code '{code}', but no reading has it" for code in ("KERB", "FENCE", "POND")]


def test_a_thousand_strings_are_drawn(tmp_path: Path) -> None:
    """Two vertices each, interleaved; the number of every one stands behind its code."""
    count = 1000
    made = coded([f"KERB{n} start" for n in range(count)] + [f"KERB{n} end" for n in range(count)])
    found = run_written(made.write(tmp_path))
    lines, points, called = lines_of(found.package), points_of(found.package), names(made)
    assert len(lines) == count
    assert all(row["vertices"] == [points[called[at]], points[called[count + at]]] for at, row in enumerate(lines))


def test_a_layer_per_code_has_all_of_a_codes_strings(tmp_path: Path) -> None:
    made = coded(["KERB1 start", "KERB1", "kerb1 end", "TREE", "KERB2 start", "KERB2 end"])
    made.job["issue"] = {"by_code": True}
    found = run_written(made.write(tmp_path))
    layers = {layer["name"]: (layer["rows"], layer.get("code")) for layer in found.record["files"][0]["layers"]}
    assert {name: told for name, told in layers.items() if name.startswith("points_")} == {
        "points_KERB": (5, "KERB"), "points_TREE": (1, "TREE"),
    }  # fmt: skip
    codes = [row["code"] for row in read_layer(found.package, "points_KERB").rows]
    assert codes == ["KERB1 start", "KERB1", "kerb1 end", "KERB2 start", "KERB2 end"]


def test_a_changed_linework_makes_an_issue_and_moves_nothing(tmp_path: Path) -> None:
    path = coded(["KERB start", "KERB", "KERB end", "TREE"]).write(tmp_path)
    (line,) = lines_of(run_written(path).package)
    replace_in(path, {'codes = ["KERB", "FENCE", "POND"]': 'codes = ["POND", "KERB", "FENCE"]'})
    assert not run_job(path).issued
    replace_in(path, {'codes = ["POND", "KERB", "FENCE"]': 'codes = ["KERB"]\nend = "stop"'})
    made = run_job(path)
    assert made.issued and made.record["changes"] is not None
    assert made.record["changes"]["because"] == [
        "the job file changed: [linework], which now says only codes [KERB], end [stop]",
        f"1 line is gone: KERB ({line['length']:.1f} m)",
    ]
    assert made.record["changes"]["moved"] == 0
    rewrite_export(tmp_path / "rover001.csv", lambda row: {**row, "Code": row["Code"].replace("KERB end", "KERB stop")})
    assert run_job(path).record["linework"]["lines"] == 1  # type: ignore[index]


def test_a_vertex_that_stands_far_aside_of_its_line_is_told(tmp_path: Path) -> None:
    """A reading of another street under this line's code: it is drawn, for who knows, and told."""
    made = coded(["KERB start", *["KERB"] * 8, "KERB end"], noise=False)
    point = np.flatnonzero(made.rows["kind"] == "point")
    for name, metre in (("longitude", 1.0 / 80_000.0), ("latitude", 1.0 / 111_000.0)):
        made.rows[name][point] = made.rows[name][point[0]] + 6.0 * metre * np.arange(10)
    quiet = record_of(made.write(tmp_path / "as it was"))
    made.rows["latitude"][point[5]] += 200.0 / 111_000.0
    path = made.write(tmp_path / "aside")
    record = record_of(path)
    (note,) = [one for one in record["notes"] if one not in quiet["notes"] and "in the line KERB" in one]
    assert note.startswith(f"rover001.csv:{point[5] + 2}: ") and f"the vertex {names(made)[5]} lies 19" in note
    assert note in check_job(path).warnings and not any("in the line" in one for one in quiet["notes"])
    assert record["linework"] is not None and record["linework"]["lines"] == 1
