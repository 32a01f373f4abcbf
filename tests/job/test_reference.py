"""The reference in configs/KEYS.md of the job file's keys is what the types give."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typed_jobs import PATHS

from pipeline.job.reference import BEGIN, END, table

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "configs" / "KEYS.md"


def test_the_page_has_the_table_that_the_types_give() -> None:
    """Where it fails: `python -m pipeline.job.reference configs/KEYS.md`."""
    shown = PAGE.read_text(encoding="utf-8").split(BEGIN)[1].split(END)[0]
    assert shown == f"\n{table()}"


def test_the_script_writes_the_table_between_its_comments_and_nothing_else(tmp_path: Path) -> None:
    page = Path(shutil.copy(PAGE, tmp_path))
    whole = page.read_text(encoding="utf-8")
    before, after = whole.split(BEGIN)[0], whole.split(END)[1]
    page.write_text(f"{before}{BEGIN}\n| spoilt |\n{END}{after}", encoding="utf-8")
    subprocess.run([sys.executable, "-m", "pipeline.job.reference", str(page)], check=True, cwd=ROOT, timeout=120)
    assert page.read_text(encoding="utf-8") == whole


def rows() -> list[list[str]]:
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table().splitlines()[2:]]


def test_every_key_stands_there_and_says_what_it_is_for() -> None:
    keys = {key.strip("`") for key, *_ in rows() if not key.startswith("**")}
    assert keys == {path[-1] for path in PATHS if len(path) > 1}
    assert [row[0] for row in rows() if len(row) != 6 or not row[4]] == []


def test_every_number_has_its_unit() -> None:
    """A dilution of precision has none."""
    bare = {key for key, kind, _, unit, *_ in rows() if kind.startswith("number") and not unit}
    assert bare == {"`max_pdop`"}


@pytest.mark.parametrize(
    "row",
    [
        "| `max_transform_error` | number, more than 0 | | m |",
        "| `latitude` | number, -90 to 90 | needed | degree |",
        "| `antenna_height` | number | `0` | m |",
        "| `ppm` | number, 0 or more | `1` | ppm |",
        '| `codes` | list of text | `["CHK"]` | |',
        '| `shift` | `"derive"`, `"none"`, table | `"derive"` | |',
        "| `by_code` | `true`, `false` | `false` | |",
        "| `from` | time | needed | |",
        "| **`[target]`** | | needed | |",
        "| **`setup` of `[[session]]`** | | | |",
    ],
)
def test_types_defaults_and_units_are_those_of_the_job_file(row: str) -> None:
    """Written by hand: what job files have been promised."""
    assert row in table()
