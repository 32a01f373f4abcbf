"""An export with every epoch of each occupation and their mean too is told, its means held; one kind alone is not."""

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pytest
from running import Row, csv_rows, record_of, replace_in, write_csv
from simulate import ELLIPSOIDAL, Plan, simulate

#: Folders, and what their exports hold.
KINDS = {"both": {"EPOCH", "MEAN"}, "alone": {"EPOCH"}}
TOLD = "are the mean of the other rows of the same name"


def written(folder: Path, kinds: set[str], apart: bool = False) -> Path:
    """Ten epochs of each point and their mean, of which the ``kinds`` are exported, in a column that tells them.

    They have names of their own where they are named ``apart``.
    """
    folder.mkdir(exist_ok=True)
    path = simulate(Plan(sessions=1, points=12, checks=2, place=ELLIPSOIDAL, reach=300.0)).write(folder)
    random, rows = np.random.default_rng(1), list[Row]()
    for row in csv_rows(folder / "rover001.csv"):
        begun = dt.datetime.fromisoformat(row["Observed"].replace("Z", "+00:00"))
        place = np.array([float(row[column]) for column in ("Lat", "Lon", "EllHt")])
        epochs = place + random.normal(0.0, 1.0, (10, 3)) * (5e-8, 7e-8, 0.01)
        for number, (kind, values) in enumerate([*(("EPOCH", each) for each in epochs), ("MEAN", epochs.mean(axis=0))]):
            where = {"Lat": f"{values[0]:.9f}", "Lon": f"{values[1]:.9f}", "EllHt": f"{values[2]:.4f}"}
            time = (begun + dt.timedelta(seconds=min(number, 9))).strftime("%Y-%m-%dT%H:%M:%SZ")
            name = f"{row['Point']}-{'M' if kind == 'MEAN' else number + 1}" if apart else row["Point"]
            rows.append({**row, **where, "Observed": time, "Kind": kind, "Point": name})
    write_csv(folder / "rover001.csv", [row for row in rows if row["Kind"] in kinds])
    return path


def test_means_among_their_epochs_are_told(tmp_path: Path) -> None:
    (note,) = [note for note in record_of(written(tmp_path, {"EPOCH", "MEAN"}))["notes"] if TOLD in note]
    assert note.startswith("rover001.csv:12: 15 rows (first one here) are the mean")


def test_a_mean_adds_no_reading_to_its_epochs(tmp_path: Path) -> None:
    """With the means or without them, the job is the same but for what is held back."""
    both, alone = (record_of(written(tmp_path / name, kinds)) for name, kinds in KINDS.items())
    assert both["rows"]["by_reason"] == {"duplicate": 15}
    for key in ("points", "on_marks"):
        assert both["rows"][key] == alone["rows"][key]
    assert [one["point"] for one in both["checks"]] == [one["point"] for one in alone["checks"]]
    for part, key in (("checks", "hu95"), ("sessions", "sigma_east")):
        assert [one[key] for one in both[part]] == pytest.approx([one[key] for one in alone[part]], rel=1e-6)


def test_a_mean_with_a_name_of_its_own_is_held_unless_a_session_names_it(tmp_path: Path) -> None:
    path = written(tmp_path, {"EPOCH", "MEAN"}, apart=True)
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r'point = "([^"]+)"', r'point = "\1-M"', text), encoding="utf-8")
    record = record_of(path)
    named = len(set(re.findall(r'point = "([^"]+)"', text)))
    assert record["rows"]["by_reason"] == {"duplicate": 15 - named}
    assert [note for note in record["notes"] if TOLD in note]


def test_what_the_note_says_is_done_holds_the_epochs_back(tmp_path: Path) -> None:
    path = written(tmp_path, {"EPOCH", "MEAN"})
    replace_in(path, {'solution = "Sol"': 'solution = "Kind"', "[quality]\n": '[quality]\nsolutions = ["MEAN"]\n'})
    record = record_of(path)
    assert (record["rows"]["points"], record["rows"]["on_marks"]) == (12, 3)
    assert not [note for note in record["notes"] if TOLD in note]


@pytest.mark.parametrize("kinds", [{"EPOCH"}, {"MEAN"}])
def test_one_kind_alone_is_not(kinds: set[str], tmp_path: Path) -> None:
    assert not [note for note in record_of(written(tmp_path, kinds))["notes"] if TOLD in note]
