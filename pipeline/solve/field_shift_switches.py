"""Asks what shows that field shifts were applied, and when: occupations on one side of a switch show neither.

A check before a shift was switched on passes whether or not it was applied afterwards. And of points between the last
occupation before a switch and the first after it, the time stated alone says on which side of the switch they are.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Integers
from pipeline.clock import stamp
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.field_points import FieldPoints, Rise
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks, checked_sessions
from pipeline.solve.field_shifts import FieldReadings, FieldShifts, TakenOut, local
from pipeline.tolerance import plan_and_height
from pipeline.words import Doubt, counted, plural

#: Metres within which a step in heights is a shift's, at the least: what two readings scatter. Ours, no source.
_SAME = 0.05
#: Metres by which a rise may miss the shift's own, and from which that is so high, for it to be no chance. Ours.
_SURE, _HIGH = 0.10, 1.0


def untested(survey: Survey, field: FieldShifts, on_marks: OnMarks) -> Iterator[tuple[TakenOut, int]]:
    """Yield the field shifts that points carry, with how many, and no occupation does, in sessions with checks.

    Of those within the tolerances no occupation could say anything.
    """
    readings = FieldReadings.of(on_marks.table)
    checked = checked_sessions(on_marks, len(survey.windows))
    for one, points in zip(field.taken, survey.first_pass.field_points, strict=True):
        count = points.between(one.window.start, one.window.until)
        told = count and checked[one.window.session] and not _small(survey, one, on_marks)
        if told and not one.carried(readings).any():
            yield one, count


def switch_notes(survey: Survey, field: FieldShifts, on_marks: OnMarks) -> Iterator[str]:
    """Yield field shifts that nothing tests, and switches of others amid points without an occupation beside them."""
    for one, count in untested(survey, field, on_marks):
        yield _untested_words(survey, one, count)
    readings = FieldReadings.of(on_marks.table)
    for one, points, key, up in _switches(survey, field, on_marks):
        if rises := _rises(one, key, up, points):
            yield from (_rise_words(one, key, up, *rise) for rise in rises if not _sure(up, rise[0]))
            continue
        own = (on_marks.session == one.window.session) & one.window.of_receiver(readings.export, readings.base)
        yield from _hangs(one, key, np.unique(np.append(on_marks.time[own], _worked_out_at(survey, one))), points)


def switch_doubts(survey: Survey, field: FieldShifts, on_marks: OnMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each switch that heights of level ground show at another time than is stated."""
    for one, points, key, up in _switches(survey, field, on_marks):
        for rise, behind in _rises(one, key, up, points):
            if _sure(up, rise):
                yield Doubtful(Doubt.SHIFT, _rise_words(one, key, up, rise, behind), (one.window.session,))


def _switches(
    survey: Survey, field: FieldShifts, on_marks: OnMarks
) -> Iterator[tuple[TakenOut, FieldPoints, str, float]]:
    """Yield the switches that the job states the time of: "from" or "until", and by how many metres points rise there.

    Not of field shifts that no occupation carries: those are unchecked as they are.
    """
    nowhere = list(untested(survey, field, on_marks))
    for one, points in zip(field.taken, survey.first_pass.field_points, strict=True):
        if any(one is other for other, _ in nowhere) or _small(survey, one, on_marks):
            continue
        up = float(local(survey, one)[2])
        if one.window.stated.earliest is None:
            yield one, points, "from", up
        if one.window.stated.latest is None and not _follows(field, one):
            yield one, points, "until", -up


def _rises(one: TakenOut, key: str, up: float, points: FieldPoints) -> list[tuple[Rise, bool]]:
    """Return where points rise amid a stretch beside a switch as they would had it been switched there.

    ``up`` is by how many metres. Where the switch is stated right beside the occupation, no point lies between them.
    """
    switch = one.window.start if key == "from" else one.window.until
    found = points.rises_beside(switch)
    return [(rise, behind) for rise, behind in found if abs(rise.metres - up) <= max(rise.others, _SAME)]


def _sure(up: float, rise: Rise) -> bool:
    return abs(up) >= _HIGH and abs(rise.metres - up) <= _SURE


def _rise_words(one: TakenOut, key: str, up: float, rise: Rise, behind: bool) -> str:
    switch = one.window.start if key == "from" else one.window.until
    way, when = ("on", "from") if key == "from" else ("off", "until")
    between = rise.before if behind else rise.after
    return (
        f"session {one.window.name}: the field shift seems to have been switched {way} between {stamp(rise.since)} and"
        f" {stamp(rise.until)} UTC, not at {stamp(switch)} UTC as `{when}` says: amid the points"
        f" {'after' if behind else 'before'} that time their heights step by {rise.metres:+.2f} m, as the shift's own"
        f" {up:+.2f} m would make them, and nowhere else there by more than {rise.others:.2f} m. Then"
        f" {counted(between, 'point')} between the two {plural(between, 'is', 'are')} off by the whole shift, and no"
        " check shows it: ask the crew whether the ground has a step there"
    )


def _untested_words(survey: Survey, one: TakenOut, count: int) -> str:
    window = one.window
    east, north, up = local(survey, one).tolist()
    since = max(window.start, survey.windows[window.session].start_ms)
    return (
        f"session {window.name} is unchecked: its field shift ({east:+.3f} east, {north:+.3f} north, {up:+.3f} up,"
        f" {stamp(since)} to {stamp(window.until)} UTC) is taken out of {counted(count, 'point')}, but no reading on a"
        f" mark carries it: checks without it pass whether or not the {plural(count, 'point does', 'points do')}. List"
        " one that does as a check; in the field, check a mark after switching a shift on and before switching it off"
    )


def _worked_out_at(survey: Survey, one: TakenOut) -> Integers:
    """Return (1,) when the mark was occupied that a shift was worked out on, before it was on; (0,) where that is none.

    That reading is in no list of ties and checks, and does not carry the shift.
    """
    rows = np.array([] if one.used is None else [one.used.row], np.int64)
    session, time = survey.candidates.session[rows], survey.candidates.time[rows]
    raw: Integers = time[(session == one.window.session) & (time < one.window.start)]
    return raw


def _follows(field: FieldShifts, one: TakenOut) -> bool:
    """Tell whether another field shift takes a shift's place when it ends: what is said of its start serves both."""
    return any(other.window.start == one.window.until for other in field.of(one.window.session))


def _hangs(one: TakenOut, key: str, occupied: Integers, points: FieldPoints) -> list[str]:
    """Return a sentence where points lie on both sides of a switch before any occupation does."""
    switch = one.window.start if key == "from" else one.window.until
    place = int(np.searchsorted(occupied, switch))
    since = int(occupied[place - 1]) if place else None
    until = int(occupied[place]) if place < len(occupied) else None
    before, after = points.between(since, switch), points.between(switch, until)
    if not before or not after or not len(occupied):
        return []  # switched beside an occupation, as it should be, or in a session that nothing ties
    gap = " and ".join(f"{which} {stamp(time)}" for which, time in (("after", since), ("before", until)) if time)
    way, unsure = ("on", "earliest") if key == "from" else ("off", "latest")
    return [
        f"session {one.window.name}: only `{key}` says that the field shift was switched {way} at {stamp(switch)} UTC:"
        f" no mark was occupied {gap} UTC, where {counted(before, 'point')} {plural(before, 'lies', 'lie')} before that"
        f" time and {after:,} after it. If it was switched {way} at another time, those between the two are off by the"
        f" whole shift, and no check shows it: ask the crew; if nobody knows, state `{unsure}` too"
    ]


def _small(survey: Survey, one: TakenOut, on_marks: OnMarks) -> bool:
    return bool(on_marks.compared.tolerance.passes(plan_and_height(local(survey, one))))
