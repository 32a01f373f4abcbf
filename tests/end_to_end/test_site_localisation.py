"""Whole jobs in a site's own system, found from common marks: truth is a turn, a scale and a plane written out.

The site's numbers of a place are 1000 + k R (E - E0), 5000 + k R (N - N0), H - 200 + a plane, by numpy alone.
"""

import csv
import html
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import pyogrio
import pyproj
import pytest
from issued import Issue, read_layer
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from running import run_simulated, run_written
from scipy.special import chdtri, fdtri, stdtrit
from simulate import Plan, Simulation, simulate

from pipeline import JobError, check_job, run_job
from pipeline.fieldwork.mark_handout import hand_out

TURN, TILT = np.radians(12.3), np.array([20e-6, -10e-6])
#: What makes distances of the ground there out of those of NZTM: 1.00034 (0.99971 on the ellipsoid, 310 m above it).
GROUND = 1.00034
#: Marks all around the work: the simulator puts them at 0.4 of the reach.
PLAN = Plan(sessions=1, points=8, checks=2, marks=5, reach=2_000.0, noise=False)

Floats = NDArray[np.float64]


def on_site(places: Floats, middle: Floats, scale: float = GROUND, tilt: Floats = TILT) -> Floats:
    """(n, 3) of the site for (n, 3) easting, northing, height."""
    turn = np.array([[np.cos(TURN), -np.sin(TURN)], [np.sin(TURN), np.cos(TURN)]])
    away = places[:, :2] - middle
    return np.column_stack([[1000.0, 5000.0] + scale * away @ turn.T, places[:, 2] - 200.0 + away @ tilt])


def truth_of(job: Simulation) -> tuple[Floats, Floats]:
    """Marks and rows in the grid, (n, 3)."""
    marks, rows = job.marks, job.truth
    return (
        np.column_stack([marks.easting, marks.northing, marks.height]),
        np.column_stack([rows.easting, rows.northing, rows.height]),
    )


def with_site(job: Simulation, folder: Path, own: Floats, names: Any = None, **keys: str) -> Simulation:
    """Let the job be issued in the site's system, of whose marks ``own`` is (n, 3)."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "site_marks.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["mark", "easting", "northing", "height"])
        for name, place in zip(job.marks.names if names is None else names, own, strict=True):
            writer.writerow([name, *("" if np.isnan(value) else f"{value:.6f}" for value in place)])
    job.job["target"]["site"] = {"marks": "site_marks.csv", **keys}
    return job


def issued_truth(issue: Issue, job: Simulation, middle: Floats, scale: float = GROUND, tilt: Floats = TILT) -> Floats:
    """(n, 3) issued minus true numbers of the site."""
    names = list(job.truth.names)
    at = [names.index(row["name"]) for row in issue.points.rows]
    return issue.points.xyz() - on_site(truth_of(job)[1][at], middle, scale, tilt)


@pytest.fixture(scope="module")
def proven(tmp_path_factory: pytest.TempPathFactory) -> tuple[Issue, Simulation, Floats]:
    """A job without noise whose five marks fit: a similarity and a tilt."""
    folder, job = tmp_path_factory.mktemp("site"), simulate(PLAN)
    marks, _ = truth_of(job)
    middle = marks[:, :2].mean(axis=0)
    issue = run_simulated(with_site(job, folder, on_site(marks, middle), height="tilt"), folder)
    return issue, job, middle


def test_points_are_the_sites(proven: tuple[Issue, Simulation, Floats]) -> None:
    issue, job, middle = proven
    assert len(issue.points.rows) == PLAN.points
    assert_allclose(issued_truth(issue, job, middle), 0, rtol=0, atol=2e-4)
    assert issue.record["verdict"] == "proven" and not issue.record["doubts"]
    known = np.array(
        [[row[f"known_{axis}"] for axis in ("easting", "northing", "height")] for row in issue.check_marks.rows]
    )
    true = np.array([job.marks.of(row["mark"]) for row in issue.check_marks.rows])
    assert_allclose(known, on_site(true, middle), rtol=0, atol=2e-4)


def test_the_record_says_what_was_found(proven: tuple[Issue, Simulation, Floats]) -> None:
    issue, _, _ = proven
    site = issue.record["target"]["site"]
    assert_allclose([site["scale"], site["turn"]], [GROUND, 12.3], rtol=0, atol=1e-5)
    assert_allclose(site["scale_ppm"], 340.0, rtol=0, atol=0.1)
    assert_allclose([site["slope_east"], site["slope_north"]], TILT, rtol=0, atol=2e-7)
    assert (site["over_plan"], site["over_height"], site["grid"]) == (6, 2, "EPSG:2193")
    off = [[mark[f"residual_{axis}"] for axis in ("east", "north", "height")] for mark in site["marks"]]
    assert len(off) == 5
    assert_allclose(off, 0, rtol=0, atol=2e-4)
    assert "site_marks.csv" in [one["path"] for one in issue.record["inputs"]]


def test_others_can_use_the_definition(proven: tuple[Issue, Simulation, Floats]) -> None:
    """PROJ, by pyproj: the derived CRS takes the grid's truth to the site's plan, the step makes the heights too."""
    issue, job, middle = proven
    _, rows = truth_of(job)
    target = issue.record["target"]
    plan = pyproj.Transformer.from_crs("EPSG:2193", pyproj.CRS.from_wkt(target["grid"]), always_xy=True)
    true = on_site(rows, middle)
    assert_allclose(np.column_stack(plan.transform(*rows[:, :2].T)), true[:, :2], rtol=0, atol=2e-4)
    step = pyproj.Transformer.from_pipeline(target["site"]["definition"])
    assert_allclose(np.column_stack(step.transform(*rows.T)), true, rtol=0, atol=2e-4)


def test_layers_lie_where_they_should(proven: tuple[Issue, Simulation, Floats]) -> None:
    """Two builds of GDAL read the CRS of each layer; by it, points come out at their longitude and latitude."""
    issue, _, _ = proven
    for name in ("points", "check_marks"):
        with fiona.open(issue.package, layer=name) as layer:
            by_fiona = layer.crs_wkt
        for text in (by_fiona, pyogrio.read_info(issue.package, layer=name)["crs"]):
            back = pyproj.Transformer.from_crs(pyproj.CRS.from_wkt(text), "EPSG:4167", always_xy=True)
            places = np.array(read_layer(issue.package, name).places)
            lon, lat = back.transform(places[:, 0], places[:, 1])
            if name == "points":
                assert_allclose(lon, issue.points.column("longitude"), rtol=0, atol=1e-9)
                assert_allclose(lat, issue.points.column("latitude"), rtol=0, atol=1e-9)
            assert ((lon > 171.8) & (lon < 171.9) & (lat > -43.75) & (lat < -43.65)).all()


def test_summary_report_and_trace_tell_it(proven: tuple[Issue, Simulation, Floats]) -> None:
    from pipeline.cli.issue_summary import summary

    issue, _, _ = proven
    told = summary(issue.record, "issued")
    assert "similarity" in told and "+340.0 ppm" in told and "CM5" in told
    page = next(issue.folder.glob("*.html")).read_text(encoding="utf-8")
    assert 'id="site"' in page and "+340.0 ppm" in page and "proj=affine" in page


def test_the_sense_of_the_turn_and_whose_north_is_up_are_told(
    proven: tuple[Issue, Simulation, Floats], tmp_path: Path
) -> None:
    """By `on_site`, what points east in the grid points 12.3 degrees north of east in the site's numbers."""
    from pipeline.cli.issue_summary import summary

    issue, job, middle = proven
    here, there = on_site(np.array([[*middle, 0.0], [middle[0] + 1.0, middle[1], 0.0]]), middle)[:, :2]
    assert np.degrees(np.arctan2(*(there - here)[::-1])) == pytest.approx(12.3)
    told = "turn +12.30000 degrees (anticlockwise from the grid's numbers to the site's)"
    assert told in summary(issue.record, "issued")
    page = next(issue.folder.glob("*.html")).read_text(encoding="utf-8")
    assert ">site north<" in page and "grid north" not in page and told in html.unescape(page)
    path = next(file for file in issue.folder.parents[2].glob("*.toml"))
    found = hand_out(path, tmp_path / "marks.csv")
    sheet = found.sheet.read_text(encoding="utf-8")
    assert ">site north<" in sheet and "Site bearing" in sheet and "from the site&#39;s north" in sheet
    assert "grid north" not in sheet and "Grid bearing" not in sheet
    # the bearings are those: the longest pair, by the truth in the site's own numbers
    names, own = list(job.marks.names), on_site(truth_of(job)[0], middle)
    pair = max((one for one in found.pairs if one.good), key=lambda one: one.grid)
    first, second = (own[names.index(found.look.marks.names[at])] for at in (pair.first, pair.second))
    across = second - first
    assert pair.bearing == pytest.approx(np.degrees(np.arctan2(across[0], across[1])) % 360.0, abs=1e-3)


def test_uncertainty_has_the_localisations(tmp_path: Path) -> None:
    """Rigid and step by marks that are off by millimetres; beside the same job in the grid, hu95 and vu95 have grown.

    By 1/n + d2 across / S times s2, widened by Fisher's F; ellipses of this job are circles but for a few hundredths.
    """
    job = simulate(PLAN)
    marks, rows = truth_of(job)
    middle = marks[:, :2].mean(axis=0)
    off = np.random.default_rng(4).normal(0, 0.005, (5, 3))
    plain = run_simulated(job, tmp_path / "plain")
    own = on_site(marks, middle, 1.0, np.zeros(2)) + off
    issue = run_simulated(with_site(job, tmp_path / "site", own, plan="rigid"), tmp_path / "site")
    site = issue.record["target"]["site"]
    assert site["scale"] == 1.0 and site["over_plan"] == 7 and site["over_height"] == 4
    at = [list(job.truth.names).index(row["name"]) for row in issue.points.rows]
    away = rows[at, :2] - middle
    spread = np.sum((marks[:, :2] - middle) ** 2)
    f = fdtri(2, 7, 0.95) / (chdtri(2, 0.05) / 2)
    t = stdtrit(4, 0.975)
    across = site["sigma_plan"] ** 2 * f * (1 / 5 + np.sum(away**2, axis=1) / spread)
    along = site["sigma_plan"] ** 2 * f / 5
    before, after = (np.array(of.points.column("hu95")) for of in (plain, issue))
    circle = chdtri(2, 0.05)
    grown = after**2 - before**2
    assert (grown > circle * along * 0.95).all() and (grown < circle * across * 1.05).all()
    risen = np.array(issue.points.column("vu95")) ** 2 - np.array(plain.points.column("vu95")) ** 2
    assert_allclose(risen, (t * site["sigma_height"]) ** 2 / 5, rtol=1e-4)


Spoil = Callable[[Floats], Floats]


def bad_mark(own: Floats) -> Floats:
    return own + np.outer(np.arange(5) == 2, [0.15, -0.1, 0.0])


def bad_height(own: Floats) -> Floats:
    return own + np.outer(np.arange(5) == 3, [0.0, 0.0, 0.2])


def exchanged(own: Floats) -> Floats:
    return own[:, [1, 0, 2]]


def in_feet(own: Floats) -> Floats:
    return own / [0.3048, 0.3048, 1.0]


@pytest.mark.parametrize(
    ("spoil", "keys", "words"),
    [
        (bad_mark, {}, ["do not fit the register in plan", "without CM3 the others agree"]),
        (bad_height, {}, ["do not fit the register in height: CM4", "without it the others agree"]),
        (exchanged, {}, ["easting and northing of the site swapped"]),
        (in_feet, {}, ["scale relative to the grid is 3.28", "feet for metres"]),
        (lambda own: own, {"plan": "rigid"}, ["no single mark explains it", 'plan = "similarity"']),
    ],
)
def test_marks_that_do_not_fit_take_the_proof_away(
    spoil: Spoil, keys: dict[str, str], words: list[str], tmp_path: Path
) -> None:
    job = simulate(PLAN)
    marks, _ = truth_of(job)
    own = spoil(on_site(marks, marks[:, :2].mean(axis=0), tilt=np.zeros(2)))
    path = with_site(job, tmp_path, own, **keys).write(tmp_path)
    outcome = run_job(path, dry_run=True)
    doubts = [one["what"] for one in outcome.record["doubts"] if one["kind"] == "site"]
    assert outcome.exit_code == 3 and outcome.record["verdict"] == "unchecked"
    assert any(all(word in what for word in words) for what in doubts), doubts
    job.job["checks"] = {"confirmed": ["site"]}
    assert run_job(job.write(tmp_path), dry_run=True).record["verdict"] == "proven"


def test_two_marks_are_just_what_it_needs(tmp_path: Path) -> None:
    """A doubt, and a note that one of the site's marks is in no register; points are right all the same."""
    job = simulate(PLAN)
    marks, _ = truth_of(job)
    middle = marks[:, :2].mean(axis=0)
    own = on_site(marks[[1, 3, 4]], middle, tilt=np.zeros(2))
    path = with_site(job, tmp_path, own, ["CM2", "CM4", "NAIL-7"], height="step").write(tmp_path)
    issue = run_written(path, code=3)
    assert_allclose(issued_truth(issue, job, middle, tilt=np.zeros(2)), 0, rtol=0, atol=5e-4)
    doubts = [one["what"] for one in issue.record["doubts"] if one["kind"] == "site"]
    assert len(doubts) == 1 and "nothing proves the localisation in plan: 2 common marks are" in doubts[0]
    assert issue.record["verdict"] == "unchecked" and "NAIL-7" in "\n".join(issue.record["notes"])
    assert issue.record["target"]["site"]["sigma_plan"] is None


#: Metres from the middle: a wide triangle, marks on a line, and four of which three stand within 15 m.
WIDE = np.array([[0.0, 0.0], [900.0, 0.0], [100.0, 800.0]])
ON_A_LINE = np.array([[0.0, 0.0], [400.0, 300.0], [800.0, 600.0]])
BUT_ONE = np.array([[0.0, 0.0], [15.0, 0.0], [0.0, 15.0], [800.0, 600.0]])
RIGHT = np.zeros(3)
#: Of the first two of the wide triangle, by the site's axes.
ALONG, ACROSS = np.array([[np.cos(TURN), np.sin(TURN), 0.0], [-np.sin(TURN), np.cos(TURN), 0.0]])


@pytest.mark.parametrize(
    ("places", "keys", "off", "words"),
    [
        (WIDE, {}, RIGHT, []),
        (BUT_ONE[:3], {}, RIGHT, []),
        (WIDE[:2], {}, [0.03, 0.04, 0.0], ["in plan: 2 common marks are only just enough"]),
        (WIDE[:2], {"plan": "rigid"}, RIGHT, ["along the line shows, one across it does not"]),
        (WIDE[:2], {"plan": "rigid"}, 0.4 * ALONG, ["do not fit the register in plan", "one across it does not"]),
        (WIDE[:2], {"plan": "rigid"}, 0.4 * ACROSS, ["along the line shows, one across it does not"]),
        (WIDE, {"height": "tilt"}, RIGHT, ["in heights: 3 common marks are only just enough"]),
        (WIDE, {"height": "tilt"}, [0.0, 0.0, 0.4], ["a geoid seldom slopes by more", "in heights: 3 common"]),
        (ON_A_LINE, {}, RIGHT, ["on one line, so they would fit equally well with its easting and northing"]),
        (
            BUT_ONE,
            {"height": "none"},
            [-0.06, 0.08, 0.0],
            ["in plan: with the common marks placed as they are, an error in S4 shows"],
        ),
        (BUT_ONE, {"height": "none", "plan": "rigid"}, RIGHT, ["an error in S4 across the line to the middle"]),
    ],
)
def test_what_nothing_proves_takes_the_proof_away(
    places: Floats, keys: dict[str, str], off: list[float], words: list[str], tmp_path: Path
) -> None:
    """The last mark is off by what shows in no residual. Three marks of a wide triangle prove each other."""
    job = simulate(PLAN)
    middle = truth_of(job)[0][:, :2].mean(axis=0)
    more = np.column_stack([middle + places, np.full(len(places), 305.0)])
    names = [f"S{number}" for number in range(1, len(more) + 1)]
    new = {"mark": names, "easting": more[:, 0], "northing": more[:, 1], "height": more[:, 2]}
    for column, values in job.register.items():
        job.register[column] = np.concatenate([values, new.get(column, np.full(len(more), 0.01))])
    own = on_site(more, middle, 1.0, np.zeros(2))
    own[-1] += off
    path = with_site(job, tmp_path, own, names, **keys).write(tmp_path)
    record = run_job(path, dry_run=True).record
    doubts = [one["what"] for one in record["doubts"]]
    assert len(doubts) == len(words), doubts
    assert all(any(word in what for what in doubts) for word in words), doubts
    assert record["verdict"] == ("unchecked" if words else "proven")


@pytest.mark.parametrize(
    ("chosen", "keys", "words"),
    [
        ([1], {}, "1 mark with a position in common; two are needed"),
        ([1, 2], {"height": "tilt"}, "a tilt needs 3"),
        ([0, 1, 2, 3, 4], {"plan": "helmert"}, "must be one of similarity, rigid"),
    ],
)
def test_what_no_localisation_can_be_made_of_is_refused(
    chosen: list[int], keys: dict[str, str], words: str, tmp_path: Path
) -> None:
    job = simulate(PLAN)
    marks, _ = truth_of(job)
    own = on_site(marks, marks[:, :2].mean(axis=0))[chosen]
    path = with_site(job, tmp_path, own, job.marks.names[chosen], **keys).write(tmp_path)
    with pytest.raises(JobError, match=words):
        check_job(path)


def test_another_job_in_the_recorded_system(proven: tuple[Issue, Simulation, Floats], tmp_path: Path) -> None:
    """The recorded CRS, as a file, is a grid like others: the same plan without the marks."""
    issue, _, middle = proven
    job = simulate(PLAN)
    (tmp_path / "site.wkt").write_text(issue.record["target"]["grid"])
    job.job["target"]["grid"] = "site.wkt"
    again = run_simulated(job, tmp_path)
    assert_allclose(issued_truth(again, job, middle)[:, :2], 0, rtol=0, atol=2e-4)
    assert again.record["verdict"] == "proven"


def test_a_site_of_a_height_datum_in_feet_is_refused(tmp_path: Path) -> None:
    """EGM96 height in international feet, as WKT: the site's marks are in metres."""
    job = simulate(PLAN)
    marks, _ = truth_of(job)
    job = with_site(job, tmp_path, on_site(marks, marks[:, :2].mean(axis=0)))
    told = pyproj.CRS("EPSG:5773").to_json_dict() | {"name": "EGM96 height (ft)"}
    told.pop("id")
    told["coordinate_system"]["axis"][0]["unit"] = {"type": "LinearUnit", "name": "foot", "conversion_factor": 0.3048}
    job.job["target"]["height"] = json.dumps(told)
    with pytest.raises(JobError, match="in metres"):
        check_job(job.write(tmp_path))


def test_marks_to_one_side_of_the_work_are_told(tmp_path: Path) -> None:
    """Marks within 400 m of one another, the work 2 km around."""
    job = simulate(replace(PLAN, marks=5, reach=2_000.0))
    near = simulate(replace(PLAN, marks=5, reach=200.0))
    job.register, job.marks = near.register, near.marks
    marks, _ = truth_of(near)
    own = on_site(marks, marks[:, :2].mean(axis=0))
    checked = check_job(with_site(job, tmp_path, own, height="tilt").write(tmp_path))
    assert any("do not surround the work" in warning for warning in checked.warnings)
    assert any(line.startswith("site: similarity") for line in checked.lines())


def test_a_revised_mark_moves_every_point_and_says_why(tmp_path: Path) -> None:
    job = simulate(PLAN)
    marks, _ = truth_of(job)
    own = on_site(marks, marks[:, :2].mean(axis=0))
    path = with_site(job, tmp_path, own, height="tilt").write(tmp_path)
    assert run_job(path).issued and not run_job(path).issued
    with_site(job, tmp_path, own + np.outer(np.arange(5) == 1, [0.01, 0.0, 0.0]), height="tilt")
    again = run_job(path)
    changes = again.record["changes"]
    assert again.issued and changes["moved"] == PLAN.points
    assert any("localisation" in because for because in changes["because"])
    assert 0.0005 < changes["max_horizontal"] < 0.02


FLAT = np.zeros(2)


def site_notes_of(job: Simulation, folder: Path, own: Floats, **keys: str) -> tuple[list[str], int]:
    outcome = run_job(with_site(job, folder, own, **keys).write(folder), dry_run=True)
    about = ("localisation alone leaves", "the site's heights are")
    return [one for one in outcome.record["notes"] if any(words in one for words in about)], outcome.exit_code


def own_of(job: Simulation, tilt: Floats = FLAT) -> Floats:
    marks, _ = truth_of(job)
    return on_site(marks, marks[:, :2].mean(axis=0), tilt=tilt)


def four_marks() -> Simulation:
    return simulate(replace(PLAN, marks=4))


def test_a_tilt_of_four_marks_one_of_which_is_off_is_told_with_its_figures(tmp_path: Path) -> None:
    """By numpy: a plane through four heights has one left over, and is best known in the middle of the marks."""
    job = four_marks()
    own = own_of(job)
    own[3, 2] += 0.12
    (note,), code = site_notes_of(job, tmp_path, own, height="tilt")
    marks, _ = truth_of(job)
    design = np.column_stack([np.ones(4), marks[:, :2] - marks[:, :2].mean(axis=0)])
    step = marks[:, 2] - own[:, 2]
    left = step - design @ np.linalg.lstsq(design, step, rcond=None)[0]
    best = stdtrit(1, 0.975) * np.linalg.norm(left) / np.sqrt(4)
    low, high = (float(part.split(" ")[0]) for part in note.split("uncertain by ")[1].split(" to ")[:2])
    assert best * 0.99 < low < 2 * best < high and "leaves heights uncertain" in note and code == 0


@pytest.mark.parametrize("keys", [{"height": "tilt"}, {"height": "step"}, {"height": "none"}, {}])
def test_a_good_localisation_is_quiet(keys: dict[str, str], tmp_path: Path) -> None:
    job = four_marks()
    own = own_of(job)
    own[:, 2] = own[:, 2] + 200.0 if keys.get("height") == "none" else own[:, 2]
    own += np.random.default_rng(3).normal(0.0, 0.001, own.shape)
    assert site_notes_of(job, tmp_path, own, **keys) == ([], 0)


def test_heights_of_the_site_that_are_not_used_and_are_others_are_told(tmp_path: Path) -> None:
    job = simulate(PLAN)
    own = own_of(job)
    own[:, 2] += 200.0 - 1.3
    (note,), code = site_notes_of(job, tmp_path, own, height="none")
    assert "the site's heights are 1.300 m below the register's by 5 common marks" in note and code == 0


@pytest.mark.parametrize("filled", [0.0, np.nan])
def test_heights_that_a_plan_does_not_have_are_not_told(filled: float, tmp_path: Path) -> None:
    job = simulate(PLAN)
    own = own_of(job)
    own[:, 2] = filled
    assert site_notes_of(job, tmp_path, own, height="none") == ([], 0)
