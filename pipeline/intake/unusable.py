"""Why readings cannot be used, in words: what was found in the row, and which key of the job file decides."""

from collections.abc import Iterable
from datetime import datetime, timedelta, tzinfo

from pipeline.clock import moment
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.intake.unusable_rows import Unusable
from pipeline.near import listed
from pipeline.read.solution_words import is_coarse, is_fixed
from pipeline.read.times import clock
from pipeline.read.yes_no import denying
from pipeline.words import Reason

#: Solutions that are named in a list to be copied; more than these are no list of solutions.
_MOST_SOLUTIONS = 6


def advice(reason: Reason, prepared: Prepared, export: int, solutions: Iterable[str] = ()) -> str:
    """Return what to do about readings of one export that cannot be used for a reason.

    ``solutions`` are the solutions found that are not accepted.
    """
    loaded, block = prepared.loaded, prepared.exports[export].block
    if reason is Reason.NOT_FIXED:
        return _accept(prepared, solutions, ":".join(map(str, loaded.where("quality", "solutions"))))
    if reason is Reason.POOR_QUALITY:
        return f"the limits are in [quality] ({_at(loaded.where('quality'))})"
    if reason is Reason.OUTSIDE_SESSIONS:
        zone = _at(loaded.where("points", block, "time_zone"))
        stated = "time_zone and time_format" if prepared.exports[export].points.time_format else "time_zone"
        return f"check the sessions' start, end and base, and {stated} of the export ({zone})"
    if reason is Reason.TWO_SESSIONS:
        return "give the row its base id, or map the column 'base', or end one session where the other begins"
    if reason is Reason.DUPLICATE:
        return "name the reading by the row that came first, and export it once"
    columns = _at(loaded.where("points", block, "columns"))
    if reason is Reason.AMBIGUOUS_TIME and len(offsets := _offsets(prepared, export)) > 1:
        kept = " or ".join(f'time_zone = "{offset}"' for offset in offsets)
        zone = _at(loaded.where("points", block, "time_zone"))
        return (
            "export the times in UTC or with their offset from it; or, where the controller's clock was not turned that"
            f" day, state the one that it kept: {kept} ({zone}); dates that can be read in two ways need time_format"
        )
    if reason is Reason.NO_POSITION:
        return f"fill the cell in the export, or map the column that holds it ({columns})"
    return f"correct the export, or how the job file says to read it ({columns})"


def _offsets(prepared: Prepared, export: int) -> list[str]:
    """Return the offsets from UTC that the clocks of an export's zone have in the year of its job, in summer first."""
    kind = clock(prepared.exports[export].points.time_zone, None).kind
    if not isinstance(kind, tzinfo) or not prepared.windows:
        return []
    year = moment(prepared.windows[0].start_ms).year
    seasons = {datetime(year, month, 1, tzinfo=kind) for month in (1, 7)}
    ordered = sorted(seasons, key=lambda one: one.utcoffset() or timedelta(0), reverse=True)
    return list(dict.fromkeys(one.isoformat()[-6:] for one in ordered))


def distribution(first_pass: FirstPass, prepared: Prepared) -> str:
    """Return in words why rows cannot be used: each reason with the number of its rows and the first of them."""
    return "; ".join(
        f"{one.count:,} {one.reason} (first {prepared.exports[one.export].shown}:{one.row}: {one.why})"
        for one in first_pass.unusable
    )


def advice_on(rows: Unusable, first_pass: FirstPass, prepared: Prepared) -> str:
    """Return what to do about all rows that cannot be used for one reason."""
    return advice(rows.reason, prepared, rows.export, first_pass.solutions)


def _accept(prepared: Prepared, solutions: Iterable[str], where: str) -> str:
    given, accepted = set(solutions), prepared.loaded.job.quality.solutions
    no = denying({*given, *accepted})
    found = sorted((each for each in given if not is_coarse(each) and each not in no), key=str.casefold)
    if given and not found:
        return f"only fixed solutions are used for ties and points: name a reading that has one ({where})"
    if not found:
        return f"map the column 'solution', or leave it unmapped where the export has none ({where})"
    if len(found) > _MOST_SOLUTIONS:
        return f"check which column is mapped as solution: it holds {listed(found, chr(34))}"
    if len(found) > 1 and not all(map(is_fixed, found)):
        # all of them at once would accept a float one with the fixed, and few look at what they paste
        return f"of {listed(found, chr(34))} add to solutions of [quality] those that mean a fixed solution ({where})"
    every = ", ".join(f'"{name}"' for name in dict.fromkeys((*accepted, *found)))
    which = "it is a fixed solution" if len(found) == 1 else "they are fixed solutions"
    return f"if {which}, accept it in [quality]: solutions = [{every}] ({where})"


def _at(where: tuple[str, int]) -> str:
    return f"{where[0]}:{where[1]}"
