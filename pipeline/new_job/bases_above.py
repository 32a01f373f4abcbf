"""Takes the base of a whole export from the lines above its header: "Basis: BS01"."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from pipeline.letter_case import folded
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.stretches import MARGIN
from pipeline.new_job.timed_rows import TimedRows
from pipeline.read.lines_above import base_above
from pipeline.replace import replace


def with_bases_above(exports: Sequence[FileFound], rows: TimedRows) -> TimedRows:
    """Return the rows with the ids of bases that lines above their headers state, where these differ.

    A job file says so by the times of its sessions alone: where those would overlap, a note says what to do instead.
    """
    said = {
        number: stated
        for number, one in enumerate(exports)
        if "base" not in one.mapped.columns
        and (stated := base_above(one.look.above)) is not None
        and bool((rows.export == number).any())
    }
    if len({folded(each.value) for each in said.values()}) < 2:
        return rows
    times = {number: rows.time[rows.export == number] for number in said}
    spans = sorted((int(each.min()), int(each.max()), number) for number, each in times.items())
    apart = all(
        folded(said[one[2]].value) == folded(said[other[2]].value) or other[0] - one[1] > 2 * MARGIN
        for one, other in pairwise(spans)
    )
    base = rows.base.copy()
    for number, stated in said.items():
        told = f"the base is the one that the file states, {stated.shown}: a session of its own holds these readings"
        if not apart:
            told = (
                f"the file states its base, {stated.shown}, and other files have another one within minutes: give the"
                " readings of each a column of base ids, and run `tiedown new` again"
            )
        if told not in exports[number].mapped.notes:
            exports[number].mapped.notes.append(told)
        base[(rows.export == number) & np.array([apart and not each for each in base], bool)] = stated.value
    return replace(rows, base=base)
