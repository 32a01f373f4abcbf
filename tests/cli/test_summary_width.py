"""The summary as it is pasted into a mail or a chat: tables of 80 columns at the most, each row whole, text alone."""

import io
import sys
from typing import Any

import pytest
from every import every
from record_made import record, session

from pipeline.cli.issue_summary import summary
from pipeline.cli.progress import progress_on_terminal
from pipeline.issue.record_types import Record

WIDE = 80


def told(*sessions: dict[str, Any]) -> list[str]:
    made: Record = record(sessions=list(sessions))  # type: ignore[assignment]
    lines = summary(made, "issue 001 written").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("  session"))
    return lines[first : lines.index("", first)]


def large(name: str, verdict: str = "unchecked") -> dict[str, Any]:
    """A session whose every number is as wide as they come."""
    axes = {f"shift_{axis}": -12345.678 for axis in ("east", "north", "up")}
    return session(name, verdict=verdict, points=1_234_567, ties=12, checks=345, **axes)


@pytest.mark.parametrize("name", ["a", "0303-base-a", "a-session-named-for-its-road", "x" * 70])
@pytest.mark.parametrize("made", [session, large])
def test_no_row_is_wider_than_a_mail(name: str, made: Any) -> None:
    lines = told(made(name), made("two"))
    assert max(map(len, lines)) <= WIDE
    rows = [line.split() for line in lines]
    verdict = made(name)["verdict"]
    assert sum(verdict in row for row in rows) == 2, "each verdict stands in one line with its numbers"
    assert all(len(row) >= 7 for row in every(row for row in rows if verdict in row))
    assert any(row[0] == name for row in rows)


def test_what_there_is_room_for_is_told() -> None:
    assert told(session("0303-base-a"))[0].split()[-2:] == ["sE", "sU"]
    assert told(large("0303-base-a"))[0].split()[-1] == "up"


def test_of_many_sessions_those_to_look_at_are_listed() -> None:
    verdicts = ["proven"] * 297 + ["failed", "untied", "unclosed"]
    lines = told(*(session(f"s{n}", verdict=verdict) for n, verdict in enumerate(verdicts)))
    assert [line.split()[0] for line in lines[1:4]] == ["s297", "s298", "s299"]
    assert lines[4:6] == [
        "  and 297 more sessions, in the layer sessions",
        "  of all: 1 failed, 1 untied, 1 unclosed, 297 proven",
    ]
    assert len(told(*(session(f"s{n}") for n in range(300)))) < 30


class Terminal(io.StringIO):
    """A stream that says that a person looks on."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("variables", "drawn"),
    [({}, True), ({"NO_COLOR": ""}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)],
)
def test_no_bar_is_drawn_for_who_asked_for_text_alone(
    variables: dict[str, str], drawn: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NO_COLOR counts where it is present and not empty (no-color.org)."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    seen = Terminal()
    monkeypatch.setattr(sys, "stderr", seen)
    monkeypatch.setattr(sys, "__stderr__", seen)
    with progress_on_terminal(True) as progress:
        assert (progress is not None) == drawn
        if progress is not None:
            progress("reading", 1, 2)
    assert ("\x1b" in seen.getvalue()) == drawn
