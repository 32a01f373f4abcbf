"""How far the readings of each session reach from what ties it, where the job's shifts are applied in the grid."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats
from pipeline.intake.ledger import ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.plausible import on_sphere


def tie_reach(rows: ReadingRows, counting: Flags, candidates: pa.Table, prepared: Prepared) -> Floats:
    """Return (S,) metres from each session's farthest reading to the middle of its ties.

    In the grid a session's constant is the mean of what its ties give. A shift that the job states is one of space at
    the session's first reading, which stands for ties where there are none.

    Args:
        rows: every reading.
        counting: (n,) which of them are sound.
        candidates: those that may be occupations, as `first_pass.FirstPass` has them.
        prepared: the job, whose sessions name their ties.
    """
    reach, ties = np.zeros(len(prepared.windows)), _ties(rows, candidates, prepared)
    for at, (longitude, latitude) in rows.columns.pieces("longitude", "latitude"):
        known = counting[at] & np.isfinite(longitude) & np.isfinite(latitude)
        places, session = on_sphere(longitude[known], latitude[known]), rows.session[at][known]
        for number in np.unique(session).tolist():
            if number < 0:
                continue
            if not len(ties[number]):
                ties[number] = places[session == number][:1]
            away = np.linalg.norm(places[session == number] - ties[number].mean(axis=0), axis=1)
            reach[number] = max(reach[number], float(away.max()))
    return reach


def _ties(rows: ReadingRows, candidates: pa.Table, prepared: Prepared) -> list[Floats]:
    """Return (k, 3) per session where its ties stand, and the base that is set up over a mark, on the sphere."""
    number = np.asarray(candidates.column("number"), np.int64)
    order = np.argsort(number)
    longitude, latitude = rows.columns.take(number[order], "longitude", "latitude")
    places = np.empty((len(number), 3))
    places[order] = on_sphere(longitude, latitude)
    session = candidates.column("session").to_pylist()
    named = list(zip(session, candidates.column("name").to_pylist(), strict=True))
    sound = (np.asarray(candidates.column("held"), np.int64) == 0) & np.isfinite(places).all(axis=1)
    found = []
    for window in prepared.windows:
        wanted = {(window.index, tie.point) for tie in window.session.ties}
        mine = places[[row for row in np.flatnonzero(sound).tolist() if named[row] in wanted]]
        setup = window.session.setup
        if setup is not None:
            mine = np.vstack([mine, on_sphere(np.array([setup.longitude]), np.array([setup.latitude]))])
        found.append(mine)
    return found
