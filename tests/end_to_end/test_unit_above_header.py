"""A line above the header that states another unit than the job file, where no mark could tell."""

from dataclasses import replace
from pathlib import Path

from base_logged import SMALL
from simulate import simulate

from pipeline import run_job


def test_a_unit_above_the_header_is_in_doubt_without_any_mark(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, sessions=1, base_horizontal=0.0, base_vertical=0.0))
    job.job["session"][0] |= {"shift": "none", "ties": [], "checks": []}
    del job.job["control"]
    job.job["source"]["units"] = "metre"
    path = job.write(tmp_path)
    export = tmp_path / "rover001.csv"
    text = export.read_text(encoding="utf-8")
    assert "units" not in {one["kind"] for one in run_job(path, dry_run=True).record["doubts"]}
    export.write_text(f"Linear units,International feet\n\n{text}", encoding="utf-8")
    outcome = run_job(path, dry_run=True)
    (told,) = [one["what"] for one in outcome.record["doubts"] if one["kind"] == "units"]
    assert outcome.exit_code == 3 and "International feet" in told
