"""Small jobs at the edge of what a job is: next to nothing in them, all at one place, names missing or endless."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from network_jobs import START, Network
from simulate import CANTERBURY, ELLIPSOIDAL

FORMATS = ["gpkg", "dxf", "csv", "geojson", "landxml"]
LONG = "Ü" * 5_000
_T = TypeVar("_T")

#: Gives one of some values.
Pick = Callable[[list[Any]], Any]


def rarely(pick: Pick) -> bool:
    """Say yes once in eight times, and no where the simplest is asked for."""
    return bool(pick([False] * 7 + [True]))


def anything(pick: Pick) -> Network:
    """Return a job whose every part is picked; some of them contradict themselves."""
    work = Network(pick([CANTERBURY, ELLIPSOIDAL]), shift=pick([(1, 1, 4), (0, 0, 0), (30, 30, 60)]))
    apart = 0 if rarely(pick) else 1
    names = []
    for number in range(pick([1, 2, 3, 4])):
        known = number == 0 or pick([True, False])
        names.append(f"{'CM' if known else 'TM'}{number}")
        at = [apart * pick([0, 300, -500]), apart * pick([10, -400, 900])]
        work.mark(names[-1], *at, known=known, holds=pick(["3d", "3d", "position", "height"]))
    for number in range(pick([1, 2, 3])):
        _session(work, number, names, pick)
    _settings(work, pick)
    if work._taken:
        _rows(work, pick)
    return work


def _session(work: Network, number: int, names: list[str], pick: Pick) -> None:
    known = [name for name in names if name.startswith("CM")]
    temporary = [name for name in names if name.startswith("TM")]
    ties = pick([known[:1], known[:2], [], known]) + pick([temporary, temporary, []])
    checks = pick([known[1:], [], known, temporary])
    points = pick([[(100, 50)], [], [(0, 0)], [(100, 50), (5_000, -3_000)], [(100, 50)] * 2])
    more: dict[str, Any] = {}
    if rarely(pick):
        shift = dict(zip(("east", "north", "up"), (0.1, 0.2, -0.3), strict=True))
        start = START + number * dt.timedelta(days=1)
        more["field_shift"] = {"from": start, "model": pick(["geocentric", "grid"]), **shift}
    stated = pick([None] * 5 + ["none", {"east": 0.1, "north": 0.2, "up": 0.3}])
    over = pick(names) if rarely(pick) else None
    opening, closing = pick([(checks, []), ([], checks), (checks, checks)])
    work.session(
        f"s{number}", ties=ties, checks=opening, closing=closing, points=points, over=over, stated=stated,
        shift=(30.0, 0.1 * number, 0.2) if rarely(pick) else None, **more,
    )  # fmt: skip


def _settings(work: Network, pick: Pick) -> None:
    work.job["issue"] = {
        "formats": pick([FORMATS, ["gpkg"], ["dxf"], ["landxml", "geojson"]]),
        "by_code": pick([True, False]),
        "hold_back": pick([["suspect"], [], ["suspect", "unclosed", "unchecked"]]),
    }
    limit = pick([10.0, 10.0, 1.0, 0.001])
    work.job["shift"] = {"limit_horizontal": limit, "limit_vertical": limit}
    if rarely(pick):
        work.job["shift"]["model"] = "grid"
    if rarely(pick):
        work.job["checks"] = {"codes": ["CM"], "radius": pick([0.5, 50.0])}
    if rarely(pick):
        del work.job["control"]


def _rows(work: Network, pick: Pick) -> None:
    rows, count = work.rows, len(work.rows["name"])
    if rarely(pick):
        rows["time"] = np.repeat(rows["time"][:1], count)
    if rarely(pick):
        rows["code"] = np.full(count, pick(["", LONG]))
    if rarely(pick):
        rows["name"] = np.where(rows["mark"] == "", pick(["", "SAME", LONG]), rows["name"].astype(object)).astype(str)
    if rarely(pick):
        rows["solution"] = np.full(count, "float")
    if rarely(pick):
        rows["base"] = np.full(count, "")
    if rarely(pick):
        chosen = np.arange(count) % 2 == pick([0, 1])
        if chosen.any():
            work.displace(chosen, pick([(0.2, 0.1, 0.0), (5.0, 0.1, 40.0), (0.0, 0.0, -0.3)]))


def revise(path: Path) -> None:
    """Change the first mark of the register by 20 mm, where there is one."""
    register = path.parent / "register.csv"
    lines = register.read_text(encoding="utf-8").splitlines()
    if len(lines) > 1:
        cells = lines[1].split(",")
        cells[1] = f"{float(cells[1]) + 0.02:.5f}"
        register.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n", encoding="utf-8")
