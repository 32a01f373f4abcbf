"""Registers that have the position or the height of their marks twice, of two datums, states or grids: which is asked.

The steps between the datums are the published ones at the place, from PROJ: GDA94 to GDA2020 is 1.5 m and more, UTM
zones lie hundreds of kilometres apart.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from folders_made import job_of, lay, write
from pyproj import Transformer
from simulate import Simulation

from pipeline.new_job import new_job
from pipeline.new_job.start import Started

_EXPORT = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "Ell Ht",
           "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
#: What two datums, or two adjustments, are apart [m]: east, north and up.
_DATUM, _ADJUSTED = (0.537, 1.437, -0.14), (0.12, -0.09, -0.04)


def _plain(job: Simulation) -> dict[str, np.ndarray]:
    return {word: np.array([float(one) for one in job.register[word]]) for word in ("easting", "northing", "height")}


def _laid(folder: Path, columns: Mapping[str, Sequence[float | str]], job: Simulation, decimals: int = 4) -> Started:
    """Lay a job whose register has these columns behind its marks."""
    lay(folder, job)
    (folder / "control.csv").unlink()
    lines = [",".join(["Mark", *columns])]
    for at, mark in enumerate(job.register["mark"]):
        cells = [one[at] for one in columns.values()]
        shown = [one if isinstance(one, str) else f"{one:.{decimals}f}" for one in cells]
        lines.append(",".join([str(mark), *shown]))
    (folder / "marks.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    write(folder / "rover.csv", job, _EXPORT, time="%Y-%m-%d %H:%M:%S.%f")
    return new_job(folder)


def _asked(started: Started) -> dict[str, list[str]]:
    """Return by the question in plan, and in height, the columns that may be the answer."""
    return {
        one.question.key: [each.value.strip('"') for each in one.question.candidates]
        for one in started.asked
        if one.question.key in ("easting", "height", "longitude") and "which" in one.question.asks
    }


@pytest.mark.parametrize(
    ("first", "second", "step"),
    [
        (("MGA94 E", "MGA94 N"), ("MGA2020 E", "MGA2020 N"), _DATUM),
        (("Easting GDA94", "Northing GDA94"), ("Easting GDA2020", "Northing GDA2020"), _DATUM),
        (("Easting", "Northing"), ("Easting 2020", "Northing 2020"), _DATUM),
        (("Ostwert", "Nordwert"), ("Ostwert neu", "Nordwert neu"), _ADJUSTED),
        (("Ost alt", "Nord alt"), ("Ost neu", "Nord neu"), _ADJUSTED),
        (("E ancien", "N ancien"), ("E nouveau", "N nouveau"), _ADJUSTED),
        (("Este antiguo", "Norte antiguo"), ("Este nuevo", "Norte nuevo"), _ADJUSTED),
        (("East", "North"), ("Co-ord 1", "Co-ord 2"), (38.0, 190.0, 0.0)),
    ],
)
def test_a_second_position_is_asked_for(
    first: tuple[str, str], second: tuple[str, str], step: tuple[float, float, float], tmp_path: Path
) -> None:
    job = job_of()
    mark = _plain(job)
    plan = [mark["easting"], mark["northing"]]
    moved = [side + off for side, off in zip(plan, step, strict=False)]
    columns = dict(zip((*first, *second), (*plan, *moved), strict=True)) | {"Height": mark["height"]}
    started = _laid(tmp_path, columns, job)
    assert _asked(started)["easting"] == [*first, *second]
    assert f"{np.hypot(*step[:2]):.3f} m" in next(
        one.question.asks for one in started.asked if one.question.key == "easting"
    )
    page = (tmp_path / Path(started.path).name).read_text(encoding="utf-8")
    assert f'\neasting = "{first[0]}"' not in page and f'# easting = "{second[0]}"' in page


_HEIGHTS = [("Höhe", "Höhe neu"), ("Höhe alt", "Höhe neu"), ("Altitude", "Altitude 2019"), ("標高", "標高(旧)"),
            ("Hoogte oud", "Hoogte nieuw")]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), _HEIGHTS)
def test_a_second_height_is_asked_for(one: str, other: str, tmp_path: Path) -> None:
    job = job_of()
    mark = _plain(job)
    columns = {
        "Easting": mark["easting"],
        "Northing": mark["northing"],
        one: mark["height"],
        other: mark["height"] - 0.14,
    }
    assert set(_asked(_laid(tmp_path, columns, job))["height"]) == {one, other}


def test_a_position_in_another_grid_is_asked_for_with_both_grids(tmp_path: Path) -> None:
    job = job_of()
    mark = _plain(job)
    turn = Transformer.from_crs("EPSG:2193", "EPSG:32759", always_xy=True)
    east, north = turn.transform(mark["easting"], mark["northing"])
    columns = {
        "E NZTM": mark["easting"],
        "N NZTM": mark["northing"],
        "E UTM": east,
        "N UTM": north,
        "RL": mark["height"],
    }
    started = _laid(tmp_path, columns, job)
    assert _asked(started)["easting"] == [*columns][:4]
    grid = next(one.question for one in started.asked if one.question.key == "target.grid")
    told = {each.value: each.why for each in grid.candidates}
    assert '"E NZTM" and "N NZTM"' in told['"EPSG:2193"'] and '"E UTM" and "N UTM"' in told['"EPSG:32759"']


def test_degrees_of_two_datums_are_asked_for(tmp_path: Path) -> None:
    job = job_of()
    mark = _plain(job)
    turn = Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True)
    east, north = turn.transform(mark["easting"], mark["northing"])
    columns = {"Lon": east, "Lat": north, "Lon 1949": east - 1e-4, "Lat 1949": north + 2e-3, "RL": mark["height"]}
    assert _asked(_laid(tmp_path, columns, job, 9))["longitude"] == ["Lon", "Lat", "Lon 1949", "Lat 1949"]


def _rounded(job: Simulation) -> dict[str, Sequence[float | str]]:
    mark = _plain(job)
    return {"E0": np.round(mark["easting"]), "N0": np.round(mark["northing"])}


def _degrees(job: Simulation) -> dict[str, Sequence[float | str]]:
    mark = _plain(job)
    turn = Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True)
    return {"Lon": [f"{one:.9f}" for one in turn.transform(mark["easting"], mark["northing"])[0]],
            "Lat": [f"{one:.9f}" for one in turn.transform(mark["easting"], mark["northing"])[1]]}  # fmt: skip


def _count(job: Simulation) -> int:
    return len(job.register["mark"])


_BESIDE = {
    "residuals": lambda job: {"dE": [0.003 * (at % 3) for at in range(_count(job))],
                              "dN": [-0.002 * (at % 4) for at in range(_count(job))]},
    "sigmas": lambda job: {"sE": [0.004] * _count(job), "sN": [0.005] * _count(job), "hu95": [0.01] * _count(job)},
    "copies": lambda job: {"E again": _plain(job)["easting"], "N again": _plain(job)["northing"]},
    "rounded": _rounded,
    "degrees": _degrees,
    "order and epoch": lambda job: {"Order": ["2"] * _count(job), "Class": ["B"] * _count(job),
                                    "Epoch": ["2018.0"] * _count(job), "Previous name": ["A1"] * _count(job)},
    "numbers": lambda job: {"Sheet": [1230.0 + at for at in range(_count(job))],
                            "Number": [553_000.0 + 7 * at for at in range(_count(job))]},
    "convergence and scale": lambda job: {"Convergence": [-0.21] * _count(job), "Scale": [0.99963] * _count(job)},
    "an easting alone": lambda job: {"Easting 1": _plain(job)["easting"] + 3.0},
}  # fmt: skip


@pytest.mark.parametrize("what", _BESIDE)
def test_one_position_beside_other_columns_is_taken(what: str, tmp_path: Path) -> None:
    job = job_of()
    mark = _plain(job)
    columns = {"Easting": mark["easting"], "Northing": mark["northing"], "Height": mark["height"], **_BESIDE[what](job)}
    assert "easting" not in _asked(_laid(tmp_path, columns, job))


def test_an_export_with_two_positions_in_grids_is_told(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {**_EXPORT, "easting": "MGA94 E", "northing": "MGA94 N"}
    del heads["latitude"], heads["longitude"]
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S.%f")
    head, *rows = (tmp_path / "rover.csv").read_text(encoding="utf-8").splitlines()
    at = [head.split(",").index(name) for name in ("MGA94 E", "MGA94 N")]
    more = [
        ",".join(f"{float(row.split(',')[place]) + off:.5f}" for place, off in zip(at, _DATUM, strict=False))
        for row in rows
    ]
    lines = [f"{head},MGA2020 E,MGA2020 N", *(f"{row},{one}" for row, one in zip(rows, more, strict=True))]
    plain = new_job(tmp_path)
    assert not any("there are also positions" in note for note in plain.notes)
    Path(plain.path).unlink()
    (tmp_path / "rover.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (note,) = [note for note in new_job(tmp_path).notes if "there are also positions" in note]
    assert '"MGA2020 E" and "MGA2020 N"' in note and '"MGA94 E" and "MGA94 N"' in note


@pytest.mark.parametrize(
    ("heads", "first"), [(("E NZGD2000", "N NZGD2000"), "EPSG:2193"), (("WGS84 E", "WGS84 N"), "EPSG:32759")]
)
def test_grids_on_the_datum_that_headings_name_come_first(heads: tuple[str, str], first: str, tmp_path: Path) -> None:
    job = job_of()
    mark = _plain(job)
    plan = [mark["easting"], mark["northing"]]
    if first == "EPSG:32759":
        plan = list(Transformer.from_crs("EPSG:2193", first, always_xy=True).transform(*plan))
    started = _laid(tmp_path, {**dict(zip(heads, plan, strict=True)), "Height": mark["height"]}, job)
    grids = [one.question for one in started.asked if one.question.key == "target.grid"]
    page = Path(started.path).read_text(encoding="utf-8")
    assert (grids[0].candidates[0].value if grids else f'"{first}"') == f'"{first}"' and first in page
