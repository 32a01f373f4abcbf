"""What is measured by hand names stages of the program that are there."""

import importlib
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]


def test_every_timed_stage_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    for folder in (TESTS / "benchmarks", TESTS / "support", TESTS.parent / "sample_data"):
        monkeypatch.syspath_prepend(str(folder))
    stages = importlib.import_module("network_job").STAGES
    for module, name, _ in stages:
        assert callable(getattr(importlib.import_module(f"pipeline.{module}"), name))
    assert len(stages) > 20 and sys.modules["network_job"].__file__ == str(TESTS / "benchmarks" / "network_job.py")
