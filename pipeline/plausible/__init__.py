"""Tells whether a reading can be where it says: not far from its base, its session and its neighbours."""

from pipeline.plausible.height_jumps import HeightJump, JumpLook, height_jumps, rises
from pipeline.plausible.heights import Fence, fence, height_looks, levelled, out_of_place, placeholders
from pipeline.plausible.jumps import jumps
from pipeline.plausible.levels import Levels, Step, levels, step_over
from pipeline.plausible.looks import LOOKS, Look
from pipeline.plausible.marks_apart import MarksApart, marks_apart
from pipeline.plausible.mirrored import Mirrored, aside, mirrored
from pipeline.plausible.off_neighbours import OffNeighbours, off_neighbours
from pipeline.plausible.places import (
    LISTED,
    Middle,
    alone,
    among,
    distances,
    from_base,
    limit_of_middle,
    middle,
    misread,
    on_sphere,
    raw_variants,
)
from pipeline.plausible.steep import Steep, steep
from pipeline.plausible.stepped_runs import SteppedRun, stepped_runs
from pipeline.plausible.too_fast import too_fast
from pipeline.plausible.zeros import zeros_by_chance

__all__ = [
    "LISTED",
    "LOOKS",
    "Fence",
    "HeightJump",
    "JumpLook",
    "Levels",
    "Look",
    "MarksApart",
    "Middle",
    "Mirrored",
    "OffNeighbours",
    "Steep",
    "Step",
    "SteppedRun",
    "alone",
    "among",
    "aside",
    "distances",
    "fence",
    "from_base",
    "height_jumps",
    "height_looks",
    "jumps",
    "levelled",
    "levels",
    "limit_of_middle",
    "marks_apart",
    "middle",
    "mirrored",
    "misread",
    "off_neighbours",
    "on_sphere",
    "out_of_place",
    "placeholders",
    "raw_variants",
    "rises",
    "steep",
    "step_over",
    "stepped_runs",
    "too_fast",
    "zeros_by_chance",
]
