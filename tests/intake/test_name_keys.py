"""Keys of names: different names have different ones in the largest job, however their halves agree."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.intake.same_names import name_keys


@pytest.mark.parametrize("spelling", ["{}", "{:06d}", "p{}", "P{}", "k{:06d}", "Punkt {:06d} Nord", "ß{}"])
def test_three_hundred_thousand_names_have_as_many_keys(spelling: str) -> None:
    # with keys of 32 bits ten pairs would be expected to share one: n² / 2^33
    names = pa.array([spelling.format(number) for number in range(300_000)])
    assert len(np.unique(name_keys(names))) == 300_000


def test_a_key_is_of_the_name_alone() -> None:
    names = ["17", "0017", "p17", "P17", "17", None, ""]
    keys = name_keys(pa.array(names)).tolist()
    assert keys == [name_keys(pa.array([name], pa.string()))[0] for name in names]
    assert keys[0] == keys[4] and keys[5] == keys[6] and len(set(keys)) == 5
