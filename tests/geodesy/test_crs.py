"""CRS texts: what is taken, what is refused and how it is said."""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from pyproj import CRS

from pipeline.geodesy import crs
from pipeline.geodesy.crs_hints import crs_hint
from pipeline.geodesy.errors import OperationError

NZTM_WKT = CRS("EPSG:2193").to_wkt("WKT2_2019")


@pytest.mark.parametrize(
    "text", ["EPSG:2193", NZTM_WKT, CRS("EPSG:2193").to_json(), re.sub(r',ID\["EPSG",\d+\]', "", NZTM_WKT)]
)
def test_registered_code_is_found(text: str) -> None:
    """A code, WKT, PROJJSON and WKT without codes are one grid, EPSG:2193."""
    assert crs.registered_code(crs.target_grid(text)) == "EPSG:2193"


def test_a_changed_grid_has_no_code() -> None:
    """A false easting that differs by a metre is another grid: it has no registered code."""
    changed = re.sub(r',ID\["EPSG",\d+\]', "", NZTM_WKT).replace("1600000", "1600001")
    assert crs.registered_code(crs.target_grid(changed)) is None


@pytest.mark.parametrize(("grid", "datum"), [("EPSG:25832", 4258), ("EPSG:32760", 4326)])
def test_wkt_of_the_first_version_leaves_the_ensembles_their_members(grid: str, datum: int) -> None:
    """What is read next in this process does not hang on it. In a thread of its own, PROJ has nothing in mind yet."""
    text = CRS(grid).to_wkt("WKT1_GDAL")

    def members() -> int:
        crs._made_of(text)
        return len(CRS.from_epsg(datum).to_json_dict()["datum_ensemble"]["members"])

    with ThreadPoolExecutor(1) as fresh:
        assert fresh.submit(members).result() > 5


@pytest.mark.parametrize("text", ["2193", "NZTM", "rubbish", "", "EPSG:999999", '{"type": "x"}', "EPSG:4937+4326"])
def test_what_is_no_crs(text: str) -> None:
    """A bare number or name would be searched by likeness; it is refused like an unknown code, with advice."""
    with pytest.raises(OperationError, match="is not a CRS") as raised:
        crs.parse(text)
    assert raised.value.fix


@pytest.mark.parametrize(
    "text",
    [
        "+proj=tmerc +lon_0=173 +k=0.9996 +ellps=GRS80 +towgs84=0,0,0 +type=crs",
        "+proj=utm +zone=33 +geoidgrids=egm96_15.gtx +vunits=m +type=crs",
        "+proj=utm +zone=33 +ellps=GRS80 +nadgrids=@missing.gsb +type=crs",
    ],
)
def test_own_transformations_are_refused(text: str) -> None:
    """TOWGS84, geoidgrids and nadgrids (which go on silently without an optional file) are refused."""
    with pytest.raises(OperationError, match="transformation of its own"):
        crs.parse(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("EPSG:4167", "not a projected CRS"),
        ("EPSG:4978", "not a projected CRS"),
        ("EPSG:7405", "not a projected CRS"),  # grid and height together
        ("EPSG:27572", "longitudes from Paris"),
    ],
)
def test_target_grids_refused(text: str, words: str) -> None:
    """Not projected, compound, counted from Paris: each with advice."""
    with pytest.raises(OperationError, match=words) as raised:
        crs.target_grid(text)
    assert raised.value.fix


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("EPSG:4326", "not a vertical CRS"),
        ("EPSG:2193", "not a vertical CRS"),
        ("EPSG:7405", "not a vertical CRS"),
    ],
)
def test_heights_refused(text: str, words: str) -> None:
    """4326 taken for a height datum (PROJ accepts it), a grid, both: each with advice."""
    with pytest.raises(OperationError, match=words) as raised:
        crs.vertical_of(text)
    assert raised.value.fix


def test_a_height_alone_is_no_source() -> None:
    """A vertical CRS gives no positions."""
    with pytest.raises(OperationError, match="no positions"):
        crs.source_crs("EPSG:7839")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("EPSG:4326", "geographic"),
        ("EPSG:4978", "geocentric"),
        ("EPSG:2193", "projected"),
        ("EPSG:2193+7839", "projected"),
        ("EPSG:4167+7839", "geographic"),
        ("EPSG:2248", "projected"),
        ("EPSG:2193+6360", "projected"),
    ],
)
def test_kinds(text: str, kind: str) -> None:
    """What the first two coordinates are."""
    assert crs.kind_of(crs.source_crs(text)) == kind


def test_parts_of_a_datum() -> None:
    """Geographic, geocentric and ellipsoid of a grid, of a compound CRS and of a geocentric one."""
    for text in ("EPSG:2193", "EPSG:2193+7839", "EPSG:4959", "EPSG:4958"):
        system = crs.parse(text)
        assert crs.geographic_of(system).equals(CRS("EPSG:4167"), ignore_axis_order=True)
        assert crs.geocentric_of(system).is_geocentric
        assert crs.same_datum(system, CRS("EPSG:2193"))
        assert crs.ellipsoid_of(system).f == pytest.approx(1 / 298.257222101, rel=1e-15)
    assert not crs.same_datum(CRS("EPSG:2193"), CRS("EPSG:4326"))


def test_promoted_to_three_axes() -> None:
    """A 2D CRS gets an ellipsoidal height in metres; what has a height keeps it."""
    assert [len(crs.promote(crs.parse(text)).axis_info) for text in ("EPSG:4326", "EPSG:2193", "EPSG:7405")] == [
        3,
        3,
        3,
    ]
    assert crs.promote(crs.parse("EPSG:4258")).to_authority() == ("EPSG", "4937")


def test_classical_datums() -> None:
    """OSGB36 and Amersfoort have no ellipsoidal heights registered, NZGD2000 and MGI have."""
    held = {text: crs.holds_ellipsoidal_heights(crs.parse(text)) for text in ("EPSG:27700", "EPSG:28992", "EPSG:2193")}
    assert held == {"EPSG:27700": False, "EPSG:28992": False, "EPSG:2193": True}


def test_compound_definition() -> None:
    """Grid and height datum together as WKT2 for the record; with "ellipsoid" the grid in 3D."""
    whole = CRS(crs.compound_definition("EPSG:27700", "EPSG:5701"))
    assert [part.to_authority() for part in whole.sub_crs_list] == [("EPSG", "27700"), ("EPSG", "5701")]
    assert len(CRS(crs.compound_definition("EPSG:2193", "ellipsoid")).axis_info) == 3


def test_area_of_use_and_versions() -> None:
    """New Zealand's area crosses the 180th meridian; versions are there for the record."""
    area = crs.area_of_use(crs.parse("EPSG:4167"))
    assert area is not None
    assert area.west > area.east
    assert re.fullmatch(r"\d+\.\d+\.\d+", crs.proj_version())
    assert crs.database_version().startswith("v")


def test_same_height_datum() -> None:
    """Heights compare as datums, not as texts; the ellipsoid is only itself."""
    assert crs.same_height_datum("EPSG:7839", CRS("EPSG:7839").to_wkt())
    assert crs.same_height_datum("ellipsoid", "ellipsoid")
    assert not crs.same_height_datum("EPSG:7839", "ellipsoid")
    assert not crs.same_height_datum("EPSG:7839", "EPSG:5759")
    assert crs.same_height_datum("EPSG:5703", "EPSG:6360")  # NAVD88 in metres and in US survey feet
    assert not crs.same_height_datum("EPSG:5702", "EPSG:6360")  # NGVD29


@pytest.mark.parametrize(
    ("text", "first", "others"),
    [
        ("UTM 37S", "EPSG:32737", ["EPSG:32637", "band of latitude"]),
        ("UTM 37 south", "EPSG:32737", []),
        ("UTM 37M", "EPSG:32737", []),
        ("UTM 37N", "EPSG:32637", ["EPSG:25837"]),
        ("UTM 37", "EPSG:32637", ["EPSG:32737"]),
    ],
)
def test_a_utm_zone_in_words_is_answered_with_its_half_first(text: str, first: str, others: list[str]) -> None:
    """The EPSG registry has WGS 84 / UTM zone nS as 32700 + n; band S of the military grid lies north, 32 to 40."""
    told = crs_hint(text)
    assert re.findall(r"EPSG:\d+", told)[0] == first
    assert all(other in told for other in others)
    assert len(re.findall(r"EPSG:\d+", told)) == 1 or others


@pytest.mark.parametrize(
    ("grid", "sources", "carried"),
    [
        ("EPSG:28992", ["EPSG:4937"], ("ETRS89",)),  # the registry has no 3D CRS of Amersfoort, nor of OSGB36
        ("EPSG:27700", ["EPSG:4937", "EPSG:4937"], ("ETRS89",)),
        ("EPSG:28992", ["EPSG:4937", "EPSG:7912"], ("ETRS89", "ITRF2014")),
        ("EPSG:28992", ["EPSG:28992"], ()),
        ("EPSG:25832", ["EPSG:4937"], None),
        ("EPSG:2193", ["EPSG:7912"], None),
    ],
)
def test_heights_carried_along_are_of_the_datum_they_come_in(
    grid: str, sources: list[str], carried: tuple[str, ...] | None
) -> None:
    assert crs.carried_from(crs.target_grid(grid), sources) == carried
