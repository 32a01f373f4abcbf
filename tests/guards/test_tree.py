"""The tests try the tree that they lie in, in this process and in those that it starts, whatever is installed."""

import os
import subprocess
import sys
from pathlib import Path

from command import surroundings

import pipeline

ROOT = Path(__file__).resolve().parents[2]


def test_the_tree_under_test_is_the_one_that_is_loaded(tmp_path: Path) -> None:
    assert Path(pipeline.__file__).resolve().is_relative_to(ROOT)
    code = "import pipeline; print(pipeline.__file__)"
    for variables in (dict(os.environ), surroundings()):
        told = subprocess.run(
            [sys.executable, "-P", "-c", code], cwd=tmp_path, env=variables, capture_output=True, text=True, check=True
        )
        assert Path(told.stdout.strip()).resolve().is_relative_to(ROOT)
