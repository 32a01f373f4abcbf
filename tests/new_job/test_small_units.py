"""Precisions in millimetres: said by a heading in Latin or Cyrillic letters, or by a row of units below it."""

from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import HEIGHT, drafted, job_of, lay, write
from issued import current_issue

from pipeline.new_job import new_job
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.precisions import leave_other_signs, leave_other_units
from pipeline.read.heading_units import metres_in_heading
from pipeline.run.run_job import run_job


@pytest.mark.parametrize(
    ("heading", "metres"),
    [("СКО плана, мм", 0.001), ("СКО (см)", 0.01), ("Высота, м", 1.0), ("Длина [км]", 1000.0), ("sV [mm]", 0.001)],
)
def test_units_in_cyrillic_letters_are_units(heading: str, metres: float) -> None:
    """Signs of units as standards for Russian and Ukrainian have them."""
    assert metres_in_heading(heading) == (metres,)


@pytest.mark.parametrize("unit", ["mm", "[mm]", "cm", "m"])
def test_precisions_are_mapped_whose_row_of_units_says_their_unit(unit: str, tmp_path: Path) -> None:
    """The same job as one whose precisions are in metres without a row of units."""
    job = job_of()
    lay(tmp_path, job)
    metre = {"m": 1.0, "cm": 0.01}.get(unit, 0.001)
    heads = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "EllHt",
             "sigma_east": "sE", "sigma_north": "sN", "sigma_up": "sU", "solution": "Sol", "base": "Base"}  # fmt: skip
    sigmas = ("sigma_east", "sigma_north", "sigma_up")
    for word in sigmas:
        job.rows[word] = job.rows[word] / metre
    write(tmp_path / "rover.csv", job, heads)
    header, *rows = (tmp_path / "rover.csv").read_text(encoding="utf-8").splitlines()
    said = {"latitude": "deg", "longitude": "deg", "height": "m", **dict.fromkeys(sigmas, unit)}
    units = ",".join(said.get(word, "") for word in heads)
    (tmp_path / "rover.csv").write_text("\n".join([header, units, *rows]) + "\n", encoding="utf-8")
    draft = drafted(new_job(tmp_path))
    assert {word: draft.blocks[0].columns.get(word) for word in sigmas} == {word: heads[word] for word in sigmas}


@pytest.mark.parametrize(("unit", "mapped"), [("mm", False), ("cm", False), ("m", True), ("", True)])
def test_precisions_are_not_mapped_whose_row_of_units_says_another_than_the_heading(unit: str, mapped: bool) -> None:
    columns = {"sV [m]": [unit, "0.018", "0.020"], "sH [mm]": ["mm", "7", "8"]}
    found = Mapped(columns={"sigma_up": "sV [m]", "sigma_horizontal": "sH [mm]"})
    leave_other_units(columns, found)
    assert ("sigma_up" in found.columns) is mapped and "sigma_horizontal" in found.columns
    assert [name for name, _ in found.left] == ([] if mapped else ["sV [m]"])


@pytest.mark.parametrize(
    ("height", "precision", "mapped"),
    [("161.113", "10,7", False), ("161,113", "0.018", False), ("161.113", "0.018", True), ("161,113", "0,02", True),
     ("161", "0,02", True), ("161.113", "18", True)],
)  # fmt: skip
def test_precisions_are_not_mapped_whose_decimal_sign_is_another(height: str, precision: str, mapped: bool) -> None:
    """One file is read with one sign: with another one in a mapped column no row could be read."""
    columns = {"H": [height, height], "sV": [precision, precision]}
    found = Mapped(columns={"height": "H", "sigma_up": "sV"})
    leave_other_signs(columns, found)
    assert ("sigma_up" in found.columns) is mapped and bool(found.left) is not mapped


@pytest.mark.parametrize(("unit", "sign"), [("mm", "."), (" mm", "."), (" cm", "."), (" mm", ","), ("", ".")])
def test_precisions_with_their_unit_behind_every_number_are_those_in_metres(
    unit: str, sign: str, tmp_path: Path
) -> None:
    """The uncertainty of every point is that of the same job with precisions in metres."""
    issued = []
    for folder, written in ((tmp_path / "plain", ""), (tmp_path / "behind", unit)):
        folder.mkdir()
        job = job_of()
        lay(folder, job)
        metre = {"mm": 0.001, "cm": 0.01}.get(written.strip(), 1.0)
        told = {
            word: [f"{value / metre:.4f}{written}".replace(".", sign) for value in job.rows[word].round(4).tolist()]
            for word in _SIGMAS
        }
        heads = {**_HEADS, **dict(zip(_SIGMAS, ("Sigma E", "Sigma N", "Sigma H"), strict=True))}
        write(folder / "rover.csv", job, heads, told=told, comma=sign == ",", sign=";")
        started = new_job(folder)
        assert {word: drafted(started).blocks[0].columns.get(word) for word in _SIGMAS} == {
            word: heads[word] for word in _SIGMAS
        }
        answer(Path(started.path), HEIGHT)
        run_job(started.path)
        issued.append([(row["hu95"], row["vu95"]) for row in current_issue(folder / "out").points.rows])
    assert len(issued[0]) == 24 and np.abs(np.array(issued[0]) - np.array(issued[1])).max() < 1e-5


_SIGMAS = ("sigma_east", "sigma_north", "sigma_up")
_HEADS = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "EllHt"}
