"""Times a whole run of a job of many sessions, marks and occupations, stage by stage, by hand.

    python tests/benchmarks/network_job.py [--sessions 3000] [--marks 1000] [--occupations 20000] [--points 10]
        [--draw nearby|sites|anywhere] [--blunders 0] [--set-ups 0.2] [--session-file] [--profile 0]

A third of the marks is control. Each session occupies marks (most as ties, control marks also as checks), some bases
stand over marks; ``--blunders`` sessions have a failing check to be read. Prints seconds of each stage, those within it
indented, and the process's peak memory when it ended. Machines are shared and noisy: compare stages of one run.
"""

import argparse
import cProfile
import datetime as dt
import importlib
import pstats
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path += [str(Path(__file__).parents[1] / "support"), str(Path(__file__).parents[2] / "sample_data")]

from network import anywhere, nearby, sites
from simulate_files import write_job
from simulate_plan import CANTERBURY, Plan, Truth, move, placed, to_geocentric, turn_enu

from pipeline import run_job

#: Stages in `pipeline`, as module and name under which they are called there; the deeper ones within the others.
STAGES = (
    ("run.run_job", "begin", 0), ("run.run_job", "prepare", 0), ("intake.prepare", "load_sessions", 1),
    ("intake.prepare", "read_register", 1), ("run.run_job", "examine", 0), ("examine.examine", "gather", 1),
    ("examine.examine", "report_missing", 1), ("examine.examine", "choose_operations", 1),
    ("reissue.remembered", "derive", 0),
    ("solve.network", "reference", 1), ("solve.network", "tie", 1), ("solve.shift", "adjust", 1),
    ("solve.stood_on_marks", "resolve", 1), ("solve.solve", "compare", 1), ("solve.solve", "evidence", 1),
    ("run.run_job", "diagnose", 0), ("run.run_job", "settle", 0), ("reissue.remembered", "fingerprint", 0),
    ("run.layers", "write_geopackage", 0), ("run.lay_out", "read_back", 0),
    ("run.run_job", "account", 0), ("run.record_notes", "before_notes", 1), ("run.record", "base_facts", 1),
    ("run.record", "recorded", 1), ("run.run_job", "write_report", 0), ("run.run_job", "write_record", 0),
)  # fmt: skip


class Watch:
    """Adds up the seconds of wrapped functions."""

    def __init__(self) -> None:
        self.seconds: dict[tuple[str, str], float] = {}
        self.peak: dict[tuple[str, str], float] = {}

    def wrap(self, module: str, name: str) -> None:
        """Let calls of ``pipeline.<module>.<name>`` be timed."""
        place = importlib.import_module(f"pipeline.{module}")
        inner: Callable[..., Any] = getattr(place, name)
        key = (module, name)

        def timed(*arguments: Any, **named: Any) -> Any:
            start = time.perf_counter()
            try:
                return inner(*arguments, **named)
            finally:
                self.seconds[key] = self.seconds.get(key, 0.0) + time.perf_counter() - start
                self.peak[key] = megabytes()

        setattr(place, name, timed)


def megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def draft(asked: argparse.Namespace, folder: Path) -> Path:
    """Lay down the files of the job."""
    rng = np.random.default_rng(1)
    draw = {"nearby": nearby, "sites": sites, "anywhere": anywhere}[asked.draw]
    session, mark = draw(rng, asked.sessions, asked.marks, asked.occupations)
    plan = Plan(place=CANTERBURY)
    spread = np.column_stack([rng.uniform(-15_000, 15_000, (asked.marks, 2)), np.zeros(asked.marks)])
    names = np.array([f"M{number:04d}" for number in range(asked.marks)])
    marks = placed(plan, names, spread)
    control = np.arange(asked.marks) % 3 == 0
    check = control[mark] & (rng.random(len(mark)) < 0.5)
    rows, truth = _rows(asked, plan, marks, session, mark, check, rng)
    register = {
        "mark": marks.names[control].astype(object), "easting": marks.easting[control],
        "northing": marks.northing[control], "height": marks.height[control],
        "hu95": np.full(control.sum(), 0.010), "vu95": np.full(control.sum(), 0.020),
    }  # fmt: skip
    shifts = turn_enu(plan.place.longitude, plan.place.latitude, rng.normal(0, [1, 1, 4], (asked.sessions, 3)))
    noise = rng.normal(size=(len(truth.names), 3)) * [0.004, 0.004, 0.007]
    failing = (rows["session"] < asked.blunders) & (rows["kind"] == "check")
    noise[failing, 2] += 0.5
    xyz = turn_enu(truth.longitude, truth.latitude, noise) - shifts[rows["session"]]
    raw = move(*truth.places.T, xyz, plan.place.ellipsoid)
    rows["longitude"], rows["latitude"], rows["height"] = raw
    job = _job(asked, rows, mark, marks, shifts, rng)
    order = np.lexsort((rows["time"], rows["session"]))
    exported = {name: values[order] for name, values in rows.items()}
    return write_job(folder, exported, register, job, "csv", asked.files, asked.session_file)


def _rows(
    asked: argparse.Namespace, plan: Plan, marks: Truth, session: Any, mark: Any, check: Any, rng: np.random.Generator
) -> tuple[dict[str, Any], Truth]:
    """Return the rows of occupations and points without positions, and their truth."""
    count = asked.sessions * asked.points
    near = np.repeat(rng.uniform(-15_000, 15_000, (asked.sessions, 2)), asked.points, axis=0)
    offsets = np.column_stack([near + rng.uniform(-1_000, 1_000, (count, 2)), np.zeros(count)])
    points = placed(plan, np.zeros(count), offsets)
    kind = np.concatenate([np.where(check, "check", "tie"), np.full(count, "point")])
    which = np.concatenate([session, np.repeat(np.arange(asked.sessions), asked.points)])
    names = np.char.add(np.char.add("P", np.arange(len(which)).astype(str)), np.where(kind == "point", "", "-M"))
    parts = (("longitude", 0), ("latitude", 1), ("ellipsoid_height", 2))
    at = np.column_stack([np.concatenate([getattr(marks, part)[mark], getattr(points, part)]) for part, _ in parts])
    zero = np.zeros(len(at))
    truth = Truth(names, zero, zero, zero, *at.T)
    begins = np.datetime64("2026-01-01T00:00:00", "ms") + (np.arange(asked.sessions) // 10) * np.timedelta64(1, "D")
    rows = {
        "name": names, "session": which, "kind": kind, "code": np.where(kind == "point", "ROAD", "CM"),
        "time": begins[which] + (rng.random(len(which)) * 8 * 3_600_000).astype("timedelta64[ms]"),
        "base": np.char.add("B", which.astype(str)), "solution": np.full(len(which), "fix"),
        "sigma_east": np.full(len(which), 0.004), "sigma_north": np.full(len(which), 0.004),
        "sigma_up": np.full(len(which), 0.007),
    }  # fmt: skip
    return rows, truth


def _job(
    asked: argparse.Namespace, rows: dict[str, Any], mark: Any, marks: Truth, shifts: Any, rng: np.random.Generator
) -> dict[str, Any]:
    """Return the job file as nested dictionaries."""
    place = CANTERBURY
    said: list[dict[str, list[dict[str, str]]]] = [{"ties": [], "checks": []} for _ in range(asked.sessions)]
    for number, one in enumerate(mark.tolist()):
        role = "checks" if rows["kind"][number] == "check" else "ties"
        said[rows["session"][number]][role].append({"point": str(rows["name"][number]), "mark": str(marks.names[one])})
    sessions = []
    for number, told in enumerate(said):
        start = dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=number // 10)
        session = {"name": f"s{number:05d}", "start": start, "end": start + dt.timedelta(hours=8), "base": f"B{number}"}
        if rng.random() < asked.set_ups and told["ties"] and not asked.session_file:
            session["setup"] = _setup(marks, told["ties"][0]["mark"], shifts[number])
        sessions.append(session | told)
    return {
        "job": {"name": "network", "folder": "out"},
        "target": {"grid": place.grid, "height": place.height_datum, "geoid": str(place.geoid)},
        "source": {"crs": place.source, "time_zone": "UTC"},
        "control": {"file": "register.csv", "crs": place.grid, "height": place.height_datum},
        "session": sessions,
    }


def _setup(marks: Truth, mark: str, shift: Any) -> dict[str, Any]:
    lon, lat, up = marks.geographic(mark)
    where = move(lon, lat, up + 1.5, -shift, CANTERBURY.ellipsoid)
    assert np.isfinite(to_geocentric(*where, CANTERBURY.ellipsoid)).all()
    keys = ("longitude", "latitude", "ellipsoid_height")
    return {"mark": mark, **dict(zip(keys, map(float, where), strict=True)), "antenna_height": 1.5}


def main() -> None:
    """Simulate the job, run it, print the stages."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, default in (("sessions", 3000), ("marks", 1000), ("occupations", 20_000), ("points", 10), ("files", 1)):
        options.add_argument(f"--{name}", type=int, default=default)
    options.add_argument("--draw", choices=["nearby", "sites", "anywhere"], default="nearby")
    options.add_argument("--blunders", type=int, default=0)
    options.add_argument("--set-ups", type=float, default=0.2)
    options.add_argument("--session-file", action="store_true")
    options.add_argument("--profile", type=int, default=0, help="print so many lines of a profile, which slows the run")
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        path = draft(asked, Path(place) / "job")
        print(f"{asked.sessions} sessions, {asked.marks} marks, {asked.occupations} occupations, {asked.draw}")
        print(f"job file of {path.stat().st_size / 1e6:.1f} MB; memory before the run {megabytes():.0f} MB")
        watch, profile = Watch(), cProfile.Profile()
        for module, name, _ in STAGES:
            watch.wrap(module, name)
        start = time.perf_counter()
        if asked.profile:
            profile.enable()
        outcome = run_job(path)
        profile.disable()
        whole = time.perf_counter() - start
        for module, name, depth in STAGES:
            if (module, name) in watch.seconds:
                seconds, peak = watch.seconds[module, name], watch.peak[module, name]
                print(f"{'  ' * depth}{name:<{22 - 2 * depth}} {seconds:8.2f} s {peak:6.0f} MB")
        print(f"{'whole run':<22} {whole:8.2f} s {megabytes():6.0f} MB")
        found = outcome.record["adjustment"]
        print(outcome.record["rows"])
        print(f"variance factor {found['variance_factor']:.3f}, {found['degrees_of_freedom']} degrees of freedom")
        if asked.profile:
            pstats.Stats(profile).sort_stats("cumtime").print_stats(asked.profile)


if __name__ == "__main__":
    main()
