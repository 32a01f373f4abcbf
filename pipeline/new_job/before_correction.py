"""Chooses between columns of one position before a correction and after it, by their headings: one kind for all."""

from collections.abc import Sequence

from pipeline.job.toml_text import quoted
from pipeline.new_job.headings import rank
from pipeline.read.uncorrected_headings import but_for_uncorrected, uncorrected_twin

#: Our words of positions.
_POSITIONS = ("longitude", "latitude", "easting", "northing", "height", "ellipsoid_height")


def before_correction(names: Sequence[str]) -> dict[str, str]:
    """Return the headings that are left, since another is taken that is the same but for a correction, with why.

    Those before it where each of these has one after it; else those after it, so that no position is of both kinds.
    """
    raw = [name for name in names if (bare := but_for_uncorrected(name)) and _is_position(bare)]
    twins = {name: twin for name in raw if (twin := uncorrected_twin(name, names)) is not None}
    if len(twins) == len(raw):
        return {name: f"it is {quoted(twin)} before a correction" for name, twin in twins.items()}
    return {
        twin: f"it is {quoted(name)} after a correction, and not all of the position is there after it"
        for name, twin in twins.items()
    }


def _is_position(heading: str) -> bool:
    return any(rank(word, heading) is not None for word in _POSITIONS)
