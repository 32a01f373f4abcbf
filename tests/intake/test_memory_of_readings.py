"""What a job holds of every reading between its two passes: a few bytes, so that memory does not grow with the job.

Counted are the arrays that can be reached from what the first pass gives, of one job in two sizes.
"""

import gc
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from simulate import Plan, simulate

from pipeline.intake.columns import DiskColumns
from pipeline.intake.gather import gather
from pipeline.intake.prepare import load, prepare
from pipeline.intake.sort import sieve
from pipeline.problems import Problems

#: Session and flags of each, where all readings are kept for whoever asks for them.
EACH = 4


def held(thing: Any) -> int:
    """Bytes of the arrays that can be reached from a thing."""
    seen, waiting, total = {id(thing)}, [thing], 0
    while waiting:
        one = waiting.pop()
        if isinstance(one, np.ndarray):
            total += one.nbytes if one.base is None else 0
        elif isinstance(one, pa.Array | pa.RecordBatch | pa.Table):
            total += one.get_total_buffer_size()
        for other in gc.get_referents(one):
            if id(other) not in seen and not isinstance(other, type | ModuleType | FunctionType):
                seen.add(id(other))
                waiting.append(other)
    return total


@pytest.mark.parametrize(("keep", "most"), [(False, 0), (True, EACH)])
def test_little_is_held_of_a_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keep: bool, most: int) -> None:
    monkeypatch.setattr(DiskColumns.__init__, "__defaults__", (0,))  # no rows are few enough to be held
    found = []
    for points in (500, 4_500):
        job = simulate(Plan(sessions=2, points=points)).write(tmp_path / str(points))
        problems = Problems()
        prepared = prepare(load(job), problems)
        first = gather(prepared, sieve(prepared.windows, prepared.loaded.job.quality), keep=keep)
        assert first.rows[0] > 2 * points
        found.append((held((first.readings, first.same_names, first.duplicates, first.log)), sum(first.rows)))
    (few, rows), (many, more) = found
    assert many - few <= most * (more - rows)
