"""What counts as a change of a job's state: each row is a night as an office would tell it."""

from pathlib import Path

import pytest

from pipeline.notify.job_change import JobChange
from pipeline.notify.message import message
from pipeline.notify.state import Event, Stand, ToldState, events
from pipeline.problems import JobError

GOOD = ToldState(Stand.STANDS, 3, "proven", False, 3)
WAITS = ToldState(Stand.STANDS, 4, "failed", True, 3)
REFUSED = ToldState(Stand.REFUSED, 3, "proven", False, 3)
FAILED = ToldState(Stand.FAILED, 3, "proven", False, 3)
UNTOLD = ToldState(Stand.UNTOLD)

CASES = {
    "nothing": (GOOD, GOOD, False, ""),
    "a command named for a job that stands": (None, GOOD, False, ""),
    "the first issue": (None, ToldState(Stand.STANDS, 1, "proven", False, 1), True, "first"),
    "the first issue, told in vain before": (UNTOLD, ToldState(Stand.STANDS, 1, "proven", False, 1), False, "first"),
    "the first issue, which waits": (None, ToldState(Stand.STANDS, 1, "failed", True, None), True, "first pending"),
    "a new issue of a job never told of": (None, GOOD, True, "issue"),
    "a new issue": (GOOD, ToldState(Stand.STANDS, 4, "proven", False, 4), True, "issue"),
    "a new issue that waits": (GOOD, WAITS, True, "issue pending verdict"),
    "another one that waits": (WAITS, ToldState(Stand.STANDS, 5, "failed", True, 3), True, "issue pending"),
    "it still waits": (WAITS, WAITS, False, ""),
    "released by hand": (WAITS, ToldState(Stand.STANDS, 4, "failed", False, 4), False, "released"),
    "an older one released by hand": (GOOD, ToldState(Stand.STANDS, 3, "proven", False, 2), False, "released"),
    "a better one follows by itself": (WAITS, ToldState(Stand.STANDS, 5, "proven", False, 5), True, "issue verdict"),
    "the newest set aside": (GOOD, ToldState(Stand.STANDS, 2, "proven", False, 2), False, "aside"),
    "refused": (GOOD, REFUSED, False, "refused"),
    "refused from the start": (None, ToldState(Stand.REFUSED), False, "refused"),
    "refused again": (REFUSED, REFUSED, False, ""),
    "failed after it was refused": (REFUSED, FAILED, False, "failed"),
    "failed again": (FAILED, FAILED, False, ""),
    "recovered": (REFUSED, GOOD, False, "recovered"),
    "recovered with a new issue": (
        FAILED,
        ToldState(Stand.STANDS, 4, "failed", False, 4),
        True,
        "issue verdict recovered",
    ),
    "recovered with its first": (ToldState(Stand.REFUSED), ToldState(Stand.STANDS, 1, "proven", False, 1), True, "first recovered"),  # noqa: E501
    "recovered, its issues never told of": (ToldState(Stand.REFUSED), GOOD, False, "recovered"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_what_changed(case: str) -> None:
    before, now, fresh, expected = CASES[case]
    assert [str(one) for one in events(before, now, fresh=fresh)] == expected.split()


def test_a_note_says_what_was_noted_and_another_text_nothing() -> None:
    assert ToldState.read(WAITS.plain()) == WAITS
    for said in (None, {}, {"stand": "elsewhere"}, {"stand": "stands", "more": 1}):
        assert ToldState.read(said) is None


@pytest.mark.parametrize(
    ("now", "expected"),
    [(REFUSED, "issue 003 stands"), (ToldState(Stand.REFUSED, 4, "failed", True, 3), "current shows issue 003")],
)
def test_a_refusal_says_what_is_in_use(now: ToldState, expected: str) -> None:
    """Where the newest waits, it is the one before that drafters have."""
    said = message(JobChange(Path("a.toml"), JobError([]), 2), "a", [Event.REFUSED], GOOD, now).said["subject"]
    assert said == f"a: refused; {expected}"
