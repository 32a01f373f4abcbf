"""The thread that writes an issue's layers: over when its run is, whatever became of either."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from command import SMALL
from every import every
from simulate import simulate

from pipeline import run_job
from pipeline.run import layers
from pipeline.run import run_job as whole_run


class Struck(Exception):
    """What this test raises, and nobody else."""


def writing() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("tiedown")]


def test_a_run_that_ends_while_its_layers_are_written_ends_that_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = simulate(SMALL).write(tmp_path)

    def struck(*_: Any, **__: Any) -> None:
        raise Struck

    monkeypatch.setattr(whole_run, "account", struck)
    with pytest.raises(Struck):
        run_job(path)
    assert not writing()
    assert not list((tmp_path / "out" / "issues").iterdir())
    monkeypatch.undo()
    assert run_job(path).issued


@pytest.mark.parametrize("where", ["rows", "layers after the points"])
def test_what_befalls_the_writer_is_raised_as_it_was(
    where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = simulate(SMALL).write(tmp_path)

    def struck(*_: Any) -> Iterator[Any]:
        raise Struck
        yield

    monkeypatch.setattr(*((layers.SecondPass, "points") if where == "rows" else (layers.Rest, "sources")), struck)
    with pytest.raises(Struck):
        run_job(path)
    assert not writing()
    assert not list((tmp_path / "out" / "issues").iterdir())


def test_the_report_waits_for_the_sums_of_files_that_are_slow_to_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As with a large layer, whose index is packed when all else is known."""
    path, sources = simulate(SMALL).write(tmp_path), layers.Rest.sources

    def slow(rest: layers.Rest) -> Iterator[Any]:
        time.sleep(1.0)
        yield from sources(rest)

    monkeypatch.setattr(layers.Rest, "sources", slow)
    made = run_job(path)
    assert made.issued and made.folder is not None
    page = next(made.folder.glob("*.html")).read_text(encoding="utf-8")
    for file in every(made.record["files"]):
        if not file["name"].endswith(".html"):
            assert file["sha256"][:12] in page and file["name"] in page
