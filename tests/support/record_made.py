"""A record of an invented issue, as small as one can be or as large as wanted: plain dictionaries, nothing of a run."""

import datetime as dt
from typing import Any

START = dt.datetime(2026, 3, 1, 20, 0, tzinfo=dt.UTC)


def at(minutes: float) -> str:
    """A time so many minutes after the start of the first session, as records have it."""
    moment = START + dt.timedelta(minutes=minutes)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def check(session: str, mark: str, minutes: float, **other: Any) -> dict[str, Any]:
    """An occupation of a mark that passes."""
    axes = ("east", "north", "up")
    row = {
        "session": session, "mark": mark, "point": f"{mark}-{minutes:g}", "role": "check", "place": "opening",
        "observed": at(minutes), "known_easting": 1500.0, "known_northing": 5200.0, "known_height": 20.0,
        "easting": 1500.004, "northing": 5199.997, "height": 20.01, "d_east": 0.004, "d_north": -0.003,
        "d_height": 0.01, "d_horizontal": 0.005, "tolerance_h": 0.03, "tolerance_v": 0.05, "hu95": 0.02, "vu95": 0.03,
        "passed": True, "cause": None,
    }  # fmt: skip
    row |= {f"{name}_{axis}": None for name in ("redundancy", "standardised", "detectable") for axis in axes}
    return row | other


def tie(session: str, mark: str, minutes: float, **other: Any) -> dict[str, Any]:
    """A tie with its statistics."""
    axes = ("east", "north", "up")
    found = {f"standardised_{axis}": 0.5 for axis in axes} | {f"redundancy_{axis}": 0.4 for axis in axes}
    return check(session, mark, minutes, role="tie", **found | {f"detectable_{axis}": 0.05 for axis in axes} | other)


def failing(session: str, mark: str, minutes: float, **other: Any) -> dict[str, Any]:
    """A check that fails by 0.151 m in position."""
    off = {"passed": False, "d_east": -0.181, "d_horizontal": 0.181, "d_north": 0.0, "cause": "a cause"}
    return check(session, mark, minutes, **off | other)


def session(name: str, minutes: float = 0.0, verdict: str = "proven", **other: Any) -> dict[str, Any]:
    """A session of eight hours, bracketed from its first to its last half hour."""
    row: dict[str, Any] = {
        "session": name, "base": f"B-{name}", "start": at(minutes), "end": at(minutes + 480), "points": 10, "ties": 1,
        "checks": 2, "verdict": verdict, "base_log": None, "setup": None, "first_point": at(minutes + 60),
        "last_point": at(minutes + 400),
        "stretches": [
            {"from": at(minutes), "until": at(minutes + 30), "proof": "unclosed"},
            {"from": at(minutes + 30), "until": at(minutes + 450), "proof": "bracketed"},
            {"from": at(minutes + 450), "until": at(minutes + 480), "proof": "unclosed"},
        ],
    }  # fmt: skip
    row |= {f"{name}_{axis}": 0.5 for name in ("shift", "sigma") for axis in ("east", "north", "up")}
    row |= {f"shift_{axis}": 0.5 for axis in "xyz"}
    return row | other


def mark(name: str, easting: float | None, northing: float | None, **other: Any) -> dict[str, Any]:
    """A control mark as adjusted."""
    row = {"mark": name, "easting": easting, "northing": northing, "height": 20.0, "hu95": 0.01, "vu95": 0.02}
    published = dict.fromkeys(("published_easting", "published_northing", "published_height", "drawn"))
    return row | {"holds": "3d", "occupations": 1, "status": "constrained"} | published | other


def diagnosis(session: str, points: list[str], **other: Any) -> dict[str, Any]:
    """A failure with two explanations that nobody tells apart and lines that split the session."""

    def explanation(text: str, close: bool) -> dict[str, Any]:
        return {
            "kind": "base moved", "text": text, "misfit_horizontal": 0.004, "misfit_vertical": 0.007, "score": 1.0,
            "chi_square": 2.0, "chance": False, "close": close, "decide": "CM1 occupied again",
            "largest": {"d_east": 0.1, "d_north": 0.0, "d_height": 0.0},
        }  # fmt: skip

    explanations = [explanation("the base appears to have moved", True), explanation("the base appears to drift", True)]
    row = {"session": session, "points": points, "tried": 900, "fitting": 2, "explanations": explanations}
    return row | {"split": '[[session]]\nname = "one"\n', "field_shift": None} | other


def record(**other: Any) -> dict[str, Any]:
    """The record of a first issue with one session, a tie and two checks that pass."""
    row: dict[str, Any] = {
        "schema": 8, "job": "made-up", "issue": 1, "data_to": at(450), "version": "tiedown 0, PROJ 0",
        "verdict": "proven",
        "rows": {"read": 13, "points": 10, "on_marks": 3, "held_back": 0, "by_reason": {}},
        "sessions": [session("one")],
        "checks": [tie("one", "CM1", 20), check("one", "CM2", 30), check("one", "CM2", 450, place="closing")],
        "adjustment": {
            "variance_factor": 0.9, "degrees_of_freedom": 3, "critical_value": 3.29, "square_sum": 2.7,
            "chi_square": {"low": 0.2, "high": 9.3, "passed": True}, "set_ups": [], "control": [],
        },
        "operations": [
            {
                "step": "field datum to computation",
                "name": "an operation",
                "definition": "proj=noop",
                "accuracy": None,
                "grids": [],
            }
        ],
        "inputs": [{"path": "rover.csv", "sha256": "ab" * 32, "rows": 13}],
        "target": {
            "grid": "EPSG:2193", "grid_name": "a grid", "height": "EPSG:5773", "height_name": "a datum",
            "definition": "COMPOUNDCRS[]", "epoch": None, "site": None,
            "axes": {
                name: {"unit": "metre", "metres": 1.0, "direction": side}
                for name, side in (("easting", "east"), ("northing", "north"), ("height", "up"))
            },
        },
        "caution": "No substitute for a licensed surveyor.", "changes": None, "release": None,
        "files": [{"name": "made-up-001.gpkg", "sha256": "cd" * 32}],
        "notes": [], "doubts": [], "wholly_held_back": [], "diagnoses": [],
        "marks": [mark("CM1", 1000.0, 5000.0)], "untied": [],
        "precision": [],
        "repeats": {"issued": "all", "names": 0, "told_apart": 0, "pairs": 0, "failed": 0, "failing": [], "means": 0,
                    "spread_horizontal": None, "spread_vertical": None},
        "register": [
            {"mark": "CM1", "easting": "1000.000", "northing": "5000.000", "height": "20.000", "holds": "3d",
             "sigma horizontal": "0.004", "sigma vertical": "0.01"}
        ],
        "field_shifts": [], "shift_model": {"model": "geocentric", "farthest": []}, "identity": {},
        "reach": {"sessions": {}, "files": {}},
        "control": {"crs": "EPSG:2193", "crs_name": "a grid", "height": "EPSG:5773", "height_name": "a datum",
                    "epoch": None},
        "particulars": {}, "local_clock": None, "accuracy": {"hu95": 0.021, "vu95": 0.034},
        "suspect": {"total": 0, "points": []}, "codes": None, "linework": None,
    }  # fmt: skip
    return row | other
