"""Precisions under common headings are mapped or told, never silently left, and are never taken for positions."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.draft import Block, Draft

_HEADS = {"name": "Point", "time": "Time UTC", "height": "EllHt", "solution": "Sol", "base": "Base"}
_DEGREES, _PLANE = {"latitude": "Lat", "longitude": "Lon"}, {"easting": "E", "northing": "N"}
_WORDS = ("sigma_east", "sigma_north", "sigma_up")


def made(folder: Path, places: dict[str, str], headings: tuple[str, ...], times: float = 1.0) -> tuple[Draft, Block]:
    """Lay an export with precisions under these headings, ``times`` as large as they are."""
    job = job_of()
    lay(folder, job)
    for word in _WORDS:
        job.rows[word] = np.asarray(job.rows[word]) * times
    write(folder / "rover.csv", job, {**_HEADS, **places, **dict(zip(_WORDS, headings, strict=False))})
    draft = drafted(new_job(folder))
    return draft, draft.blocks[0]


def sigmas(block: Block) -> dict[str, object]:
    return {word: name for word, name in block.columns.items() if word.startswith("sigma")}


@pytest.mark.parametrize("places", [_DEGREES, _PLANE])
@pytest.mark.parametrize(
    "form",
    ["Precision {}", "Accuracy {}", "Error {}", "RMS {}", "Genauigkeit {}", "Précision {} (m)", "Błąd {}", "{} std",
     "Std {}"],
)  # fmt: skip
def test_those_along_each_axis_are_mapped(form: str, places: dict[str, str], tmp_path: Path) -> None:
    headings = tuple(form.format(letter) for letter in "ENH")
    draft, block = made(tmp_path, places, headings)
    assert sigmas(block) == dict(zip(_WORDS, headings, strict=True))
    assert not any("there are also positions" in note for note in draft.notes)
    # what says a standard deviation needs no word
    assert any("one sigma" in note for note in block.notes) is ("td" not in form)


def test_of_other_languages_too(tmp_path: Path) -> None:
    headings = ("Prec. Est", "Prec. Nord", "Prec. Quota")
    _, block = made(tmp_path, _DEGREES, headings)
    assert sigmas(block) == dict(zip(_WORDS, headings, strict=True))
    assert block.columns["height"] == "EllHt" and not block.asks


def test_one_of_the_plan_is_told_and_the_one_of_the_height_mapped(tmp_path: Path) -> None:
    _, block = made(tmp_path, _DEGREES, ("Stř. chyba polohy", "Remark", "Stř. chyba výšky"))
    assert sigmas(block) == {"sigma_up": "Stř. chyba výšky"}
    assert any("Stř. chyba polohy: it looks like a precision" in note for note in block.notes)


@pytest.mark.parametrize(
    ("headings", "times", "says"),
    [
        (("Precision E (95%)", "Precision N (95%)", "Precision H (95%)"), 1.0, "wider than a standard uncertainty"),
        (("Precision E", "Precision N", "Precision U"), 1000.0, "cannot be metres"),
        (("Error E", "Error N", "Error U"), -1.0, "negative numbers"),
        (("Grumbled error E", "Grumbled error N", "Grumbled error U"), 1.0, "looks like a precision"),
        (("dE", "dN", "dH"), 1.0, "may be precisions along axes"),
    ],
)
def test_what_is_not_plain_is_told_and_not_mapped(
    headings: tuple[str, ...], times: float, says: str, tmp_path: Path
) -> None:
    draft, block = made(tmp_path, _DEGREES, headings, times)
    assert sigmas(block) == {}
    assert sum(says in note for note in block.notes) == 3
    assert not any("there are also positions" in note for note in draft.notes)


def test_differences_to_a_design_are_no_precisions(tmp_path: Path) -> None:
    _, block = made(tmp_path, _DEGREES, ("dE", "dN", "dH"), -1.0)
    assert not any("precision" in note for note in block.notes)


def test_beside_usual_ones_others_are_told(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    usual = dict(zip(_WORDS, ("sE", "sN", "sU"), strict=True))
    more = {"hdop": "Precision E"}
    job.rows["hdop"] = np.asarray(job.rows["sigma_east"]) * 2
    write(tmp_path / "rover.csv", job, {**_HEADS, **_DEGREES, **usual, **more})
    block = drafted(new_job(tmp_path)).blocks[0]
    assert sigmas(block) == usual
    assert any(
        'Precision E: it also looks like a precision in the same direction as "sE"' in note for note in block.notes
    )


@pytest.mark.parametrize("cell", ["-", "N/A"])
def test_one_with_cells_that_are_no_numbers_is_told_and_not_mapped(cell: str, tmp_path: Path) -> None:
    """Mapped, it would hold back every row with such a cell."""
    made(tmp_path, _DEGREES, ("Precision E", "Precision N", "Precision U"))
    path = tmp_path / "rover.csv"
    lines = path.read_text().splitlines()
    at = [lines[0].split(",").index(f"Precision {letter}") for letter in "ENU"]
    for row in (3, 5):
        cells = lines[row].split(",")
        lines[row] = ",".join(cell if number in at else text for number, text in enumerate(cells))
    path.write_text("\n".join(lines) + "\n")
    for job in tmp_path.glob("*.toml"):
        job.unlink()
    block = drafted(new_job(tmp_path)).blocks[0]
    assert sigmas(block) == {}
    assert sum(f'some cells hold no number, such as "{cell}"' in note for note in block.notes) == 3


@pytest.mark.parametrize("form", ["Genauigkeit {}", "{} Error", "Accuracy {}", "Nauwkeurigheid {}", "Precisie {}"])
def test_h_beside_v_is_of_the_plan(form: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    plan, up = form.format("H"), form.format("V")
    write(tmp_path / "rover.csv", job, {**_HEADS, **_DEGREES, "sigma_north": plan, "sigma_up": up})
    block = drafted(new_job(tmp_path)).blocks[0]
    assert sigmas(block) in ({"sigma_up": up}, {"sigma_up": up, "sigma_horizontal": plan})
    assert not any("in the same direction" in note for note in block.notes)
    assert "sigma_horizontal" in block.columns or any(plan in note for note in block.notes)


def test_a_row_of_units_above_them_is_no_cell_without_a_number(tmp_path: Path) -> None:
    headings = ("Precision E", "Precision N", "Precision U")
    made(tmp_path, _DEGREES, headings)
    path = tmp_path / "rover.csv"
    header, *rows = path.read_text().splitlines()
    units = ["m" if name in (*headings, "EllHt") else "" for name in header.split(",")]
    path.write_text("\n".join([header, ",".join(units), *rows]) + "\n")
    for job in tmp_path.glob("*.toml"):
        job.unlink()
    block = drafted(new_job(tmp_path)).blocks[0]
    assert sigmas(block) == dict(zip(_WORDS, headings, strict=True))


def test_variances_are_told_and_not_mapped(tmp_path: Path) -> None:
    _, block = made(tmp_path, _DEGREES, ("VarE", "VarN", "VarU"), times=0.01)
    assert sigmas(block) == {}
    assert [note.partition(":")[0] for note in block.notes if "looks like a variance" in note] == [
        "VarE",
        "VarN",
        "VarU",
    ]


@pytest.mark.parametrize(
    "places", [_DEGREES, {"latitude": "Breite", "longitude": "Länge"}, {"easting": "Ost", "northing": "Nord"}]
)
@pytest.mark.parametrize(("unit", "times"), [("", 1.0), ("", 1000.0), (" [mm]", 1000.0), (" (cm)", 100.0)])
def test_mean_errors_are_no_positions(places: dict[str, str], unit: str, times: float, tmp_path: Path) -> None:
    """M and the letter of an axis is the trade's sign for a mean error; mE and mN are metres to a side, too."""
    headings = tuple(f"m{letter}{unit}" for letter in "ENH")
    draft, block = made(tmp_path, places, headings, times)
    assert {word: block.columns[word] for word in places} == places
    assert not any("there are also positions" in note for note in draft.notes)
    assert sigmas(block) == (dict(zip(_WORDS, headings, strict=True)) if unit else {})
    assert unit or times > 1.0 or any("mE" in note and "may be precisions" in note for note in block.notes)


@pytest.mark.parametrize("small", [False, True])
def test_metres_to_the_east_and_north_are_positions(small: bool, tmp_path: Path) -> None:
    """Of a grid, or of a small site's own, beside lengths of objects."""
    job = job_of()
    lay(tmp_path, job)
    heads = {**_HEADS, "easting": "mE", "northing": "mN", "sigma_east": "Länge", "sigma_north": "Breite"}
    write(tmp_path / "rover.csv", job, heads)
    path = tmp_path / "rover.csv"
    if small:
        head, *lines = path.read_text(encoding="utf-8").splitlines()
        at = head.split(",").index("mE")
        rows = [line.split(",") for line in lines]
        least = [min(float(row[at + side]) for row in rows) for side in (0, 1)]
        for row in rows:
            row[at : at + 2] = [f"{(float(row[at + side]) - least[side]) / 20.0:.3f}" for side in (0, 1)]
        path.write_text("\n".join([head, *map(",".join, rows)]), encoding="utf-8")
    columns = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["points"][0]["columns"]
    assert "mE" in columns.values() and "mN" in columns.values()
