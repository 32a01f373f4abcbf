"""PROJ's candidates: what it cannot do is met in words, and it is asked no more often than needed."""

from pathlib import Path

import pytest
from every import every
from pyproj.crs import CRS
from pyproj.enums import PJType
from pyproj.transformer import TransformerGroup

from pipeline.geodesy import candidate_operations as answers
from pipeline.geodesy import crs, grids, pipelines
from pipeline.geodesy.area import Area
from pipeline.geodesy.candidate_operations import candidate_operations
from pipeline.geodesy.crs import same_datum
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.indirect_operations import Places, better_ways
from pipeline.geodesy.misread_coordinates import other_datums
from pipeline.geodesy.operation_choice import choose_operation, short_name
from pipeline.geodesy.operations import raw_to_working
from pipeline.geodesy.regional_frames import frames_at_rest

#: Longitude, latitude, grid in feet or metres: national registers whose ways to global frames need velocity models.
PLACES = [
    pytest.param(-99.0, 31.2, "EPSG:6578", id="texas-feet"),
    pytest.param(-81.5, 28.1, "EPSG:6438", id="florida-feet"),
    pytest.param(-91.9, 30.4, "EPSG:6479", id="louisiana-feet"),
    pytest.param(-66.4, 18.2, "EPSG:6566", id="puerto-rico"),
    pytest.param(-46.6, -23.5, "EPSG:31983", id="brazil"),
    pytest.param(-70.7, -33.4, "EPSG:5361", id="chile"),
    pytest.param(10.7, 59.9, "EPSG:25832", id="norway"),
]


@pytest.mark.parametrize(("longitude", "latitude", "grid"), PLACES)
def test_every_source_has_a_way_or_is_refused_in_words(longitude: float, latitude: float, grid: str) -> None:
    area = Area(longitude - 0.05, latitude - 0.05, longitude + 0.05, latitude + 0.05)
    for source in ("EPSG:9018", "EPSG:10177", "EPSG:7912", "EPSG:9989", "EPSG:4979"):
        try:
            raw_to_working(source, METRES.get(grid, grid), area)
        except OperationError as error:
            assert error.what.startswith("field datum to computation: ") and error.fix


METRES = {"EPSG:6578": "EPSG:6577", "EPSG:6438": "EPSG:6437", "EPSG:6479": "EPSG:6478"}


@pytest.mark.parametrize(
    ("first", "second", "crs"), [(2_600_000.0, 10_200_000.0, "EPSG:6578"), (-99.0, 31.2, "EPSG:9019")]
)
def test_other_datums_leave_out_what_proj_cannot_do(first: float, second: float, crs: str) -> None:
    found = other_datums(crs, Area(-99.05, 31.15, -98.95, 31.25), first, second)
    assert found or crs == "EPSG:9019"  # of IGS14 none is left there
    assert all(0.0 < other.accuracy <= 10.0 for other in found)


@pytest.mark.parametrize(
    ("longitude", "latitude", "kept", "left_out"),
    [
        pytest.param(3.9, 43.6, {"NTF", "ED50", "ETRS89"}, {"ETRF2000", "ETRF89", "WGS 84", "ITRF2014"}, id="france"),
        pytest.param(-97.7, 30.3, {"NAD27", "NAD83"}, {"SIRGAS-CON SIR17P01", "WGS 84", "ITRF2014"}, id="texas"),
        pytest.param(-70.6, -33.4, {"PSAD56", "SIRGAS-Chile 2016"}, {"SIRGAS-CON DGF00P01", "REDGEOMIN"}, id="chile"),
        pytest.param(179.9, -16.8, {"Fiji 1986"}, {"WGS 84", "ITRF2020"}, id="fiji"),
    ],
)
def test_frames_of_a_region(longitude: float, latitude: float, kept: set[str], left_out: set[str]) -> None:
    """What moves, what is used all over the earth and what stands behind an ensemble are none; EPSG's register says."""
    area = Area(longitude - 0.05, latitude - 0.05, longitude + 0.05, latitude + 0.05)
    for kind in (PJType.GEOGRAPHIC_2D_CRS, PJType.GEOGRAPHIC_3D_CRS):
        names = {name for _, name in frames_at_rest(area, kind)}
        assert not names & left_out
        assert kind is PJType.GEOGRAPHIC_3D_CRS or kept <= names


@pytest.mark.parametrize(
    ("source", "grid", "longitude", "latitude", "most"),
    [
        pytest.param("EPSG:7912", "EPSG:25832", 11.5, 48.1, 2, id="itrf-etrs89"),
        pytest.param("EPSG:9989", "EPSG:7855", 149.0, -35.3, 3, id="itrf-gda2020"),
        pytest.param("EPSG:4979", "EPSG:6577", -97.7, 30.3, 1, id="wgs84-nad83"),
        pytest.param("EPSG:4230", "EPSG:25832", 11.5, 48.1, 3, id="ed50-etrs89"),
    ],
)
def test_proj_is_asked_little_for_better_ways(
    source: str, grid: str, longitude: float, latitude: float, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each question between two datums may take PROJ seconds; no frame is asked for that cannot be the same."""
    asked: list[tuple[str, str]] = []

    def counted(one: CRS, other: CRS, area: Area) -> TransformerGroup:
        if not same_datum(one, other):
            asked.append((one.name, other.name))
        return ask(one, other, area)

    ask = answers._asked
    monkeypatch.setattr(answers, "_asked", counted)
    area = Area(longitude - 0.0513, latitude - 0.0513, longitude + 0.0513, latitude + 0.0513)
    better_ways(source, grid, area, Places.over(area, [100.0], 2026.0), None)
    assert len(asked) == len(set(asked)) <= most


def test_an_answer_is_kept_until_a_grid_file_comes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A question asked again after a file came into PROJ's folders is put to PROJ again."""
    monkeypatch.setattr(grids, "folders", lambda: (tmp_path,))
    one, other, area = CRS("EPSG:4979"), CRS("EPSG:4978"), Area(10.0, 50.0, 10.1, 50.1)
    first = candidate_operations(one, other, area)
    assert candidate_operations(one, other, area) is first
    (tmp_path / "new.tif").write_bytes(b"II")
    assert candidate_operations(one, other, area) is not first


@pytest.mark.parametrize("code", ["EPSG:2193", "EPSG:27700", "EPSG:4979"])
def test_the_conversion_within_a_datum_is_the_same_everywhere(code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """PROJ is asked once, and asked for each area it says the same: no part of the earth has another conversion."""
    grid = crs.promote(crs.source_crs(code))
    pairs = [(grid, crs.geocentric_of(grid)), (crs.geocentric_of(grid), grid)]
    areas = [Area(171.0, -44.0, 171.1, -43.9), Area(179.0, -20.0, -179.0, 60.0)]
    expected = [[answers._asked(*pair, area).transformers for area in areas] for pair in pairs]
    first = [choose_operation(*pair, areas[0], "step") for pair in pairs]
    monkeypatch.setattr(answers, "_asked", None)
    for pair, found, of_areas in every(zip(pairs, first, expected, strict=True)):
        for area, transformers in zip(areas, of_areas, strict=True):
            (asked,) = transformers
            assert choose_operation(*pair, area, "step") == found
            assert found.name == short_name(asked.description) and not found.grids and not found.within
            assert pipelines.steps(found.definition) == pipelines.steps(asked.definition)


@pytest.mark.parametrize(
    ("system", "other", "place", "datum"),
    [
        ("EPSG:3879+3900", "EPSG:4937", (25.0, 60.2), "EPSG:3900"),  # Finland: N2000 has no model in the registry
        ("EPSG:3301+9663", "EPSG:4937", (25.0, 58.5), "EPSG:9663"),  # Estonia
    ],
)
def test_heights_without_a_registered_conversion_lead_to_the_geoid_grid(
    system: str, other: str, place: tuple[float, float], datum: str
) -> None:
    """The way out comes first, and the datum that was refused is not offered again."""
    area = Area(place[0] - 0.1, place[1] - 0.1, place[0] + 0.1, place[1] + 0.1)
    with pytest.raises(OperationError) as refused:
        choose_operation(CRS(system), CRS(other), area, "register to computation")
    assert "target.geoid" in refused.value.fix.split(";")[0] and datum not in refused.value.fix


def test_positions_without_a_way_are_not_laid_to_the_heights() -> None:
    """A local datum that is tied to nothing: no geoid grid helps there."""
    system = crs.compound(CRS("+proj=longlat +ellps=bessel +type=crs"), CRS("EPSG:3900"))
    with pytest.raises(OperationError) as refused:
        choose_operation(system, CRS("EPSG:4937"), Area(24.9, 60.1, 25.1, 60.3), "register to computation")
    assert "target.geoid" not in refused.value.fix
