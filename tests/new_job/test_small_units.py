"""Precisions in millimetres: said by a heading in Latin or Cyrillic letters, or by a row of units below it."""

import pytest

from pipeline.new_job.mapped import Mapped
from pipeline.new_job.precisions import leave_other_signs, leave_small_units
from pipeline.read.heading_units import metres_in_heading


@pytest.mark.parametrize(
    ("heading", "metres"),
    [("СКО плана, мм", 0.001), ("СКО (см)", 0.01), ("Высота, м", 1.0), ("Длина [км]", 1000.0), ("sV [mm]", 0.001)],
)
def test_units_in_cyrillic_letters_are_units(heading: str, metres: float) -> None:
    """Signs of units as standards for Russian and Ukrainian have them."""
    assert metres_in_heading(heading) == (metres,)


@pytest.mark.parametrize(("unit", "mapped"), [("mm", False), ("[mm]", False), ("cm", False), ("m", True), ("", True)])
def test_precisions_are_not_mapped_whose_row_of_units_says_a_small_unit(unit: str, mapped: bool) -> None:
    """A run takes millimetres from a heading alone: with them mapped it could read no row."""
    columns = {"sV": [unit, "0.018", "0.020"], "sH [mm]": [unit, "7", "8"]}
    found = Mapped(columns={"sigma_up": "sV", "sigma_horizontal": "sH [mm]"})
    leave_small_units(columns, found)
    assert ("sigma_up" in found.columns) is mapped and "sigma_horizontal" in found.columns
    assert [name for name, _ in found.left] == ([] if mapped else ["sV"])


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
