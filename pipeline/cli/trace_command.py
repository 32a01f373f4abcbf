"""`tiedown trace`: one point from its raw coordinates to the issued ones, in sums that a person can add up again."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from pipeline.cli.console import print_json
from pipeline.cli.faults import FAULT, report
from pipeline.cli.progress import progress_on_terminal
from pipeline.clock import seconds_text
from pipeline.trace import Agreement, Found, Reading, Step, Tie, Trace, trace
from pipeline.trace.issued import AGREES
from pipeline.trace.model import OccupiedAround, Shift, Uncertainty
from pipeline.visible import one_line
from pipeline.words import counted


def trace_point(job: Path, point: str, *, as_json: bool) -> int:
    """Print the trace and return the exit code: 0; 1 where the newest issue differs without cause; 2 unknown name."""
    try:
        with progress_on_terminal(not as_json) as progress:
            found = trace(job, point, progress)
    except Exception as error:
        return report(str(job), error, as_json=as_json)
    if as_json:
        print_json(found.as_record())
    else:
        print("\n".join(map(one_line, _lines(found))))
    return FAULT if found.agreement.is_fault else 0


def _lines(found: Trace) -> Iterator[str]:
    yield f"{found.job}: {found.point}, {counted(len(found.readings), 'reading')}"
    if found.written != "metres":
        yield f"issued coordinates: {found.written}; all else in metres to the east, north and up"
    for reading in found.readings:
        yield ""
        yield from _reading(reading)
    if found.gone:
        yield ""
        yield "In issues, but no reading now:"
        yield from _found(found.gone)
    yield ""
    yield from _agreement(found.agreement)


def _reading(reading: Reading) -> Iterator[str]:
    observed = f"{seconds_text(reading.observed)} UTC" if reading.observed else "time not known"
    yield f"{reading.file}:{reading.row}  observed {observed}, base {reading.base or 'not named'}," + (
        f" code {reading.code or 'none'}, solution {reading.solution or 'none'}"
    )
    yield f"  read ({reading.crs}):  " + ", ".join(
        f"{name} {'not known' if value is None else format(value, '.11f' if name in _DEGREES else '.5f')}"
        for name, value in reading.raw
    )
    yield f"  session {reading.session or 'none'}: {reading.session_why}"
    if reading.raw_xyz is not None:
        yield f"  raw X Y Z                {_three(reading.raw_xyz)}"
    if reading.shift is not None:
        yield from _shift(reading.session or "", reading.shift)
    for step in reading.steps:
        yield from _step(step)
    yield from _issued(reading)
    if reading.uncertainty is not None:
        yield from _uncertainty(reading.uncertainty)
    if reading.proof is not None:
        yield f"  proof: {reading.proof}"
        yield f"    before: {_occupied(reading.before)}"
        yield f"    after:  {_occupied(reading.after)}"
    if reading.reason is not None:
        yield f"  HELD BACK as {reading.reason}" + (f": {reading.detail}" if reading.detail else "")
    if reading.found:
        yield "  in the issues:"
        yield from _found(reading.found)


_DEGREES = ("longitude", "latitude")


def _shift(session: str, shift: Shift) -> Iterator[str]:
    yield f"  shift of session {session} ({shift.verdict})"
    yield f"    X Y Z                  {_three(shift.xyz, '+.5f')}"
    yield f"    east north up here     {_three(shift.local, '+.5f')}   sigma {_three(shift.sigma)}"
    for tie in shift.ties:
        yield from _tie(tie)


def _tie(tie: Tie) -> Iterator[str]:
    if tie.use == "stated":
        yield f"    stated in the job file {_three(tie.own_shift, '+.5f')}"
        yield f"      residual east north up {_three(tie.residual, '+.5f')}   sigma {_three(tie.sigma)} stated"
        return
    when = f" at {seconds_text(tie.observed)} UTC" if tie.observed else ""
    yield f"    {tie.use}{f' {tie.point}' if tie.point else ''} on {tie.mark}{when}"
    if any(value is not None for value in tie.register):
        held = f"   sigma {_three(tie.register_sigma)}" if any(s is not None for s in tie.register_sigma) else ""
        yield f"      register E N H       {_three(tie.register)}{held}"
    if any(sigma is None for sigma in tie.register_sigma):
        carried = f"tied by {', '.join(tie.sessions)}" if tie.sessions else "tied by this session alone"
        yield f"      not fixed by the register in all components; {carried}"
    yield f"      mark X Y Z, adjusted {_three(tie.mark_xyz)}"
    if any(value is not None for value in tie.correction):
        yield f"      adjusted minus register, east north up {_three(tie.correction, '+.5f')}"
    yield f"      minus raw X Y Z      {_three(tie.raw_xyz)}"
    yield f"      = shift X Y Z        {_three(tie.own_shift, '+.5f')}"
    yield f"      residual east north up {_three(tie.residual, '+.5f')}   sigma {_three(tie.sigma)} observed"


def _step(step: Step) -> Iterator[str]:
    yield f"  {step.name}, {step.frame}"
    yield f"                           {_three(step.before)}"
    yield f"                         + {_three(step.added, '+.5f')}"
    yield f"                         = {_three(step.after)}"


def _issued(reading: Reading) -> Iterator[str]:
    for operation in reading.operations:
        stated = "accuracy not stated" if operation.accuracy is None else f"accuracy {operation.accuracy:g} m"
        grids = f", grid {', '.join(operation.grids)}" if operation.grids else ""
        yield f"  {operation.step}: {operation.name} ({stated}{grids})"
        yield f"    {operation.definition}"
    if reading.geographic is not None:
        longitude, latitude, height = reading.geographic
        yield f"  longitude {longitude:.11f}, latitude {latitude:.11f}, ellipsoidal height {height:.5f}"
    if reading.issued is not None:
        easting, northing, height = reading.issued
        metres = reading.issued_metres
        if reading.separation is not None and reading.geographic is not None and metres is not None:
            ellipsoidal, up = reading.geographic[2], metres[2]
            yield f"  height {up:.5f} = {ellipsoidal:.5f} minus the geoid separation {reading.separation:+.5f}"
        yield f"  easting {easting:.5f}, northing {northing:.5f}, height {height:.5f}  ({reading.outcome})"
        if reading.detail and reading.reason is None:
            yield f"  {reading.detail}"


def _uncertainty(parts: Uncertainty) -> Iterator[str]:
    yield (
        f"  95 %: {parts.hu95:.4f} horizontally, {parts.vu95:.4f} in height;"
        " sigma (one standard deviation) east north up:"
    )
    default = [axis for axis, by_default in zip(("east", "north", "up"), parts.by_default, strict=True) if by_default]
    said = f" (the job's default for {', '.join(default)})" if default else ""
    far = f", {parts.ppm:g} ppm of {parts.distance:.0f} m to the base in it" if parts.distance is not None else ""
    yield f"    observed               {_three(parts.observed)}{said}{far}"
    yield f"    shift                  {_three(parts.shift)}"
    if parts.geoid:
        yield f"    geoid separation       {_three((0.0, 0.0, parts.geoid))}"
    if any(parts.site):
        yield f"    site localisation      {_three(parts.site)}"
    a, b = parts.semi_axes
    yield f"    combined               {_three(parts.together)}, ellipse {a:.5f} by {b:.5f}"


def _occupied(occupied: OccupiedAround | None) -> str:
    if occupied is None:
        return "none"
    off = [
        f"{axis} {value:.4f}"
        for axis, value in (("horizontally", occupied.d_horizontal), ("height", occupied.d_height))
        if value is not None
    ]
    verdict = "passes" if occupied.passed else "FAILS"
    return (
        f"{occupied.point or 'a point without a name'} on {occupied.mark} ({occupied.role}) at"
        f" {occupied.observed:%H:%M:%S} {verdict}" + (f", off {', '.join(off)}" if off else "")
    )


def _found(rows: Sequence[Found]) -> Iterator[str]:
    for row in rows:
        place = _three((row.easting, row.northing, row.height)) if row.easting is not None else "no coordinates"
        moved = f"   moved {_three(row.moved, '+.5f')}" if row.moved is not None and any(row.moved) else ""
        yield f"    {row.issue:03d} {row.layer} ({row.word})  {place}{moved}"
        yield from (f"        {reason}" for reason in row.because)


def _agreement(agreement: Agreement) -> Iterator[str]:
    if not agreement.issue:
        yield "There is no issue yet."
        return
    name = f"issue {agreement.issue:03d}"
    if agreement.changed:
        yield f"Changed since {name} was made:"
        yield from (f"  {what}" for what in agreement.changed)
    if not agreement.differences:
        yield f"Recomputed from raw: agrees with {name} to {AGREES:.5f} m."
        return
    yield f"Recomputed from raw: {name} differs:"
    yield from (f"  {what}" for what in agreement.differences)
    if agreement.is_fault:
        yield "Nothing has changed since it was made: run tiedown verify to see whether the issue was altered."


def _three(values: Sequence[float | None] | None, how: str = ".5f") -> str:
    if values is None:
        return "not known"
    return "  ".join("-" if value is None else format(value, how) for value in values)
