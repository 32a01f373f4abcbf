"""Says of lines that are drawn which vertex stands far aside while its neighbours follow one another."""

from collections.abc import Iterator

from pipeline.draft.joined import Joined
from pipeline.draft.line_rows import names_of
from pipeline.draft.string_rows import Gathered
from pipeline.plausible.spikes import spike

#: Lines that are told.
_LISTED = 20


def spike_notes(joined: Joined, gathered: Gathered) -> Iterator[str]:
    """Yield for each line that is drawn, up to some, its vertex that stands aside."""
    rows, found, survey = joined.rows, joined.segments, gathered.drafter.survey
    plan, told = rows.values[:, :2] * survey.axes.counts()[:2], 0
    for string in joined.drawn.tolist():
        points = joined.point[found.first[string] : found.last[string] + 1]
        if told == _LISTED or (one := spike(plan[points], bool(joined.closed[string]))) is None:
            continue
        told += 1
        at, metres = int(points[one[0]]), one[1]
        (line,) = names_of(rows, found.rows[found.first[string]][None], gathered.writing)
        point = rows.names[at].as_py()
        yield (
            f"{survey.exports[int(rows.export[at])].shown}:{rows.source_row[at]}: in the line {line} the vertex"
            f" {point or 'here'} lies {metres:,.0f} m from the vertices before and after it, which follow one another:"
            " if no such corner was measured, check its code, its string's number and its coordinates"
        )
