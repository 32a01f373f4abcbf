"""Whether a reading can lie where it says: far from its base, its session or its neighbours nothing is measured."""

from pipeline.plausible.heights import Fence, fence, height_looks, out_of_place, placeholders
from pipeline.plausible.looks import LOOKS, Look
from pipeline.plausible.places import Middle, alone, among, distances, far_out, middle, misread, on_sphere, raw_variants

__all__ = [
    "LOOKS",
    "Fence",
    "Look",
    "Middle",
    "alone",
    "among",
    "distances",
    "far_out",
    "fence",
    "height_looks",
    "middle",
    "misread",
    "on_sphere",
    "out_of_place",
    "placeholders",
    "raw_variants",
]
