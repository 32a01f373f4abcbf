"""Two height datums named by one file: in its heading, beside its rows, in its own name; and files that name one."""

from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job

TOLD = "the height datum is"


def noted(folder: Path, heading: str = "EllHt", comment: str = "", stem: str = "rover001") -> list[str]:
    """Return what is noted of a day whose export is headed, commented and called so."""
    path = simulate(Plan(sessions=1, points=12, noise=False)).write(folder)
    export, text = folder / "rover001.csv", path.read_text(encoding="utf-8")
    rows = export.read_text(encoding="utf-8")
    assert "EllHt" in rows and '"EllHt"' in text
    export.unlink()
    line = f"# {comment}\n" if comment else ""
    (folder / f"{stem}.csv").write_text(line + rows.replace("EllHt", heading, 1), encoding="utf-8")
    text = text.replace('"EllHt"', f'"{heading}"').replace("rover*.csv", f"{stem}.csv")
    if comment:
        text = text.replace("columns = {", 'comment = "#"\ncolumns = {')
    path.write_text(text, encoding="utf-8")
    return [note for note in run_job(path, dry_run=True).record["notes"] if TOLD in note]


@pytest.mark.parametrize(
    ("heading", "comment", "stem", "names"),
    [
        ("Height NAVD88", "Vertical datum: NGVD29", "rover001", ("NAVD88", "NGVD29")),
        ("Height NAVD88", "heights NGVD 1929", "rover001", ("NAVD88", "NGVD29")),
        ("Height NAVD88", "", "site_NGVD29", ("NAVD88", "NGVD29")),
        ("Height", "Vertical datum: NZVD2016", "north NZVD2009", ("NZVD2016", "NZVD2009")),
        ("H (DHHN92)", "Hoehensystem: DHHN2016", "rover001", ("DHHN92", "DHHN2016")),
        ("Hoyde NN2000", "NN1954", "rover001", ("NN2000", "NN54")),
    ],
)
def test_two_are_told(heading: str, comment: str, stem: str, names: tuple[str, str], tmp_path: Path) -> None:
    (note,) = noted(tmp_path, heading, comment, stem)
    assert all(name in note for name in names) and note.startswith(f"{stem}.csv: ")


@pytest.mark.parametrize(
    ("heading", "comment", "stem"),
    [
        ("Height NAVD88", "Vertical datum: NAVD 1988", "site_navd88"),
        ("Height NAVD88", "converted from NGVD29 to NAVD88", "rover001"),
        ("Height NAVD88", "Geoid: EGM96", "rover001"),
        ("Height NAVD88", "Datum: NAD83", "job2026"),
        ("Height", "Vertical datum: NZVD2016", "survey-2026-03"),
        ("EllHt", "unit 12, north 40", "rover001"),
        ("EllHt", "", "NZVD2016-NZVD2009"),
        ("Height RH2000", "SWEREF99 18 00", "rh2000 plan 70"),
        ("Height EVRF2007", "ETRS89, exported 2026", "ETRS89_EVRF2007"),
        ("Z", "", "area 51"),
    ],
)
def test_one_or_none_is_let_be(heading: str, comment: str, stem: str, tmp_path: Path) -> None:
    assert noted(tmp_path, heading, comment, stem) == []
