"""What is odd about a whole export: precision that cannot be, much that is held back, names at two places, ends."""

import datetime as dt
import os
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from issued import current_issue
from packages_made import stored_package
from running import published_record, replace_in, rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.issue_summary import needs_attention, summary
from pipeline.problems import JobError

SIGMAS = ("sigma_east", "sigma_north", "sigma_up")


def with_sigmas(change: Callable[[np.ndarray], np.ndarray]) -> Simulation:
    job = simulate(Plan(sessions=2, points=40))
    job.job["quality"] = {}
    for name in SIGMAS:
        job.rows[name] = change(job.rows[name])
    return job


def told(path: Path) -> list[str]:
    """What a check warns of; a run notes the same."""
    found = [text.replace(f"{path.parent}/", "") for text in check_job(path).warnings]
    assert set(found) <= set(run_job(path, dry_run=True).record["notes"])
    return found


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda s: s * 1000.0, "all 86 accepted readings state standard uncertainties of more than 0.5 m in plan"),
        (lambda s: s * 100.0, "accepted readings state standard uncertainties of more than 0.5 m in plan"),
        (lambda s: s * 0.0 + 0.00006, "all 86 accepted readings state standard uncertainties of less than 0.15 mm"),
    ],
)
def test_precision_that_cannot_be_is_in_doubt(
    change: Callable[[np.ndarray], np.ndarray], says: str, tmp_path: Path
) -> None:
    job = with_sigmas(change)
    path = job.write(tmp_path)
    outcome = run_job(path, dry_run=True)
    (doubt,) = outcome.record["doubts"]
    assert (doubt["kind"], outcome.record["verdict"], outcome.exit_code) == ("precision", "unchecked", 3)
    assert says in doubt["what"]
    assert doubt["what"].startswith("rover001.csv:")
    assert told(path) == [doubt["what"]]


@pytest.mark.parametrize(
    ("heading", "times", "larger"),
    [
        ("Precision {}", 8.0, True),
        ("Précision {}", 8.0, True),
        ("Precision {}", 1.0, False),  # of the size that is used
        ("Precision {}", -8.0, False),  # differences of something
        ("{} (95%)", 2.5, False),  # as much wider as it says
        ("Tilt accuracy {}", 8.0, False),
    ],
)
def test_precisions_that_are_not_mapped_are_told_where_they_are_larger(
    heading: str, times: float, larger: bool, tmp_path: Path
) -> None:
    """[quality] states what the simulated receiver has; the export says so many times as much, unmapped."""
    job = with_sigmas(lambda s: s)
    job.job["quality"] = {
        "sigma_horizontal": float(job.rows["sigma_east"].max()),
        "sigma_vertical": float(job.rows["sigma_up"].max()),
    }
    path = job.write(tmp_path)
    names = {f"s{letter}": heading.format(letter) for letter in "ENU"}

    def renamed(row: dict[str, str]) -> dict[str, str]:
        other = {called: f"{float(row[name]) * times:.4f}" for name, called in names.items()}
        return {name: cell for name, cell in row.items() if name not in names} | other

    for export in tmp_path.glob("rover*.csv"):
        rewrite_export(export, renamed)
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r'sigma_(?:east|north|up) = "s[ENU]",?', "", text), encoding="utf-8")
    found = [text for text in told(path) if "looks like a precision" in text or "look like precisions" in text]
    assert bool(found) is larger
    if larger:
        assert all(f'"{name}" (' in found[0] for name in names.values())


def test_limits_that_cannot_judge_readings_are_told(tmp_path: Path) -> None:
    """Of five readings the export leaves the uncertainty out, and it has no column of PDOP at all."""
    job = with_sigmas(lambda s: s)
    job.job["quality"] = {"max_sigma_horizontal": 0.05, "max_pdop": 6.0}
    for name in SIGMAS[:2]:
        job.rows[name][10:15] = np.nan
    path = job.write(tmp_path)
    replace_in(tmp_path / "rover001.csv", {"nan": ""})
    assert told(path) == [
        "rover001.csv:12: quality.max_sigma_horizontal was not applied to 5 of 86 accepted readings (first one here):"
        " the value it limits is missing",
        "rover001.csv: quality.max_pdop has no effect: none of its 86 accepted readings has the value it limits. Map"
        " the column that has it, or remove the limit",
    ]


def test_figures_that_stand_for_none_are_not_within_a_limit(tmp_path: Path) -> None:
    """Receivers write -1 or -9999 for an age, and 0 or -1 for a PDOP, that they do not know."""
    job = with_sigmas(lambda s: s)
    job.job["quality"] = {"max_correction_age": 10.0, "max_pdop": 6.0}
    path = job.write(tmp_path)
    replace_in(path, {'longitude = "Lon"': 'longitude = "Lon", correction_age = "Age", pdop = "PDOP"'})
    ages = {20: "-1", 21: "-9999", 22: "999", 23: "0"}
    pdops = {30: "0", 31: "-1", 32: "99.99"}
    lines = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    cells = [f",{ages.get(row, '1.0')},{pdops.get(row, '1.4')}" for row in range(2, len(lines) + 1)]
    text = "\n".join(line + more for line, more in zip(lines, [",Age,PDOP", *cells], strict=True))
    (tmp_path / "rover001.csv").write_text(text + "\n", encoding="utf-8")
    assert told(path) == [
        "rover001.csv:30: quality.max_pdop was not applied to 2 of 84 accepted readings (first one here): the value it"
        ' limits is zero or less, which means "not recorded"',
        "rover001.csv:20: quality.max_correction_age was not applied to 2 of 84 accepted readings (first one here): the"
        ' value it limits is less than zero, which means "not recorded"',
    ]
    assert run_job(path, dry_run=True).record["rows"]["by_reason"] == {"poor_quality": 2}


@pytest.mark.parametrize("sigma", [0.0004, 0.001, 0.008, 0.05, 0.2])
def test_precision_that_can_be_is_left_in_peace(sigma: float, tmp_path: Path) -> None:
    """From post-processed occupations of hours to readings under trees."""
    path = with_sigmas(lambda s: s * 0.0 + sigma).write(tmp_path)
    assert told(path) == []
    assert run_job(path, dry_run=True).exit_code == 0


def test_an_export_in_doubt_takes_the_proof_from_its_own_sessions(tmp_path: Path) -> None:
    job = with_sigmas(lambda s: s)
    for name in SIGMAS:
        job.rows[name][job.rows["session"] == 1] *= 1000.0
    path = job.write(tmp_path, files=2)
    assert [session["verdict"] for session in run_job(path, dry_run=True).record["sessions"]] == ["proven", "unchecked"]


@pytest.mark.parametrize(("count", "doubts"), [(2, []), (5, ["precision"])])
def test_some_readings_without_precision_are_told_and_many_are_in_doubt(
    count: int, doubts: list[str], tmp_path: Path
) -> None:
    """More than one in twenty of a session is no slip of a reading: nobody looked whether they are fixed."""
    job = with_sigmas(lambda s: s)
    job.rows["sigma_east"][20 : 20 + count] = 1.2
    path = job.write(tmp_path)
    (text,) = told(path)
    says = "86 accepted readings state standard uncertainties of more than 0.5 m"
    assert text.startswith(f"rover001.csv:22: {count} of {says}")
    outcome = run_job(path, dry_run=True)
    assert [one["kind"] for one in outcome.record["doubts"]] == doubts
    assert [one["verdict"] for one in outcome.record["sessions"]] == [
        "unchecked" if doubts else "proven",
        "proven",
    ]


def test_a_limit_of_the_job_judges_readings_without_precision(tmp_path: Path) -> None:
    job = with_sigmas(lambda s: s)
    job.rows["sigma_east"][20:25] = 1.2
    job.job["quality"] = {"max_sigma_horizontal": 2.0}
    assert run_job(job.write(tmp_path), dry_run=True).record["doubts"] == []


def test_a_large_part_that_is_held_back_is_told_with_the_likely_reason(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=40))
    drafted = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["solution"] = job.rows["solution"].astype(object)
    job.rows["solution"][drafted[:12]] = "RTK FIXED"
    path = job.write(tmp_path)
    (text,) = told(path)
    assert text == (
        f"rover001.csv:{drafted[0] + 2}: 12 of the file's 43 rows are held back as not_fixed (first one here):"
        ' their solutions are "RTK FIXED" (12); check quality.solutions'
    )


def test_a_small_part_that_is_held_back_is_no_news(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=40))
    drafted = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["solution"] = job.rows["solution"].astype(object)
    job.rows["solution"][drafted[:4]] = "float"
    assert told(job.write(tmp_path)) == []


def test_what_holds_a_file_back_stands_beside_the_ties_that_it_takes(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40))
    for name in SIGMAS:
        job.rows[name] = job.rows[name] * 1000.0
    with pytest.raises(JobError) as caught:
        check_job(job.write(tmp_path))
    (problem,) = [one for one in caught.value.problems if one.file.endswith("rover001.csv")]
    assert problem.what == "86 of the file's 86 rows are held back as poor_quality (first one here)"
    assert "units" in problem.fix


def test_days_and_months_exchanged_by_the_stated_format_are_looked_for_there(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=20)).write(tmp_path)
    time = "Observed"  # 2026-03-01T19:50:00Z to 03-01/2026 19:50:00, read as the third of January
    rewrite_export(
        tmp_path / "rover001.csv", lambda row: row | {time: f"{row[time][5:10]}/{row[time][:4]} {row[time][11:19]}"}
    )
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[[points]]", '[[points]]\ntime_format = "%d-%m/%Y %H:%M:%S"'), encoding="utf-8")
    with pytest.raises(JobError) as caught:
        check_job(path)
    assert any("order of %d and %m in time_format" in str(problem) for problem in caught.value.problems)


@pytest.mark.parametrize("name", ["rover002.csv", "rover002.geojson", "rover002.gpkg"])
def test_an_export_without_rows_is_told(name: str, tmp_path: Path) -> None:
    """Beside a good one it needs attention; alone it leaves the tie without its point: then it stands beside that."""
    path = simulate(Plan(sessions=1, points=20)).write(tmp_path)
    header = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()[0]
    if name.endswith(".gpkg"):
        stored_package(tmp_path / name, dict.fromkeys(header.split(","), "TEXT"), [])
    else:
        text = f"{header}\n" if name.endswith(".csv") else '{"type": "FeatureCollection", "features": []}'
        (tmp_path / name).write_text(text, encoding="utf-8")
    replace_in(path, {'"rover*.csv"': f'"rover001.csv", "{name}"'})
    (text,) = told(path)
    assert text.startswith(f"{name}: the file has no rows")
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["verdict"]) == (3, "proven")
    (whole,) = outcome.record["wholly_held_back"]
    assert (whole["kind"], whole["name"], whole["rows"], whole["by_reason"]) == ("file", name, 0, {})
    for said in (summary, needs_attention):
        assert said(outcome.record, outcome.headline).count("the file has no rows") == 1
    replace_in(path, {f'"rover001.csv", "{name}"': f'"{name}"'})
    with pytest.raises(JobError) as caught:
        check_job(path)
    assert [one.what for one in caught.value.problems if one.file.endswith(name)] == ["the file has no rows"]
    assert caught.value.problems[0].file.endswith(name), "the names that are missing follow from it"


@pytest.mark.parametrize(
    ("fixed", "other"),
    [("fix", "Float"), ("RTK Fixed", "RTK Float"), ("FIXED", "FLOATING"), ("INT", "FLT"), ("R", "F"), ("4", "5")],
)
def test_solutions_that_are_accepted_and_are_no_fixed_ones(fixed: str, other: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=20))
    job.rows["solution"] = np.where(job.rows["solution"] == "fix", fixed, other)
    job.rows["solution"][5:8] = other
    job.job["quality"]["solutions"] = [fixed, other]
    (text,) = told(job.write(tmp_path))
    assert text.startswith(f"quality.solutions accepts {other}: such readings are decimetres to metres out")


@pytest.mark.parametrize("fixed", ["fix", "RTK Fixed", "Fixed (single base)", "4", "R", "F", "1", "Fixé", "PPP"])
def test_solutions_that_may_all_be_fixed_are_let_be(fixed: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=20))
    job.rows["solution"] = np.where(job.rows["solution"] == "fix", fixed, "other")
    job.job["quality"]["solutions"] = [fixed]
    assert told(job.write(tmp_path)) == []


def test_one_name_at_two_places(tmp_path: Path) -> None:
    """Two rovers count from 1; what is measured again at its place is no error."""
    job = simulate(Plan(sessions=2, points=40))
    job.rows["name"] = job.rows["name"].astype(object)
    first, second = (np.flatnonzero((job.rows["session"] == n) & (job.rows["kind"] == "point")) for n in (0, 1))
    for number in range(20):
        job.rows["name"][first[number]] = job.rows["name"][second[number]] = str(number + 1)
    for row in (first[30], second[30]):
        job.rows["name"][row] = "AGAIN"
    for name, by in (("longitude", 1e-8), ("latitude", 1e-8), ("height", 0.002)):  # a millimetre or two: no copy
        job.rows[name][second[30]] = job.rows[name][first[30]] + by
    path = job.write(tmp_path, files=2)
    (text,) = told(path)
    places = job.truth.places[[first[0], second[0]]]
    apart = np.radians(places[1, :2] - places[0, :2]) * 6_371_000 * [np.cos(np.radians(places[0, 1])), 1.0]
    assert text.startswith("20 names are used at two places or more: '1' (rover001.csv:")
    assert text.count("rover002.csv:") == 3
    told_apart = float(text.split(", ")[1].split(" m apart")[0].replace(",", ""))
    assert told_apart == pytest.approx(np.hypot(*apart), abs=25.0)  # on a sphere, and with both bases metres off
    assert "and 17 more" in text


def add_ends(path: Path, seconds: dict[str, int]) -> None:
    """Give every row a time_end, five seconds after its time unless it is named."""

    def change(row: dict[str, str]) -> dict[str, str]:
        time = np.datetime64(row["Observed"].removesuffix("Z"), "s")
        return {**row, "Until": f"{time + np.timedelta64(seconds.get(row['Point'], 5), 's')}Z"}

    rewrite_export(path.with_name("rover001.csv"), change)
    replace_in(path, {'time = "Observed"': 'time = "Observed", time_end = "Until"'})


def test_ends_of_occupations(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=20))
    names = job.rows["name"][job.rows["kind"] == "point"]
    path = job.write(tmp_path)
    add_ends(path, {names[2]: -60, names[3]: 13 * 3600})
    early, long, late = told(path)
    assert early.startswith("rover001.csv:6: time_end is before time in 1 row (first one here)")
    assert long.startswith("rover001.csv:7: 1 row lasts longer than 12 hours")
    assert late.startswith("rover001.csv:7: in 1 row (first one here) time_end is outside the session")


def test_ends_that_are_in_order_are_left_in_peace(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=2, points=20)).write(tmp_path)
    add_ends(path, {})
    assert told(path) == []


def test_an_occupation_from_one_session_into_the_next_is_held_back(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=20))
    second = job.job["session"][1]
    job.job["session"][0]["end"] = second["start"]
    for session in job.job["session"]:
        session["base"] = "BASE-01"
    job.rows["base"][:] = "BASE-01"
    last = np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] == "point"))[-1]
    path = job.write(tmp_path)
    add_ends(path, {job.rows["name"][last]: 20 * 3600})
    outcome = run_job(path)
    assert outcome.record["rows"]["by_reason"] == {"two_sessions": 1}
    assert outcome.record["verdict"] == "proven"
    (held,) = current_issue(tmp_path / "out").held_back.rows
    assert "from session session-01 into session-02: a mean over both bases" in held["detail"]


@pytest.mark.parametrize("factor", [1000.0, 0.005])
def test_the_uncertainties_of_one_day_among_others_cannot_be(factor: float, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=3, points=8))
    late = job.rows["session"] == 2
    for axis in ("east", "north", "up"):
        job.rows[f"sigma_{axis}"] = np.where(late, factor, 1.0) * job.rows[f"sigma_{axis}"]
    job.job["quality"] = {}
    record = published_record(job.write(tmp_path), code=3)
    (doubt,) = record["doubts"]
    assert (doubt["kind"], doubt["sessions"]) == ("precision", ["session-03"])
    assert [one["verdict"] for one in record["sessions"]] == ["proven", "proven", "unchecked"]


def test_points_numbered_from_a_mark_are_no_occupations_of_it(tmp_path: Path) -> None:
    """All points of a session are float, and called after the mark that they were measured from."""
    job = simulate(Plan(sessions=2, points=16, noise=False))
    names, solutions = (job.rows[column].astype(object) for column in ("name", "solution"))
    here = np.flatnonzero((job.rows["session"] == 1) & (job.rows["kind"] == "point"))
    for number, row in enumerate(here):
        names[row], solutions[row] = f"CM4-{number + 1}", "float"
    job.rows["name"], job.rows["solution"] = names.astype(str), solutions.astype(str)
    wholly = published_record(job.write(tmp_path), code=3)["wholly_held_back"]
    assert ("session", "session-02", 16) in [(one["kind"], one["name"], one["held_back"]) for one in wholly]


@pytest.mark.parametrize("text", ["2026-03-04T00:00:00", "04.03.2026", "04-Mar", "Mar-04"])
def test_names_that_a_spreadsheet_made_dates_of_are_told_with_the_row(text: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40))
    job.rows["name"] = job.rows["name"].astype("U30")
    job.rows["name"][5] = text
    (note,) = [note for note in told(job.write(tmp_path)) if "is a date" in note]
    assert note.startswith(f'rover001.csv:7: the name of 1 row (first one here) is a date ("{text}")')


@pytest.mark.parametrize("form", ["01-{}", "{}-04", "2026-{:%m}-03", "{:%d.%m}.2026"])
def test_names_that_are_all_dates_are_told_beyond_those_of_the_days(form: str, tmp_path: Path) -> None:
    """Points 1-1 to 1-12 of one day all become dates, each another; a day's points have the date of that day."""
    months = [dt.date(2026, number, 11) for number in range(1, 13)]
    job = simulate(Plan(sessions=1, points=12))
    job.rows["name"] = job.rows["name"].astype("U30")
    points = np.flatnonzero(job.rows["kind"] == "point")
    for row, month in zip(points, months, strict=True):
        job.rows["name"][row] = form.format(month if ":" in form else f"{month:%b}")
    (note,) = [note for note in told(job.write(tmp_path / "each")) if "is a date" in note]
    assert "the name of 12 rows" in note
    job.rows["name"][points] = "2026-03-02"
    assert not [note for note in told(job.write(tmp_path / "one")) if "is a date" in note]


@pytest.mark.parametrize("text", ["2.00E+01", "1.23457E+11", "3E+04"])
def test_names_that_a_spreadsheet_made_numbers_of_are_told_with_the_row(text: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40))
    job.rows["name"] = job.rows["name"].astype("U30")
    assert not [note for note in told(job.write(tmp_path / "as they are")) if "power of ten" in note]
    job.rows["name"][5] = text
    job.rows["name"][8] = "2E1"
    (note,) = [note for note in told(job.write(tmp_path / "made")) if "power of ten" in note]
    assert note.startswith(f'rover001.csv:7: the name of 1 row (first one here) is "{text}"')


@pytest.mark.parametrize("form", ["{:03d}-26", "3-{}", "{:02d}.03.2026-A", "MAR-{}B", "2026-03-{:02d}-1"])
def test_names_that_are_no_dates_are_let_be(form: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40))
    job.rows["name"] = job.rows["name"].astype("U30")
    for row in range(5, 30, 3):
        job.rows["name"][row] = form.format(row)
    assert not [note for note in told(job.write(tmp_path)) if "is a date" in note]


@pytest.mark.skipif(os.path.normcase("A") == "a", reason="capitals do not count in names here")
def test_an_export_that_capitals_alone_keep_out_is_told(tmp_path: Path) -> None:
    """One controller writes ROVER2.CSV, and the job reads rover*.csv; what is no such file is nobody's business."""
    path = simulate(Plan(sessions=1, points=6)).write(tmp_path)
    (tmp_path / "ROVER3.TXT").write_text("notes")
    assert 'files = ["rover*.csv"]' in path.read_text() and not [note for note in told(path) if "lower case" in note]
    (tmp_path / "ROVER2.CSV").write_bytes((tmp_path / "rover001.csv").read_bytes())
    (note,) = [note for note in told(path) if "lower case" in note]
    assert 'pattern "rover*.csv" does not match ROVER2.CSV,' in note
    assert [note for note in run_job(path, dry_run=True).record["notes"] if "lower case" in note]


@pytest.mark.parametrize("name", ["~$rover001.csv", "rover001.csv~", "rover002.csv.part", "rover003.csv.crdownload"])
def test_files_of_programs_at_work_are_passed_over_with_a_note(name: str, tmp_path: Path) -> None:
    """Somebody has an export open, or one is still being copied: the job is what it is without that file."""
    path = simulate(Plan(sessions=1, points=6)).write(tmp_path)
    path.write_text(path.read_text().replace('files = ["rover*.csv"]', 'files = ["*rover*"]'))
    before = run_job(path, dry_run=True).record
    (tmp_path / name).write_bytes(b"\x05lock")
    record = run_job(path).record
    (note,) = [note for note in record["notes"] if "temporary" in note]
    assert f"passes over {name}," in note
    assert record["rows"] == before["rows"] and record["verdict"] == before["verdict"]
    (tmp_path / name).unlink()
    assert not run_job(path).issued


def test_a_file_of_any_name_is_read_where_it_is_named(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=6)).write(tmp_path)
    (tmp_path / "rover001.csv").rename(tmp_path / "~$rover001.csv")
    path.write_text(path.read_text().replace('files = ["rover*.csv"]', 'files = ["~$rover001.csv"]'))
    record = run_job(path, dry_run=True).record
    assert [one["path"] for one in record["inputs"] if "rover" in one["path"]] == ["~$rover001.csv"]
    assert not [note for note in record["notes"] if "temporary" in note]
