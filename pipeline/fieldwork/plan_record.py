"""A plan as foreseen in plain JSON values: lengths in metres, places as issued, null for what is not known."""

import math
from typing import Any

from pipeline.adjust.statistics import POWER, SIGNIFICANCE
from pipeline.fieldwork.forecast import Blunder, Check, ForeseenSession, ForeseenTie
from pipeline.fieldwork.gains import Gain
from pipeline.fieldwork.plan_forecast import Foreseen


def to_record(found: Foreseen) -> dict[str, Any]:
    """Return a plan as foreseen, every session with its ends, ties, checks and gains."""
    return {
        "job": found.look.loaded.job.job.name,
        "grid": found.look.target["grid_name"],
        "height": found.look.target["height_name"],
        "significance": SIGNIFICANCE,
        "power": POWER,
        "sessions": [_session(found, number, session) for number, session in enumerate(found.sessions)],
        "attention": list(found.attention),
        "notes": list(found.look.notes),
    }


def _session(found: Foreseen, number: int, session: ForeseenSession) -> dict[str, Any]:
    names = found.marks.names
    corners = found.ends[number]
    east, north, _ = found.look.axes.written(corners[:, 0], corners[:, 1], 0.0)
    figures = (east, north, session.distance, session.hu95, session.vu95)
    keys = ("easting", "northing", "from_base", "hu95", "vu95")
    ends = zip(*(values.tolist() for values in figures), strict=True)
    return {
        "session": session.intended.name,
        "tied": dict(zip(("position", "height"), session.tied, strict=True)),
        "ends": [dict(zip(keys, map(_n, end), strict=True)) for end in ends],
        "ties": [{"mark": names[tie.mark], **_tie(tie)} for tie in session.ties],
        "checks": [{"mark": names[check.mark], **_check(check)} for check in session.checks],
        "gains": [{"mark": names[gain.mark], **_gain(gain)} for gain in found.gains if gain.session == number],
    }


def _tie(tie: ForeseenTie) -> dict[str, Any]:
    return {
        "setup": tie.setup,
        "shown": _pair(tie.shown),
        "by_other_ties": _pair(tie.own),
        "by_checks": _pair(tie.by_checks),
    }


def _check(check: Check) -> dict[str, Any]:
    uncertain = {"hu95": _n(check.hu95), "vu95": _n(check.vu95)}
    return uncertain | {"shown": _pair(check.shown), "beyond_tolerance": _pair(check.fails)}


def _gain(gain: Gain) -> dict[str, Any]:
    return {
        "role": str(gain.role),
        "hu95": [_n(value) for value in gain.hu95],
        "vu95": [_n(value) for value in gain.vu95],
        "shown": [_pair(one) for one in gain.shown],
    }


def _pair(one: Blunder) -> dict[str, float | None]:
    return {"horizontal": _n(one.horizontal), "vertical": _n(one.vertical)}


def _n(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
