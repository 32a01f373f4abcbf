"""The report of a whole run: all checks and sessions of the GeoPackage, the same bytes whenever and wherever."""

import datetime as dt
import errno
import hashlib
import re
from itertools import pairwise
from pathlib import Path

import pytest
from every import every
from issued import Issue, current_issue, everything_below
from page_read import Element, read_page
from running import run_written
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError
from pipeline.run.fleet import run_many

NUMBERS = ("d_east", "d_north", "d_horizontal", "d_height", "hu95", "vu95")


def report(issue: Issue) -> Element:
    (path,) = issue.folder.glob("*-[0-9]*.html")
    return read_page(path.read_bytes())


def cells(section: Element) -> list[list[str]]:
    """The rows of all tables of a section."""
    return [[one.text() for one in row.children if isinstance(one, Element)] for row in section.all("tr")]


@pytest.fixture(scope="module")
def moved(tmp_path_factory: pytest.TempPathFactory) -> Issue:
    """Three sessions, the last tied by a temporary mark alone; the base of the second moved at noon."""
    job = simulate(Plan(sessions=3, points=40, ties=2, checks=3, marks=5, temporary=True, tied_sessions=2))
    job.knock_base(1, 0.5, east=0.12, north=-0.08)
    job.rows["solution"][8] = "float"
    return run_written(job.write(tmp_path_factory.mktemp("moved")), 3)


def test_every_check_and_every_session_of_the_geopackage_stands_in_the_page(moved: Issue) -> None:
    root = report(moved)
    found = [row for row in cells(root.section("checks")) if len(row) == 12][1:]
    assert len(found) == len(moved.check_marks.rows)
    words = {None: "not tested", 0: "failed", 1: "passed"}
    for shown, row in every(zip(found, moved.check_marks.rows, strict=True)):
        assert (shown[0], shown[1], shown[2]) == (row["session"], row["point"], row["mark"])
        assert (shown[3], shown[11]) == (f"{row['role']}, {row['place']}", words[row["passed"]])
        observed = dt.datetime.fromisoformat(row["observed"].replace("Z", "+00:00"))
        assert abs(dt.datetime.fromisoformat(f"{shown[4]}+00:00") - observed) < dt.timedelta(milliseconds=1)
        for text, key in zip(shown[5:11], NUMBERS, strict=True):
            assert (text == "-") if row[key] is None else abs(float(text) - row[key]) <= 0.0005001, key
    found = cells(root.section("sessions"))[1:]
    assert [(row[0], row[1], row[2]) for row in found] == [
        (row["session"], row["verdict"], row["base"]) for row in moved.sessions.rows
    ]
    for shown, row in every(zip(found, moved.sessions.rows, strict=True)):
        assert [int(text) for text in shown[5:8]] == [row["points"], row["ties"], row["checks"]]
        wanted = [row[f"{what}_{axis}"] for axis in ("east", "north", "up") for what in ("shift", "sigma")]
        assert all(abs(float(text) - value) <= 0.0005001 for text, value in zip(shown[8:], wanted, strict=True))


def test_the_proof_in_time_is_that_of_the_points(moved: Issue) -> None:
    """Each issued or suspect row's proof word is the one of the stretch that it was observed in."""
    stretches = {row["session"]: row["stretches"] for row in moved.record["sessions"]}
    for name, parts in stretches.items():
        (session,) = [row for row in moved.record["sessions"] if row["session"] == name]
        assert (parts[0]["from"], parts[-1]["until"]) == (session["start"], session["end"])
        assert all(one["until"] == two["from"] for one, two in every(pairwise(parts)))
    seen = set()
    rows = [(row, row["proof"]) for row in moved.points.rows]
    rows += [(row, "suspect") for row in moved.held_back.rows if row["reason"] == "suspect"]
    for row, word in every(rows):
        (part,) = [one for one in stretches[row["session"]] if one["from"] <= row["observed"] < one["until"]]
        assert part["proof"] == word
        seen.add(word)
    assert seen == {"bracketed", "suspect"}


def test_the_lines_that_split_the_session_stand_as_they_are_in_the_record(moved: Issue) -> None:
    (wanted,) = [one["split"] for one in moved.record["diagnoses"] if one["split"]]
    section = report(moved).section("causes")
    assert ["".join(map(str, one.children)) for one in section.all("pre")] == [wanted]
    assert "the base appears to have moved" in section.text()


def test_the_plan_draws_every_place_of_a_small_job(moved: Issue) -> None:
    (drawing,) = report(moved).section("plan").all("svg")
    data = [one.attributes["d"] for one in drawing.all("path") if one.attributes.get("class", "").startswith("pt ")]
    assert len(data) == 2  # bracketed, held back
    spots = sum(len(re.findall("M", one)) for one in data)
    assert 0.9 * len(moved.points.rows + moved.held_back.rows) <= spots  # two in one tenth of a unit are one
    assert spots <= len(moved.points.rows + moved.held_back.rows)
    labels = {one.text() for one in drawing.all("text")}
    marks = {row["mark"] for row in moved.check_marks.rows}
    assert {f"{mark} (fails)" if f"{mark} (fails)" in labels else mark for mark in marks} <= labels


def test_its_sum_stands_in_the_record_and_its_own_name_nowhere_else(moved: Issue) -> None:
    entries = {entry["name"]: entry for entry in moved.record["files"]}
    assert list(entries) == ["simulated-001.gpkg", "simulated-001.html"]
    page = (moved.folder / "simulated-001.html").read_bytes()
    assert entries["simulated-001.html"]["sha256"] == hashlib.sha256(page).hexdigest()
    assert entries["simulated-001.gpkg"]["sha256"] in page.decode()


def test_no_path_of_the_machine_and_no_time_of_making(moved: Issue) -> None:
    page = (moved.folder / "simulated-001.html").read_text(encoding="utf-8")
    assert str(moved.folder.parents[2]) not in page and str(Path.home()) not in page
    assert f"{dt.datetime.now(dt.UTC):%Y-%m-%d}" not in page


def test_the_same_job_gives_the_same_page_elsewhere_and_with_more_workers(tmp_path: Path) -> None:
    paths = [simulate(Plan(sessions=2, points=30)).write(tmp_path / name) for name in ("one", "two", "three/deeper")]
    run_job(paths[0])
    list(run_many(paths[1:], workers=2))
    pages = [current_issue(path.parent / "out").folder.joinpath("simulated-001.html").read_bytes() for path in paths]
    assert pages[0] == pages[1] == pages[2]


def test_a_reissue_says_what_it_supersedes_and_why(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=8, noise=False))
    run_written(job.write(tmp_path))
    first = report(current_issue(tmp_path / "out"))
    assert "supersedes nothing" in first.section("changes").text()
    job.mistype("CM1", "easting", 0.021)
    second = run_written(job.write(tmp_path))
    told = report(second).section("changes").text()
    assert "Issue 001 is superseded" in told and "moved 8" in told
    assert "The largest move is 0.021 m horizontally" in told
    assert all(reason in told for reason in every(second.record["changes"]["because"]))


def test_nothing_is_written_by_a_dry_run(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=8)).write(tmp_path)
    outcome = run_job(path, dry_run=True)
    assert outcome.record["files"] == []
    assert not [*tmp_path.rglob("*.html")]


def test_a_hostile_name_stays_text(tmp_path: Path) -> None:
    name = "</td><script>alert('x')</script>&amp;"
    job = simulate(Plan(sessions=1, points=8, noise=False))
    job.rows["name"] = job.rows["name"].astype(object)
    at = int((job.rows["name"] == "S01-C1").nonzero()[0][0])
    job.rows["name"][at] = name
    job.job["session"][0]["checks"][0]["point"] = name
    issue = run_written(job.write(tmp_path))
    assert name in [row[1] for row in cells(report(issue).section("checks")) if len(row) == 12]


def test_tens_of_thousands_of_points_are_thinned(tmp_path: Path) -> None:
    issue = run_written(simulate(Plan(sessions=1, points=20_000)).write(tmp_path))
    (path,) = issue.folder.glob("*-[0-9]*.html")
    assert path.stat().st_size < 150_000
    told = report(issue).section("plan").text()
    found = re.search(r"([\d\u202f]+) of ([\d\u202f]+) readings with coordinates are drawn", told)
    assert found is not None
    shown, total = (int(text.replace("\u202f", "")) for text in found.groups())
    assert total == 20_000 and 700 < shown <= 3000


def test_a_report_that_has_no_room_on_the_disk_leaves_the_issue_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The GeoPackage found room, the page after it does not."""
    job = simulate(Plan(sessions=1, points=8, noise=False))
    path = job.write(tmp_path)
    run_written(path)
    before = everything_below(tmp_path / "out" / "issues")
    job.mistype("CM1", "easting", 0.006)
    job.write(tmp_path)

    def no_room(folder: Path, *_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(folder / "simulated-002.html"))

    with monkeypatch.context() as patched:
        patched.setattr("pipeline.run.run_job.write_report", no_room)
        with pytest.raises(JobError, match="cannot be written"):
            run_job(path)
    assert everything_below(tmp_path / "out" / "issues") == before
    assert run_job(path).record["issue"] == 2
