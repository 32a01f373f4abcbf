"""Keys of the job file that change nothing as the job has the rest are told, with their line; others are not."""

from pathlib import Path
from typing import Any

import pytest
from running import rewrite_export
from simulate import Plan, simulate

from pipeline.check import check_job

SMALL = Plan(sessions=1, points=12)
#: Other codes for those of its points.
AS = {"ROAD-EDGE": "TOP", "ROAD-CL": "FENCE"}


def told(folder: Path, **tables: dict[str, Any]) -> list[str]:
    """Return what is said of keys without an effect in a job with so much more in its file."""
    job = simulate(SMALL)
    for name, keys in tables.items():
        job.job[name] = job.job.get(name, {}) | keys
    words = ("has no effect", "reports no reading")
    return [one for one in check_job(job.write(folder)).warnings if any(word in one for word in words)]


@pytest.mark.parametrize(
    ("tables", "word"),
    [
        ({"control": {"angles": "dms"}}, "`angles` has no effect: the register has eastings and northings"),
        ({"drawing": {"scale": 200.0}}, '[drawing] has no effect: there is no "dxf" in issue.formats'),
        ({"quality": {"doubtful_distance": 90_000.0}}, "doubtful_distance = 90000 reports no reading"),
        ({"quality": {"doubtful_distance": 400.0, "max_distance": 300.0}}, "those beyond max_distance = 300 are held"),
        ({"quality": {"doubtful_height_difference": 5_000.0}}, "those beyond max_height_difference = 3000 are held"),
    ],
)
def test_a_key_without_effect_is_told_once(tables: dict[str, Any], word: str, tmp_path: Path) -> None:
    (said,) = told(tmp_path, **tables)
    assert word in said and "job.toml:" in said


@pytest.mark.parametrize(
    "tables",
    [
        {},
        {"control": {"angles": "decimal"}},
        {"drawing": {"scale": 200.0}, "issue": {"formats": ["dxf"]}},
        {"quality": {"doubtful_distance": 2_000.0}},
        {"quality": {"max_distance": 300.0}},  # the limit of what is reported is not the job's
    ],
)
def test_keys_with_an_effect_are_not(tables: dict[str, Any], tmp_path: Path) -> None:
    assert told(tmp_path, **tables) == []


@pytest.mark.parametrize(
    ("codes", "told"),
    [
        (("TOPP",), "'TOPP' (readings have 'TOP')"),
        (("top", "TOO"), "'top' (readings have 'TOP')"),  # three letters are as many codes
        (("FENC", "FNECE", "fence"), "'FENC' (readings have 'FENCE'), 'FNECE' (readings have 'FENCE'), 'fence'"),
    ],
)
def test_a_code_of_the_drawing_that_is_mistyped_is_told(codes: tuple[str, ...], told: str, tmp_path: Path) -> None:
    (said,) = of_drawing(tmp_path, codes)
    assert (
        f"of [drawing] {'has' if len(codes) == 1 or codes[1] == 'TOO' else 'have'} no effect" in said and told in said
    )


@pytest.mark.parametrize(
    "codes",
    [
        ("TOP", "FENCE", "CM", "CHK"),  # all are there
        ("TOE", "FLOOR", "FENCES1", "WALL", "HALL", "TREE", "POST", "MH1", "MH2", "KERB", "SIGN"),  # an office's list
        ("FENCE2", "BANK TOP", "FE"),
    ],
)
def test_codes_of_the_drawing_for_other_jobs_are_not(codes: tuple[str, ...], tmp_path: Path) -> None:
    assert of_drawing(tmp_path, codes) == []


def test_a_code_of_the_drawing_that_the_table_of_codes_has_is_not(tmp_path: Path) -> None:
    (tmp_path / "codes.csv").write_text("code\nFENC\nTOP\nFENCE\nCM\nCHK\n")
    assert of_drawing(tmp_path, ("FENC",), codes={"file": "codes.csv"}) == []


def of_drawing(folder: Path, drawn: tuple[str, ...], **tables: dict[str, Any]) -> list[str]:
    """Return what is told of codes of the drawing that no reading has, where readings have TOP, FENCE and some more."""
    job = simulate(SMALL)
    job.job |= {"drawing": {"codes": [{"code": code, "colour": 3} for code in drawn]}, "issue": {"formats": ["dxf"]}}
    job.job |= tables
    path = job.write(folder)
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Code": AS.get(row["Code"], row["Code"])})
    return [one for one in check_job(path).warnings if "[drawing]" in one]


def test_no_solution_is_asked_for_where_no_export_has_any(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.job["quality"] |= {"solutions": []}
    path = job.write(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(', solution = "Sol"') == 1
    path.write_text(text.replace(', solution = "Sol"', ""), encoding="utf-8")
    check_job(path)
