"""An export that was written or copied only in part ends within a row: what followed is lost, and must not go unsaid.

Expectations: how many rows are cut away is known here, and no run can know it.
"""

import html
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.main import app
from pipeline.office.page import office
from pipeline.problems import JobError

PLAN = Plan(sessions=2, points=40, noise=False)
NOW = datetime(2100, 1, 1, tzinfo=UTC)


def with_codes() -> Simulation:
    """Return a job whose checks are known by their codes alone: of a listed one a run says that it is missing."""
    job = simulate(PLAN)
    for session in job.job["session"]:
        session["checks"] = []
    return job


def written(folder: Path, *, files: int = 1) -> tuple[Path, Path]:
    """Return a job's file and its last export, of which the last row has its line end."""
    path = with_codes().write(folder, files=files)
    export = sorted(folder.glob("rover*.csv"))[-1]
    assert export.read_bytes().endswith(b"\n")
    return path, export


def half_written(export: Path) -> int:
    """Leave two thirds of an export, the last row of them in part, and return that row's line."""
    lines = export.read_bytes().splitlines(keepends=True)
    last = len(lines) * 2 // 3
    export.write_bytes(b"".join(lines[:last]) + lines[last][: len(lines[last]) * 2 // 3])
    return last + 1


def test_a_half_written_export_needs_attention_everywhere(tmp_path: Path) -> None:
    path, export = written(tmp_path, files=2)
    assert (run_job(path).exit_code, check_job(path).warnings) == (0, ())
    whole = export.read_bytes()
    line = half_written(export)

    told, gone = check_job(path).warnings
    assert told.startswith(f"{export.name}:{line}: the file seems to end within this row")
    assert gone.endswith("of issue 001 is no longer an occupation in the job")
    outcome = run_job(path)
    (doubt,) = outcome.record["doubts"]
    assert (outcome.exit_code, doubt["kind"], doubt["confirmed"]) == (3, "cut-off", False)
    assert outcome.record["rows"]["by_reason"] == {"unreadable": 1}
    quiet = CliRunner().invoke(app, ["run", "--quiet", str(path)])
    assert quiet.exit_code == 3 and f"{export.name}:{line}: the file seems to end within this row" in quiet.stdout
    page = office([path], tmp_path / "page.html", NOW, NOW)
    assert [len(one.needs) for one in page.needing] == [1]
    assert "the file seems to end within this row" in html.unescape(
        (tmp_path / "page.html").read_text(encoding="utf-8")
    )

    export.write_bytes(whole)
    assert run_job(path).exit_code == 0


def test_so_does_one_of_the_first_night_until_somebody_says_that_it_is_whole(tmp_path: Path) -> None:
    path, export = written(tmp_path)
    half_written(export)
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["verdict"]) == (3, "unchecked")
    assert [doubt["confirmed"] for doubt in outcome.record["doubts"]] == [False]
    replace_in(path, {"[job]\n": '[checks]\nconfirmed = ["cut-off"]\n\n[job]\n'})
    assert run_job(path, dry_run=True).record["doubts"][0]["confirmed"]


def test_sessions_of_other_files_keep_their_proof(tmp_path: Path) -> None:
    """The second export is that of the second day."""
    job = with_codes()
    path = job.write(tmp_path)
    export = tmp_path / "rover001.csv"
    head, *rows = export.read_text().splitlines()
    first = job.rows["session"] == 0
    (tmp_path / "rover002.csv").write_text(
        "\n".join([head, *(r for r, one in zip(rows, first, strict=True) if not one)])
    )
    export.write_text("\n".join([head, *(r for r, one in zip(rows, first, strict=True) if one), ""]))
    assert run_job(path, dry_run=True).exit_code == 0
    half_written(tmp_path / "rover002.csv")
    (doubt,) = run_job(path, dry_run=True).record["doubts"]
    assert doubt["sessions"] == ["session-02"]


def with_last_column(text: str, name: str, *cells: str) -> str:
    """Return an export with one more column behind its others, whose cells are these in turn."""
    head, *rows = text.splitlines()
    return "\n".join([f"{head},{name}", *(f"{row},{cells[at % len(cells)]}" for at, row in enumerate(rows)), ""])


@pytest.mark.parametrize(
    "end",
    [
        lambda text: text.rstrip("\n"),  # many programs write no line end behind the last line
        lambda text: text + "\n\n",
        lambda text: text + "END",  # a word closes the export
        lambda text: text + "86",  # the number of its rows
        lambda text: text + "*7F",
        lambda text: text + ",,,",
        lambda text: with_last_column(text, "Code2", "KERB", "TREE")[:-4],  # one code may be the beginning of others
        lambda text: with_last_column(text, "Remark", "")[:-1],
        lambda text: with_last_column(text, "Remark", "ok")[:-3],  # nobody wrote one for the last row
        lambda text: text + text.splitlines()[-1][:9] + "\n",  # the line end was written: a row of few cells
    ],
)
def test_an_export_that_ends_behind_a_row_is_in_no_doubt(end: Callable[[str], str], tmp_path: Path) -> None:
    path, export = written(tmp_path)
    export.write_text(end(export.read_text()))
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"], check_job(path).warnings) == (0, [], ())


def test_a_listed_check_in_the_last_row_is_one_though_the_row_seems_cut(tmp_path: Path) -> None:
    """Nothing but a remark is cut there: its name, time and position are whole."""
    path = simulate(PLAN).write(tmp_path)
    export = tmp_path / "rover001.csv"
    export.write_text(with_last_column(export.read_text(), "Receiver", "ROVER-7"))
    whole = run_job(path, dry_run=True)
    assert whole.exit_code == 0
    export.write_text(export.read_text()[:-3])
    outcome = run_job(path, dry_run=True)
    (doubt,) = outcome.record["doubts"]
    assert (outcome.exit_code, doubt["kind"]) == (3, "cut-off")
    assert '"S02-C2"' in doubt["what"] and "rows may be missing behind it" in doubt["what"]
    assert outcome.record["rows"] == whole.record["rows"]
    assert [check["point"] for check in outcome.record["checks"]] == [c["point"] for c in whole.record["checks"]]
    replace_in(path, {"[job]\n": '[checks]\nconfirmed = ["cut-off"]\n\n[job]\n'})
    confirmed = run_job(path, dry_run=True)
    assert (confirmed.exit_code, confirmed.record["rows"]) == (0, whole.record["rows"])


@pytest.mark.parametrize(
    ("cut", "told"),
    [
        (-2, 'its last cell "BASE-0" has 6 of the 7 characters'),  # the line end, and the last sign of its base id
        (-110, "the file seems to end within"),  # before the check's row
    ],
)
def test_of_a_listed_check_that_cannot_be_used_it_is_said_that_the_file_seems_cut(
    cut: int, told: str, tmp_path: Path
) -> None:
    path = simulate(PLAN).write(tmp_path)
    export = tmp_path / "rover001.csv"
    export.write_text(export.read_text()[:cut])
    with pytest.raises(JobError) as refused:
        run_job(path)
    said = [str(problem) for problem in refused.value.problems]
    assert said and all(told in one and "export or copy" in one for one in said)
    assert '"S02-C2"' in said[0]


@pytest.mark.parametrize("form", ["geojson"])
def test_a_file_that_cannot_be_read_in_part_is_refused(form: str, tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path, form)
    (export,) = tmp_path.glob(f"rover*.{form}")
    export.write_bytes(export.read_bytes()[: export.stat().st_size * 2 // 3])
    assert CliRunner().invoke(app, ["run", str(path)]).exit_code == 2


def last_row(export: Path, cells: Callable[[list[str]], list[str]]) -> None:
    """Replace the last row of an export by other cells, without a line end."""
    *lines, last = export.read_text(encoding="utf-8").splitlines()
    export.write_text("\n".join([*lines, last, ",".join(cells(last.split(",")))]), encoding="utf-8")


@pytest.mark.parametrize("word", ["Summe", "Ukupno", "合計", "n"])
def test_a_closing_row_with_all_its_signs_and_no_position_is_whole(word: str, tmp_path: Path) -> None:
    """A row that was cut has its position before the empty cell, or lacks signs between its cells."""
    path, export = written(tmp_path)
    last_row(export, lambda cells: [word, "84", *[""] * (len(cells) - 2)])
    record = run_job(path, dry_run=True).record
    assert not record["doubts"]
    assert record["rows"]["held_back"] == 1


def test_a_row_that_ends_behind_its_last_sign_is_cut(tmp_path: Path) -> None:
    path, export = written(tmp_path)
    last_row(export, lambda cells: ["P999", *cells[1:-1], ""])
    (doubt,) = run_job(path, dry_run=True).record["doubts"]
    assert doubt["kind"] == "cut-off"
