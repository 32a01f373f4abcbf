"""The points of the previous issue, as the second pass comes past them: compared with plain lists of the same rows."""

import errno
import tempfile
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.intake.columns import DiskColumns
from pipeline.reissue.earlier_points import READ, EarlierPoints, Passing

SESSIONS, FILES, PROOFS = ("a", "b"), ("one.csv", "two.csv"), ("bracketed", "unclosed")
Row = tuple[str, int, str, str, float]


def laid_down(rows: list[Row], piece: int) -> EarlierPoints:
    """Lay rows down in batches of so many: raw file, row there, session, proof word, and a number for all eight."""
    batches = []
    for start in range(0, len(rows), piece):
        file, source_row, session, proof, value = zip(*rows[start : start + piece], strict=True)
        texts = [pa.array(file), pa.array(source_row), pa.array(session), pa.array(proof)]
        numbers = [pa.array([number + at for number in value]) for at in range(8)]
        batches.append(pa.RecordBatch.from_arrays([*texts, *numbers], names=list(READ)))
    return EarlierPoints(batches, SESSIONS, FILES)


@pytest.fixture(params=["in memory", "on disk", "full disk"])
def place(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where points lie: few in memory, more on disk, and in memory again where a disk has no room."""

    def full(**_: Any) -> None:
        raise OSError(errno.ENOSPC, "no room")

    if request.param != "in memory":
        monkeypatch.setattr(DiskColumns.__init__, "__defaults__", (0,))
    if request.param == "full disk":
        monkeypatch.setattr(tempfile, "TemporaryFile", full)


def some_rows(seed: int) -> list[Row]:
    """Return points of two files, in the order of their rows, with gaps where rows were held back."""
    chance = np.random.default_rng(seed)
    rows = []
    for file in FILES:
        for number in np.flatnonzero(chance.random(60) < 0.7).tolist():
            session, proof = str(chance.choice(SESSIONS)), str(chance.choice(PROOFS))
            rows.append((file, number + 1, session, proof, float(chance.normal())))
    return rows


@pytest.mark.usefixtures("place")
@pytest.mark.parametrize(("seed", "piece", "batch"), [(1, 1000, 7), (2, 7, 1000), (3, 5, 8), (4, 1, 3), (5, 64, 64)])
def test_every_batch_gets_the_points_among_its_rows(seed: int, piece: int, batch: int) -> None:
    """However pieces and batches are cut."""
    rows = some_rows(seed)
    points = laid_down(rows, piece)
    passing = Passing(points)
    assert points.rows == len(rows)
    for number, file in enumerate(FILES):
        for start in range(1, 61, batch):
            read = np.arange(start, min(start + batch, 61))
            wanted = [row for row in rows if row[0] == file and row[1] in read]
            found = passing.among(number, read)
            if found is None:
                assert wanted == []
                continue
            assert found.file.tolist() == [number] * len(wanted)
            assert found.source_row.tolist() == [row[1] for row in wanted]
            assert found.session.tolist() == [SESSIONS.index(row[2]) for row in wanted]
            np.testing.assert_array_equal(found.values, [[row[4] + at for at in range(8)] for row in wanted])
    assert passing.among(1, np.array([10_000])) is None


def test_a_point_of_a_row_that_does_not_come_stays_in_the_way() -> None:
    """What follows it is not given: the rows are not those that were issued, and nothing can be said by their order."""
    rows = [("one.csv", number, "a", "bracketed", 0.0) for number in (5, 2, 3, 9)]
    passing = Passing(laid_down(rows, 2))
    assert passing.among(0, np.array([1, 2, 3])) is None
    found = passing.among(0, np.array([4, 5, 6]))
    assert found is not None
    assert found.source_row.tolist() == [5]


def test_rows_of_a_second_layer_of_one_file_are_not_taken_with_the_first() -> None:
    """Both count from 1."""
    rows = [("one.csv", number, "a", "bracketed", 0.0) for number in (1, 2, 4, 1, 3)]
    passing = Passing(laid_down(rows, 100))
    for read in ((1, 2, 4), (1, 3)):
        found = passing.among(0, np.arange(1, 5))
        assert found is not None
        assert found.source_row.tolist() == list(read)


def test_what_is_called_otherwise_now_is_no_session_and_no_file() -> None:
    rows = [("gone.csv", 1, "a", "bracketed", 0.0), ("one.csv", 2, "gone", "bracketed", 0.0)]
    (piece,) = laid_down(rows, 100).pieces()
    assert piece.file.tolist() == [-1, 0]
    assert piece.session.tolist() == [0, -1]


@pytest.mark.parametrize("piece", [1, 3, 1000])
def test_points_of_a_file_that_is_gone_or_was_cut_short_are_passed_over(piece: int) -> None:
    """And a file that is new has none: it takes none of the others' away."""
    rows = [("gone.csv", number, "a", "bracketed", 0.0) for number in (1, 2)]
    rows += [("one.csv", number, "a", "bracketed", 0.0) for number in (1, 2, 7, 8)]
    rows += [("two.csv", number, "b", "bracketed", 0.0) for number in (1, 2)]
    points = laid_down(rows, piece)
    files = (*FILES, "new.csv")
    passing = Passing(points)
    for file, last, wanted in (("new.csv", 9, []), ("one.csv", 3, [1, 2]), ("new.csv", 9, []), ("two.csv", 5, [1, 2])):
        found = passing.among(files.index(file), np.arange(1, last))
        assert (found.source_row.tolist() if found is not None else []) == wanted


def test_a_file_that_comes_later_than_it_did_has_its_points_worked_out() -> None:
    """None of the others is kept from its own by it."""
    rows = [("one.csv", 1, "a", "bracketed", 0.0), ("two.csv", 1, "b", "bracketed", 0.0)]
    passing = Passing(laid_down(rows, 1))
    assert passing.among(1, np.array([1])) is not None
    assert passing.among(0, np.array([1])) is None
    assert passing.among(1, np.array([2])) is None


def test_a_number_that_is_not_there_is_none() -> None:
    """As a layer has it where a height is not known."""
    batch = pa.RecordBatch.from_arrays(
        [pa.array(["one.csv"]), pa.array([1]), pa.array(["a"]), pa.array(["unclosed"]), *[pa.array([None], "f8")] * 8],
        names=list(READ),
    )
    (piece,) = EarlierPoints([batch], SESSIONS, FILES).pieces()
    assert np.isnan(piece.values).all()
