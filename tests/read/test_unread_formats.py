"""What a run says of an export or a register in a format that is not read: the same as the drafting of a job says."""

from pathlib import Path

import pytest
from least_job import write_job

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.problems import JobError

_TABLE = "mark,easting,northing,height\nA,1000.0,2000.0,3.0\nB,1001.0,2001.0,3.1\n"


@pytest.mark.parametrize(
    ("name", "content", "way"),
    [
        ("day.ods", b"PK\x03\x04", "save it as .xlsx or .csv"),
        ("day.xls", b"\xd0\xcf\x11\xe0", "save it as .xlsx or .csv"),
        ("day.kml", b"<kml/>", "export its points as .csv, .geojson or .gpkg"),
        ("day.dxf", b"0\nSECTION\n", "export its points as .csv, .geojson or .gpkg"),
        ("day.shp", b"\x00\x00\x27\x0a", "export its points as .csv, .geojson or .gpkg"),
        ("day.zip", b"PK\x05\x06", "unpack it"),
        ("day.pts", _TABLE.encode(), "rename it so that it ends in .txt"),
        ("day.bin", bytes(range(256)) * 8, ""),
    ],
)
def test_exports_and_registers_are_refused_with_what_a_draft_says(
    name: str, content: bytes, way: str, tmp_path: Path
) -> None:
    register = f"register{Path(name).suffix}"
    for file in (name, register):
        (tmp_path / file).write_bytes(content)
    control = {"file": register, "crs": "EPSG:32632", "height": "ellipsoid"}
    job = write_job(tmp_path, "EPSG:4979", {"grid": "EPSG:32632"}, file=name, control=control, ties=[("K0", "K0")])
    with pytest.raises(JobError) as error:
        run_job(job)
    ending = Path(name).suffix
    of_export, of_register = (
        next(one for one in error.value.problems if said in one.what)
        for said in (f"the format {ending} is not read", f"a register in a '{ending}' file is not supported")
    )
    assert way in of_export.fix and way in of_register.fix
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    assert f"the format {ending} is not read" + (f": if it has readings or marks, {way}" if way else "") in str(
        error.value
    )
    if not way:
        assert of_export.fix.startswith("export it in one that is: .csv") and "rename" not in of_register.fix
