"""Joins a heading of two rows column by column, such as "Position", merged over three cells, above E, N and h."""

import re
from collections import Counter
from collections.abc import Sequence

from pipeline.files.heading_words import run_together
from pipeline.files.written_table import by_place
from pipeline.new_job.headings import is_known

#: Rows that a heading of two is known by: these, and two below, of which the first may hold units, or nothing.
TWO_AND_BELOW = 4
#: What stands above coordinates and says no more than that they are some.
_PLAIN = """
    position positions coordinate coordinates coords location place point grid projected geographic geodetic wgs84
    etrs89 grs80 gnss gps rtk koordinaten lage punktlage koordinater posisjon koordinaatit sijainti coordonnées
    emplacement coordenadas posición ubicación posição localização coordinate posizione coördinaten positie ligging
    współrzędne położenie pozycja souřadnice poloha pozice súradnice koordinate položaj koordináták helyzet coordonate
    poziție koordinatlar konum koordinat posisi tọađộ vịtrí координаты положение координати положення местоположение
    συντεταγμένες θέση 座標 位置 坐标 坐標 좌표 위치
"""
_PLAIN_GROUPS = frozenset(map(run_together, _PLAIN.split()))
#: So many columns one merged cell is above, at most: a wider one may as well end before, which a text does not show.
_WIDEST = 6
#: Longer texts are sentences, and what begins with a figure is no heading of a column.
_LONGEST, _FIGURE, _IN_BRACKETS = 40, re.compile(r"\s*[-+−]?[.,]?\d"), re.compile(r"(.*?)\s*([(\[].*[)\]])\s*")


def joined_heading(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the headings of columns that the first two of some rows name together, [] if these are no one heading.

    Plainly one: some cell of the upper row is above several names of the lower, and the lower leaves out columns that
    the upper names or has a name twice. One of the rows after them holds figures, and none before it but units, or
    nothing.
    """
    first = next((row for row in rows[2:] if any(map(_FIGURE.match, row))), None)
    if first is None:
        return []
    width = max(map(len, (*rows[:2], first)))
    above, names = ([*cells, *[""] * (width - len(cells))] for cells in rows[:2])
    if any(len(cell) > _LONGEST or _FIGURE.match(cell) for cell in (*above, *names) if cell):
        return []
    groups = _groups(above, names)
    under = [[at for at, group in enumerate(groups) if group == one] for one in set(groups) - {-1}]
    wide = [places for places in under if len({names[at] for at in places}) > 1]
    left_out = any(cell and not name for cell, name in zip(above, names, strict=True))
    twice = any(count > 1 for name, count in Counter(names).items() if name)
    if not wide or max(map(len, under)) > _WIDEST or not (left_out or twice):
        return []
    plain = Counter(name for name, group in zip(names, groups, strict=True) if group < 0 or _is_plain(above[group]))
    return _apart(
        [
            _together(above[group if group >= 0 else at], name, alone=plain[name] == 1)
            for at, (group, name) in enumerate(zip(groups, names, strict=True))
        ]
    )


def _apart(names: Sequence[str]) -> list[str]:
    """Return names of which none comes twice; one that is empty gets its place."""
    called = [name or by_place(at) for at, name in enumerate(names, start=1)]
    return [f"{name}_{at}" if called.count(name) > 1 else name for at, name in enumerate(called, start=1)]


def _groups(above: Sequence[str], names: Sequence[str]) -> list[int]:
    """Return of each column the place of the upper cell that is above its lower one, -1 where there is none."""
    found: list[int] = []
    for at, (cell, name) in enumerate(zip(above, names, strict=True)):
        before = found[-1] if found else -1
        same = before >= 0 and cell in ("", above[before])
        found.append(-1 if not name else before if same else at if cell else -1)
    return found


def _together(group: str, name: str, *, alone: bool) -> str:
    """Return the heading of one column; the group's unit stays, its words go where they say nothing more."""
    if not group or not name:
        return group or name
    if alone and _is_plain(group):
        return f"{name} {_parted(group)[1]}".strip()
    return next((both for both in (f"{group} {name}", f"{name} {group}") if is_known(both)), f"{group} {name}")


def _is_plain(group: str) -> bool:
    return run_together(_parted(group)[0]) in _PLAIN_GROUPS


def _parted(group: str) -> tuple[str, str]:
    """Return the words of a heading, and what stands in brackets behind them, with these."""
    found = _IN_BRACKETS.fullmatch(group)
    return (group, "") if found is None else (found[1], found[2])
