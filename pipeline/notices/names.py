"""One name at two places: told with both, so that neither a drawing nor a tie takes the one for the other."""

import numpy as np

from pipeline.arrays import Integers
from pipeline.intake.survey import Survey
from pipeline.read.files import read_batches
from pipeline.words import counted

#: Names that are told with their places.
_NAMED = 3


def name_notes(survey: Survey) -> list[str]:
    """Return in words that names stand at more than one place."""
    far = survey.first_pass.far_names
    if not len(far.first):
        return []
    _, once = np.unique(far.first, return_index=True)
    shown = np.sort(once)[:_NAMED]
    pairs = np.column_stack([far.first, far.other])[shown]
    rows = _look_up(survey, np.unique(pairs))
    listed = []
    for (first, other), distance in zip(pairs.tolist(), far.distance[shown].tolist(), strict=True):
        (name, one), (_, two) = rows[first], rows[other]
        listed.append(f"'{name}' ({one} and {two}, {distance:,.0f} m apart)")
    more = f" and {far.names - len(listed):,} more" if far.names > len(listed) else ""
    how = counted(far.names, "name stands", "names stand")
    return [
        f"{how} at two places or more: {', '.join(listed)}{more}; two rovers may have counted from the same number:"
        " all of them are issued, and a name alone does not say which is meant"
    ]


def _look_up(survey: Survey, numbers: Integers) -> dict[int, tuple[str, str]]:
    """Return name and place in the files of some rows of the job, by number; the files are read until there."""
    starts = np.concatenate([[0], np.cumsum(survey.first_pass.rows)])
    found: dict[int, tuple[str, str]] = {}
    for at, export in enumerate(survey.exports):
        wanted = numbers[(numbers >= starts[at]) & (numbers < starts[at + 1])].tolist()
        start = int(starts[at])
        for batch in read_batches(export) if wanted else ():
            for number in [number for number in wanted if start <= number < start + batch.num_rows]:
                row = number - start
                where = f"{export.shown}:{batch.column('source_row')[row].as_py()}"
                found[number] = (batch.column("name")[row].as_py() or "", where)
            start += batch.num_rows
            if start > wanted[-1]:
                break
    return found
