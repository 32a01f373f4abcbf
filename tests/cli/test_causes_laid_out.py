"""The causes of a failure stand in lines of their own on screen, whatever words the names in them have."""

from typing import Any, cast

import pytest
from record_made import diagnosis, failing, record

from pipeline.cli.issue_summary import summary
from pipeline.issue.record_types import Record

ODD = "x; or y; to decide: z"


def lines(cause: str, *found: dict[str, Any], mark: str = ODD) -> list[str]:
    """Return what the summary has below the failure."""
    check = failing("one", mark, 30, point="P", cause=cause)
    shown = summary(cast(Record, record(checks=[check], diagnoses=list(found))), "issue 001").splitlines()
    first = next(number for number, line in enumerate(shown) if "FAILS:" in line)
    return [line.strip() for line in shown[first + 1 :] if line.startswith(" " * 9)]


def explained(*texts: str, decide: str | None) -> dict[str, Any]:
    row = diagnosis("one", ["P"], split=None)
    (pattern, _) = row["explanations"]
    return row | {"explanations": [pattern | {"text": text, "decide": decide} for text in texts]}


def test_a_name_with_the_words_between_causes_breaks_no_line() -> None:
    first, second, decide = f"P was on CM2, not on {ODD}", f"{ODD} was disturbed", f"{ODD} occupied again"
    causes = f"{first} (unexplained: 0.004 m); or perhaps by chance: {second} (unexplained: 0.005 m)"
    cause = f"{causes}; to decide: {decide} [9]"
    assert lines(cause, explained(first, second, decide=decide)) == [
        f"possible cause: {first} (unexplained: 0.004 m)",
        f"or perhaps by chance: {second} (unexplained: 0.005 m)",
        f"to decide: {decide} [9]",
    ]


def test_noise_stands_before_the_cause_that_may_be_behind_it() -> None:
    text = "the base appears to have moved"
    noise = "perhaps no blunder: the difference of 0.151 m in position is within its own 95 % uncertainty of 0.2 m"
    assert lines(f"{noise}; or {text} (9)", explained(text, decide=None)) == [noise, f"or {text} (9)"]


@pytest.mark.parametrize("mark", [ODD, "none of them"])
def test_a_temporary_mark_has_no_diagnosis(mark: str) -> None:
    cause = f"{mark} is positioned by the ties on it; to decide: {mark} and a mark of the register occupied again"
    assert lines(cause, mark=mark) == [
        f"possible cause: {mark} is positioned by the ties on it",
        f"to decide: {mark} and a mark of the register occupied again",
    ]


def test_none_that_explains_it_is_no_cause() -> None:
    cause = "none of 900 possible causes tested explains it; occupy the mark again, and another one"
    assert lines(cause, explained(decide=None)) == [cause]
