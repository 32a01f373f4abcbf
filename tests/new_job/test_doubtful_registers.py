"""A list of points that lies where the register should: asked for where readings say that control is not in it."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from pipeline.new_job import new_job

_FEATURES = ["KERB", "FENCE", "TREE"]
#: Codes of control, and names of marks, as many offices have them.
_CONTROL = ["CP1", "CP2", "CP3"]


def _lay(folder: Path, points: int, on_control: Sequence[str], listed: Sequence[str], coded: bool = True) -> None:
    """Write an export of points and readings on control, the first again at the end, and a table of those listed."""
    names = [*on_control, *(str(101 + at) for at in range(points)), *on_control[:1]]
    place = {name: (7000 + 53 * at % 400, 3000 + 71 * at % 390, 60 + at % 7) for at, name in enumerate(names)}
    rows = ["Point,Code,E,N,Ell Height,UTC,Fix"]
    for at, name in enumerate(names):
        code = ("CTL" if name in on_control else _FEATURES[at % 3]) if coded else ""
        east, north, height = place[name]
        rows.append(
            f"{name},{code},{east}.412,{north}.207,{height}.100,2026-03-17T{7 + at // 60:02d}:{at % 60:02d}:00Z,FIX"
        )
    table = ["Point,E,N,Ell Height", *(f"{name},{place[name][0]}.400,{place[name][1]}.200,{place[name][2]}.105"
             for name in listed)]  # fmt: skip
    (folder / "day.csv").write_text("\n".join(rows) + "\n")
    (folder / "list.csv").write_text("\n".join(table) + "\n")


def _asked(folder: Path) -> list[str]:
    return [one.question.asks for one in new_job(folder).asked if one.question.key == "control.file"]


def _points(first: int, count: int) -> list[str]:
    return [str(101 + at) for at in range(first, first + count)]


@pytest.mark.parametrize("unread", ["", "control.ods", "control.pdf"])
def test_a_list_without_any_mark_that_readings_are_coded_on(tmp_path: Path, unread: str) -> None:
    _lay(tmp_path, 30, _CONTROL, _points(0, 18))
    if unread:
        (tmp_path / unread).write_bytes(b"\x00 no text")
    (asks,) = _asked(tmp_path)
    assert "is list.csv the register of control marks?" in asks and "CP1, CP2, CP3" in asks
    assert (unread or "not read") in asks if unread else "not read" not in asks


def test_a_list_of_most_points_of_features(tmp_path: Path) -> None:
    _lay(tmp_path, 30, [], _points(0, 25))
    (asks,) = _asked(tmp_path)
    assert "25 of 30 points" in asks


@pytest.mark.parametrize(
    ("points", "on_control", "listed", "coded"),
    [
        (30, _CONTROL, _CONTROL, True),
        (30, _CONTROL, [*_CONTROL, *_points(0, 18)], True),
        (30, ["TP1", "TP2"], _points(3, 4), True),
        (30, _points(0, 4), _points(0, 4), False),
        (12, [], _points(0, 12), False),
        (8, _CONTROL, _CONTROL, True),
    ],
    ids=["a register", "with points", "new pegs beside numbered marks", "numbers", "control alone", "a few points"],
)
def test_registers_are_taken(
    tmp_path: Path, points: int, on_control: list[str], listed: list[str], coded: bool
) -> None:
    _lay(tmp_path, points, on_control, listed, coded)
    assert _asked(tmp_path) == []
