"""Says that an export states its heights to be more certain than its positions, as no satellites make them."""

from collections.abc import Iterator

from pipeline.intake.file_log import FileLog, stated_sizes
from pipeline.read.exports import Export
from pipeline.words import counted, plural

#: Readings from which on an export says something, and the part of them that do so by other means, such as a level.
_FEW, _OTHERS = 5, 0.05


def exchanged_sigma_notes(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that practically all readings of an export state so, who knows because two columns are exchanged.

    Heights by satellite are the less certain, as no satellite is seen from below: common practice. Not told of numbers
    that are the same for all readings, as placeholders are.
    """
    of, columns = log.surer_heights, export.points.columns
    if of.stated < _FEW or of.surer < (1.0 - _OTHERS) * of.stated or not of.measured:
        return
    plan, up = stated_sizes([(log, (1.0, 1.0))])
    in_plan = columns.sigma_horizontal or columns.drms or columns.sigma_east
    yield (
        f"{export.shown}:{of.row}: {of.surer:,} of {counted(of.stated, 'accepted reading')}"
        f" {plural(of.surer, 'states', 'state')} heights to be more certain than positions ({1000 * up:.1f} mm beside"
        f" {1000 * plan:.1f} mm, root mean square): by satellite they are the less certain. Check whether the columns"
        f' "{in_plan}" and "{columns.sigma_up}" are exchanged; hu95 and vu95 follow them'
    )
