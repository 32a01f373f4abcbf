"""Counts rows by outcome, and the differences between the shift models [m], during the second pass."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Accuracy, Rows, ShiftModel
from pipeline.words import REASONS


@dataclass
class Count:
    """Where the rows went, counted while the second pass runs."""

    sessions: int
    points: int = 0
    held_back: int = 0
    largest: tuple[float, float] = (0.0, 0.0)
    by_session: Integers = field(init=False)
    apart: dict[int, tuple[float, float, str]] = field(default_factory=dict)
    by_reason: Integers = field(default_factory=lambda: np.zeros(len(REASONS), np.int64))

    def __post_init__(self) -> None:
        self.by_session = np.zeros(self.sessions, np.int64)

    def add(self, session: NDArray[np.int32], held: NDArray[np.uint8], points: Flags) -> None:
        """Count one batch: (n,) session, ``held`` code and whether it is a drafted point."""
        self.points += int(points.sum())
        self.held_back += int((held > 0).sum())
        self.by_session += np.bincount(session[points], minlength=self.sessions)
        self.by_reason += np.bincount(held, minlength=len(REASONS) + 1)[1:]

    def widen(self, hu95: Floats, vu95: Floats) -> None:
        """Note (n,) 95 % uncertainties of drafted points, metres, of which the largest are told."""
        self.largest = (
            float(np.fmax.reduce(hu95, initial=self.largest[0])),
            float(np.fmax.reduce(vu95, initial=self.largest[1])),
        )

    def accuracy(self) -> Accuracy:
        """Return the record's ``accuracy``; nothing where there is no point."""
        return {"hu95": self.largest[0] or None, "vu95": self.largest[1] or None}

    def compare_models(self, session: NDArray[np.int32], apart: Floats, names: Sequence[str | None]) -> None:
        """Note how far (n, 2) the two models of the shift lie apart, horizontally and in height, at drafted points."""
        for number in np.unique(session).tolist():
            here = np.flatnonzero(session == number)
            farthest = here[np.argmax(np.hypot(*apart[here].T))]
            if np.hypot(*apart[farthest]) > np.hypot(*self.apart.get(number, (0.0, 0.0, ""))[:2]):
                self.apart[number] = (float(apart[farthest, 0]), float(apart[farthest, 1]), names[farthest] or "")

    def shift_model(self, survey: Survey) -> ShiftModel:
        """Return the record's ``shift_model``: for "grid", per session, how far it differs from the geocentric one."""
        return {
            "model": survey.job.shift.model,
            "farthest": [
                {
                    "session": survey.windows[number].session.name,
                    "point": name,
                    "horizontal": horizontal,
                    "vertical": vertical,
                }
                for number, (horizontal, vertical, name) in sorted(self.apart.items())
            ],
        }

    def rows(self, read: int, on_marks: int) -> Rows:
        """Return the record's ``rows``.

        Raises `RuntimeError` where they do not add up: a fault in the program, and nothing is issued.
        """
        if read != self.points + on_marks + self.held_back:
            raise RuntimeError(
                f"rows do not add up: {read} read, points {self.points}, {on_marks} on marks,"
                f" {self.held_back} held back"
            )
        by_reason = {str(reason): int(n) for reason, n in zip(REASONS, self.by_reason, strict=True) if n}
        return {
            "read": read,
            "points": self.points,
            "on_marks": on_marks,
            "held_back": self.held_back,
            "by_reason": by_reason,
        }
