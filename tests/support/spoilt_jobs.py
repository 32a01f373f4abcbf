"""A small job of every format with one of its files spoilt, run or checked: what came of it."""

import random
import shutil
import traceback
from dataclasses import dataclass
from pathlib import Path

from mutated import ANY, BY_FORM, Mutation, csv_cells, csv_column, csv_shape, encode
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

#: One job per format, small so that a run of it takes little; sessions in a table for the last.
FORMS = ("csv", "geojson", "gpkg")


@dataclass(frozen=True)
class Spoilt:
    """What was done to which file of a job, and what came of it: "issued", "refused" or a traceback."""

    form: str
    file: str
    how: str
    seed: int
    came: str


def originals(folder: Path) -> dict[str, Path]:
    """Write the unspoilt job of every format; return their job files."""
    plan = Plan(sessions=2, points=4, noise=False)
    return {form: simulate(plan).write(folder / form, form, session_file=form == "csv") for form in FORMS}


def spoil(job_file: Path, form: str, seed: int, scratch: Path) -> Spoilt:
    """Copy a job, spoil one of its files by chance, and run it or check it."""
    chance = random.Random(f"{form} {seed}")
    shutil.rmtree(scratch, ignore_errors=True)
    shutil.copytree(job_file.parent, scratch)
    path = next(iter(sorted(scratch.glob("rover*"))))
    mutations: list[Mutation] = BY_FORM[form]
    if chance.random() < 0.15:
        path = chance.choice(sorted(scratch.glob("*.csv")))
        mutations = [*ANY, encode, csv_cells, csv_column, csv_shape]
    mutation = chance.choice(mutations)
    mutation(path, chance)
    try:
        if chance.random() < 0.3:
            check_job(scratch / job_file.name)
        else:
            run_job(scratch / job_file.name)
        came = "issued"
    except JobError as error:
        came = "refused" if all(problem.what for problem in error.problems) else "refused without a word"
    except Exception:
        came = traceback.format_exc()
    return Spoilt(form, path.name, mutation.__name__, seed, came)
