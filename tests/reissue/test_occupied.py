"""What an issue told of occupations that failed is known again by data, whatever names and sentences there are."""

import datetime as dt
from types import SimpleNamespace
from typing import Any, cast

import pytest

from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.occupied import EarlierOccupation, told_before

TIME = int(dt.datetime(2026, 3, 1, 21, 7, 9, 250_000, tzinfo=dt.UTC).timestamp() * 1000)
SURVEY = cast(Survey, SimpleNamespace(windows=[
    SimpleNamespace(index=0, session=SimpleNamespace(name="one")),
    SimpleNamespace(index=1, session=SimpleNamespace(name="two")),
]))  # fmt: skip
NAMES = ["CM2-PM", "A on B", "P (observed 1)", "two\nlines", "100%", "{point}", "CM2 on CM2 (observed 2026-03-01"]


def origin(**other: Any) -> dict[str, Any]:
    told = {"of": "occupation", "point": "CM2-PM", "mark": "CM2", "observed": "2026-03-01T21:07:09.250Z"}
    return told | {"failed_in": 12, "parts": None, "now": "gone"} | other


def with_doubt(origin: dict[str, Any] | None) -> Record:
    doubt = {"kind": "unanswered-check", "what": "in any words", "sessions": ["two"], "confirmed": False}
    return cast(Record, {"doubts": [doubt | {"origin": origin}], "sessions": []})


@pytest.mark.parametrize("point", NAMES)
@pytest.mark.parametrize(
    ("now", "parts", "failed"),
    [
        ("gone", None, None),
        ("gone", ["height"], [False, True]),
        ("tie", ["position"], [True, False]),
        ("untested", ["position", "height"], [True, True]),
    ],
)
def test_what_is_recorded_is_known_again(
    point: str, now: str, parts: list[str] | None, failed: list[bool] | None
) -> None:
    (found,) = told_before(with_doubt(origin(point=point, parts=parts, now=now)), SURVEY)
    assert (found.issue, found.point, found.mark, found.time) == (12, point, "CM2", TIME)
    assert (None if found.parts is None else found.parts.tolist()) == failed
    assert found.sessions == found.reach == (1,) and found.failed
    again = found.doubt(cast(Any, now), "goes on anyhow", (1,)).recorded(["one", "two"], 9)
    assert again["origin"] == origin(point=point, parts=parts, now=now)


def test_other_doubts_tell_of_none() -> None:
    assert list(told_before(with_doubt(None), SURVEY)) == []
    assert list(told_before(with_doubt({"of": "words", "what": "the occupation P on CM2"}), SURVEY)) == []


def test_two_are_the_same_by_point_mark_and_time_alone() -> None:
    """A name that has the other's within is another's; a record of before had times to the second."""
    one = EarlierOccupation(12, "CM2-PM", "CM2", TIME, (), ())
    (same,) = told_before(with_doubt(origin(failed_in=3, now="tie", observed="2026-03-01T21:07:09.000Z")), SURVEY)
    assert one.told_by(same.doubt("gone", "is gone", ()))
    for other in ({"point": "XCM2-PM"}, {"mark": "CM22"}, {"observed": "2026-03-01T21:07:10.250Z"}):
        (found,) = told_before(with_doubt(origin(**other)), SURVEY)
        assert not one.told_by(found.doubt("gone", "is gone", ()))
