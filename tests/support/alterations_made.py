"""Bytes of an issue's files flipped or cut off at random, one at a time, and what `verify` says of each."""

import random
from collections.abc import Iterator
from pathlib import Path

from pipeline.verify import verify


def flips(folder: Path, chance: random.Random, times: int) -> Iterator[tuple[Path, int, bool]]:
    """Yield the file, the place of the byte (-1 of a cut) and whether the issue passes as intact.

    Half of them in the GeoPackage, of all a tenth in the first 100 bytes. A flip in the layout of the record, which
    says nothing, is not tried.
    """
    files = sorted(path for path in (folder / "issues" / "001").iterdir() if not path.is_symlink())
    (package,) = (path for path in files if path.suffix == ".gpkg")
    for _ in range(times):
        path = package if chance.random() < 0.5 else chance.choice(files)
        before = path.read_bytes()
        at = chance.randrange(100) if chance.random() < 0.1 else chance.randrange(len(before))
        if chance.random() < 0.1:
            path.write_bytes(before[:at])
            at = -1
        elif path.suffix == ".json" and before[at] in b" \n":
            continue
        else:
            path.write_bytes(before[:at] + bytes([before[at] ^ 1 << chance.randrange(8)]) + before[at + 1 :])
        try:
            yield path, at, verify(folder).intact
        finally:
            path.write_bytes(before)
