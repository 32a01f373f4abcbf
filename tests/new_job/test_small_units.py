"""Precisions in millimetres: said by a heading in Latin or Cyrillic letters, or by a row of units below it."""

from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.precisions import leave_other_signs, leave_other_units
from pipeline.read.heading_units import metres_in_heading


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
