"""Sessions in a ring of temporary marks, of which one was occupied wrongly: no register says so, the ring does."""

from pathlib import Path

import numpy as np
import pytest
from network_jobs import Network
from running import published_record


def ring() -> Network:
    """Four sessions, joined by a peg each to the next; the first is tied to control and checked, the others hang on it.

    None of those three is checked, so that the ring alone speaks for them.
    """
    work = Network(seed=9)
    for name, east, north in (("CM1", 0, 0), ("CM2", 500, 0)):
        work.mark(name, east, north)
    for number, (east, north) in enumerate(((100, 100), (900, 150), (950, 900), (120, 880))):
        work.mark(f"T{number}", east, north, known=False)
    work.session("a", ties=["CM1", "T0", "T1"], checks=["CM2"], points=[(10, 10)], closing=["CM2"])
    for name, first, second in (("b", "T1", "T2"), ("c", "T2", "T3"), ("d", "T3", "T0")):
        work.session(name, ties=[first, second], points=[(300, 300), (400, 400)])
    return work


@pytest.mark.parametrize(
    ("enu", "told"), [((0.25, 0.0, 0.0), "0.25"), ((0.0, -0.12, 0.0), "0.12"), ((0, 0, 0.3), "0.3")]
)
def test_a_ring_that_does_not_close_is_doubted(enu: tuple[float, ...], told: str, tmp_path: Path) -> None:
    """The reading's own mistake, as it was made, is what would explain it: a ring of one size of sigma has no other."""
    work = ring()
    work.displace(work.row("c-T3-1"), enu)
    record = published_record(work.write(tmp_path), code=3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "shift" and doubt["sessions"] == ["a", "b", "c", "d"]
    assert "c-T3-1 on T3" in doubt["what"] and told in doubt["what"]
    assert record["verdict"] == "unchecked"


@pytest.mark.parametrize("seed", range(4))
def test_noise_of_good_work_is_not(seed: int, tmp_path: Path) -> None:
    """Twice as large as the readings say: 8 mm in plan, 14 mm in height."""
    work, chance = ring(), np.random.default_rng(seed)
    on_marks = work.rows["mark"] != ""
    work.displace(on_marks, chance.normal(0.0, (0.008, 0.008, 0.014), (int(on_marks.sum()), 3)))
    record = published_record(work.write(tmp_path))
    assert not record["doubts"]
