"""Raw places in the working frame: of each mark, for what a register lacks, and of each session, for its shift."""

import numpy as np

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey


def first_positions(survey: Survey) -> dict[str, Floats]:
    """Return (3,) a raw position, working frame, of each occupied mark: metres off, for what a register lacks."""
    found: dict[str, Floats] = {}
    for said, raw in zip(survey.candidates.named, survey.candidates.raw, strict=True):
        if said is not None and np.isfinite(raw).all():
            found.setdefault(said.mark, raw)
    for window in survey.windows:
        if window.session.setup:
            found.setdefault(window.session.setup.mark, survey.bases.mark[window.index])
    return found


def shift_places(survey: Survey) -> Floats:
    """Return (S, 3), working frame, where each session's shift is meant as east, north and up.

    The mark under its base, else its first tie, else its first reading, else, where an operation does not reach that
    one, its first reading that may be an occupation, else that of another session.
    """
    places = survey.bases.mark.copy()
    for row, _ in survey.candidates.ties():
        session = survey.candidates.session[row]
        if np.isnan(places[session, 0]):
            places[session] = survey.candidates.raw[row]
    for number in np.flatnonzero(np.isnan(places[:, 0])).tolist():
        first = survey.first_pass.place[number]
        if np.isfinite(first).all():
            block = int(survey.first_pass.place_block[number])
            time = survey.operations.year(number, block, survey.windows[number].start_ms)
            one, two, three = first[:, None]
            places[number] = np.column_stack(survey.operations.frames.to_working[block].forward(one, two, three, time))[
                0
            ]
    lost = ~np.isfinite(places).all(axis=1)
    places[lost] = np.nan
    for number in np.flatnonzero(lost).tolist():
        own = survey.candidates.raw[survey.candidates.session == number]
        places[number] = next((raw for raw in own if np.isfinite(raw).all()), places[number])
    empty = np.isnan(places[:, 0])
    if not empty.all():
        places[empty] = places[~empty][0]
    return places
