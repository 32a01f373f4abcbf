"""Notes the surroundings of a job before a run reads anything, for the fast path of later runs."""

import os
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from pipeline.geodesy import grids
from pipeline.intake.prepare import Prepared
from pipeline.issue.folder.confirmation import Glanced
from pipeline.run.surroundings import seen, surroundings


class Before(Struct, frozen=True):
    """The sum of what was around a job before it was read: what changed later does not count as seen.

    ``looked`` are the folders where PROJ looked for grids.
    """

    around: str
    looked: tuple[str, ...]

    @classmethod
    def of(cls, path: Path) -> "Before":
        """Look around a job file."""
        looked = grids.looked()
        return cls(surroundings(path, looked), looked)

    def glanced(self, prepared: Prepared, record: Mapping[str, object]) -> Glanced:
        """Return what is noted of an issue, its raw files by the sums of what was read."""
        files = ((one.block, str(one.path), os.path.realpath(one.path), one.sha256) for one in prepared.exports)
        return Glanced(seen(self.around, files), str(record["sum"]), self.looked)
