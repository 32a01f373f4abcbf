"""The differences on control marks drawn: in position against the tolerance's circle, in height against its band."""

import math
from collections.abc import Mapping, Sequence

from msgspec import Struct

from pipeline.issue.report.drawing import Label, Labels, dots
from pipeline.issue.report.session_tables import excess
from pipeline.issue.row_types import CheckRow
from pipeline.words import Holds, Role

WIDTH, HEIGHT = 720.0, 320.0
#: The two fields: left, top, right, bottom.
POSITION = (16.0, 22.0, 296.0, 302.0)
HEIGHTS = (380.0, 22.0, 704.0, 302.0)

#: Where the axes are named: "east" above the middle line at its end, "north" beside the other one.
_NAMED = (
    (POSITION[2] - 36, (POSITION[1] + POSITION[3]) / 2 - 16, POSITION[2], (POSITION[1] + POSITION[3]) / 2),
    ((POSITION[0] + POSITION[2]) / 2, POSITION[1], (POSITION[0] + POSITION[2]) / 2 + 40, POSITION[1] + 16),
)

#: How many times the tolerance a field shows to either side where something is beyond it, and where nothing is.
_WIDE, _NARROW = 2.5, 1.25
#: Labels at the most, and how many occupations make a crowd that is drawn with small dots.
_LABELS, _CROWD = 40, 150


class Field(Struct, frozen=True):
    """One field: dots per kind as path data, labels, where the tolerance lies, and how many are drawn at its edge.

    ``reach`` is how many drawing units the tolerance is from the field's middle; in a ``crowd`` dots are small.
    """

    ties: str
    checks: str
    failed: str
    labels: Sequence[Label]
    reach: float
    beyond: int
    crowd: bool


class Differences(Struct, frozen=True):
    """Both fields; one is None, and its tolerance, where nothing is compared in it."""

    position: Field | None
    heights: Field | None
    tolerance_h: float | None
    tolerance_v: float | None

    @property
    def beyond(self) -> int:
        """Return how many differences are drawn at an edge."""
        return sum(of.beyond for of in (self.position, self.heights) if of is not None)

    @property
    def crowd(self) -> bool:
        """Say whether dots are small."""
        return any(of.crowd for of in (self.position, self.heights) if of is not None)


def differences(checks: Sequence[CheckRow], holds: Mapping[str, str]) -> Differences | None:
    """Return the drawing of the judged occupations in the order of their times; None where none is compared.

    ``holds`` says what each mark of the register holds: what it does not hold is not judged, and not drawn.
    """
    read = (one for one in checks if one["passed"] is not None and one["role"] != Role.NOTED)
    judged = sorted(read, key=lambda one: one["observed"])
    level = [row for row in judged if row["d_horizontal"] is not None and holds.get(row["mark"]) != Holds.HEIGHT]
    high = [row for row in judged if row["d_height"] is not None and holds.get(row["mark"]) != Holds.POSITION]
    if not level and not high:
        return None
    allowed_h = next((row["tolerance_h"] for row in level), None)
    allowed_v = next((row["tolerance_v"] for row in high), None)
    return Differences(_position(level), _heights(high), allowed_h, allowed_v)


def scaled(d_east: float, d_north: float, tolerance: float, reach: float) -> tuple[float, float, bool]:
    """Return where a difference is drawn, and whether it is beyond the field and drawn at its edge.

    ``reach`` is the length of the tolerance in drawing units. East is to the right, north is up.
    """
    middle, half = (POSITION[0] + POSITION[2]) / 2, (POSITION[2] - POSITION[0]) / 2
    x, y = d_east / tolerance * reach, -d_north / tolerance * reach
    most = max(abs(x), abs(y))
    beyond = most > half
    shrink = half / most if beyond else 1.0
    return middle + x * shrink, (POSITION[1] + POSITION[3]) / 2 + y * shrink, beyond


def _position(rows: Sequence[CheckRow]) -> Field | None:
    if not rows:
        return None
    level = [(_known(row["d_east"]), _known(row["d_north"]), _known(row["tolerance_h"])) for row in rows]
    wide = any(max(abs(east), abs(north)) > _NARROW * tolerance for east, north, tolerance in level)
    reach = (POSITION[2] - POSITION[0]) / 2 / (_WIDE if wide else _NARROW)
    places = [scaled(east, north, tolerance, reach) for east, north, tolerance in level]
    over = [row["passed"] is False and excess(row)[0] != 0.0 for row in rows]
    said = [f"{row['mark']} {row['d_horizontal']:.3f}" for row in rows]
    return _field(rows, places, over, said, POSITION, reach)


def _heights(rows: Sequence[CheckRow]) -> Field | None:
    if not rows:
        return None
    wide = any(abs(_known(row["d_height"])) > _NARROW * _known(row["tolerance_v"]) for row in rows)
    half = (HEIGHTS[3] - HEIGHTS[1]) / 2
    reach = half / (_WIDE if wide else _NARROW)
    places = []
    for number, row in enumerate(rows):
        off = _known(row["d_height"]) / _known(row["tolerance_v"]) * reach
        x = HEIGHTS[0] + (HEIGHTS[2] - HEIGHTS[0]) * (number + 0.5) / len(rows)
        beyond = abs(off) > half
        places.append((x, HEIGHTS[1] + half - (math.copysign(half, off) if beyond else off), beyond))
    over = [row["passed"] is False and excess(row)[1] != 0.0 for row in rows]
    said = [f"{row['mark']} {row['d_height']:+.3f}" for row in rows]
    return _field(rows, places, over, said, HEIGHTS, reach)


def _field(
    rows: Sequence[CheckRow],
    places: Sequence[tuple[float, float, bool]],
    over: Sequence[bool],
    said: Sequence[str],
    bounds: tuple[float, float, float, float],
    reach: float,
) -> Field:
    ties = [(x, y) for row, (x, y, _), bad in zip(rows, places, over, strict=True) if not bad and _is_tie(row)]
    checks = [(x, y) for row, (x, y, _), bad in zip(rows, places, over, strict=True) if not bad and not _is_tie(row)]
    failed = [(x, y) for (x, y, _), bad in zip(places, over, strict=True) if bad]
    labels = Labels(bounds, 11.0)
    labels.taken += _NAMED
    labels.keep_off([*failed[:_LABELS], *ties[:_CROWD], *checks[:_CROWD]], 5.0)
    for (x, y, _), text, bad in zip(places, said, over, strict=True):
        if bad and len(labels.placed) < _LABELS:
            labels.place(x, y, text, 8.0, failing=True)
    crosses = "".join(dict.fromkeys(f"M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8" for x, y in failed))
    return Field(
        dots(ties),
        dots(checks),
        crosses,
        labels.placed,
        round(reach, 1),
        sum(beyond for _, _, beyond in places),
        len(rows) > _CROWD,
    )


def _known(value: float | None) -> float:
    """Return a difference or tolerance of a row that was chosen because it has it."""
    assert value is not None
    return value


def _is_tie(row: CheckRow) -> bool:
    return row["role"] == Role.TIE
