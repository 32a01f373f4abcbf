"""Registers whose headings or columns name a datum: doubted where the job file says another, told of further columns.

Of the simulated place: NZGD2000 / New Zealand Transverse Mercator, EGM96 heights. NZGD49 lies some 200 m away.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job

Change = Callable[[dict[str, list[str]]], dict[str, list[str]]]


def ran(folder: Path, heads: dict[str, str], more: dict[str, str | tuple[str, float]]) -> tuple[list[str], list[str]]:
    """Return the doubts and the notes of a day whose register is headed so, and has these columns behind.

    Each of ``more`` is one text in all rows, or a column that is there and what is added to it.
    """
    path = simulate(Plan(sessions=1, points=12, noise=False)).write(folder)
    register = folder / "register.csv"
    with register.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        added = {
            name: one if isinstance(one, str) else f"{float(row[one[0]]) + one[1]:.4f}" for name, one in more.items()
        }
        row.update(added)
    names = list(rows[0])
    with register.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([heads.get(name, name) for name in names])
        writer.writerows([row[name] for name in names] for row in rows)
    if heads:
        mapped = ", ".join(f'{word} = "{name}"' for word, name in heads.items())
        text = path.read_text(encoding="utf-8")
        assert "[control]\n" in text
        path.write_text(text.replace("[control]\n", f"[control]\ncolumns = {{ {mapped} }}\n"), encoding="utf-8")
    record = run_job(path, dry_run=True).record
    return [one["what"] for one in record["doubts"]], list(record["notes"])


@pytest.mark.parametrize(
    ("heads", "more", "named"),
    [
        ({"easting": "E NZGD49", "northing": "N NZGD49"}, {}, "NZGD49"),
        ({"easting": "Easting (NZGD 1949)", "northing": "Northing (NZGD 1949)"}, {}, "NZGD49"),
        ({}, {"Datum": "NZGD49"}, "NZGD49"),
        ({}, {"Coordinate system": "NZGD49 / New Zealand Map Grid"}, "NZGD49"),
        ({}, {"Bezugssystem": "NZGD49"}, "NZGD49"),
        ({"height": "H NZVD2016"}, {}, "NZVD2016"),
        ({}, {"Height datum": "NZVD2016"}, "NZVD2016"),
    ],
)
def test_another_datum_is_doubted(
    heads: dict[str, str], more: dict[str, str | tuple[str, float]], named: str, tmp_path: Path
) -> None:
    doubts, _ = ran(tmp_path, heads, more)
    (doubt,) = [one for one in doubts if "register.csv" in one]
    assert f"says {named}, but control." in doubt


@pytest.mark.parametrize(
    ("heads", "more"),
    [
        ({"easting": "E NZGD2000", "northing": "N NZGD2000", "height": "H EGM96"}, {}),
        ({"easting": "NZTM2000 E", "northing": "NZTM2000 N"}, {}),
        ({}, {"Datum": "NZGD2000", "Height datum": "EGM96", "Zone": "59"}),
        ({}, {"Datum": "2019-03-02", "Order": "NZGD49", "System": "total station 2000"}),
        ({}, {"Source": "converted from NZGD49", "Stand": "2020"}),
        ({"easting": "East 12", "northing": "North 12"}, {"Reference": "DP 49"}),
        ({}, {"dE": "0.003", "dN": "-0.002", "Previous name": "A 1949", "Class": "B2"}),
        ({}, {"easting again": ("easting", 0.0), "northing again": ("northing", 0.0), "height 2": ("height", 0.0)}),
    ],
)
def test_the_same_datum_or_none_is_let_be(
    heads: dict[str, str], more: dict[str, str | tuple[str, float]], tmp_path: Path
) -> None:
    doubts, notes = ran(tmp_path, heads, more)
    assert not [one for one in (*doubts, *notes) if "but control." in one or "the marks have" in one]


def test_a_loose_name_is_noted_alone(tmp_path: Path) -> None:
    doubts, notes = ran(tmp_path, {}, {"Datum": "ITRF96"})
    assert not [one for one in doubts if "ITRF96" in one]
    assert len([one for one in notes if "says ITRF96" in one]) <= 1


def test_further_positions_and_heights_are_told_once(tmp_path: Path) -> None:
    moved: dict[str, str | tuple[str, float]] = {
        "E new": ("easting", 0.12), "N new": ("northing", -0.09), "height new": ("height", 0.04),
    }  # fmt: skip
    doubts, notes = ran(tmp_path, {}, moved)
    assert not [one for one in doubts if "register.csv" in one]
    (plan, up) = [one for one in notes if "the marks have" in one]
    assert '"e new" and "n new"' in plan and "0.150 m" in plan
    assert '"height new"' in up


def test_nothing_is_told_where_headings_name_the_datum_of_the_job(tmp_path: Path) -> None:
    heads = {"easting": "E NZGD2000", "northing": "N NZGD2000"}
    _, notes = ran(tmp_path, heads, {"E NZGD49": ("easting", 38.0), "N NZGD49": ("northing", 190.0)})
    assert not [one for one in notes if "the marks have" in one]


@pytest.mark.parametrize(
    ("mapped", "left"),
    [
        (("Easting 2020", "Northing"), ("Easting", "Northing 2020")),
        (("Easting", "Northing 2020"), ("Easting 2020", "Northing")),
        (("E Datum1", "N Datum2"), ("E Datum2", "N Datum1")),
        (("Ostwert neu", "Nordwert alt"), ("Ostwert alt", "Nordwert neu")),
    ],
)
def test_columns_of_two_positions_are_doubted(mapped: tuple[str, str], left: tuple[str, str], tmp_path: Path) -> None:
    heads = dict(zip(("easting", "northing"), mapped, strict=True))
    more = {left[0]: ("easting", 0.537), left[1]: ("northing", -1.437)}
    doubts, notes = ran(tmp_path, heads, dict(more))
    assert any(f'"{mapped[0]}" and "{mapped[1]}", which are of two different positions' in one for one in doubts)
    assert not any("have positions in" in one for one in notes)


@pytest.mark.parametrize("mapped", [("Easting 2020", "Northing 2020"), ("Easting", "Northing"), ("Coord 1", "Coord 2")])
def test_columns_of_one_position_are_not(mapped: tuple[str, str], tmp_path: Path) -> None:
    heads = dict(zip(("easting", "northing"), mapped, strict=True))
    more = {"E old": ("easting", 0.537), "N old": ("northing", -1.437)}
    doubts, _ = ran(tmp_path, heads, dict(more))
    assert not any("two different positions" in one for one in doubts)
