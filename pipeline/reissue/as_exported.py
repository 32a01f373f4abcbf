"""Where a reading of an issue lay in its export, worked out from the record: that tells a reading from another."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.reissue.earlier import another_frame
from pipeline.tables import TIME

#: Metres that a raw position may differ from itself: an export may come again with coordinates to the millimetre.
#: Two readings of one mark are further apart, but for one pair in a hundred.
SAME = 0.002


class Stood(NamedTuple):
    """How a reading stood in an issue: its session, and its place as the grid writes it."""

    session: str
    easting: float | None
    northing: float | None
    height: float | None


#: The columns of ``points`` and ``held_back`` that say how their readings stood.
COLUMNS = ("name", "observed", *Stood._fields)


def stood_of(row: CheckRow) -> Stood:
    """Return how an occupation stood in its issue."""
    return Stood(row["session"], row["easting"], row["northing"], row["height"])


def stood_in(table: pa.Table) -> Iterator[tuple[str, int, Stood]]:
    """Yield the name, the time (UTC milliseconds) and the standing of rows of a layer, read by `COLUMNS`.

    Rows without a time are left out, as those held back for that: no reading can be told by them. A name may be "".
    """
    times = table.column("observed").cast(TIME).cast(pa.int64()).to_pylist()
    columns = (table.column(name).to_pylist() for name in Stood._fields)
    for name, time, *stood in zip(table.column("name").to_pylist(), times, *columns, strict=True):
        if time is not None:
            yield name or "", time, Stood(*stood)


def as_exported(issue: Record, stood: Stood | None, survey: Survey) -> Floats:
    """Return (k, 3) where a reading may have lain in its export, in the working frame; none where it is not known.

    That is where it was issued without its session's shift, and with the shift of the field that it may have carried.
    """
    if stood is None:
        return np.zeros((0, 3))
    raw = unshifted(issue, stood.session, np.array([stood[1:]], float), survey)
    taken = [[one["shift_x"], one["shift_y"], one["shift_z"]] for one in issue["field_shifts"]
             if one["session"] == stood.session]  # fmt: skip
    raw = np.vstack([raw, raw + np.array(taken, float)]) if taken else raw
    return np.asarray(raw[np.isfinite(raw).all(axis=1)])


def unshifted(issue: Record, name: str, places: Floats, survey: Survey) -> Floats:
    """Return (n, 3) places of an issue without their session's shift, in the working frame; NaN where not known.

    Args:
        issue: the record of the issue.
        name: the session there.
        places: (n, 3) as its grid writes them.
        survey: the job.
    """
    session = next((one for one in issue["sessions"] if one["session"] == name), None)
    if session is None or another_frame(issue, survey.target) is not None:
        return np.full(places.shape, np.nan)
    then, now = issue["target"]["site"], survey.target["site"]
    metres = np.column_stack(survey.axes.metres(*places.T))
    if then is not None and now is not None and then["definition"] != now["definition"]:
        between = f"proj=pipeline step inv {then['definition']} step {now['definition']}"
        fitted = Operation("from site to site", "two fits of one site", between, 0.0)
        metres = np.column_stack(fitted.forward(*metres.T))
    geocentric = np.array([session["shift_x"], session["shift_y"], session["shift_z"]], float)
    if np.isfinite(geocentric).all():
        return np.asarray(np.column_stack(survey.operations.frames.to_issued.inverse(*metres.T)) - geocentric)
    on_grid = np.array([session["shift_east"], session["shift_north"], session["shift_up"]], float)
    return np.column_stack(survey.operations.frames.to_issued.inverse(*(metres - on_grid).T))


def lies_at(raw: Floats, places: Floats) -> Flags:
    """Return (n,) which of (n, 3) raw positions are one of (k, 3) places."""
    return np.asarray((np.linalg.norm(raw[:, None] - places[None], axis=2) <= SAME).any(axis=1))
