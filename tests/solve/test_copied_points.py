"""Which of the readings that two sessions have at one position a doubt names: those that the shifts put apart."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from pipeline.intake.recurring import Recurring
from pipeline.solve.copied_points import copied_point_doubts


def survey(count: int) -> Any:
    """A job of two sessions in two files that have so many readings alike, of which the first 60 are named."""
    recurring = Recurring(
        session=np.tile([0, 1], (count, 1)),
        time=np.zeros((count, 2), np.int64),
        export=np.tile([0, 1], (count, 1)),
        base=np.full((count, 2), None, object),
        named=tuple(f"pair {number}" for number in range(min(count, 60))),
        row=np.arange(count) + 100,
    )
    return SimpleNamespace(
        job=SimpleNamespace(checks=SimpleNamespace(horizontal=0.05, vertical=0.08)),
        first_pass=SimpleNamespace(recurring=(recurring,)),
        windows=[SimpleNamespace(session=SimpleNamespace(name=name)) for name in ("early", "late")],
        exports=[SimpleNamespace(shown="one.csv"), SimpleNamespace(shown="two.csv")],
    )


def doubts(count: int, *off: int) -> list[Any]:
    """Return the doubts where only these readings are issued apart, by 3 m east and 4 m north."""
    apart = np.zeros((count, 3))
    apart[list(off)] = 3.0, 4.0, -1.0
    issued: Any = SimpleNamespace(apart=lambda *_: apart)
    return list(copied_point_doubts(survey(count), issued))


def test_only_readings_that_are_apart_are_named() -> None:
    (doubt,) = doubts(7, 5, 6)
    assert "session late: 2 readings have" in doubt.what and "differ by 5.000 m" in doubt.what
    assert "pair 5; pair 6" in doubt.what and "pair 0" not in doubt.what and "more" not in doubt.what
    assert (doubt.file, doubt.line) == ("two.csv", 105)


def test_more_than_three_are_counted() -> None:
    (doubt,) = doubts(9, 2, 3, 4, 5, 6)
    assert "pair 2; pair 3; pair 4 and 2 more" in doubt.what


def test_of_many_the_first_may_be_told_by_their_line_alone() -> None:
    (doubt,) = doubts(90, 80, 81)
    assert "2 readings have" in doubt.what and "pair" not in doubt.what and doubt.line == 180


def test_readings_that_are_issued_at_one_place_are_in_no_doubt() -> None:
    assert not doubts(7)
