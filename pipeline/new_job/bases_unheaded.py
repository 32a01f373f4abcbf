"""Asks whether a column under an unknown heading holds ids of bases: where it parts readings on marks as bases do.

Each base is off by a vector of its own. What readings on marks are off by, observed minus known, agrees within one
base, so a column whose values part vectors that disagree into some that agree holds what tells the bases apart.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.job.toml_text import quoted, value_text
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.clocks import ClockState
from pipeline.new_job.export_block import points_of
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.occupations import FAR, ReadingsAndMarks
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.stretches import stretches
from pipeline.new_job.timed_rows import Texts, rows
from pipeline.new_job.values import decimal_places, words
from pipeline.replace import replace

#: Metres by which vectors of one base differ from their middle at most, and how far apart those of two bases are, at
#: least; and in how many such differences the bases are apart. Larger than readings scatter; no source.
_ONE, _OTHER, _TIMES = 0.08, 0.15, 4.0
#: What has to be written beside such a column.
_BESIDE = "with the sessions below written anew, one for each base, its id as base"
#: Bases that a day has at most, occupations of each of two that show it, and the share of readings that have an id.
_BASES, _LEAST, _FILLED = 15, 2, 0.9


def ask_unheaded_bases(exports: Sequence[FileFound], clocks: Sequence[ClockState], both: ReadingsAndMarks) -> None:
    """Add the question to exports without ids of bases whose readings on marks disagree but for such a column."""
    vectors = _vectors(exports, both)
    if vectors is None:
        return
    at, off = vectors
    part = np.full(len(both.rows), -1)
    for number, stretch in enumerate(stretches(both.rows)):
        part[stretch.members] = number
    if all(_agree(off[part[at] == number]) for number in np.unique(part[at])):
        return
    parting = [
        heading for heading in _headings(exports) if _parts(_texts(exports, clocks, both, heading), at, off, part)
    ]
    if not parting:
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


def _vectors(exports: Sequence[FileFound], both: ReadingsAndMarks) -> tuple[Integers, Floats] | None:
    """Return (k,) the readings without an id that name a mark near by, and (k, 2) known minus observed [m]."""
    if both.places is None or both.marks.places is None:
        return None
    without = [number for number, one in enumerate(exports) if "base" not in one.mapped.columns]
    at, mark = both.says
    named = (mark >= 0) & np.isin(both.rows.export[at], without)
    off = both.marks.places[mark[named]] - both.places[at[named]]
    near = np.hypot(*off.T) <= FAR
    return at[named][near], off[near]


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


def _parts(texts: Texts | None, at: Integers, off: Floats, part: Integers) -> bool:
    """Tell whether a column's values part vectors (k, 2) that disagree into some that agree.

    ``texts`` (n,) are its cells, ``at`` (k,) the rows of the vectors, ``part`` (n,) the stretch of time of each.
    """
    if texts is None or any(not texts[each] for each in at):
        return False
    ids = np.array([folded(texts[each]) for each in at])
    counts = Counter(ids.tolist())
    if len(counts) < 2 or sorted(counts.values())[-2] < _LEAST:
        return False
    found = False
    for number in np.unique(part[at]):
        here: Flags = part[at] == number
        groups = [off[here & (ids == each)] for each in np.unique(ids[here])]
        if not all(map(_agree, groups)):
            return False
        several = [each for each in groups if len(each) >= _LEAST]
        found |= len(several) > 1 and _are_apart(several)
    return found


def _agree(off: Floats) -> bool:
    """Tell whether vectors (k, 2) are of one base."""
    return bool((_scatter(off) <= _ONE).all())


def _scatter(off: Floats) -> Floats:
    scatter: Floats = np.hypot(*(off - np.median(off, axis=0)).T)
    return scatter


def _are_apart(groups: Sequence[Floats]) -> bool:
    """Tell whether the middles of some vectors lie farther apart than any of them scatter."""
    middles = np.array([np.median(each, axis=0) for each in groups])
    apart = max(float(np.hypot(*(middles - each).T).max()) for each in middles)
    return apart >= max(_OTHER, _TIMES * max(float(_scatter(each).max()) for each in groups))
