"""What a run says, once, of lines of a job file that do nothing or not what they say, and of readings in no list."""

import datetime as dt
from pathlib import Path

import pytest
from network_jobs import START, Network
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job

SOME = [(50.0, 20.0), (90.0, -40.0), (140.0, 60.0)]


def network(shift: float, role: str) -> Network:
    """A session of a network's corrections that are off by metres to the east, with one mark as its tie or check."""
    work = Network()
    work.mark("CM1", 0, 0, hu95=0.004, vu95=0.008)
    work.mark("CM2", 300, 200)
    listed = {"ties": ["CM1"], "checks": ["CM2"]} if role == "tie" else {"checks": ["CM1", "CM2"]}
    work.session("net", points=SOME, shift=(shift, 0, 0), stated="none", **listed)
    return work


@pytest.mark.parametrize(("shift", "role", "told"), [(0.018, "tie", 1), (0.0, "tie", 0), (0.018, "check", 0)])
def test_a_session_without_a_shift_that_its_ties_move(shift: float, role: str, told: int, tmp_path: Path) -> None:
    """The raw positions lie 18 mm to the west of the true ones; ties take up a part of that, checks none."""
    found = run_job(network(shift, role).write(tmp_path), dry_run=True)
    notes = [note for note in found.record["notes"] if 'has shift = "none"; its ties' in note]
    assert len(notes) == told
    (session,) = found.record["sessions"]
    assert session["shift_east"] is not None and (0.005 < session["shift_east"] < 0.018) == bool(told)
    if told:
        assert (
            f'session net has shift = "none"; its ties still move it by {session["shift_east"]:+.3f} east' in notes[0]
        )


@pytest.mark.parametrize(("form", "told"), [("csv", 1), ("geojson", 1), ("gpkg", 0)])
def test_a_layer_of_a_file_without_layers(form: str, told: int, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=4, noise=False)).write(tmp_path, form)
    if 'layer = "' not in path.read_text(encoding="utf-8"):
        replace_in(path, {"[[points]]\n": '[[points]]\nlayer = "points"\n'})
    lines = path.read_text(encoding="utf-8").splitlines()
    line = next(number for number, text in enumerate(lines, start=1) if text.startswith('layer = "'))
    notes = [note for note in run_job(path, dry_run=True).record["notes"] if "`layer` has no effect" in note]
    assert [note.split(": ")[0] for note in notes] == [f"job.toml:{line}"] * told


def test_a_field_tie_in_no_list_is_told_once(tmp_path: Path) -> None:
    """The surveyor states the tie that the field shift is by, and lists it neither as a tie nor as a check."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM4", 80, 30)
    work.session("s1", checks=["CM4"], ties=["CM1"], points=SOME, shift=(0.0, 0.0, 0.0))
    session = work.job["session"][0]
    (field,) = session.pop("checks")
    session["field_shift"] = {"from": START + dt.timedelta(hours=8), "tie": field["point"], "mark": "CM4"}
    work.rows["code"][:] = "P"
    notes = [note for note in run_job(work.write(tmp_path), dry_run=True).record["notes"] if field["point"] in note]
    assert len(notes) == 1 and f'write ties = [{{ point = "{field["point"]}", mark = "CM4" }}]' in notes[0]
    assert notes[0].endswith("until then it counts as an ordinary point")


@pytest.mark.parametrize(("files", "names"), [(1, "rover001.csv"), (3, "rover001.csv, rover002.csv, rover003.csv")])
def test_exports_without_a_solution_column_are_told_in_one_note(files: int, names: str, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=12, noise=False)).write(tmp_path, files=files)
    replace_in(path, {', solution = "Sol"': ""})
    notes = [note for note in run_job(path, dry_run=True).record["notes"] if "no solution column is mapped" in note]
    assert notes == [f"{names}: no solution column is mapped, so every row counts as fixed"]
