"""What exports state of the precision of their readings that cannot be, or that the job leaves out."""

import math
from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.sigma_units import usual_unit
from pipeline.intake.file_log import LARGE_SIGMA, LEAST_SIGMA, FileLog, Noted
from pipeline.intake.sigma_sizes import COARSE, LEAST
from pipeline.intake.survey import Survey
from pipeline.job.model import Quality
from pipeline.read.exports import Export
from pipeline.read.precision_headings import Side
from pipeline.read.solution_words import coarse_among
from pipeline.words import Doubt, counted, plural

#: Readings of a session from which on most of them say something of it.
_FEW = 5
#: How many readings of a session at least, and the part of them, that state not to be precise before they are in doubt.
_MANY, _MANY_STATED = 3, 0.05
#: Readings, or the part of an export, up to which those that are accepted as fixed and stand out are told wherever they
#: are: more are stated under trees. How many are is no matter from so many metres on, and ten times what this part of a
#: session states at the most: most of them may have lost their fix. Ours, no source.
_ODD, _UNDER_TREES, _NO_FIX, _PRECISE = 3, 0.03, 0.25, 0.1
#: How many times larger precisions that are not mapped are than those that are used before that is told, and how much
#: wider than a standard uncertainty those are that say to be.
_LARGER, _WIDEST = 3.0, 2.5


def precision_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which most readings, or most of a session, state precision that cannot be.

    One also where many state so little of it that they are no fixed solutions, if the job sets no limit for it.
    """
    coarse = any(coarse_solution_notes(survey))
    found = []
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for noted, says, why in (
            (
                log.large,
                f"of more than {LARGE_SIGMA[0]:g} m in plan or {LARGE_SIGMA[1]:g} m in height",
                "millimetres or centimetres read as metres, or solutions that are not fixed",
            ),
            (
                log.least,
                f"of less than {LEAST_SIGMA * 1000:g} mm",
                "variances read as standard uncertainties, or another unit",
            ),
        ):
            if not noted.count or not _most(noted, log) or (noted is log.large and coarse):
                continue
            sessions = tuple(sorted(log.stated.by)) if _most_of_all(noted, log) else _mostly(noted, log)
            smaller = usual_unit(export, log) if noted is log.large else ""
            what = f"{_readings(noted, log)} {says}, which cannot be right: {why}{smaller}"
            found.append(Doubtful(Doubt.PRECISION, what, sessions, export.shown, noted.row))
        many = () if coarse or _most(log.large, log) else _many_large(log, survey.job.quality)
        if many:
            what = (
                f"{_readings(log.large, log)} of more than {LARGE_SIGMA[0]:g} m in plan or {LARGE_SIGMA[1]:g} m in"
                " height (first one here): no fixed solution is that uncertain, and checks on precise readings do not"
                " prove such; state max_sigma_horizontal and max_sigma_vertical in [quality], which hold them back"
            )
            found.append(Doubtful(Doubt.PRECISION, what, many, export.shown, log.large.row))
    return found


def coarse_solution_notes(survey: Survey) -> Iterator[str]:
    """Yield that the job accepts solutions that are decimetres to metres out."""
    found = coarse_among(survey.job.quality.solutions)
    if found:
        signs = any(len(word.strip()) == 1 for word in found)
        counted_so = "; of numbers or single letters only one means fixed: 4, or R, in NMEA 0183" if signs else ""
        yield (
            f"quality.solutions accepts {', '.join(found)}: such readings are decimetres to metres out, each by a"
            f" different amount, and checks on other readings do not prove them{counted_so}"
        )


def coarse_sigma_notes(export: Export, log: FileLog, quality: Quality) -> Iterator[str]:
    """Yield readings with standard uncertainties that no fixed solution has; of many of a file that is a doubt."""
    if log.large.count and not _most(log.large, log) and not _many_large(log, quality):
        yield (
            f"{export.shown}:{log.large.row}: {_readings(log.large, log)} of more than {LARGE_SIGMA[0]:g} m in plan or"
            f" {LARGE_SIGMA[1]:g} m in height (first one here); fixed solutions are never that uncertain: state"
            " max_sigma_horizontal and max_sigma_vertical"
        )
    is_mapped = export.points.columns.solution is not None
    least, among = COARSE if is_mapped else LEAST, "most"
    count, row = log.sizes.far_out(least)
    if not count or (is_mapped and count > max(_ODD, _UNDER_TREES * log.stated.count)):
        in_a_row, first = log.sizes.far_out_in_a_row()
        least, among = _NO_FIX, "others"
        count, row = log.sizes.far_out(least, _PRECISE)
        if in_a_row > count:
            least, count, row, among = COARSE, in_a_row, first, "most"
    if log.large.count or not count or _limited(quality):
        return
    solution, fix = "and no solution column is mapped", "map it, or state"
    if is_mapped:
        solution, fix = (
            "though its solution is accepted" if count == 1 else "though their solutions are accepted",
            "look at these readings, or state",
        )
    yield (
        f"{export.shown}:{row}: {count:,} of {counted(log.stated.count, 'accepted reading')}"
        f" {plural(count, 'states', 'state')} a standard uncertainty of {least:g} m or more, over ten times that of"
        f" {among} in the session (first one here), as solutions do that are not fixed, {solution}: checks on precise"
        f" readings do not prove such; {fix} max_sigma_horizontal and max_sigma_vertical in [quality], which hold them"
        " back"
    )


def _limited(quality: Quality) -> bool:
    return quality.max_sigma_horizontal is not None or quality.max_sigma_vertical is not None


def unused_precision_notes(export: Export, log: FileLog, survey: Survey) -> Iterator[str]:
    """Yield columns that say precisions much larger than those that are used, and that the job file does not map."""
    plan, up = survey.job.quality.scales(export.points)
    larger = []
    for name, one in log.left.items():
        if one.below or one.count < _FEW or one.used <= 0.0:
            continue
        said, used = math.sqrt(one.stated / one.count), math.sqrt(one.used / one.count)
        used *= up if one.said.side is Side.UP else plan
        if said > _LARGER * (_WIDEST if one.said.wider else 1.0) * used:
            larger.append(f'"{name}" ({said:.3g} m, where {used:.2g} m is used)')
    if larger:
        yield (
            f"{export.shown}: columns that look like precisions are not mapped, and their root mean squares are larger"
            f" than what is used: {', '.join(larger)}. hu95 and vu95 may be too small by the same factor: map them if"
            " they are standard uncertainties in metres, or state the precision of the readings in [quality]"
        )


def _readings(noted: Noted, log: FileLog) -> str:
    stated = log.stated.count
    which = "" if noted.count == stated else f"{noted.count:,} of "
    all_of = "all " if not which and stated > 1 else ""
    readings = counted(stated, "accepted reading")
    return f"{which}{all_of}{readings} {plural(noted.count, 'states', 'state')} standard uncertainties"


def _most(noted: Noted, log: FileLog) -> bool:
    return _most_of_all(noted, log) or bool(_mostly(noted, log))


def _many_large(log: FileLog, quality: Quality) -> tuple[int, ...]:
    """Return the sessions of which more than a few readings state that they are not precise, and no limit judges it."""
    if _limited(quality):
        return ()
    stated = log.stated.by
    large = sorted(log.large.by.items())
    return tuple(number for number, count in large if count >= _MANY and count >= _MANY_STATED * stated[number])


def _most_of_all(noted: Noted, log: FileLog) -> bool:
    return 2 * noted.count > log.stated.count


def _mostly(noted: Noted, log: FileLog) -> tuple[int, ...]:
    """Return the sessions of most of whose readings something is noted: a day's export, joined to others'."""
    stated = log.stated.by
    return tuple(
        number for number, count in sorted(noted.by.items()) if 2 * count > stated[number] and stated[number] >= _FEW
    )
