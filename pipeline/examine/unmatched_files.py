"""Which files a pattern of exports passes over for how they are named."""

import os
from collections.abc import Iterator
from contextlib import suppress

from pipeline.files.file_patterns import Closed, TooMany, otherwise_cased, temporary_ones
from pipeline.intake.prepare import Prepared

#: Files that are listed.
_LISTED = 4


def unmatched_file_notes(prepared: Prepared) -> Iterator[str]:
    """Yield which files a pattern passes over for their names: `R2.CSV` beside `*.csv`, and temporary ones."""
    loaded = prepared.loaded
    read = {os.path.realpath(export.path) for export in prepared.exports}
    for number, block in enumerate(loaded.job.points):
        for pattern in block.files:
            with suppress(TooMany, Closed):
                folder, sought = loaded.path.parent, pattern.strip()
                file, line = loaded.recorded_at("points", number, "files")
                if few := _few(otherwise_cased(folder, sought), read):
                    yield (
                        f'{file}:{line}: pattern "{pattern}" does not match {few}, which differs only in upper and'
                        " lower case, so it is not read: add it to files if it is an export"
                    )
                if few := _few(temporary_ones(folder, sought), read):
                    yield (
                        f'{file}:{line}: pattern "{pattern}" passes over {few}, named like a temporary file of a'
                        " program that has it open or is writing it: if it is an export, rename it or add it to files"
                        " by its name"
                    )


def _few(found: list[str], read: set[str]) -> str:
    """Return the names of the first files that are not read; "" where all are."""
    names = [os.path.basename(path) for path in found if os.path.realpath(path) not in read]
    return ", ".join(names[:_LISTED]) + (" ..." if len(names) > _LISTED else "")
