"""Doubts registers that round marks more than their uncertainty allows: it moves every point tied to them."""

import math
import re
from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.control import Register
from pipeline.examine.coarse_digits import EVEN, digit_in_words, harms
from pipeline.examine.computed import COMPUTED, OnTheMarks
from pipeline.examine.cut_digits import cut_to
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.stood_on import Stood
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.plausible.chance import log_of_so_many, so_small
from pipeline.sphere import DEGREE
from pipeline.words import Doubt, counted, plural

#: Chance below which marks do not end in zeros by chance, as a logarithm; and below which readings on marks do not
#: agree by chance as well as they do where the marks were rounded.
_CHANCE, _AGREE = math.log(1e-3) + 1e-9, 0.02
#: Decimals that are told apart, from millions of a unit on.
_FEWEST, _MOST = -6, 12
#: Marks of which both coordinates have to say so.
_PAIR = 2
#: Metres between which a unit is a foot.
_FOOT = (0.3, 0.31)
_NUMBER = re.compile(r"\d+(?:[.,](\d*))?(?:[eE][+-]?\d+)?")


def register_digit_doubts(survey: Survey, stood: Stood | None, on_marks: OnTheMarks) -> Iterator[Doubtful]:
    """Yield a doubt where marks that are occupied are written to a digit worth more than their uncertainty allows.

    Not where the readings on them agree far better than they could, were the marks rounded: a mark may lie at exactly
    so many metres.
    """
    register = survey.register
    if register is None or stood is None:
        return
    used, checks = np.unique(stood.mark), survey.job.checks
    geographic = register.kind == "geographic"
    found = [_Axis(register, used, axis, geographic) for axis in range(3)]
    plan = [axis.coarse(checks.horizontal) & register.holds_position[used] for axis in found[:2]]
    # two coordinates of two marks say as much as one of four
    if len(used) != _PAIR or not all(which.all() for which in plan):
        plan = [which & axis.surely(checks.horizontal) for which, axis in zip(plan, found, strict=False)]
    up = found[2].coarse(checks.vertical) & found[2].surely(checks.vertical) & register.holds_height[used]
    for height, axes, which in ((False, (0, 1), plan), (True, (2,), [up])):
        told = _of(
            survey, stood, on_marks, used, [(found[axis], one) for axis, one in zip(axes, which, strict=True)], height
        )
        if told is not None:
            yield told


def _of(
    survey: Survey,
    stood: Stood,
    on_marks: OnTheMarks,
    used: Integers,
    axes: list[tuple["_Axis", Flags]],
    height: bool,
) -> Doubtful | None:
    register = survey.register
    axes = _disagreeing(on_marks, [(axis, which) for axis, which in axes if which.any()])
    if register is None or not axes:
        return None
    digits = [axis.digit(which) for axis, which in axes]
    behind = " with zeros added" if any(axis.padded_out(which) for axis, which in axes) else ""
    half, digit = float(np.hypot.reduce(digits)) / 2.0, max(digits)
    sigma = register.sigma_up if height else np.maximum(register.sigma_east, register.sigma_north)
    tolerance = survey.job.checks.vertical if height else survey.job.checks.horizontal
    marks = used[np.any([which for _, which in axes], axis=0)]
    # what is stated for marks is of what is written, rounding and all
    covered = _stated(survey, register, height) & (EVEN * digit <= sigma)
    marks = marks[[harms(half, digit, tolerance, float(sigma[mark])) and not covered[mark] for mark in marks.tolist()]]
    if not len(marks):
        return None
    stated = bool(register.stated[marks, int(height)].all())
    names = listed([register.names[mark] for mark in marks.tolist()])
    kind = "heights" if height else "positions"
    key, column = ("sigma_vertical", "vu95") if height else ("sigma_horizontal", "hu95")
    says = "is stated" if stated else f"is assumed because the register has no {column}"
    what = (
        f"{kind} of {counted(len(marks), 'mark')} that {plural(len(marks), 'is', 'are')} used ({names}) are rounded to"
        f" {digit_in_words(digit)}{behind}, an error of up to {half:.3f} m, but a standard uncertainty of"
        f" {float(sigma[marks].max()):.3f} m {says}: give all their digits, or state their uncertainty in a column"
        f" {column} or as [control] {key}"
    )
    sessions = tuple(np.unique(stood.session[np.isin(stood.mark, marks)]).tolist())
    return Doubtful(Doubt.PRECISION, what, sessions, survey.register_file, register.lines[int(marks[0])])


def _stated(survey: Survey, register: Register, height: bool) -> Flags:
    """Return (R,) of which marks register or job state how uncertain they are."""
    key = "sigma_vertical" if height else "sigma_horizontal"
    return np.asarray(register.stated[:, int(height)] | survey.prepared.loaded.stated("control", key))


def _disagreeing(on_marks: OnTheMarks, axes: list[tuple["_Axis", Flags]]) -> list[tuple["_Axis", Flags]]:
    """Return those of the coordinates of which the readings on marks do not show that nothing was rounded."""
    left = [each for each in axes if not _agree(on_marks, [each])]
    return [] if _agree(on_marks, left) else left


def _agree(on_marks: OnTheMarks, axes: list[tuple["_Axis", Flags]]) -> bool:
    """Tell whether readings on marks agree better than marks rounded so would let them, by chance.

    The error of a mark is the same in every session, so each mark counts once; and as many are free as were rounded,
    but for the one that the shift takes up where that is all of them.
    """
    squares, freedom, most = 0.0, 0, 0.0
    for axis, coarse in axes:
        known = np.isfinite(on_marks.off[:, axis.number])
        marks, which = np.unique(on_marks.mark[known], return_inverse=True)
        if len(marks) < 2:
            return False
        off = np.bincount(which, on_marks.off[known, axis.number]) / np.bincount(which)
        squares += float((off**2).sum()) * 12.0 / axis.digit(coarse) ** 2
        freedom += min(int(np.isin(marks, axis.used[coarse]).sum()), len(marks) - 1)
        most = max(most, float(np.abs(off).max()))
    return most <= COMPUTED or so_small(squares, freedom) < _AGREE


class _Axis:
    """One coordinate of the marks that are ``used``: with how many decimals each is written."""

    def __init__(self, register: Register, used: Integers, number: int, geographic: bool) -> None:
        self.number, self.used = number, used
        parts = [list(_NUMBER.finditer(written[number])) for written in register.written]
        last = [of[-1].group() if of else "" for of in parts]
        behind = [(of[-1].group(1) or "") if of else "" for of in parts]
        #: whether zeros at the end are written: then what is written is all that there is, unless too much is zeros
        self.padded = any(len(text) > 1 and text.endswith("0") for text in behind)
        decimals = [len(text) for text in behind] if self.padded else [_shown(text) for text in last]
        self.decimals = np.clip(np.array(decimals, np.int64), _FEWEST, _MOST)
        self.given = np.array([bool(of) for of in parts], bool)
        unit: Floats = np.full(len(parts), abs(register.unit[number]))
        if geographic and number < 2:
            # degrees, minutes and seconds are three numbers, of which the last one counts
            unit *= DEGREE * np.array([60.0 ** -max(len(of) - 1, 0) for of in parts])
            unit *= np.cos(np.radians(np.nan_to_num(register.second))) if number == 0 else 1.0
        every: Floats = 10.0 ** -self.decimals.astype(np.float64)
        self.written: Floats = (every * unit)[used]
        # a spreadsheet or a database writes all of them with as many decimals, whatever they are known to
        here = [last[mark] for mark in used.tolist()]
        sure = np.maximum(cut_to(last, self.padded)[used], cut_to(here, self.padded))
        perhaps = np.maximum(sure, cut_to(here, self.padded, pair=True)) if len(used) == _PAIR else sure
        sure, perhaps = (np.where(steps * unit[used] < _set_out(unit[used]), steps, 0.0) for steps in (sure, perhaps))
        #: metres that each of them is known to, by what they have in common; zero where to all that is written
        self.cut: Floats = sure * unit[used]
        self.metres = np.maximum(self.written, perhaps * unit[used])

    def digit(self, which: Flags) -> float:
        """Return metres of the finest last digit that some of the used marks, (k,) flags, have."""
        return float(self.metres[which].min())

    def padded_out(self, which: Flags) -> bool:
        """Tell whether more digits are written of some of the used marks, (k,) flags, than what those are known to."""
        return self.padded and bool((self.metres > self.written * (1.0 + 1e-9))[which].any())

    def coarse(self, tolerance: float) -> Flags:
        """Return (k,) which of the marks are written to a digit that matters beside a tolerance."""
        given = self.given[self.used]
        if (self.decimals[self.used][given] < 0).all():
            return np.zeros(len(given), bool)  # set out at tens of metres, which no register is merely known to
        found: Flags = given & (self.metres > tolerance / math.sqrt(2.0))
        return found

    def surely(self, tolerance: float) -> Flags:
        """Return (k,) which of them are so for sure: some end in zeros, or without zeros are shorter, by chance."""
        coarse = self.coarse(tolerance)
        cut: Flags = coarse & (self.cut > tolerance / math.sqrt(2.0))
        if self.padded:
            return cut | (coarse & (self.written > tolerance / math.sqrt(2.0)))
        if not coarse.any() or cut.any():
            return cut
        own = self.decimals[self.used][coarse]
        level = int(own.max())
        # of the whole register, whose marks were written alike, and of those that are used
        for decimals in (self.decimals[self.given], self.decimals[self.used][self.given[self.used]]):
            many = int((decimals <= level).sum())
            if log_of_so_many(many, int((decimals <= level + 1).sum()), 0.1) < _CHANCE:
                return coarse
        return np.zeros(len(coarse), bool)


def _set_out(unit: Floats) -> Floats:
    """Return (n,) metres from which on numbers in a ``unit`` of so many metres are round because marks were set out so.

    A foot of feet, else a metre: no register is known to 50 m, and marks a metre off fail as checks by themselves.
    """
    feet = (unit > _FOOT[0]) & (unit < _FOOT[1])
    limit: Floats = np.where(feet, unit, 1.0) * (1.0 - 1e-9)
    return limit


def _shown(text: str) -> int:
    """Return with how many decimals a number shows where zeros at its end are none, negative for tens and hundreds."""
    if "e" in text.lower():
        return _MOST
    whole, _, behind = text.replace(",", ".").partition(".")
    if behind.strip("0"):
        return len(behind.rstrip("0"))
    return len(whole.rstrip("0")) - len(whole) if whole.strip("0") else _FEWEST
