"""What a job file means stays what it was when keys come that it does not state: no office issues everything anew."""

import json
from pathlib import Path

import pytest

from pipeline.job.canonical_text import meaning, meanings
from pipeline.job.load import load_job
from pipeline.job.model import Job
from pipeline.problems import Problems
from pipeline.reissue.fingerprint import sum_of

ROOT = Path(__file__).parents[2]
#: An issue of the demo that an earlier version made; its sessions and files have changed since, these tables have not.
BEFORE = json.loads((ROOT / "tests" / "issue" / "earlier" / "schema-4-axes.json").read_text())["identity"]


def demo(path: Path = ROOT / "configs" / "demo.toml") -> Job:
    """Return the demo's job, or one that was made of it."""
    problems = Problems()
    loaded = load_job(path, problems)
    assert loaded is not None, problems.found
    return loaded.job


@pytest.mark.parametrize(
    "table", ["[checks]", "[control]", "[issue]", "[job]", "[quality]", "[shift]", "[target]", "[[points]]"]
)
def test_a_table_without_the_keys_of_later_means_what_it_meant(table: str, tmp_path: Path) -> None:
    text = (ROOT / "configs" / "demo.toml").read_text().replace("../sample_data", (ROOT / "sample_data").as_posix())
    path = tmp_path / "demo.toml"
    path.write_text(text.replace('"std_up"\npdop = "pdop"\n', '"std_up"\n'))  # which the demo has had only since
    found = meanings(demo(path))
    assert sum_of(found[table]) == BEFORE[f"the job file: {table}"]


@pytest.mark.parametrize(
    ("table", "key", "default", "other"),
    [
        ("quality", "scale", "1", "2"),
        ("checks", "same_name", "2.0", "3.0"),
        ("checks", "same_place", "0", "0.1"),
        ("issue", "repeats", '"all"', '"mean"'),
    ],
)
def test_a_key_of_later_counts_where_it_says_something_else(
    tmp_path: Path, table: str, key: str, default: str, other: str
) -> None:
    text = (ROOT / "configs" / "demo.toml").read_text().replace("../sample_data", (ROOT / "sample_data").as_posix())
    path = tmp_path / "demo.toml"

    def means(line: str) -> str:
        path.write_text(text.replace(f"[{table}]\n", f"[{table}]\n{line}", 1))
        return meaning(demo(path))

    assert f"[{table}]\n" in text
    assert means("") == means(f"{key} = {default}\n") != means(f"{key} = {other}\n")
