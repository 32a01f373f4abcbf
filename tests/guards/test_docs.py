"""The documents say what is so."""

import re
from pathlib import Path

from typer.main import get_command

from pipeline.cli.main import app

ROOT = Path(__file__).resolve().parents[2]


def test_every_command_stands_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in get_command(app).commands:  # type: ignore[attr-defined]
        assert f"tiedown {name}" in readme


def test_every_room_stands_in_the_floor_plan_of_the_developers_page() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {
        path.stem for path in (ROOT / "pipeline").iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()
    }
    missing = [room for room in rooms - {"__init__"} if not re.search(rf"`{room}(/|\.py)?`", page)]
    assert not missing


def test_every_path_named_in_backticks_exists() -> None:
    for document in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        for path in re.findall(r"`((?:pipeline|tests|configs|sample_data)/[\w./-]*)`", text):
            assert (ROOT / path).exists(), f"{document}: {path}"
