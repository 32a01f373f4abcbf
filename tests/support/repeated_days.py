"""Days that measure the same points again, with known truth and noise; nothing of the pipeline."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from network_jobs import Network

#: Standard uncertainty of a pole over its point, metres: the default of ``quality.centring``.
CENTRING = 0.003


def days(
    days: int = 2,
    points: int = 8,
    *,
    worse: Sequence[float] | float = (),
    seed: int = 1,
    ties: Sequence[str] = ("CM1",),
    hu95: float = 0.010,
    vu95: float = 0.020,
    checks: Sequence[str] = ("CM2",),
    closing: Sequence[str] = ("CM3",),
    tied: Mapping[int, str] | None = None,
) -> Network:
    """Sessions d1, d2 ... that each measure P1, P2 ... against marks CM1 (a tie), CM2 and CM3 (checks).

    Args:
        days: how many.
        points: how many points each of them measures.
        worse: how many times larger than stated the noise of each day's readings is; none: no noise at all.
        seed: of shifts and noise.
        ties: marks that each day ties on.
        checks: marks that each day checks at its start.
        closing: the mark that each day checks on at its close, in turn.
        tied: marks that some days, from 1, tie on instead.
        hu95, vu95: what the register states of its marks; their coordinates are true.
    """
    work = Network(seed=seed)
    for name, (east, north) in {"CM1": (0, 0), "CM2": (300, 200), "CM3": (-250, 300), "CM4": (200, -300)}.items():
        if name != "CM4" or name in {*closing, *(tied or {}).values()}:
            work.mark(name, east, north, hu95=hu95, vu95=vu95)
    places = [(50 + 10 * number, 30 * (number % 3)) for number in range(points)]
    for number in range(1, days + 1):
        on = [tied[number]] if tied and number in tied else ties
        work.session(
            f"d{number}", ties=on, checks=checks, points=places, closing=[closing[(number - 1) % len(closing)]]
        )
    rows = work.rows
    named = [name if mark else f"P{name.split('-')[1]}" for name, mark in zip(rows["name"], rows["mark"], strict=True)]
    rows["name"] = np.array(named, object)
    noise = np.broadcast_to(worse, days) if np.size(worse) else np.zeros(days)
    if noise.any():
        disturb(work, noise, np.random.default_rng(1000 + seed))
    return work


def disturb(work: Network, worse: np.ndarray, random: np.random.Generator) -> None:
    """Give readings noise, of each session so many times larger than is stated."""
    rows = work.rows
    sigma = np.column_stack([rows["sigma_east"], rows["sigma_north"], rows["sigma_up"]])
    own = sigma * worse[rows["session"]][:, None] * random.normal(size=sigma.shape)
    pole = np.where([True, True, False], CENTRING, 0.0) * random.normal(size=sigma.shape)
    work.displace(np.ones(len(sigma), bool), own + pole)


def reading(work: Network, name: str, day: int) -> np.ndarray:
    """Return which row is a day's (from 1) reading of a name, as a mask."""
    return np.asarray((work.rows["name"] == name) & (work.rows["session"] == day - 1))


def within_95(work: Network, points: Iterable[dict[str, Any]]) -> tuple[float, float]:
    """Return of issued points the shares that lie within hu95 of their true position, within vu95 of their height."""
    truth, found = work.truth, []
    for point in points:
        row = point["source_row"] - 2  # below the header
        plan = np.hypot(point["easting"] - truth.easting[row], point["northing"] - truth.northing[row])
        found.append((plan <= point["hu95"], abs(point["height"] - truth.height[row]) <= point["vu95"]))
    plan, height = np.mean(found, axis=0).tolist()
    return plan, height
