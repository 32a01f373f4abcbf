"""Tells columns that hold the mapped position before a correction, where the mapped one has it."""

from collections.abc import Iterator

from pipeline.near import listed
from pipeline.read.exports import Export
from pipeline.visible import one_line
from pipeline.words import counted, plural


def uncorrected_notes(export: Export) -> Iterator[str]:
    """Yield which columns of an export hold what is mapped before a correction, and in how many rows they differ."""
    beside = export.uncorrected
    if beside is None:
        return
    mapped, others = (listed([f'"{one_line(pair[at])}"' for pair in beside.columns]) for at in (0, 1))
    many = len(beside.columns)
    part = (
        ""
        if beside.differ == beside.compared
        else f", and agree in the {beside.compared - beside.differ:,} others, as where only some were corrected"
    )
    yield (
        f"{export.shown}:{beside.first}: {others}, not mapped, {plural(many, 'says', 'say')} to hold {mapped} before a"
        f" correction: the two differ in {counted(beside.differ, 'row')} (first one here){part}. Where a field"
        " correction is in what is mapped, map what was before it, all of a position, since the shift is added to it;"
        " or state the correction as field_shift"
    )
