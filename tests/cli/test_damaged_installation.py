"""A file of the installation that is cut, as by a full disk, is told in words by every command, with one document."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from command import ROOT, SMALL, process
from simulate import simulate

from pipeline.damaged import damaged_file

#: Command, and the compiled files of it that are cut: before anything is loaded, by the command, by the job.
CUT = [
    (("run", "job.toml", "--json"), "cli/signals"),
    (("run", "job.toml"), "words"),
    (("run", "job.toml", "--json"), "solve/solve"),
    (("run", "--workers", "2", "job.toml", "other.toml", "--json"), "solve/solve"),
    (("check", "job.toml"), "check"),
    (("verify", "out", "--json"), "cli/main"),
    (("verify", "out"), "verify"),
]


@pytest.fixture(scope="module")
def cached(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a job, and an installation of which all that its commands load is compiled."""
    folder = tmp_path_factory.mktemp("cached")
    shutil.copytree(ROOT / "pipeline", folder / "installed" / "pipeline")
    simulate(SMALL).write(folder)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "other.toml").write_text(text.replace('"simulated"', '"other"').replace('"out"', '"out2"'))
    for arguments in (("run", "job.toml"), ("check", "job.toml"), ("verify", "out")):
        assert process(*arguments, folder=folder, PYTHONPATH=str(folder / "installed")).returncode in (0, 3)
    shutil.rmtree(folder / "out")
    return folder


def compiled(folder: Path, module: str) -> Path:
    """Return the compiled file of a module of the installation in a folder."""
    source = folder / "installed" / "pipeline" / module
    return source.parent / "__pycache__" / f"{source.name}.{sys.implementation.cache_tag}.pyc"


@pytest.mark.parametrize(("arguments", "module"), CUT)
def test_a_cut_file_is_told_with_what_to_do(arguments: tuple[str, ...], module: str, cached: Path) -> None:
    path = compiled(cached, module)
    whole = path.read_bytes()
    try:
        path.write_bytes(whole[: len(whole) // 2])
        said = process(*arguments, folder=cached, PYTHONPATH=str(cached / "installed"))
    finally:
        path.write_bytes(whole)
    told = said.stderr.decode()
    assert said.returncode == 1 and "a file of the installation is damaged" in told and path.name in told
    assert "install tiedown again" in told and "Traceback" not in told and "Aborted" not in told
    if "--json" in arguments:
        document = json.loads(said.stdout)
        for entry in document.get("jobs", [document]):
            assert (entry["outcome"], entry["exit_code"]) == ("fault", 1)
            assert path.name in entry["problems"][0]["what"] and "again" in entry["problems"][0]["fix"]


@pytest.mark.parametrize("left", [0, 8])
def test_one_of_which_not_even_the_beginning_is_left_is_made_again(left: int, cached: Path) -> None:
    """Python does so by itself."""
    path = compiled(cached, "verify")
    path.write_bytes(path.read_bytes()[:left])
    said = process("verify", "nowhere", folder=cached, PYTHONPATH=str(cached / "installed"))
    assert said.returncode == 2 and b"damaged" not in said.stderr and path.stat().st_size > 8


BROKEN = {
    "cut.py": b"def one(\n",
    "cut.abi3.so": b"\x7fELF",
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_cut_source_or_library_is_one_too(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(BROKEN[name])
    code = "import sys; from pipeline.damaged import damaged_file\ntry:\n import cut\nexcept Exception as error:"
    found = subprocess.run(
        [sys.executable, "-c", f"{code}\n print(damaged_file(error))"],
        env={"PYTHONPATH": f"{tmp_path}:{Path(__file__).parents[2]}"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert name in found.stdout


@pytest.mark.parametrize("error", [EOFError("marshal data too short"), ValueError("bad"), ImportError("no such")])
def test_other_errors_are_not(error: Exception) -> None:
    try:
        raise error
    except Exception as raised:
        assert damaged_file(raised) is None
    assert damaged_file(ModuleNotFoundError("No module named 'x'")) is None
