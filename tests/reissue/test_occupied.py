"""What an issue told of occupations that failed is known again by its own sentences, whatever these say."""

import datetime as dt
from types import SimpleNamespace
from typing import cast

import pytest

from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue import occupied as module
from pipeline.reissue.occupied import GONE, TIE, UNTESTED, Occupied, told_before

TIME = int(dt.datetime(2026, 3, 1, 21, 7, 9, tzinfo=dt.UTC).timestamp() * 1000)
SURVEY = cast(Survey, SimpleNamespace(windows=[
    SimpleNamespace(index=0, session=SimpleNamespace(name="one")),
    SimpleNamespace(index=1, session=SimpleNamespace(name="two")),
]))  # fmt: skip


def with_doubt(what: str, kind: str = "unanswered-check") -> Record:
    doubt = {"kind": kind, "what": what, "sessions": ["two"], "confirmed": False}
    return cast(Record, {"doubts": [doubt]})


@pytest.mark.parametrize("point", ["CM2-PM", "A on B", "P (observed 1)", "two\nlines", "100%", "{point}"])
@pytest.mark.parametrize(
    ("how", "parts", "untested"),
    [
        (GONE, None, False),
        (f"{GONE}: it counts as a point", None, False),
        (f"{TIE}, 0.300 m in height off from T1 on CM1", None, True),
        (UNTESTED.format("height"), [False, True], True),
        (UNTESTED.format("position and height"), [True, True], True),
    ],
)
def test_a_sentence_is_known_again(point: str, how: str, parts: list[bool] | None, untested: bool) -> None:
    one = Occupied(12, point, "CM2", TIME, (), ())
    what = f"rover.csv:7: {one.told(how)}: it is held back as poor_quality -> nothing of it counts as proven until"
    if how != GONE:
        what = f"{one.told(how)} -> nothing of it counts as proven until"
    (found,) = told_before(with_doubt(what), SURVEY)
    assert (found.issue, found.point, found.mark, found.time) == (12, point, "CM2", TIME)
    assert (None if found.parts is None else found.parts.tolist(), found.untested) == (parts, untested)
    assert found.sessions == found.reach == (1,) and found.failed and found.key == one.key and one.told_in(what)


def test_other_doubts_tell_of_none() -> None:
    what = Occupied(1, "P", "CM2", TIME, (), ()).told(GONE)
    assert list(told_before(with_doubt(what, "tolerance"), SURVEY)) == []
    assert list(told_before(with_doubt("session two: 1 reading meant for a mark"), SURVEY)) == []


@pytest.mark.parametrize("sentence", [
    "{point} was observed on {mark} at {seen} UTC and failed in issue {issue}; it {how}",
    "in issue {issue}, {how}: {point} ({mark}, {seen})",
])  # fmt: skip
def test_another_wording_is_known_again_too(sentence: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sentence is written once: what finds it is made of the same words."""
    monkeypatch.setattr(module, "_SENTENCE", sentence)
    monkeypatch.setattr(module, "_TOLD", module._told_again())
    one = Occupied(3, "CM2-PM", "CM2", TIME, (), ())
    (found,) = told_before(with_doubt(f"{one.told(UNTESTED.format('position'))}."), SURVEY)
    assert (
        (found.issue, found.key) == (3, one.key) and found.parts is not None and found.parts.tolist() == [True, False]
    )
