"""Runs the command in a process of its own, as its users do, and lays down small jobs for it."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from click.testing import Result
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate
from typer.testing import CliRunner
from warm import Warm

from pipeline.cli.main import app

ROOT = Path(__file__).resolve().parents[2]
#: As the job of `warmed`, whose operations forks need not look for: a datum of heights takes a grid, which they lack.
SMALL = Plan(sessions=1, points=4, noise=False, place=ELLIPSOIDAL)


def command(*arguments: "str | Path | bytes") -> list["str | bytes"]:
    """Return the command line."""
    return [sys.executable, "-m", "pipeline.cli.start", *(a if isinstance(a, bytes) else str(a) for a in arguments)]


def tiedown(*arguments: str | Path) -> Result:
    """Run the command in this process, its streams no terminal."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def surroundings(**more: str) -> dict[str, str]:
    """Return an environment in which the command finds itself and nothing says of what encoding the streams are."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "LC_", "LANG"))}
    return {**kept, "PYTHONPATH": str(ROOT), **more}


def process(
    *arguments: "str | Path | bytes", folder: Path | None = None, **more: str
) -> "subprocess.CompletedProcess[bytes]":
    """Run the command and return what it printed, as bytes; ``more`` goes to its environment.

    It is restarted where something is said of its environment, which may be meant for Python itself.
    """
    if not more:
        return Warm(*arguments, folder=folder or ROOT, variables=surroundings()).end()
    return subprocess.run(
        command(*arguments), capture_output=True, check=False, cwd=folder or ROOT, env=surroundings(**more), timeout=120
    )


def failing(plan: Plan = SMALL) -> Simulation:
    """A job whose base was knocked: its last check fails, and all points are suspect."""
    job = simulate(plan)
    job.knock_base(0, 0.5, east=0.3)
    return job


def untied() -> Simulation:
    """A job without a tie."""
    job = simulate(SMALL)
    job.job["session"][0]["ties"] = []
    return job


def spoiled() -> Simulation:
    """A job that names a mark which nobody knows."""
    job = simulate(SMALL)
    job.job["session"][0]["ties"][0]["mark"] = "CM9"
    return job


def floating(session: int = 0, kinds: tuple[str, ...] = ("point",), sessions: int = 1) -> Simulation:
    """A job with float solutions for all rows of some kinds in one session."""
    job = simulate(replace(SMALL, sessions=sessions))
    job.rows["solution"][(job.rows["session"] == session) & np.isin(job.rows["kind"], kinds)] = "float"
    return job
