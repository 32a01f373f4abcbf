"""Which names are worth a closer look: all that any look finds something in, and few others."""

import random

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest

from pipeline.occupations.check_words import holds_check
from pipeline.occupations.name_words import DATE, shape_patterns
from pipeline.occupations.signs import Wanted
from pipeline.occupations.telling_names import flags_of
from pipeline.tables import folded_column

MARKS = ("CM1", "CM1-2", "KP 07", "1", "A", "TRIG", "NAÏVE9", "Ö2", "7-B")
LISTED = ("CM1 open", "S01-T1", " Ties 3", "Ä 1 früh", "17")
_PIECES = (
    *MARKS, *LISTED, *(one.lower() for one in MARKS), *(one.upper() for one in LISTED), "KP7", "kp-007", "CHK",
    "Kontroll-", "contrôle", "Control", "check", " ", "-", "_", ".", "/", "am", "PM", "Schluss", "1", "02", "377", "B",
    "é", "fence", "2026-03-04", "T00:00:00", "3-Apr", "4.3.2026", "MAY-04", "P", "road", "\t", "RM", "n", "İ", "K",
)  # fmt: skip


@pytest.mark.parametrize("listed", [LISTED, ()])
@pytest.mark.parametrize("marks", [MARKS, ("A", "1"), ()])
def test_no_closer_look_finds_anything_in_another_name(marks: tuple[str, ...], listed: tuple[str, ...]) -> None:
    """Each look, taken by itself at every name, is the expectation."""
    picked = random.Random(len(marks) + len(listed))
    texts = ["".join(picked.choices(_PIECES, k=picked.randint(0, 4))) for _ in range(20_000)]
    names = pa.array([*texts, None], pa.string())
    wanted = Wanted.of(listed, ["CHK"], marks)
    telling = np.zeros(len(names), bool)
    telling[wanted.telling.rows(names)] = True
    looks = [
        flags_of(pc.is_in(names, value_set=pa.array(listed, pa.string()))),
        holds_check(names, codes=False),
        wanted.marks.among(names),
        wanted.marks.further(names),
        wanted.marks.further(names, told=True),
        flags_of(pc.match_substring_regex(names, DATE)),
        *(flags_of(pc.match_substring_regex(folded_column(names), one)) for one in shape_patterns(listed).values()),
    ]
    for found in looks:
        assert not np.any(found & ~telling), [texts[row] for row in np.flatnonzero(found & ~telling)[:5]]
    assert sum(found.any() for found in looks) >= 2


def test_numbered_points_say_nothing() -> None:
    wanted = Wanted.of(["S01-T1", "CM1-AM"], ["CHK"], MARKS)
    names = pa.array([f"S01-{number:05d}" for number in range(2_000)] + [f"P{number}" for number in range(2_000)])
    assert len(wanted.telling.rows(names)) == 0
