"""Columns on disk give back what they took, wherever the disk ends; expected is what one array of each would give."""

import errno
import tempfile
from typing import Any

import numpy as np
import pytest

from pipeline.intake.columns import DiskColumn, DiskColumns

KINDS = {"number": np.int64, "place": np.float64, "code": np.uint8}


def added(pieces: list[int], held: int) -> tuple[DiskColumns, dict[str, np.ndarray]]:
    """Columns that took pieces of so many rows, and the same as whole arrays."""
    random, columns = np.random.default_rng(1), DiskColumns(KINDS, held)
    made = []
    for rows in pieces:
        values = random.integers(0, 255, rows)
        made.append({"number": values, "place": random.normal(size=rows), "code": values.astype(np.uint8)})
        columns.add(made[-1])
    return columns, {name: np.concatenate([piece[name] for piece in made]) for name in KINDS}


def same(columns: DiskColumns, whole: dict[str, np.ndarray]) -> None:
    """Every way of reading gives what was taken."""
    assert len(columns) == len(whole["code"])
    for place, values in columns.pieces(*KINDS):
        for name, found in zip(KINDS, values, strict=True):
            assert found.dtype == KINDS[name] and np.array_equal(found, whole[name][place])
    for name in KINDS:
        assert np.array_equal(np.concatenate(list(DiskColumn(columns, name))), whole[name])
    for step in (1, 3, 40):
        numbers = np.arange(len(columns))[::step]
        for name, found in zip(KINDS, columns.take(numbers, *KINDS), strict=True):
            assert np.array_equal(found, whole[name][numbers])


@pytest.mark.parametrize("held", [0, 15, 10_000])
def test_they_give_back_what_they_took(held: int) -> None:
    same(*added([10, 1, 0, 30, 7], held))


def test_none_of_an_array_that_was_given_is_held() -> None:
    columns, given = DiskColumns({"code": np.uint8}), np.zeros(3, np.uint8)
    columns.add({"code": given})
    given[:] = 7
    assert not columns.take(np.arange(3), "code")[0].any()


class _Full:
    """A file on a disk that takes so many bytes."""

    def __init__(self, room: int, file: Any) -> None:
        self.room, self.file = room, file

    def write(self, content: Any) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "no room")
        written = min(len(content), self.room)
        self.room -= written
        return int(self.file.write(content[:written]))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)


@pytest.mark.parametrize("room", [0, 1, 500])
def test_where_the_disk_is_full_memory_holds_the_rest(monkeypatch: pytest.MonkeyPatch, room: int) -> None:
    """And what was laid down of a piece that does not fit takes up no room."""
    real, made = tempfile.TemporaryFile, list[_Full]()

    def full(**how: Any) -> _Full:
        made.append(_Full(room, real(**how)))
        return made[-1]

    monkeypatch.setattr(tempfile, "TemporaryFile", full)
    same(*added([20, 20, 20], 0))
    piece = 20 * (8 + 8 + 1)
    assert [file.seek(0, 2) for file in made] == [room // piece * piece]


def test_where_no_file_can_be_made_memory_holds_all(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(**_: Any) -> None:
        raise OSError(errno.EACCES, "refused")

    monkeypatch.setattr(tempfile, "TemporaryFile", refused)
    same(*added([20, 20], 0))
