"""Names and codes that act on what reads them, and numbers of no size: the issue stands, and nothing acts."""

import csv
import re
import warnings
from pathlib import Path

import pytest
from running import append_rows, replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError

SMALL = Plan(sessions=1, points=4, noise=False)
#: Codes of drawings (%%u, \U+), signs that layers cannot have, formulas in wide signs and behind blanks, controls and
#: marks of direction, codes that differ in case alone or not at all once cleaned.
CODES = [
    "%%U", "a%%d", "\\U+0041", "{x}", "^M", "<>", "a|b", "*", "x" * 300, "=1+1", "＝1+1", "＋1", "－1", "＠x",
    "\u3000=1", "'=1", "abc", "ABC", "a/b", "a:b", "\x1b[31mred", "\x9b2J", "\u202eabc", "\u200babc", "\ufffe", "]]>",
    "a\nb", "a\n",
]  # fmt: skip
#: What acts on a terminal or in a browser (ISO 6429; Unicode's formatting characters).
ACTS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff\ufffe]")


@pytest.fixture(scope="module")
def issue(tmp_path_factory: pytest.TempPathFactory) -> Path:
    job = simulate(SMALL)
    job.job["issue"] = {"formats": ["gpkg", "dxf", "csv", "geojson", "landxml"]}
    path = job.write(tmp_path_factory.mktemp("names"), "csv")
    append_rows(path.parent / "rover001.csv", [{"Point": f"P{n} {c}", "Code": c} for n, c in enumerate(CODES)])
    assert run_job(path).record["rows"]["points"] == 4 + len(CODES)
    return path.parent / "out" / "issues" / "001"


def test_a_spreadsheet_runs_nothing_of_them(issue: Path) -> None:
    """Whatever blanks and quotes stand before it, a wide sign of a formula does not begin a cell."""
    with (issue / "simulated-001.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if re.match(r"[\s\u3000]*[=＝＋－＠@]", cell)]
    assert {"'＝1+1", "'\u3000=1", "''=1", "abc"} & set(cells) >= {"'＝1+1", "''=1", "abc"}


def test_white_space_around_a_cell_goes_whatever_its_neighbours_are(issue: Path) -> None:
    with (issue / "simulated-001.csv").open(encoding="utf-8", newline="") as file:
        codes = [row["code"] for row in csv.DictReader(file)]
    assert "a\nb" in codes and "a" in codes and "a\n" not in codes


def test_the_report_shows_them(issue: Path) -> None:
    page = (issue / "simulated-001.html").read_text(encoding="utf-8")
    assert not ACTS.search(page)


ABSURD = ["1e150", "1e308", "-1e150", "1e16", "1e-320"]


@pytest.mark.parametrize("value", ABSURD)
@pytest.mark.parametrize("column", ["sE", "sU", "EllHt"])
def test_a_reading_with_a_number_of_no_size_is_held_back(column: str, value: str, tmp_path: Path) -> None:
    if column == "EllHt" and value in ("1e-320",):
        pytest.skip("next to nothing is a height")
    path = simulate(SMALL).write(tmp_path, "csv")
    append_rows(tmp_path / "rover001.csv", [{"Point": "odd", "Code": "ROAD", column: value}])
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        record = run_job(path).record
    assert record["rows"]["points"] == 4 and record["rows"]["by_reason"] == {"implausible": 1}


@pytest.mark.parametrize(
    ("file", "old", "words"),
    [
        ("register.csv", "310.00000", "is not a place on earth"), ("register.csv", "0.01000", "is not an uncertainty"),
        ("job.toml", "0.05", "max_sigma_horizontal"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("value", ["1e150", "1e16"])
def test_a_register_or_job_with_such_a_number_is_refused(
    file: str, old: str, words: str, value: str, tmp_path: Path
) -> None:
    path = simulate(SMALL).write(tmp_path, "csv")
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / file).write_text(text.replace(old, value, 1), encoding="utf-8")
    with pytest.raises(JobError, match=words):
        run_job(path)


def test_a_tolerance_of_next_to_nothing_is_refused(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path, "csv")
    replace_in(path, {"[quality]": "[checks]\nhorizontal = 1e-320\n[quality]"})
    with pytest.raises(JobError, match="smaller than anything"):
        run_job(path)
