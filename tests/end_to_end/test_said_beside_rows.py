"""What a file says of its readings beside its rows is held against the job file: members, comments, metadata.

A job in geographic coordinates with ellipsoidal heights in metres, read on UTC, in a datum that does not move.
"""

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from moving_datum import MGA55, to_itrf
from network_jobs import Network
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError

NOT_READ = "which a run does not read"


def laid(folder: Path, form: str) -> Path:
    return simulate(Plan(sessions=1, points=12, noise=False)).write(folder, form)


def say(folder: Path, form: str, key: str, value: str | float) -> Path:
    """Lay a job whose export says one thing beside its rows, and return its path."""
    path = laid(folder, form.partition("-")[0])
    (export,) = (
        each for each in folder.iterdir() if each.suffix == f".{form.partition('-')[0]}" and "rover" in each.name
    )
    if form == "geojson":
        document = json.loads(export.read_text(encoding="utf-8"))
        export.write_text(json.dumps({key: value} | document), encoding="utf-8")
    elif form == "geojson-deep":
        document = json.loads(export.read_text(encoding="utf-8"))
        export.write_text(json.dumps(document | {"metadata": {"of": {key: value}}}), encoding="utf-8")
    elif form.startswith("csv"):
        rows = export.read_text(encoding="utf-8")
        plain = key.replace("_", " ")
        line = {"csv": f"# {plain}: {value}\n", "csv-plain": f"# {plain} {value}\n"}.get(form, "")
        foot = f"# {plain}: {value}\n" if form == "csv-foot" else ""
        export.write_text(line + rows + foot, encoding="utf-8")
        path.write_text(path.read_text(encoding="utf-8").replace("columns = {", 'comment = "#"\ncolumns = {'))
    else:
        described(export, form, f"{key}: {value}", f'<m><i key="{key}">{value}</i></m>')
    return path


def described(export: Path, form: str, line: str, xml: str) -> None:
    """Write a text into the description of a GeoPackage's layer, or into metadata as the standard has it."""
    with closing(sqlite3.connect(export)) as package, package:
        if form == "gpkg":
            package.execute("UPDATE gpkg_contents SET description = ?", (f"Site north\n{line}",))
            return
        package.execute("CREATE TABLE gpkg_metadata (id INTEGER PRIMARY KEY, md_scope TEXT, md_standard_uri TEXT,"
                        " mime_type TEXT, metadata TEXT)")  # fmt: skip
        package.execute("CREATE TABLE gpkg_metadata_reference (reference_scope TEXT, table_name TEXT, column_name TEXT,"
                        " row_id_value INTEGER, timestamp TEXT, md_file_id INTEGER, md_parent_id INTEGER)")  # fmt: skip
        package.execute("INSERT INTO gpkg_metadata VALUES (1, 'dataset', 'x', 'text/xml', ?)", (xml,))
        package.execute("INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, '', 1, NULL)")


FORMS = ["geojson", "geojson-deep", "csv", "csv-foot", "gpkg", "gpkg-metadata"]

OTHERWISE = [
    ("antenna_height", 2.0, "heights count as those of the ground"),
    ("Antennenhöhe", "2,000 m", "heights count as those of the ground"),
    ("height_datum", "NZVD2016", "that is of heights above a height datum"),
    ("heights", "orthometric", "that is of heights above a height datum"),
    ("crs_heights", "MSL", "that is of heights above a height datum"),
    ("geoid", "EGM96", "that is of heights above a height datum"),
    ("datum", "WGS 84", "the positions are read in"),
    ("coordinate_system", "EPSG:7843", "the positions are read in"),
]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("key", "value", "told"), OTHERWISE)
def test_what_is_not_as_the_job_says_is_told(
    key: str, value: str | float, told: str, form: str, tmp_path: Path
) -> None:
    outcome = run_job(say(tmp_path, form, key, value), dry_run=True)
    (note,) = [note for note in outcome.record["notes"] if NOT_READ in note]
    assert told in note and outcome.exit_code == 0


def test_a_comment_without_a_colon_is_understood(tmp_path: Path) -> None:
    outcome = run_job(say(tmp_path, "csv-plain", "antenna_height", "2.000"), dry_run=True)
    (note,) = [note for note in outcome.record["notes"] if NOT_READ in note]
    assert note.startswith("rover001.csv:1: ") and '"antenna height: 2.000" is stated above the header' in note


@pytest.mark.parametrize("form", ["geojson", "csv", "csv-foot"])
@pytest.mark.parametrize(("value", "told"), [("UTC+12:00", 1), ("GPS", 1), ("UTC", 0)])
def test_a_clock_is_told_where_times_do_not_say_their_own(value: str, told: int, form: str, tmp_path: Path) -> None:
    path = say(tmp_path, form, "time_zone", value)
    for bare, count in ((False, 0), (True, told)):
        for export in tmp_path.glob("rover*") if bare else ():
            text = export.read_text(encoding="utf-8")
            export.write_text(re.sub(r"(\d\d:\d\d(?:\.\d+)?)Z", r"\1", text), encoding="utf-8")
        notes = run_job(path, dry_run=True).record["notes"]
        assert sum(NOT_READ in note and "are read by time_zone" in note for note in notes) == count


@pytest.mark.parametrize(("epoch", "told"), [(None, 1), (2026.0, 0), (2020.0, 1)])
def test_a_moving_datum_has_its_epoch_told(epoch: float | None, told: int, tmp_path: Path) -> None:
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.session("day", ties=["CM1"], points=[(50, 10), (90, 40)])
    to_itrf(work)
    if epoch is not None:
        work.job["source"]["epoch"] = epoch
    path = work.write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")
    export.write_text("# Epoch: 2026.0\n" + export.read_text(encoding="utf-8"), encoding="utf-8")
    notes = run_job(path, dry_run=True).record["notes"]
    assert sum("another epoch of these readings" in note for note in notes) == told


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("antenna_height", 0.0),
        ("name", "north field"),
        ("units", "metres"),
        ("height_datum", "ellipsoid"),
        ("geoid", "none"),
        ("datum", "NZGD2000"),
        ("crs", "EPSG:2193"),
        ("datum", "local site"),
        ("time_zone", "UTC"),
        ("epoch", 2010.0),  # in a datum that does not move
        ("generator", "export 4.1"),
        ("operator", "N. N."),
        ("temperature", 12.5),
        ("count", 17),
        ("remark", "antenna checked, height booked"),
    ],
)
def test_what_says_the_same_or_nothing_is_left_in_peace(
    key: str, value: str | float, form: str, tmp_path: Path
) -> None:
    if (form, key) == ("geojson", "crs"):
        return  # that member is known to the standard
    outcome = run_job(say(tmp_path, form, key, value), dry_run=True)
    assert not [note for note in outcome.record["notes"] if "is stated" in note] and outcome.exit_code == 0


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("key", ["units", "height_units", "linear_unit"])
def test_another_unit_is_refused_until_the_job_states_one(key: str, form: str, tmp_path: Path) -> None:
    path = say(tmp_path, form, key, "feet")
    with pytest.raises(JobError, match=r'"feet" is stated .* \(.*unit.*\), but .* is read in metre'):
        run_job(path, dry_run=True)
    text = path.read_text(encoding="utf-8").replace("columns = {", 'units = "metre"\ncolumns = {')
    path.write_text(text, encoding="utf-8")
    assert [doubt["kind"] for doubt in run_job(path, dry_run=True).record["doubts"]] == ["units"]
