"""One session as a line of time: when control marks were occupied, and what that proves of the time between."""

from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from pipeline.clock import DAY, MINUTE, milliseconds_of, moment
from pipeline.issue.report.drawing import Label, Labels, dots, text_width
from pipeline.issue.report.number_format import clipped, minute
from pipeline.issue.row_types import CheckRow
from pipeline.issue.session_types import Session
from pipeline.words import Role

WIDTH, HEIGHT = 720.0, 122.0
LEFT, RIGHT = 58.0, 708.0
#: Base lines of the ties, the bar's top and bottom, the checks, and the axis.
TIES, BAR, CHECKS, AXIS = 26.0, (38.0, 58.0), 70.0, 100.0

_STEPS = tuple(
    MINUTE * minutes
    for minutes in (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 7200, 14400, 43200, 144_000, 525_600)
)
_TICKS = 10


class Stretch(Struct, frozen=True):
    """A part of the bar and the word that it is proven by; ``shown`` where the word has room in it."""

    x: float
    width: float
    proof: str
    shown: bool


class Timeline(Struct, frozen=True):
    """A drawing of one session: its bar in words and in parts, occupations per kind as path data, labels, ticks."""

    said: str
    stretches: Sequence[Stretch]
    passed: str
    failed: str
    not_judged: str
    labels: Sequence[Label]
    ticks: Sequence[tuple[float, str]]
    readings: tuple[float, float] | None


def timeline(session: Session, checks: Sequence[CheckRow]) -> Timeline:
    """Return the drawing of a session from its row of the record and its occupations, in the order of their times."""
    start, end = milliseconds_of(session["start"]), milliseconds_of(session["end"])

    def x(time: int) -> float:
        part = (time - start) / max(end - start, 1)
        return round(LEFT + (RIGHT - LEFT) * min(max(part, 0.0), 1.0), 1)

    kinds: dict[bool | None, list[tuple[float, float]]] = {True: [], False: [], None: []}
    named = []
    for check in checks:
        place = (x(milliseconds_of(check["observed"])), TIES if check["role"] == Role.TIE else CHECKS)
        # what was noted in the field passes nothing
        kinds[None if check["role"] == Role.NOTED and check["passed"] else check["passed"]].append(place)
        named.append((check["passed"] is False, place, check["mark"]))
    spread = [
        (x(milliseconds_of(one["from"])), x(milliseconds_of(one["until"])), str(one["proof"]))
        for one in session["stretches"]
    ]
    first, last = session["first_point"], session["last_point"]
    said = [f"{one['proof']} from {minute(one['from'])} to {minute(one['until'])}" for one in session["stretches"]]
    return Timeline(
        clipped(f"{'; '.join(said)} UTC", 600),
        [Stretch(a, round(b - a, 1), proof, 1.25 * text_width(proof, 11) + 8 < b - a) for a, b, proof in spread],
        dots(kinds[True]),
        "".join(dict.fromkeys(f"M{a - 4:.1f} {b - 4:.1f}l8 8m0-8l-8 8" for a, b in kinds[False])),
        dots(kinds[None]),
        _labels(named),
        list(_ticks(start, end, x)),
        None if first is None or last is None else (x(milliseconds_of(first)), x(milliseconds_of(last))),
    )


def _labels(named: Sequence[tuple[bool, tuple[float, float], str]]) -> list[Label]:
    """Return the labels of the marks, ties above their symbols and checks below, as far as they have room."""
    labels = Labels((LEFT - 12, 0.0, WIDTH, AXIS + 8), 10.0)
    ends: dict[float, list[tuple[float, float]]] = {TIES: [], CHECKS: []}
    for failing, (x, row), mark in sorted(named, key=lambda one: not one[0]):
        half = text_width(mark[:24], 10.0) / 2 + 2.5
        middle = min(max(x, LEFT - 12 + half), WIDTH - half)
        if all(middle - half >= right or middle + half <= left for left, right in ends[row]):
            ends[row].append((middle - half, middle + half))
            y = row - 8 if row == TIES else row + 14
            labels.placed.append(Label(round(middle, 1), y, "middle", mark[:24], failing))
    return labels.placed


def _ticks(start: int, end: int, x: Any) -> Any:
    """Yield place and text of round times, UTC; the date stands at midnight."""
    step = next((step for step in _STEPS if (end - start) / step <= _TICKS), _STEPS[-1])
    if (end - start) / step > 4 * _TICKS:
        return
    for time in range(-(-start // step) * step, end + 1, step):
        at = moment(time)
        yield x(time), f"{at:%m-%d}" if time % DAY == 0 else f"{at:%H:%M}"
