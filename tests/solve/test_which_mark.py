"""Which mark a reading stands on; places in metres on a grid, by hand."""

from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pytest

from pipeline.intake.named_points import Named
from pipeline.solve.which_mark import Places, resolve
from pipeline.words import Role

#: CM1 and CM2 are of the register, T1 is a temporary mark as it was adjusted.
REFERENCE = SimpleNamespace(names=("CM1", "CM2"), grid=np.array([[0.0, 0.0, 5.0], [100.0, 0.0, 6.0]]))
TEMPORARY = {"T1": np.array([50.0, 50.0, 0.0])}
JOB = SimpleNamespace(checks=SimpleNamespace(codes=("CHK",), radius=0.5))


#: Places of readings as their exports have them are given on the grid here.
AS_IT_IS = SimpleNamespace(forward=lambda *xyz: xyz)


def stands_on(
    at: tuple[float, float],
    name: str = "p7",
    code: str = "TREE",
    column: str | None = None,
    said: Named | None = None,
    exported: tuple[float, float] = (-900.0, -900.0),
) -> str | None:
    candidates = SimpleNamespace(
        table=pa.table({"code": pa.array([code], pa.string()), "mark": pa.array([column], pa.string())}),
        names=(name,), named=(said,), raw=np.array([[*exported, 0.0]]),
    )  # fmt: skip
    corrected = SimpleNamespace(easting=np.array([at[0]]), northing=np.array([at[1]]))
    return resolve(candidates, corrected, JOB, REFERENCE, TEMPORARY, AS_IT_IS)[0]


def test_the_sessions_word_comes_first_however_far_away() -> None:
    assert stands_on((900.0, 900.0), name="CM1", code="CHK", said=Named("CM2", Role.CHECK)) == "CM2"


@pytest.mark.parametrize(
    ("asked", "mark"),
    [
        ({"at": (0.1, 0.0)}, None),  # on the mark, but it says nothing: an ordinary point
        ({"at": (0.1, 0.0), "code": "chk"}, "CM1"),
        ({"at": (0.4, 0.4), "code": "CHK"}, None),  # 0.57 m away
        ({"at": (50.2, 50.4), "code": "CHK"}, "T1"),  # 0.45 m away
        ({"at": (100.0, 0.1), "code": "CHK", "name": "CM1-AM"}, "CM1"),  # what it says goes before where it is
        ({"at": (100.0, 0.1), "column": " CM1 "}, "CM1"),
        ({"at": (0.1, 0.0), "column": "some wall"}, None),
        ({"at": (900.0, 0.0), "column": "T1"}, "T1"),
        ({"at": (15.0, 0.0), "code": "CHK", "name": "cm01b"}, "CM1"),  # like a mark 15 m away
        ({"at": (21.0, 0.0), "code": "CHK", "name": "cm01b"}, None),  # and 21 m away
        ({"at": (15.0, 0.0), "name": "cm01b"}, None),
        ({"at": (15.0, 0.0), "code": "CHK", "exported": (100.3, 0.0)}, "CM2"),  # the field had corrected it already
        ({"at": (15.0, 0.0), "code": "CHK", "exported": (100.6, 0.0)}, None),
        ({"at": (15.0, 0.0), "exported": (100.0, 0.0)}, None),
    ],
)  # fmt: skip
def test_a_reading_stands_on_the_mark_that_it_says_or_lies_on(asked: dict, mark: str | None) -> None:
    assert stands_on(**asked) == mark


def test_the_nearest_mark_counts_within_a_distance_only() -> None:
    places = Places(("A", "B", "C"), np.array([[0.0, 0.0], [3.0, 4.0], [np.nan, np.nan]]))
    assert places.nearest(np.array([3.0, 0.0]), 10.0) == ("A", 3.0)
    assert places.nearest(np.array([3.0, 3.0]), 10.0) == ("B", 1.0)
    assert places.beside("B", np.array([0.0, 0.0]), 5.0) == ("B", 5.0)
    assert places.beside("B", np.array([0.0, 0.0]), 4.9) == (None, np.inf)
    assert places.beside("C", np.array([0.0, 0.0]), 1e9) == (None, np.inf)
    assert Places((), np.zeros((0, 2))).nearest(np.array([0.0, 0.0]), 5.0) == (None, np.inf)
