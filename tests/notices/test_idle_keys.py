"""Keys of the job file that change nothing as the job has the rest are told, with their line; others are not."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from running import replace_in, rewrite_export
from simulate import Plan, simulate
from simulate_plan import CANTERBURY, Place

from pipeline.check import check_job

SMALL = Plan(sessions=1, points=12)
#: A job without a geoid: register and issue have heights above the ellipsoid.
ELLIPSOIDAL = replace(CANTERBURY, height_datum="ellipsoid", geoid=None)
#: The grid of its marks (EPSG:2193), written without a datum.
TMERC = "+proj=tmerc +lat_0=0 +lon_0=173 +k=0.9996 +x_0=1600000 +y_0=10000000 +ellps=GRS80 +units=m"
#: Other codes for those of its points.
AS = {"ROAD-EDGE": "TOP", "ROAD-CL": "FENCE"}


def told(folder: Path, **tables: dict[str, Any]) -> list[str]:
    """Return what is said of keys without an effect in a job with so much more in its file."""
    job = simulate(SMALL)
    for name, keys in tables.items():
        job.job[name] = job.job.get(name, {}) | keys
    words = ("has no effect", "reports no reading", "is taken for no reading", "adds nothing", "changes nothing")
    return [one for one in check_job(job.write(folder)).warnings if any(word in one for word in words)]


@pytest.mark.parametrize(
    ("tables", "word"),
    [
        ({"control": {"angles": "dms"}}, "`angles` has no effect: the register has eastings and northings"),
        ({"drawing": {"scale": 200.0}}, '[drawing] has no effect: there is no "dxf" in issue.formats'),
        ({"quality": {"doubtful_distance": 90_000.0}}, "doubtful_distance = 90000 reports no reading"),
        ({"quality": {"doubtful_distance": 400.0, "max_distance": 300.0}}, "those beyond max_distance = 300 are held"),
        ({"quality": {"doubtful_height_difference": 5_000.0}}, "those beyond max_height_difference = 3000 are held"),
        (
            {"quality": {"sigma_horizontal": 0.011}},
            "`sigma_horizontal` is taken for no reading: all 15 accepted readings",
        ),
        ({"quality": {"sigma_vertical": 0.02}}, "`sigma_vertical` is taken for no reading"),
        ({"quality": {"ppm": 2.0}}, "`ppm` adds nothing: no base position is known"),
        ({"target": {"base": "EPSG:4167"}}, "`base` changes nothing: the grid is on that datum by its own definition"),
    ],
)
def test_a_key_without_effect_is_told_once(tables: dict[str, Any], word: str, tmp_path: Path) -> None:
    (said,) = told(tmp_path, **tables)
    assert word in said and "job.toml:" in said


@pytest.mark.parametrize(
    "tables",
    [
        {},
        {"control": {"angles": "decimal"}},
        {"drawing": {"scale": 200.0}, "issue": {"formats": ["dxf"]}},
        {"quality": {"doubtful_distance": 2_000.0}},
        {"quality": {"max_distance": 300.0}},  # the limit of what is reported is not the job's
        {"quality": {"sigma_horizontal": 0.008, "sigma_vertical": 0.015, "ppm": 1.0}},  # what holds anyway
        {"quality": {"ppm": 0.0}},
        {"target": {"grid": TMERC, "base": "EPSG:4167"}, "control": {"crs": "EPSG:2193"}},
    ],
)
def test_keys_with_an_effect_are_not(tables: dict[str, Any], tmp_path: Path) -> None:
    assert told(tmp_path, **tables) == []


@pytest.mark.parametrize(
    ("codes", "told"),
    [
        (("TOPP",), "'TOPP' (readings have 'TOP')"),
        (("top", "TOO"), "'top' (readings have 'TOP')"),  # three letters are as many codes
        (("FENC", "FNECE", "fence"), "'FENC' (readings have 'FENCE'), 'FNECE' (readings have 'FENCE'), 'fence'"),
    ],
)
def test_a_code_of_the_drawing_that_is_mistyped_is_told(codes: tuple[str, ...], told: str, tmp_path: Path) -> None:
    (said,) = of_drawing(tmp_path, codes)
    assert (
        f"of [drawing] {'has' if len(codes) == 1 or codes[1] == 'TOO' else 'have'} no effect" in said and told in said
    )


@pytest.mark.parametrize(
    "codes",
    [
        ("TOP", "FENCE", "CM", "CHK"),  # all are there
        ("TOE", "FLOOR", "FENCES1", "WALL", "HALL", "TREE", "POST", "MH1", "MH2", "KERB", "SIGN"),  # an office's list
        ("FENCE2", "BANK TOP", "FE"),
    ],
)
def test_codes_of_the_drawing_for_other_jobs_are_not(codes: tuple[str, ...], tmp_path: Path) -> None:
    assert of_drawing(tmp_path, codes) == []


def test_a_code_of_the_drawing_that_the_table_of_codes_has_is_not(tmp_path: Path) -> None:
    (tmp_path / "codes.csv").write_text("code\nFENC\nTOP\nFENCE\nCM\nCHK\n")
    assert of_drawing(tmp_path, ("FENC",), codes={"file": "codes.csv"}) == []


def of_drawing(folder: Path, drawn: tuple[str, ...], **tables: dict[str, Any]) -> list[str]:
    """Return what is told of codes of the drawing that no reading has, where readings have TOP, FENCE and some more."""
    job = simulate(SMALL)
    job.job |= {"drawing": {"codes": [{"code": code, "colour": 3} for code in drawn]}, "issue": {"formats": ["dxf"]}}
    job.job |= tables
    path = job.write(folder)
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Code": AS.get(row["Code"], row["Code"])})
    return [one for one in check_job(path).warnings if "[drawing]" in one]


#: Lines of an office whose exports have codes and solutions, in a job that maps neither; and what is told of each.
UNMAPPED = {
    '[quality]\nsolutions = ["fix"]': "`solutions` holds nothing back: no export has a column mapped as `solution`",
    '[codes]\nfile = "codes.csv"': "[codes] has no effect: no export has a column mapped as `code`",
    "[issue]\nby_code = true": "`by_code` has no effect",
    '[issue]\nformats = ["dxf"]\n[drawing]\ncodes = [{ code = "A", colour = 3 }]': "`codes` of [drawing] has no effect",
    '[codes]\nfile = "codes.csv"\n[issue]\nby_code = true': "[codes] and `by_code` have no effect",
    '[checks]\ncodes = ["CHK"]\n[issue]\nby_code = true': "`by_code` has no effect",  # the session lists its checks
}


@pytest.mark.parametrize("lines", UNMAPPED)
@pytest.mark.parametrize("mapped", [False, True])
def test_keys_about_columns_that_no_export_maps_are_told(lines: str, mapped: bool, tmp_path: Path) -> None:
    job = simulate(SMALL)
    del job.job["quality"]
    path = job.write(tmp_path)
    (tmp_path / "codes.csv").write_text("code\nROAD-EDGE\nROAD-CL\nCM\nCHK\n", encoding="utf-8")
    text = f"{path.read_text(encoding='utf-8')}\n{lines}\n"
    for column in () if mapped else (', solution = "Sol"', ', code = "Code"'):
        assert column in text
        text = text.replace(column, "")
    path.write_text(text, encoding="utf-8")
    said = [one for one in check_job(path).warnings if "effect" in one or "holds nothing back" in one]
    assert said == [] if mapped else len(said) == 1 and UNMAPPED[lines] in said[0] and "job.toml:" in said[0]


def test_keys_of_files_of_another_kind_are_told(tmp_path: Path) -> None:
    """As where exports or registers came in another form in the last job that the file was made from."""
    path = simulate(SMALL).write(tmp_path, "gpkg")
    replace_in(
        path,
        {"[control]": '[control]\nlayer = "marks"', "[[points]]": '[[points]]\ndelimiter = ";"\nencoding = "cp1252"'},
    )
    said = [one for one in check_job(path).warnings if "has no effect" in one]
    assert len(said) == 3 and "`layer` has no effect: register.csv is no GeoPackage or spreadsheet" in said[2]
    assert "`delimiter` has no effect" in said[0] and "`encoding` has no effect" in said[1]


def test_keys_of_texts_for_all_blocks_are_not(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path, "gpkg")
    replace_in(path, {"[source]": '[source]\ndelimiter = ";"'})
    assert not [one for one in check_job(path).warnings if "has no effect" in one]


def test_no_solution_is_asked_for_where_no_export_has_any(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.job["quality"] |= {"solutions": []}
    path = job.write(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(', solution = "Sol"') == 1
    path.write_text(text.replace(', solution = "Sol"', ""), encoding="utf-8")
    check_job(path)


@pytest.mark.parametrize(
    ("place", "sigma", "idle"), [(ELLIPSOIDAL, 0.02, True), (CANTERBURY, 0.02, False), (ELLIPSOIDAL, 0.0, False)]
)
def test_the_uncertainty_of_a_geoid_that_no_height_goes_through_is_told(
    place: Place, sigma: float, idle: bool, tmp_path: Path
) -> None:
    """It is added to every height all the same, so that points look less certain than they are."""
    job = simulate(replace(SMALL, place=place))
    job.job["target"]["geoid_sigma"] = sigma
    said = [one for one in check_job(job.write(tmp_path)).warnings if "geoid_sigma" in one]
    assert bool(said) is idle


def test_columns_that_were_not_measured_and_no_export_has_are_told(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    replace_in(path, {'files = ["rover*.csv"]': 'files = ["rover*.csv"]\nnot_measured = ["Nope", "geometry"]'})
    (said,) = [one for one in check_job(path).warnings if "has no effect" in one]
    assert "`not_measured` has no effect" in said


def of_values(folder: Path, change: Any = None, **session: Any) -> list[str]:
    """Return what is said of values that a job takes or takes not, its exports changed row by row."""
    job = simulate(SMALL)
    job.job["quality"] |= {"sigma_horizontal": 0.011, "sigma_vertical": 0.02, "ppm": 2.0}
    job.job["session"][0].update(session)
    path = job.write(folder)
    if change is not None:
        rewrite_export(folder / "rover001.csv", change)
    words = ("is taken for no reading", "adds nothing", "tells no reading from another", "mapped as `mark` is empty")
    return [one for one in check_job(path).warnings if any(word in one for word in words)]


def test_uncertainties_are_taken_where_one_reading_has_none(tmp_path: Path) -> None:
    lacking = iter(range(1000))
    (said,) = of_values(tmp_path, lambda row: row | ({"sE": "", "sU": ""} if next(lacking) == 5 else {}))
    assert "`ppm` adds nothing" in said


def test_a_base_over_a_mark_has_a_position(tmp_path: Path) -> None:
    at = simulate(SMALL).broadcast
    place = {"longitude": at.longitude[0], "latitude": at.latitude[0], "ellipsoid_height": at.height[0]}
    setup = {"mark": "TM1", "antenna_height": 1.5} | {key: float(value) for key, value in place.items()}
    assert all("ppm" not in one for one in of_values(tmp_path, setup=setup))


def test_base_ids_of_sessions_that_no_reading_has(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path / "none")
    replace_in(path, {', base = "Base"': ""})
    said = check_job(path).warnings
    assert any(
        "job.toml:" in one and "`base` of session session-01 tells no reading from another" in one for one in said
    )
    empty = of_values(tmp_path / "empty", lambda row: row | {"Base": ""}, base="BASE-01")
    assert all("tells no reading" not in one for one in empty), "the empty column is told elsewhere"
    assert all("tells no reading" not in one for one in of_values(tmp_path / "given", base="BASE-01"))


@pytest.mark.parametrize(("marks", "told"), [(lambda row: "", 1), (lambda row: row["Point"][:3], 0)])
def test_a_column_of_marks_that_is_empty(marks: Any, told: int, tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    replace_in(path, {'solution = "Sol"': 'solution = "Sol", mark = "On"'})
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"On": marks(row)})
    said = [one for one in check_job(path).warnings if "mapped as `mark` is empty in all 15 accepted readings" in one]
    assert len(said) == told
