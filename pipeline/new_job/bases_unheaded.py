"""Asks which base readings hang on that carry no id, where readings on marks are off by several vectors.

Each base is off by a vector of its own. What readings on marks are off by agrees within one base, so a column under
whatever heading whose values part vectors that disagree into some that agree holds what tells the bases apart; and so
do the files themselves, where each rover worked from a base of its own.
"""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.job.toml_text import quoted, value_text
from pipeline.near import listed
from pipeline.new_job.clocks import ClockState
from pipeline.new_job.export_block import points_of
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.occupations import ReadingsAndMarks
from pipeline.new_job.off_marks import OffMarks, files_apart, off_marks, parts
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.stretches import stretches
from pipeline.new_job.timed_rows import Texts, rows
from pipeline.new_job.values import decimal_places, words
from pipeline.replace import replace

#: What has to be written beside such a column.
_BESIDE = "with the sessions below written anew, one for each base, its id as base"
_SIDES = ("east", "north", "up")
#: Bases that a day has at most, and the share of readings that have an id.
_BASES, _FILLED = 15, 0.9


def ask_unheaded_bases(exports: Sequence[FileFound], clocks: Sequence[ClockState], both: ReadingsAndMarks) -> None:
    """Add the question to exports without ids of bases whose readings on marks disagree but for such a column."""
    off = off_marks(both, [number for number, one in enumerate(exports) if "base" not in one.mapped.columns])
    if off is None:
        return
    part = np.full(len(both.rows), -1)
    for number, stretch in enumerate(stretches(both.rows)):
        part[stretch.members] = number
    off = off.in_stretches(part)
    if off.agree():
        return
    parting = [heading for heading in _headings(exports) if parts(_texts(exports, clocks, both, heading), off)]
    if not parting:
        _ask_files(exports, off, both)
        return
    asks = (
        f"{'does' if len(parting) == 1 else 'does one of'} {listed(map(quoted, parting))} hold the ids of bases?"
        " readings on marks are off by another vector for each of its values, as they are by each base. If so, call it"
        " Base ID and run `tiedown new` again, so that each base has its sessions; if not, delete these lines"
    )
    for one in exports:
        if mine := [heading for heading in parting if heading in _free(one)]:
            shown = one.look.named({heading: heading for heading in mine})
            told = tuple(Candidate(value_text(value), _BESIDE) for value in shown.values())
            one.mapped.asks.append(Question("base", asks, told))


def _ask_files(exports: Sequence[FileFound], off: OffMarks, both: ReadingsAndMarks) -> None:
    """Add the question which base each file hangs on, where readings on marks part by two vectors file by file."""
    vectors = files_apart(off, both.rows)
    if not vectors:
        return
    first, *others = (exports[number].look.shown for number in vectors)
    each = [f"{name} by {_words(vector)}" for name, vector in zip(others, [*vectors.values()][1:], strict=True)]
    asks = (
        f"which base does each file hang on? readings on marks differ from those of {first} in {listed(each)}, as those"
        " of two bases at work at once do, or of a wrong pole height in one file. Sessions at one time are told apart"
        " by a base id column alone: add a column Base ID with the id of its base to each file and run `tiedown new`"
        " again, or give the files of each base a job of their own; if all hang on one base, delete these lines"
    )
    for number in vectors:
        if not any(each.key == "base" for each in exports[number].mapped.asks):
            exports[number].mapped.asks.append(Question("base", asks))


def _words(vector: Floats) -> str:
    """Return a vector (3,) in metres, without what is not known of it."""
    told = [f"{side} {value:+.2f}" for side, value in zip(_SIDES, vector, strict=True) if np.isfinite(value)]
    return f"({', '.join(told)}) m"


def _headings(exports: Sequence[FileFound]) -> list[str]:
    return list(dict.fromkeys(heading for one in exports for heading in _free(one)))


def _free(one: FileFound) -> list[str]:
    """Return the columns of an export without ids that are taken for nothing and have few values, none measured."""
    look, columns = one.look, one.mapped.columns
    if "base" in columns or look.numbered or any(each.key == "base" for each in one.mapped.asks):
        return []
    some = {name: texts for name, texts in look.columns.items() if name not in columns.values()}
    return [
        name
        for name, texts in some.items()
        if 0 < len(words(texts)) <= _BASES
        and sum(words(texts).values()) >= _FILLED * len(texts)
        and decimal_places(texts) == 0
    ]


def _texts(
    exports: Sequence[FileFound], clocks: Sequence[ClockState], both: ReadingsAndMarks, heading: str
) -> Texts | None:
    """Return (n,) what a column holds for all rows, "" for exports without it; None where they cannot be read so."""
    as_base = [
        replace(one, mapped=replace(one.mapped, columns={**one.mapped.columns, "base": heading}))
        if heading in _free(one)
        else one
        for one in exports
    ]
    read = rows([(one, points_of(one, clock)) for one, clock in zip(as_base, clocks, strict=True)])
    same = len(read) == len(both.rows) and bool((read.row == both.rows.row).all())
    return read.base if same else None
