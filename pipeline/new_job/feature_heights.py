"""Takes the heights of readings, not those of features: a tree's or a pole's, whose column may be called a height too.

The heights of marks tell the two apart: from one occupied mark to the next a reading's height changes as the register's
does, wherever the base stood.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.units import FOOT
from pipeline.job.toml_text import quoted
from pipeline.new_job.column_places import may_be_heights, take_stated
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.headings import bare
from pipeline.new_job.heights import height_said
from pipeline.new_job.occupations import Marks
from pipeline.new_job.precisions import is_precision
from pipeline.new_job.two_heights import are_of_poles, are_other_heights
from pipeline.new_job.values import MOSTLY, numbers_of

#: Metres by which the heights of two marks differ, at least, to tell anything, and how many steps between marks there
#: are; up to which part of them a column's differ from the register's that goes up and down with it, and from which on
#: one does not. No source.
_STEP, _STEPS, _WITH, _AGAINST = 0.3, 2, 0.2, 0.5
#: A register may be in feet beside metres.
_UNITS = (1.0, FOOT, 1.0 / FOOT)


def settle_heights(exports: Sequence[FileFound], register: RegisterRead | None) -> None:
    """Take another column for the heights of an export where the one that is taken holds those of features.

    One that is headed as the register's heights goes before another; where nothing tells which of the two is meant, it
    is asked. Heights that are above the ellipsoid by their heading, or beside a geometry's, stay as they are.
    """
    for one in exports:
        mapped = one.mapped
        if "height" in mapped.columns and mapped.height != "ellipsoid" and not mapped.beside_z and not mapped.heights:
            _settle(one, register)


def _settle(one: FileFound, register: RegisterRead | None) -> None:
    look, mapped = one.look, one.mapped
    now, like = mapped.columns["height"], _heading_of(register)
    other = [name for name in look.names if name not in mapped.columns.values()]
    values = {name: read for name in (now, *other) if (read := numbers_of(look.columns[name])) is not None}
    if now not in values or look.numbered:
        return
    steps = _Steps(one, register)
    headed = {name: values[name] for name in values if name == now or _is_headed(name, like)}
    faults = {name: _fault(name, headed, steps) for name in headed}
    kept = [name for name in headed if not faults[name]]
    if not kept:
        if len(headed) == 1:
            _ask_unheaded(one, values, steps)
        return
    kept.sort(key=lambda name: (bare(name) != like, name != now))
    first, rivals = kept[0], mapped.rivals.get("height", [])
    rest = [name for name in kept[1:]
            if name in rivals or are_other_heights(values[first], values[name], headed=name == now)]  # fmt: skip
    if first != now:
        _take(one, first)
        if not rest:
            why = faults[now] or "differs from it by its rounding alone"
            mapped.notes.append(f"{quoted(first)} is used for the heights, and not {quoted(now)}, which {why}")
    if first != now or rivals:
        mapped.rivals.pop("height", None)
        mapped.rivals |= {"height": [first, *rest]} if rest else {}


def _ask_unheaded(one: FileFound, values: Mapping[str, Floats], steps: "_Steps") -> None:
    """Ask after columns that go up and down with the marks where the only one that is called a height does not."""
    now = one.mapped.columns["height"]
    if found := [
        name for name in may_be_heights(one.look, list(values)) if name != now and steps.go_with(values[name])
    ]:
        _take(one, found[0])
        one.mapped.heights = tuple(found)


def _heading_of(register: RegisterRead | None) -> str:
    """Return the heading of a register's heights as headings are compared, "" where it has none."""
    if register is None or register.found.look.numbered:
        return ""
    return bare(register.found.mapped.columns.get("height", ""))


def _is_headed(name: str, like: str) -> bool:
    """Tell whether a heading says heights, not above the ellipsoid, or is that of the register's heights."""
    return bare(name) == like or (height_said(name) in ("", "level") and not is_precision(name))


def _fault(name: str, headed: Mapping[str, Floats], steps: "_Steps") -> str:
    """Return why a column holds no heights of readings beside others, "" where nothing shows it."""
    values = headed[name]
    others = [each for each in headed.values() if each is not values]
    filled = np.isfinite(values)
    for each in others:
        there = np.isfinite(each)
        if any((filled & rows).sum() < MOSTLY * (there & rows).sum() for rows in (steps.on_marks, ~steps.on_marks)):
            return "is empty where that is not"
    if steps.go_with(values):
        return ""
    if steps.go_against(values):
        return "does not go up and down as the marks do"
    if are_of_poles(values) and any(not are_of_poles(each) for each in others):
        return "holds lengths as of poles"
    return ""


def _take(one: FileFound, name: str) -> None:
    """Take a column for the heights; what was taken for them may be the lengths of poles."""
    mapped = one.mapped
    before = numbers_of(one.look.columns[mapped.columns["height"]])
    if mapped.poles is None and before is not None and np.isfinite(before).all() and are_of_poles(before):
        mapped.poles = mapped.columns["height"]
    mapped.columns["height"], mapped.height = name, height_said(name) or ""
    mapped.feet = ""
    take_stated(one.look, mapped)


class _Steps:
    """The steps in height from one occupied mark to the next, by the register, metres or feet."""

    def __init__(self, one: FileFound, register: RegisterRead | None) -> None:
        columns, texts = one.mapped.columns, one.look.columns
        count = len(next(iter(texts.values()), ()))
        names, said = (texts.get(columns.get(word, ""), [""] * count) for word in ("name", "mark"))
        marks = Marks([] if register is None else register.names, None)
        found = [marks.named(name, mark) for name, mark in zip(names, said, strict=True)]
        self.on_marks = np.array([number is not None for number in found], bool)
        known = np.zeros(0) if register is None else register.heights
        self._rows = np.flatnonzero(self.on_marks)
        self._known = np.array([known[number] for number in found if number is not None], np.float64)

    def go_with(self, values: Floats) -> bool:
        """Tell whether numbers (n,) of all rows go up and down as the register does."""
        apart = self._apart(values)
        return apart is not None and apart <= _WITH

    def go_against(self, values: Floats) -> bool:
        """Tell whether numbers (n,) of all rows go another way than the register does."""
        apart = self._apart(values)
        return apart is not None and apart >= _AGAINST

    def _apart(self, values: Floats) -> float | None:
        """Return how far steps are from the register's, in the middle, as a part of these; None where too few are."""
        here, there = np.diff(values[self._rows]), np.diff(self._known)
        told = np.isfinite(here) & (np.abs(there) >= _STEP)
        if told.sum() < _STEPS:
            return None
        return min(float(np.median(np.abs(here[told] * unit / there[told] - 1.0))) for unit in _UNITS)
