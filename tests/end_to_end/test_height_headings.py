"""Headings that say another kind of height than the job file takes their numbers for. Numbers are right throughout."""

from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.read.height_headings import HeightKind, height_kind_in_heading

PLAN = Plan(sessions=1, points=8, checks=2, marks=3)


def run(
    folder: Path, heading: str, beside: str = "", crs: str = "EPSG:4959", register: str = ""
) -> list[dict[str, str]]:
    """Run a job whose heights have a heading, with another column beside them; return doubts, and notes as such."""
    job = simulate(PLAN)
    path = job.write(folder)
    (export,) = folder.glob("rover*.csv")
    lines = export.read_text(encoding="utf-8").splitlines()
    assert lines[0].split(",").count("EllHt") == 1
    lines[0] = lines[0].replace("EllHt", heading)
    if beside:
        lines = [f"{line},{beside if not number else '1.0'}" for number, line in enumerate(lines)]
    export.write_text("\n".join(lines) + "\n", encoding="utf-8")
    replace_in(path, {'height = "EllHt"': f'height = "{heading}"'})
    replace_in(path, {'crs = "EPSG:4959"': f'crs = "{crs}"'})
    if register:
        table = folder / "register.csv"
        table.write_text(table.read_text(encoding="utf-8").replace("height", register, 1), encoding="utf-8")
        replace_in(path, {"[control]": f'[control]\ncolumns = {{ height = "{register}" }}'})
    record = run_job(path, dry_run=True).record
    notes = [
        {"kind": "note", "what": note} for note in record["notes"] if "heading" in note and "stay unproven" not in note
    ]
    return [*record["doubts"], *notes]


@pytest.mark.parametrize(
    ("heading", "beside", "found"),
    [
        ("EllHt", "OrthoHt", []),
        ("Height", "", []),
        ("Ellipsoidal height", "MSL", []),
        ("OrthoHt", "", ["export-heights"]),
        ("H(orth)", "EllHt", ["export-heights"]),
        ("MSL", "", ["export-heights"]),
        ("Geoid sep", "", ["export-heights"]),
        ("Elevation", "", ["note"]),
        ("Elevation", "EllHt", ["export-heights"]),
        ("Elevation (ellipsoidal)", "", []),
        ("Altitude", "", []),
        ("Elevation", "Error ellipse a", ["note"]),
        ("RL", "ellipsoid_name", ["note"]),
        ("Elev", "Ell sep", ["note"]),
        ("Elevation", "Base EllHt", ["note"]),
        ("Elevation", "h_ell", ["export-heights"]),
        ("DVR90 height", "", ["export-heights"]),
        ("Höhe (m ü. M.)", "", ["export-heights"]),
        ("EGM96", "", ["export-heights"]),
        ("Altezza ellissoidica", "Altezza ortometrica", []),
    ],
)
def test_an_export_of_ellipsoidal_heights(heading: str, beside: str, found: list[str], tmp_path: Path) -> None:
    told = run(tmp_path, heading, beside)
    assert [one["kind"] for one in told] == found, told
    assert not told or (heading in told[0]["what"] and "rover" in told[0]["what"])
    assert not beside or found != ["export-heights"] or f'"{beside}" beside it' in told[0]["what"]


@pytest.mark.parametrize(
    ("register", "found"),
    [
        ("Orthometric", []),
        ("Level", []),
        ("Height above geoid", []),
        ("EllHt", ["register-heights"]),
        ("N undulation", ["register-heights"]),
    ],
)
def test_a_register_of_heights_above_a_datum(register: str, found: list[str], tmp_path: Path) -> None:
    told = run(tmp_path, "EllHt", register=register)
    assert [one["kind"] for one in told] == found, told


@pytest.mark.parametrize(
    ("heading", "found"),
    [
        ("EllHt", ["export-heights"]),
        ("OrthoHt", []),
        ("Elevation", []),
        ("Altitude (geoid)", []),
        ("GNSS height (no geoid)", []),
        ("Geoid height", ["export-heights"]),
        ("Hauteur du géoïde", ["export-heights"]),
        ("Hauteur au-dessus du géoïde", []),
        ("GPS height", []),
        ("Normal height", []),
    ],
)
def test_an_export_with_a_height_datum(heading: str, found: list[str], tmp_path: Path) -> None:
    told = run(tmp_path, heading, crs="EPSG:4167+5773")
    assert [one["kind"] for one in told if "heading" in one["what"]] == found, told


@pytest.mark.parametrize(
    ("heading", "kind"),
    [
        ("ELLHT", HeightKind.ELLIPSOIDAL),
        ("ell. h [m]", HeightKind.ELLIPSOIDAL),
        ("Altura elipsoidal", HeightKind.ELLIPSOIDAL),
        ("ellipsoidische Höhe", HeightKind.ELLIPSOIDAL),
        ("orthometric_height", HeightKind.LEVEL),
        ("Höhe ü. NHN", HeightKind.LEVEL),
        ("NAVD88 ft", HeightKind.LEVEL),
        ("MSLHeight", HeightKind.LEVEL),
        ("EGM96 geoid height", HeightKind.SEPARATION),
        ("Geoid separation (m)", HeightKind.SEPARATION),
        ("N (m)", HeightKind.SEPARATION),
        ("Separation geoid ellipsoid", HeightKind.SEPARATION),
        ("Height above geoid", HeightKind.LEVEL),
        ("HeightAboveGeoid", HeightKind.LEVEL),
        ("Elevation (geoid)", HeightKind.LEVEL),
        ("Geoid corrected height", HeightKind.LEVEL),
        ("H over quasigeoid", HeightKind.LEVEL),
        ("above_geoid", HeightKind.LEVEL),
        ("Geoid-based elevation", HeightKind.LEVEL),
        ("Höhe über dem Geoid", HeightKind.LEVEL),
        ("H ort", HeightKind.LEVEL),
        ("h_ort", HeightKind.LEVEL),
        ("hort", HeightKind.LEVEL),
        ("H_Geoid", None),
        ("GNSS height (no geoid)", None),
        ("Height (geoid height)", None),
        ("Geoid above ellipsoid", HeightKind.SEPARATION),
        ("Undulation corrected height", None),
        ("Geoid", None),
        ("Error ellipse a", None),
        ("Ellipse major", None),
        ("Ellipsoid", None),
        ("ellipsoid_name", None),
        ("Ell sep", None),
        ("Ellipsoid height error", None),
        ("Ort", None),
        ("Shell", None),
        ("well", None),
        ("orthophoto", None),
        ("short", None),
        ("Z", None),
    ],
)
def test_what_headings_say(heading: str, kind: HeightKind | None) -> None:
    assert height_kind_in_heading(heading) is kind


@pytest.mark.parametrize(
    ("heading", "kinds"),
    [("Antenna height (slant)", ["export-heights"]), ("SlantHgt", ["export-heights"]), ("Antenna height", [])],
)
def test_poles_that_their_heading_calls_slant_ones(tmp_path: Path, heading: str, kinds: list[str]) -> None:
    path = simulate(PLAN).write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")
    head, *rows = export.read_text(encoding="utf-8").splitlines()
    lines = [f"{head},{heading}", *(f"{row},{1.5 + 0.1 * (number % 3):.1f}" for number, row in enumerate(rows))]
    export.write_text("\n".join(lines) + "\n", encoding="utf-8")
    replace_in(path, {'height = "EllHt"': f'height = "EllHt", pole_height = "{heading}"'})
    record = run_job(path, dry_run=True).record
    found = [doubt for doubt in record["doubts"] if "pole_height" in doubt["what"]]
    assert [doubt["kind"] for doubt in found] == kinds
    assert all("export vertical heights" in doubt["what"] for doubt in found)
