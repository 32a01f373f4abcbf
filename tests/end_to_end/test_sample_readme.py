"""What the README and the pages beside it show of the command is what the command prints."""

import re
import shutil
import tomllib
from pathlib import Path

import geopandas  # the command hides it from its own process, which is this one
import pytest
from every import every
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.job.model import Job

assert geopandas
ROOT = Path(__file__).resolve().parents[2]

#: A command as a user types it, and what follows it until the block ends.
SHOWN = re.compile(r"^```\n\$ \.venv/bin/tiedown (.*)\n((?:(?!```).*\n)*)```$", re.MULTILINE)


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of what the README's commands need, as the working folder."""
    for name in ("configs", "sample_data"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def readme() -> str:
    """The README, and behind it the pages beside the example jobs."""
    pages = (ROOT / "README.md", *sorted((ROOT / "configs").glob("*.md")))
    return "\n".join(page.read_text(encoding="utf-8") for page in pages)


def test_the_first_command_is_a_good_day_and_leaves_the_files_that_are_listed(
    checkout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (job,) = re.findall(r"^python3 -m venv \.venv && .* && \.venv/bin/tiedown run (\S+)$", readme(), re.MULTILINE)
    found = CliRunner().invoke(app, ["run", job])
    assert found.exit_code == 0, found.output
    assert CliRunner().invoke(app, ["run", "--quiet", job]).output == ""
    (folder,) = (checkout / "out").iterdir()
    (listed,) = re.findall(rf"^```\n(out/{folder.name}/\n.*?)^```$", readme(), re.MULTILINE | re.DOTALL)
    made = {path.name for place in (folder, folder / "issues" / "001") for path in place.iterdir()}
    assert {name for name in made if not name.startswith(".") and name not in listed} == set()
    assert set(re.findall(r"[\w-]+\.(?:gpkg|html|json|csv)\b", listed)) <= made
    (script,) = re.findall(r"^```python\n(.*?)^```$", readme(), re.MULTILINE | re.DOTALL)
    exec(script, {})
    printed = capsys.readouterr().out.splitlines()
    assert printed[0].startswith("proven ") and printed[1] == "1 current EPSG:2193 1855"
    assert "'proof': 'bracketed'" in printed[2] and printed[4] == "{}"


def test_the_job_files_that_are_shown_are_valid() -> None:
    """Whole ones, and parts, whose keys have to be known to the form of a job file."""
    shown = re.findall(r"^```toml\n(.*?)^```$", readme(), re.MULTILINE | re.DOTALL)
    whole = [tomllib.loads(text) for text in shown if "[job]" in text]
    assert len(whole) == 1 and len(shown) == 3
    for job in whole:
        Job.model_validate(job)
    for part in every(map(tomllib.loads, shown)):
        assert set(part) <= set(Job.model_fields)
    (plan,) = [part["plan"] for part in map(tomllib.loads, shown) if "plan" in part]
    assert Job.model_validate(whole[0] | {"plan": plan}).plan is not None


def test_what_the_readme_shows_is_what_is_printed(checkout: Path) -> None:
    """To the letter, whole blocks. Where the command's words changed on purpose, put what it prints into the README."""
    shown = SHOWN.findall(readme())
    assert [arguments for arguments, _ in shown] == re.findall(r"^\$ \S*tiedown (.*)$", readme(), re.MULTILINE)
    assert "run configs/mistyped.toml" in {arguments for arguments, _ in shown}
    for arguments, printed in shown:
        found = CliRunner().invoke(app, arguments.split())
        assert found.stdout == printed
        assert found.exit_code == (3 if "mistyped" in arguments else 0), found.output
