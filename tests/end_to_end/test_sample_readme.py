"""What the README shows of the command is what the command prints."""

import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli.main import app

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


def test_the_first_command_is_a_good_day(checkout: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (job,) = re.findall(r"^python3 -m venv \.venv && .* && \.venv/bin/tiedown run (\S+)$", readme, re.MULTILINE)
    found = CliRunner().invoke(app, ["run", job])
    assert found.exit_code == 0, found.output
    assert CliRunner().invoke(app, ["run", "--quiet", job]).output == ""


def test_the_second_prints_what_the_readme_shows(checkout: Path) -> None:
    """To the letter. Where the command's words changed on purpose, put what it prints into the README."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    ((arguments, shown),) = SHOWN.findall(readme)
    found = CliRunner().invoke(app, arguments.split())
    assert found.exit_code == 3, found.output
    assert found.stdout == shown
