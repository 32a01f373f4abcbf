"""A failing check that is left out of an export which is delivered again: its points are not released for that."""

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from first_issue import first_issue, run_once
from record_of_before import as_schema_7
from running import Row, replace_in, rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.run.run_job import Outcome


@pytest.fixture
def job(tmp_path: Path) -> tuple[Simulation, Path]:
    """Two sessions; the last check of the first is knocked 0.2 m off, so that it fails."""
    made = simulate(Plan(sessions=2, points=10, ties=1, checks=2, noise=False))
    path = made.write(tmp_path)
    edit(path, lambda row: row | {"Lat": f"{float(row['Lat']) + 2e-6:.10f}"} if row["Point"] == "S01-C2" else row)
    return made, path


def edit(path: Path, change: Callable[[Row], Row]) -> None:
    for export in path.parent.glob("rover*.csv"):
        rewrite_export(export, change)


def without(path: Path, *points: str) -> None:
    for export in path.parent.glob("rover*.csv"):
        lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not any(point in line for point in points)]
        export.write_text("".join(kept), encoding="utf-8")
    text = path.read_text(encoding="utf-8")
    for point in points:
        (entry,) = {part for part in text.split("{") if f'"{point}"' in part}
        text = (
            text.replace("{" + entry.split("}")[0] + "}", "")
            .replace(", , ", ", ")
            .replace("[, ", "[")
            .replace(", ]", "]")
        )
    path.write_text(text, encoding="utf-8")


def doubts(outcome: Outcome) -> list[tuple[str, list[str]]]:
    return [(one["what"], one["sessions"]) for one in outcome.record["doubts"] if not one["confirmed"]]


def test_a_failing_check_that_is_gone_is_a_doubt_until_it_is_confirmed(job: tuple[Simulation, Path]) -> None:
    _, path = job
    first = run_once(path)
    assert first.exit_code == 3 and any(check["passed"] is False for check in first.record["checks"])
    without(path, "S01-C2")
    second = run_once(path)
    ((what, sessions),) = doubts(second)
    assert what.startswith("S01-C2 on CM") and "failed in issue 001 and" in what
    assert sessions == [second.record["sessions"][0]["session"]] and second.exit_code == 3
    assert second.record["sessions"][0]["verdict"] == "unchecked"
    again = run_job(path)
    assert (again.issued, again.exit_code) == (False, 3)
    # whatever else changes, it is taken along, and stays told as what it was
    edit(path, lambda row: row | {"Code": "GATE"} if row["Point"].endswith("00001") else row)
    third = run_job(path)
    assert third.record["issue"] == 3 and doubts(third) == doubts(second)
    text = path.read_text(encoding="utf-8")
    path.write_text(text + '\n[checks]\nconfirmed = ["unanswered-check"]\n', encoding="utf-8")
    fourth = run_job(path)
    assert (fourth.exit_code, doubts(fourth)) == (0, [])


def renamed_check(path: Path, name: str) -> None:
    """The failing check is told by its code, under another name."""
    text = path.read_text(encoding="utf-8")
    (listed,) = [part.split("}")[0] for part in text.split("{") if '"S01-C2"' in part]
    path.write_text(text.replace(", {" + listed + "}", "") + '\n[checks]\ncodes = ["CHK"]\n', encoding="utf-8")
    cells(path, lambda row: [name if cell == "S01-C2" else cell for cell in row] if "S01-C2" in row else row)
    edit(path, lambda row: row | {"Code": "CHK"} if row["Point"] == name else row)


def cells(path: Path, change: Callable[[list[str]], list[str]]) -> None:
    """Change the rows of all exports; an empty one goes."""
    for export in path.parent.glob("rover*.csv"):
        with export.open(newline="", encoding="utf-8") as file:
            rows = [change(row) for row in csv.reader(file)]
        with export.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, lineterminator="\n").writerows(row for row in rows if row)


@pytest.mark.parametrize("updated", [False, True], ids=["the same version", "updated in between"])
@pytest.mark.parametrize("name", ["S01\nC2", "A on B", "S01 C2 (observed twice"])
def test_it_is_taken_along_whatever_the_check_is_called(
    name: str, updated: bool, job: tuple[Simulation, Path], tmp_path: Path
) -> None:
    _, path = job
    renamed_check(path, name)
    first = run_once(path)
    assert first.exit_code == 3 and [one["point"] for one in first.record["checks"] if not one["passed"]] == [name]
    cells(path, lambda row: [] if name in row else row)
    second = run_once(path)
    ((what, sessions),) = doubts(second)
    assert second.exit_code == 3 and f"{name} on CM" in what
    if updated:
        as_schema_7(tmp_path / "out")
    edit(path, lambda row: row | {"Code": "GATE"} if row["Point"].endswith("00001") else row)
    third = run_job(path)
    assert (third.record["issue"], third.exit_code) == (3, 3) and doubts(third) == [(what, sessions)]
    assert third.record["sessions"][0]["verdict"] == "unchecked"


def called_otherwise(text: str) -> str:
    return text.replace('"session-01"', '"morning"')


def cut_in_two(text: str) -> str:
    """The first session keeps its name for two hours; the rest, in which the check was, is called otherwise."""
    head, session, rest = text.split("[[session]]")
    start = next(line for line in session.splitlines() if line.startswith("start = "))
    end = next(line for line in session.splitlines() if line.startswith("end = "))
    cut = (dt.datetime.fromisoformat(start.removeprefix("start = ")) + dt.timedelta(hours=2)).isoformat()
    first = session.replace(end, f"end = {cut}")
    kept = [line for line in session.splitlines() if not line.startswith(("ties = ", "checks = "))]
    second = "\n".join([*kept, "", ""]).replace('"session-01"', '"afternoon"').replace(start, f"start = {cut}")
    return "[[session]]".join([head, first, second, rest])


@pytest.mark.parametrize("change", [called_otherwise, cut_in_two])
def test_it_is_taken_along_by_what_its_session_is_now(
    change: Callable[[str], str], job: tuple[Simulation, Path]
) -> None:
    _, path = job
    run_once(path)
    without(path, "S01-C2")
    ((what, _),) = doubts(run_once(path))
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    third = run_job(path)
    told = dict(doubts(third))
    assert third.record["issue"] == 3 and third.exit_code == 3
    assert ("morning" if change is called_otherwise else "afternoon") in told[what]


def test_a_doubt_that_an_update_cannot_read_stays_until_it_is_confirmed(
    job: tuple[Simulation, Path], tmp_path: Path
) -> None:
    _, path = job
    run_once(path)
    without(path, "S01-C2")
    assert run_once(path).exit_code == 3

    def reworded(doubt: dict[str, str]) -> None:
        doubt["what"] = doubt["what"].replace("the occupation", "what was measured at", 1)

    as_schema_7(tmp_path / "out", reworded)
    for code in ("GATE", "POST"):  # in one issue after another
        edit(path, lambda row, code=code: row | {"Code": code} if row["Point"].endswith("00001") else row)
        later = run_job(path)
        ((what, sessions),) = doubts(later)
        assert later.issued and later.exit_code == 3 and sessions == [later.record["sessions"][0]["session"]]
        assert what.startswith("what was measured at S01-C2 on CM") and what.count("the points stay unproven") == 1
    text = path.read_text(encoding="utf-8")
    path.write_text(text + '\n[checks]\nconfirmed = ["unanswered-check"]\n', encoding="utf-8")
    assert (run_job(path).exit_code, doubts(run_job(path))) == (0, [])


def processed_again(made: Simulation, path: Path) -> None:
    """The office computes the first session anew, 0.1 m beside the old as its base had it; the check passes in it."""
    made.write(path.parent)
    edit(path, lambda row: row | {"Lat": f"{float(row['Lat']) + 1e-6:.10f}"} if row["Point"][:4] == "S01-" else row)


def test_it_is_no_doubt_once_the_check_is_there_again(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    made, path = job
    run_once(path)
    without(path, "S01-C2")
    assert run_once(path).exit_code == 3
    processed_again(made, path)
    assert (run_job(path).exit_code, doubts(run_job(path))) == (0, [])


def float_solution(path: Path) -> None:
    edit(path, lambda row: row | {"Sol": "float"} if row["Point"] == "S01-C2" else row)


def other_base(path: Path) -> None:
    edit(path, lambda row: row | {"Base": "BASE-99"} if row["Point"] == "S01-C2" else row)


def limit(path: Path) -> None:
    """It had a larger standard uncertainty than the others all along."""
    text = path.read_text(encoding="utf-8")
    assert "[quality]\n" in text
    path.write_text(text.replace("[quality]\n", "[quality]\nmax_sigma_vertical = 0.2\n"), encoding="utf-8")


def earlier_end(path: Path) -> None:
    """The first session ends a second before it."""
    (observed,) = [row.split(",")[1] for export in path.parent.glob("rover*.csv")
                   for row in export.read_text(encoding="utf-8").splitlines() if row.startswith("S01-C2")]  # fmt: skip
    end = (dt.datetime.fromisoformat(observed) - dt.timedelta(seconds=1)).isoformat()
    head, tail = path.read_text(encoding="utf-8").split("end = ", 1)
    path.write_text(f"{head}end = {end}\n{tail.split(chr(10), 1)[1]}", encoding="utf-8")


def other_twin(path: Path) -> None:
    """The same observation once more in another export, which says that it was no fixed solution."""
    (export,) = path.parent.glob("rover*.csv")
    heading, *rows = export.read_text(encoding="utf-8").splitlines()
    (twin,) = [row for row in rows if row.startswith("S01-C2")]
    (path.parent / "rover999.csv").write_text("\n".join([heading, twin.replace("fix", "float"), ""]), encoding="utf-8")


@pytest.mark.parametrize("held", [float_solution, other_base, limit, earlier_end, other_twin])
def test_a_failing_check_that_is_held_back_now_is_as_good_as_gone(
    held: Callable[[Path], None], job: tuple[Simulation, Path]
) -> None:
    _, path = job
    edit(path, lambda row: row | {"sU": "0.3"} if row["Point"] == "S01-C2" else row)
    text = path.read_text(encoding="utf-8")
    listed = next(part for part in text.split("{") if '"S01-C2"' in part).split("}")[0]
    # a check that is listed has to be there; one that its code tells of may be held back unseen
    path.write_text(text.replace(", {" + listed + "}", ""), encoding="utf-8")
    first = run_once(path)
    assert first.exit_code == 3 and any(check["passed"] is False for check in first.record["checks"])
    held(path)
    second = run_job(path)
    whats = [what for what, _ in doubts(second) if "failed in issue 001 and" in what]
    assert len(whats) == 1 and ".csv:" in whats[0] and "it is held back as " in whats[0]
    assert second.exit_code == 3 and second.record["sessions"][0]["verdict"] == "unchecked"
    # and for good: it stays told once the row is gone altogether
    for export in path.parent.glob("rover*.csv"):
        kept = [line for line in export.read_text(encoding="utf-8").splitlines() if not line.startswith("S01-C2")]
        export.write_text("\n".join([*kept, ""]), encoding="utf-8")
    third = run_job(path)
    assert third.exit_code == 3 and [what for what, _ in doubts(third) if "failed in issue 001 and" in what]


def test_a_failing_check_that_was_exported_again_is_still_there(job: tuple[Simulation, Path]) -> None:
    _, path = job
    run_once(path)
    (export,) = path.parent.glob("rover*.csv")
    (path.parent / "rover000.csv").write_bytes(export.read_bytes())
    assert [what for what, _ in doubts(run_job(path)) if "failed in issue" in what] == []


def test_a_passing_check_that_is_gone_is_noted(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=2, points=10, ties=1, checks=3, noise=False)).write(tmp_path)
    first_issue(path)
    without(path, "S01-C2")
    second = run_once(path)
    assert doubts(second) == []
    assert [note for note in second.record["notes"] if "of issue 001 is no longer an occupation in the job" in note]


@pytest.mark.parametrize("stated", ["-00:30", "GPS"])
def test_times_that_are_read_by_another_clock_are_of_the_same_occupations(
    job: tuple[Simulation, Path], stated: str
) -> None:
    """As where a zone is put right; what fails then fails still, and is told as that alone."""
    _, path = job
    edit(path, lambda row: row | {"Observed": row["Observed"].replace("Z", "")})
    run_once(path)
    replace_in(path, {'time_zone = "UTC"': f'time_zone = "{stated}"'})
    second = run_job(path)
    assert second.issued and [what for what, _ in doubts(second) if "failed in issue" in what] == []


def test_a_session_taken_out_doubts_none_of_another_base(tmp_path: Path) -> None:
    """Two bases ran at once; the one whose check failed leaves the job, with all its rows."""
    made = simulate(Plan(sessions=2, points=10, ties=1, checks=2, noise=False, overlap=True))
    path = made.write(tmp_path)
    edit(path, lambda row: row | {"Lat": f"{float(row['Lat']) + 2e-6:.10f}"} if row["Point"] == "S01-C2" else row)
    assert run_once(path).exit_code == 3
    text = path.read_text(encoding="utf-8")
    first, second = text.index("[[session]]"), text.index("[[session]]", text.index("[[session]]") + 1)
    path.write_text(text[:first] + text[second:], encoding="utf-8")
    for export in path.parent.glob("rover*.csv"):
        lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
        export.write_text("".join(line for line in lines if not line.startswith("S01-")), encoding="utf-8")
    again = run_job(path)
    assert (again.issued, again.exit_code, doubts(again)) == (True, 0, [])


def mended(folder: Path) -> Path:
    """A job with an issue in which S01-C2 fails by the register, and then the register as it should have been."""

    def made() -> Simulation:
        return simulate(Plan(sessions=2, points=10, ties=1, checks=3, noise=False))

    right = made().write(folder / "right").parent / "register.csv"
    wrong = made()
    (mark,) = [one["mark"] for one in wrong.job["session"][0]["checks"] if one["point"] == "S01-C2"]
    wrong.mistype(mark, "easting", 1.0)
    path = wrong.write(folder / "job")
    assert run_once(path).exit_code == 3
    (path.parent / "register.csv").write_bytes(right.read_bytes())
    return path


def listed(path: Path, point: str) -> str:
    return next(part for part in path.read_text(encoding="utf-8").split("{") if f'"{point}"' in part).split("}")[0]


@pytest.mark.parametrize("by", ["list", "code"])
def test_an_occupation_that_has_another_name_is_there(by: str, tmp_path: Path) -> None:
    """Renamed in the export and in the job's list, or in the export alone where its code says what it is."""
    path = mended(tmp_path)
    edit(path, lambda row: row | {"Point": "A2", "Code": "CHK"} if row["Point"] == "S01-C2" else row)
    replace_in(path, {'"S01-C2"': '"A2"'} if by == "list" else {"{" + listed(path, "S01-C2") + "}, ": ""})
    again = run_job(path)
    assert (again.exit_code, doubts(again)) == (0, [])
    assert [note for note in again.record["notes"] if "no longer " in note] == []


def renamed_mark(path: Path, away: str = "") -> None:
    """The mark of S01-C2 and all its occupations get another name; ``away`` is added to the latitudes of those."""
    mark = listed(path, "S01-C2").split('mark = "')[1].split('"')[0]
    for file in (path, path.parent / "register.csv"):
        text = file.read_text(encoding="utf-8")
        file.write_text(text.replace(f'"{mark}"', '"Q7"').replace(f"{mark},", "Q7,"), encoding="utf-8")
    replace_in(path, {'"S01-C2"': '"Q7-A"'})
    edit(
        path,
        lambda row: (
            row | {"Point": "Q7-A", "Lat": f"{float(row['Lat']) + float(away or 0.0):.10f}"}
            if row["Point"] == "S01-C2"
            else row
        ),
    )


def test_an_occupation_is_there_where_its_mark_has_another_name_too(tmp_path: Path) -> None:
    """The register was put right and the mark renamed at once, with what was observed on it."""
    path = mended(tmp_path)
    renamed_mark(path)
    again = run_job(path)
    assert (again.exit_code, doubts(again)) == (0, [])
    assert [note for note in again.record["notes"] if "no longer " in note] == []


def test_what_lies_elsewhere_at_its_time_is_not_the_one_that_failed(tmp_path: Path) -> None:
    """Another reading, 1.1 km to the north, was put in its place."""
    path = mended(tmp_path)
    renamed_mark(path, "0.01")
    again = run_job(path)
    assert again.exit_code == 3 and [what for what, _ in doubts(again) if "failed in issue 001 and" in what]


def test_a_doubt_of_one_that_was_gone_ends_where_it_is_there_by_another_name(tmp_path: Path) -> None:
    path = mended(tmp_path)
    job, (export,) = path.read_text(encoding="utf-8"), path.parent.glob("rover*.csv")
    rows = export.read_text(encoding="utf-8")
    without(path, "S01-C2")
    assert run_once(path).exit_code == 3
    path.write_text(job.replace('"S01-C2"', '"A2"'), encoding="utf-8")
    export.write_text(rows.replace("S01-C2", "A2"), encoding="utf-8")
    again = run_job(path)
    assert (again.exit_code, doubts(again)) == (0, [])


def test_another_occupation_of_the_mark_is_not_the_one_that_is_gone(tmp_path: Path) -> None:
    path = mended(tmp_path)
    edit(
        path,
        lambda row: (
            row | {"Point": "A2", "Observed": row["Observed"].replace(":00.", ":09.").replace(":00Z", ":09Z")}
            if row["Point"] == "S01-C2"
            else row
        ),
    )
    replace_in(path, {'"S01-C2"': '"A2"'})
    again = run_job(path)
    assert again.exit_code == 3 and len(doubts(again)) == 1


def test_a_point_that_was_called_a_check_by_mistake_is_one_again(tmp_path: Path) -> None:
    """Far from the mark, it failed; taken out of the list it is the point that it always was, and is noted."""
    path = simulate(Plan(sessions=2, points=10, ties=1, checks=3, noise=False)).write(tmp_path)
    job = path.read_text(encoding="utf-8")
    path.write_text(job.replace('"S01-C2"', '"S01-00003"'), encoding="utf-8")
    first = run_once(path)
    (failed,) = [check for check in first.record["checks"] if check["passed"] is False]
    assert first.exit_code == 3 and failed["point"] == "S01-00003" and (failed["d_horizontal"] or 0.0) > 20.0
    path.write_text(job, encoding="utf-8")
    again = run_job(path)
    assert (again.exit_code, doubts(again)) == (0, [])
    assert [note for note in again.record["notes"] if "S01-00003" in note and "never was an occupation of it" in note]
    assert (run_job(path).exit_code, run_job(path).issued) == (0, False)


def test_such_a_point_that_is_gone_or_held_back_stays_in_doubt(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=2, points=10, ties=1, checks=3, noise=False)).write(tmp_path)
    job = path.read_text(encoding="utf-8")
    path.write_text(job.replace('"S01-C2"', '"S01-00003"'), encoding="utf-8")
    assert run_once(path).exit_code == 3
    path.write_text(job, encoding="utf-8")
    edit(path, lambda row: row | {"Sol": "float"} if row["Point"] == "S01-00003" else row)
    again = run_job(path)
    assert again.exit_code == 3 and len(doubts(again)) == 1


def without_first_session(path: Path) -> tuple[Path, str, str]:
    """Take the first session and its rows out of a job; return its export, and what it and the job file were."""
    text, (export,) = path.read_text(encoding="utf-8"), path.parent.glob("rover*.csv")
    rows = export.read_text(encoding="utf-8")
    head, _, second = text.split("[[session]]")
    path.write_text(f"{head}[[session]]{second}", encoding="utf-8")
    export.write_text("".join(row for row in rows.splitlines(keepends=True) if "S01-" not in row), encoding="utf-8")
    return export, text, rows


@pytest.mark.parametrize("name", ["session-01", "morning"])
@pytest.mark.parametrize("honest", [True, False])
def test_a_session_that_left_the_job_and_is_back_is_asked_for_what_failed_in_it(
    honest: bool, name: str, job: tuple[Simulation, Path]
) -> None:
    """The whole session with its rows is out for an issue; it comes back without its failing check, or put right."""
    made, path = job
    assert run_once(path).exit_code == 3
    export, text, rows = without_first_session(path)
    out = run_once(path)
    assert (out.issued, out.exit_code, doubts(out)) == (True, 0, [])
    if honest:
        path.write_text(text, encoding="utf-8")
        processed_again(made, path)
    else:
        path.write_text(text, encoding="utf-8")
        export.write_text(rows, encoding="utf-8")
        without(path, "S01-C2")
    replace_in(path, {'"session-01"': f'"{name}"'})
    again = run_job(path)
    assert again.issued and again.record["issue"] == 3
    if honest:
        assert (again.exit_code, doubts(again)) == (0, [])
    else:
        ((what, sessions),) = doubts(again)
        assert again.exit_code == 3 and sessions == [name] and what.startswith("S01-C2 on CM")


def test_a_session_that_is_back_after_an_issue_that_cannot_be_read_is_noted(job: tuple[Simulation, Path]) -> None:
    """What failed in the first session stood in issue 001 alone, whose record is damaged by then."""
    _, path = job
    assert run_once(path).exit_code == 3
    export, text, rows = without_first_session(path)
    out = run_once(path)
    record = path.parent / "out" / "issues" / "001" / "issue.json"
    record.chmod(0o644)
    record.write_text("{", encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    export.write_text(rows, encoding="utf-8")
    without(path, "S01-C2")
    again = run_job(path)
    note = "issue 001 was set aside or cannot be read: if it had session session-01, what failed there is not known"
    assert note in again.record["notes"] and not [one for one in out.record["notes"] if "issue 001" in one]
    assert (again.record["issue"], again.exit_code, doubts(again)) == (3, 0, [])
    assert (run_job(path).issued, run_job(path).exit_code) == (False, 0)


@pytest.mark.parametrize("gone", [False, True])
def test_what_seemed_to_be_a_check_far_from_all_marks_is_a_point_once_its_code_is_right(
    gone: bool, tmp_path: Path
) -> None:
    """A tree that was coded as a check: nobody asks for it once it is a tree; where it is gone, it stays in doubt."""
    path = simulate(Plan(sessions=2, points=10, ties=1, checks=3, noise=False)).write(tmp_path)
    path.write_text(path.read_text(encoding="utf-8") + '\n[checks]\ncodes = ["CHK"]\n', encoding="utf-8")
    edit(path, lambda row: row | {"Code": "CHK"} if row["Point"] == "S01-00003" else row)
    first = run_once(path)
    assert first.exit_code == 3 and [one["origin"] for one in first.record["doubts"]] == [
        {
            "of": "occupation", "point": "S01-00003", "mark": "", "failed_in": 1, "parts": None, "now": "untested",
            "observed": first.record["doubts"][0]["origin"]["observed"],  # type: ignore[index,typeddict-item]
        }
    ]  # fmt: skip
    if gone:
        cells(path, lambda row: [] if "S01-00003" in row else row)
    else:
        edit(path, lambda row: row | {"Code": "TREE"} if row["Point"] == "S01-00003" else row)
    again = run_job(path)
    if gone:
        ((what, _),) = doubts(again)
        assert again.exit_code == 3 and "S01-00003 (observed " in what
        assert "was compared with no mark in issue 001 and is no longer an occupation" in what
    else:
        assert (again.exit_code, doubts(again)) == (0, [])
        assert [note for note in again.record["notes"] if "S01-00003" in note and "far from every mark" in note]
