"""Columns called "Base" and the like that hold what a feature is: asked for, and no session is made of their values."""

import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest
from folders_made import drafted

from pipeline.new_job import new_job

_NAMES = ["CP1", "CP2", "CP3", *(str(number) for number in range(101, 141)), "CP2", "CP1"]


def _drafted(folder: Path, headings: str, cells: Sequence[str]) -> tuple[dict[str, str], list[tuple[str, str]], int]:
    """Return the mapped columns, what is asked of the export's columns, and how many sessions are drafted.

    ``cells`` are the texts behind each reading, one every two minutes.
    """
    marks = {"CP1": (7000, 3000), "CP2": (7060, 3045), "CP3": (7120, 3090)}
    (folder / "control.csv").write_text(
        "mark,easting,northing,height\n"
        + "".join(f"{name},{east}.000,{north}.000,{at}.300\n" for at, (name, (east, north)) in enumerate(marks.items()))
    )
    lines = [f"Point,Easting,Northing,Ellipsoidal height,Time (UTC),{headings}"]
    for at, name in enumerate(_NAMES):
        east, north = marks.get(name, (7010 + 3 * at, 3050 - 2 * at))
        lines.append(f"{name},{east}.412,{north}.207,{at % 7}.512,2026-03-17T{7 + at // 30:02d}:{2 * at % 60:02d}:00Z,"
                     f"{cells[at]}")  # fmt: skip
    (folder / "day.csv").write_text("\n".join(lines) + "\n")
    started = new_job(folder)
    (block,) = tomllib.loads(Path(started.path).read_text())["points"]
    draft = drafted(started)
    asked = [(each.key, each.asks) for each in draft.blocks[0].asks if each.key == "base"]
    return block["columns"], asked, len(draft.sessions)


_EACH = range(len(_NAMES))


@pytest.mark.parametrize("heading", ["Base", "Reference", "Ref"])
@pytest.mark.parametrize(
    "cells",
    [["gravel" if at % 2 else "concrete" for at in _EACH], [("gravel", "concrete", "")[at % 3] for at in _EACH],
     ["gravel" if at % 4 == 0 else "" for at in _EACH]],
)  # fmt: skip
def test_what_comes_and_goes_or_is_rarely_there_is_asked_for(tmp_path: Path, heading: str, cells: list[str]) -> None:
    columns, asked, sessions = _drafted(tmp_path, heading, cells)
    assert "base" not in columns and sessions == 1
    ((_, asks),) = asked
    assert f'"{heading}"' in asks and "gravel (" in asks


@pytest.mark.parametrize(
    ("heading", "cells"),
    [("Base", ["B1" if at < 20 else "B2" for at in _EACH]), ("Reference", ["B1" for _ in _EACH]),
     ("Base ID", ["B1" if at % 2 else "B2" for at in _EACH]), ("Base", ["B1" if at % 3 else "" for at in _EACH])],
)  # fmt: skip
def test_ids_of_bases_are_taken(tmp_path: Path, heading: str, cells: list[str]) -> None:
    columns, asked, sessions = _drafted(tmp_path, heading, cells)
    assert columns["base"] == heading and not asked
    assert sessions == len(set(cells) - {""})


def test_words_of_solutions_go_before_a_status_of_features(tmp_path: Path) -> None:
    cells = [f"{'existing' if at % 2 else 'proposed'},FIXED" for at in _EACH]
    columns, _, _ = _drafted(tmp_path, "Status,Soln", cells)
    assert columns["solution"] == "Soln"
