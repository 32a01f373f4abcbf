"""The templates come along with the package, and are compiled where Python keeps what it compiles."""

import shutil
import subprocess
import sys
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import pytest
from warm import Warm

ROOT = Path(__file__).resolve().parents[2]
REPORT = ROOT / "pipeline" / "issue" / "report"


def test_every_template_is_declared_as_data_of_its_package() -> None:
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    files = [path for path in REPORT.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc", ".cache")]
    assert {path.name for path in files} >= {"page.html", "style.css"}
    for path in files:
        inside = path.relative_to(REPORT).as_posix()
        assert any(fnmatch(inside, pattern) for pattern in data["pipeline.issue.report"]), inside


def test_what_is_built_has_the_templates_and_the_records_schema(tmp_path: Path) -> None:
    pytest.importorskip("setuptools", minversion="61")
    for name in ("pipeline", "pyproject.toml", "README.md"):
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, tmp_path / name)
    build = [sys.executable, "-c", "import setuptools; setuptools.setup()", "-q", "build_py", "--build-lib", "built"]
    subprocess.run(build, cwd=tmp_path, capture_output=True, check=True)
    for path in [*(REPORT / "templates").iterdir(), REPORT.parent / "issue.schema.json"]:
        built = tmp_path / "built" / path.relative_to(ROOT)
        assert built.read_bytes() == path.read_bytes()


@pytest.mark.parametrize("kept", [True, False])
def test_the_page_is_the_same_from_kept_templates_and_from_fresh_ones(kept: bool, tmp_path: Path) -> None:
    """Twice, in processes of their own: the second finds what the first kept, unless Python is told to keep nothing."""
    code = (
        f"import sys; sys.pycache_prefix, sys.dont_write_bytecode = {str(tmp_path)!r}, {not kept};"
        " import hashlib; from record_made import record; from pipeline.issue.report.page import render;"
        " from pipeline.issue.report.thinning import Thinned;"
        " sys.modules.pop('pipeline.issue.report.environment', None);"  # as where nothing has been rendered yet
        " print(hashlib.sha256(render(record(), Thinned.none())).hexdigest())"
    )
    found = [Warm(code=code).end() for _ in range(2)]
    assert [one.returncode for one in found] == [0, 0], found
    assert found[0].stdout == found[1].stdout and len(found[0].stdout.strip()) == 64
    assert bool([*tmp_path.rglob("__jinja2_*")]) == kept
