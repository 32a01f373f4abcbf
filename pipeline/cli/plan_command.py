"""`tiedown plan`: what an intended day would give, by the same adjustment as a run's."""

import math
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.cli.console import print_json
from pipeline.cli.faults import error_record, report
from pipeline.cli.line_folding import print_lines
from pipeline.fieldwork.forecast import Blunder, Check, ForeseenSession, ForeseenTie
from pipeline.fieldwork.gains import Gain
from pipeline.fieldwork.plan_forecast import Foreseen, NoPlan, plan_job
from pipeline.fieldwork.plan_record import to_record
from pipeline.visible import one_line
from pipeline.words import Role, counted

#: Something of the plan would be untied, unproven or unseen.
ATTENTION = 3
#: Gains that are printed of each session, and by what part something has to get better.
_GAINS, _WORTH = 4, 0.02


def show_plan(job: Path, *, as_json: bool) -> int:
    """Print what the plan would give and return the exit code: 0, or 3 where it leaves something open; 2 for none."""
    try:
        found = plan_job(job)
    except NoPlan as error:
        if as_json:
            print_json(error_record(str(job), error) | {"lines": list(error.lines)})
        code = report(str(job), error)
        for line in ("", *error.lines):
            print(f"    {line}".rstrip(), file=sys.stderr)
        return code
    except Exception as error:
        return report(str(job), error, as_json=as_json)
    code = ATTENTION if found.attention else 0
    if as_json:
        print_json({"file": str(job), "outcome": "foreseen", "exit_code": code} | to_record(found))
    else:
        print_lines(_lines(found))
    return code


def _lines(found: Foreseen) -> list[str]:
    marks = counted(len(found.look.marks.names), "mark")
    lines = [
        f"{found.look.loaded.job.job.name}: plan of {counted(len(found.sessions), 'session')}, {marks} at hand",
        f"  grid {found.look.target['grid_name']}; heights {found.look.target['height_name']}",
        "  lengths in metres; blunders: the smallest that shows with a probability of 80 %, tested at 1 in 1,000",
    ]
    for number, session in enumerate(found.sessions):
        lines += ["", *_session(found, number, session)]
    lines += ["", *(f"  ATTENTION: {one_line(what)}" for what in found.attention)] if found.attention else []
    lines += [f"  note: {one_line(note)}" for note in found.look.notes]
    return lines


def _session(found: Foreseen, number: int, session: ForeseenSession) -> list[str]:
    names = found.marks.names
    uses = f"{counted(len(session.ties), 'tie')}, {counted(len(session.checks), 'check')}"
    lines = [f"  session {one_line(session.intended.name)}: {uses}"]
    if all(session.tied):
        far = int(np.argmax(session.distance))
        lines += [
            f"    points, 95 %: {_lengths(session.hu95[-1], session.vu95[-1])} in the middle of the work",
            f"    points, 95 %: {_lengths(session.hu95[far], session.vu95[far])} at its far end,"
            f" {session.distance[far]:,.0f} m from the base",
        ]
    lines += [f"    {_tie(tie, names)}" for tie in session.ties]
    lines += [line for check in session.checks for line in _check(check, names)]
    gained = [gain for gain in found.gains if gain.session == number and gain.worth > _WORTH]
    return [*lines, *(line for gain in gained[:_GAINS] for line in _gain(gain, names))]


def _tie(tie: ForeseenTie, names: Sequence[str]) -> str:
    kind = "set-up over" if tie.setup else "tie on"
    return f"{kind} {one_line(names[tie.mark])}: a blunder in it shows from {_blunder(tie.shown)}"


def _check(check: Check, names: Sequence[str]) -> list[str]:
    return [
        f"    check on {one_line(names[check.mark])}: a blunder shows from {_blunder(check.shown)}",
        f"        and goes beyond the job's tolerances from {_blunder(check.fails)}",
    ]


def _gain(gain: Gain, names: Sequence[str]) -> list[str]:
    before, after = gain.shown
    lines = [f"    one more {gain.role} on {one_line(names[gain.mark])}:"]
    if gain.role is Role.TIE:
        now = _lengths(gain.hu95[1], gain.vu95[1])
        lines.append(f"        points, 95 % at worst: {now} (from {_lengths(gain.hu95[0], gain.vu95[0])})")
    return [*lines, f"        a blunder shows from {_blunder(after)} (from {_blunder(before)})"]


def _blunder(one: Blunder) -> str:
    return _lengths(one.horizontal, one.vertical, "never")


def _lengths(plan: float, height: float, unknown: str = "not tied") -> str:
    told = [f"{value:.3f}" if math.isfinite(value) else unknown for value in (plan, height)]
    return f"{told[0]} in plan, {told[1]} in height"
