"""What geoid grids say of the height datum that they lead to, and that another one than the job's is told."""

import struct
from pathlib import Path

import pytest
from running import record_of
from simulate import Plan, simulate

from pipeline.geodesy.area import Area
from pipeline.geodesy.grid_metadata import height_named, is_used_to

SAYS = (
    '<GDALMetadata>\n  <Item name="target_crs_epsg_code">5773</Item>\n'
    '  <Item name="TYPE">VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL</Item>\n</GDALMetadata>\n\0'
)
TOLD = "says that it leads to"


def tiff(path: Path, says: str = SAYS, order: str = "<", big: bool = False) -> Path:
    """Write the directory of a TIFF as TIFF 6.0 and BigTIFF have it, with a width and GDAL's text."""
    text, mark = says.encode(), b"II" if order == "<" else b"MM"
    entry = f"{order}HHQQ" if big else f"{order}HHII"
    head = mark + (struct.pack(f"{order}HHHQ", 43, 8, 0, 16) if big else struct.pack(f"{order}HI", 42, 8))
    count = struct.pack(f"{order}{'Q' if big else 'H'}", 2)
    at = len(head) + len(count) + 2 * struct.calcsize(entry)
    path.write_bytes(
        head + count + struct.pack(entry, 256, 4, 1, 7) + struct.pack(entry, 42112, 2, len(text), at) + text
    )
    return path


@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize("big", [False, True])
def test_the_datum_is_read_of_every_kind_of_tiff(order: str, big: bool, tmp_path: Path) -> None:
    named = height_named(tiff(tmp_path / "g.tif", order=order, big=big))
    assert named is not None and named.to_epsg() == 5773


@pytest.mark.parametrize(
    "says", ["", SAYS.replace("5773", ""), SAYS.replace("5773", "4326"), SAYS.replace("5773", "999999"),
             SAYS.replace("VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL", "HORIZONTAL_OFFSET"),
             SAYS.replace("GEOGRAPHIC_TO", "VERTICAL_TO")],
)  # fmt: skip
def test_what_says_nothing_of_a_datum_has_none(says: str, tmp_path: Path) -> None:
    assert height_named(tiff(tmp_path / "g.tif", says)) is None


def test_files_that_are_cut_or_no_tiff_have_none(tmp_path: Path) -> None:
    whole = tiff(tmp_path / "g.tif").read_bytes()
    for length in range(0, len(whole) - len(SAYS), 3):
        (tmp_path / "cut.tif").write_bytes(whole[:length])
        assert height_named(tmp_path / "cut.tif") is None
    assert height_named(tmp_path / "none.tif") is None


@pytest.mark.parametrize(
    ("name", "code"),
    [("us_nga_egm96_15.tif", 5773), ("fr_ign_RAF20.tif", 5720), ("at_bev_GEOID_GRS80_Oesterreich.tif", 9274),
     ("nz_linz_auckht1946-nzvd2016.tif", None), ("uk_os_OSTN15_NTv2_OSGBtoETRS.tif", None)],
)  # fmt: skip
def test_published_grids(name: str, code: int | None, grids_folder: Path) -> None:
    """Codes as the files describe themselves; shifts between two datums, or in plan, lead to none."""
    named = height_named(grids_folder / name)
    assert (named.to_epsg() if named is not None else None) == code


def test_one_grid_of_several_datums_is_that_of_each() -> None:
    """OSGM15 is of ODN and of the islands' datums, by EPSG's operations: of Orkney's, not of the continent's."""
    orkney = Area.from_degrees([-3.1, -2.9], [58.9, 59.1])
    assert is_used_to("uk_os_OSGM15_GB.tif", "EPSG:27700", "EPSG:5740", orkney)
    assert not is_used_to("uk_os_OSGM15_GB.tif", "EPSG:27700", "EPSG:5709", orkney)


@pytest.mark.parametrize(("height", "told"), [("EPSG:7839", True), ("EPSG:5773", False)])
def test_a_grid_of_another_datum_is_told(height: str, told: bool, grids_folder: Path, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=6, checks=2))
    grid = grids_folder / "us_nga_egm96_15.tif"
    job.job["target"] = {**job.job["target"], "height": height, "geoid": str(grid)}
    job.job["control"] = {**job.job["control"], "height": height}
    notes = [note for note in record_of(job.write(tmp_path))["notes"] if TOLD in note]
    assert len(notes) == told
    if told:
        assert "leads to EGM96 height (EPSG:5773), and heights are issued as NZVD2016 height" in notes[0]
