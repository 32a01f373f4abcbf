"""Warns of one name at two places, with both places."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.clock import MINUTE
from pipeline.intake.far_names import FarRepeats, far_repeats
from pipeline.intake.survey import Survey
from pipeline.near import and_more, listed
from pipeline.occupations.signs import MarkNames
from pipeline.read.exports import read_batches
from pipeline.replace import replace
from pipeline.solve.misnamed import misnamed
from pipeline.solve.one_vector import one_vector_notes
from pipeline.solve.solve import Solved
from pipeline.words import counted

#: Names that are told with their places.
_NAMED = 3
#: Metres: two bases that averaged their positions put one place about so far apart while nothing ties them,
#: and readings that carry a field shift are no farther off. Common practice, no source.
_UNCORRECTED = 25.0
#: Milliseconds: readings on a mark that are this close in time are of one occupation. Common practice, no source.
_ONE_OCCUPATION = 15 * MINUTE


def name_notes(survey: Survey, solved: Solved) -> list[str]:
    """Return in words that names stand at more than one place, or for more than one tie."""
    return [*_doubled_ties(survey), *_misnamed(survey, solved), *_far_names(survey, solved)]


def _misnamed(survey: Survey, solved: Solved) -> list[str]:
    """Return in words which occupations are named after another mark close by than the one that the job puts them on.

    Two marks, and an eccentric one beside each at the same vector, agree whichever of them were occupied.
    """
    on_marks = solved.occupations
    place = on_marks.corrected
    found = misnamed(
        on_marks.table.column("name").to_pylist(),
        on_marks.marks,
        on_marks.session,
        np.column_stack([place.easting, place.northing, place.height]),
        MarkNames.of(solved.reference.names),
        solved.reference,
    )
    far = [one for one in found if np.hypot(*one.apart[:2]) > survey.job.checks.radius]
    # names that are numbers fall on any mark: several at one vector each say nothing
    if len(far) > 1 and not any(far[0].alike(one.apart, survey.job) for one in far[1:]):
        far = [one for one in far if one.longer]
    if not far:
        return []
    said = "; ".join(one.sentence() for one in far[:_NAMED])
    more = and_more(len(far) - _NAMED, "; ")
    off = "if the names are right, every point is off by that much"
    return [f"{said}{more}: {off}; check the marks that ties and checks are on"]


def _doubled_ties(survey: Survey) -> list[str]:
    """Return in words which name of a tie several readings of its session have, long after one another.

    All of them tie, so that the later does not test the earlier. Readings of one occupation follow at once.
    """
    told, candidates = [], survey.candidates
    for (session, name), rows in candidates.ties_by_name().items():
        times = candidates.time[rows]
        if times.max() - times.min() < _ONE_OCCUPATION:
            continue
        table = candidates.table.take(pa.array(rows)).select(["export", "source_row"]).to_pylist()
        where = listed(f"{survey.exports[one['export']].shown}:{one['source_row']}" for one in table)
        name_of = survey.windows[session].session.name
        told.append(
            f"session {name_of} has {counted(len(rows), 'reading')} called {name} ({where}), all used as ties, so"
            " none checks the others; rename a later one and list it in checks"
        )
    return told


def _far_names(survey: Survey, solved: Solved) -> list[str]:
    told = one_vector_notes(survey, solved.vectors)
    by_vector = np.concatenate([np.zeros((0, 2), np.int64), *(one.pairs for one in solved.vectors)])
    far = _without(_far(survey, solved), by_vector)
    if not len(far.first):
        return told
    _, once = np.unique(far.first, return_index=True)
    shown = np.sort(once)[:_NAMED]
    pairs = np.column_stack([far.first, far.other])[shown]
    rows = _look_up(survey, np.unique(pairs))
    listed = []
    for (first, other), distance in zip(pairs.tolist(), far.distance[shown].tolist(), strict=True):
        (name, one), (_, two) = rows[first], rows[other]
        listed.append(f"'{name}' ({one} and {two}, {distance:,.{0 if distance >= 10 else 1}f} m apart)")
    more = and_more(far.names - len(listed))
    how = counted(far.names, "name is used", "names are used")
    exports = survey.first_pass.export_of(np.column_stack([far.first, far.other]))
    why = (
        "numbering may have begun anew, or rows may have the name of their line"
        if (exports[:, 0] == exports[:, 1]).all()
        else "two rovers may have counted from the same number, or numbering began anew"
    )
    return [
        *told,
        f"{how} at two places or more: {', '.join(listed)}{more}; {why}:"
        " all of them are issued, distinguished by a number after the name",
    ]


def _without(far: FarRepeats, told: Integers) -> FarRepeats:
    """Return those that are not told yet, by the numbers of (k, 2) readings, in whatever order."""
    most = int(max(far.first.max(initial=0), far.other.max(initial=0), told.max(initial=0))) + 1
    pairs, known = (np.sort(each, axis=1) @ [most, 1] for each in (np.column_stack([far.first, far.other]), told))
    rest = ~np.isin(pairs, known)
    first = far.first[rest]
    return FarRepeats(first, far.other[rest], far.distance[rest], len(np.unique(first)))


def _far(survey: Survey, solved: Solved) -> FarRepeats:
    """Return the points, by their numbers in the job, that lie far from the first of their name as corrected."""
    same, tied = survey.first_pass.same_names, solved.shifts.fully_tied
    points = np.flatnonzero(~np.isin(same.number, solved.not_points))
    points = points[np.argsort(same.number[points], kind="stable")]
    session, frames = same.session[points], survey.operations.frames
    places = same.longitude[points], same.latitude[points]
    # a vector moves a place alike whatever its height, and two datums' difference moves all places alike
    xyz = np.column_stack(frames.to_geographic.inverse(*places, np.zeros(len(points))))
    xyz = xyz + np.nan_to_num(solved.shifts.shift)[session]
    longitude, latitude, _ = frames.to_geographic.forward(*xyz.T)
    certain = tied[session] & (not solved.field.taken)
    within = np.where(certain, survey.job.checks.same_name, _UNCORRECTED)
    far = far_repeats(same.name[points].astype(np.uint64), longitude, latitude, within)
    return replace(far, first=same.number[points[far.first]], other=same.number[points[far.other]])


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
