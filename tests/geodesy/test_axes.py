"""Units and sides of grids and height datums: held to PROJ's own numbers under the code, and to closed forms."""

import numpy as np
import pyproj
import pytest
from numpy.testing import assert_allclose
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info

from pipeline.geodesy import crs
from pipeline.geodesy.area import Area
from pipeline.geodesy.axes import Axes, axes_of
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import raw_to_working, working_to_issued
from pipeline.geodesy.own_places import own_places
from pipeline.geodesy.units import lengths

#: A foot of each kind in metres, by definition.
FOOT, SURVEY = 0.3048, 1200 / 3937

#: Grids with the counts of their eastings and northings in metres, and a place: Lo29 (y west, x south), Krovak both
#: ways, UPS with northing first and second, polar stereographic north and south, state planes in both feet.
GRIDS = [
    ("EPSG:2053", (-1.0, -1.0), (29.1, -26.0)),
    ("EPSG:5513", (-1.0, -1.0), (14.5, 50.0)),
    ("EPSG:5514", (1.0, 1.0), (14.5, 50.0)),
    ("EPSG:3031", (1.0, 1.0), (10.0, -75.0)),
    ("EPSG:3413", (1.0, 1.0), (-40.0, 75.0)),
    ("EPSG:5041", (1.0, 1.0), (20.0, 86.0)),
    ("EPSG:32661", (1.0, 1.0), (20.0, 86.0)),
    ("EPSG:32761", (1.0, 1.0), (20.0, -86.0)),
    ("EPSG:6455", (SURVEY, SURVEY), (-88.2, 40.1)),
    ("EPSG:6515", (FOOT, FOOT), (-110.0, 47.0)),
    ("EPSG:2193", (1.0, 1.0), (174.8, -36.9)),
]


@pytest.mark.parametrize(("code", "counts", "place"), GRIDS)
def test_a_geometry_is_where_programs_look_for_it(
    code: str, counts: tuple[float, float], place: tuple[float, float]
) -> None:
    """X and Y as PROJ gives them for the code, easting (or westing) first only where PROJ has it so."""
    axes, area = crs.target_axes(code, "ellipsoid"), Area(*place, *place).with_margin(1000.0)
    own = pyproj.CRS(code)
    to_grid = pyproj.Transformer.from_crs(own.geodetic_crs, own, always_xy=True)
    expected = to_grid.transform(*place)
    geographic = crs.geographic_of(crs.parse(code)).to_wkt()
    metres = working_to_issued(code, "ellipsoid", area).forward(
        *raw_to_working(geographic, code, area).forward(*place, 12.5)
    )
    written = axes.written(*metres)
    assert axes.counts() == (*counts, 1.0)
    assert_allclose(np.ravel(axes.geometry(*written)), (*expected, 12.5), rtol=0, atol=1e-6)
    assert_allclose(np.ravel(axes.metres(*written)), np.ravel(metres), rtol=0, atol=1e-8)
    back = own_places(code, *metres)
    assert_allclose([float(back[0]), float(back[1])], place, rtol=0, atol=1e-11)


def test_columns_are_named_by_the_side_whatever_their_order() -> None:
    """Krovak: X, the first axis, counts to the south; Y, the second, to the west. EPSG:5514 has minus Y, minus X."""
    south = crs.target_axes("EPSG:5513", "ellipsoid")
    assert (south.easting.direction, south.northing.direction, south.northing_first) == ("west", "south", True)
    westing, southing, _ = south.written(-738632.384, -1053490.739, 0.0)
    assert (float(westing), float(southing)) == (738632.384, 1053490.739)
    assert crs.target_axes("EPSG:2053", "ellipsoid").described == (
        "easting (to the west), northing (to the south) and height in metres"
    )


@pytest.mark.parametrize(
    ("height", "count", "told"),
    [
        ("EPSG:6360", SURVEY, "ftUS"),
        ("EPSG:8228", FOOT, "ft"),
        ("EPSG:6357", -1.0, "m, downwards"),
        ("EPSG:6358", -SURVEY, "ftUS, downwards"),
        ("ellipsoid", 1.0, "m"),
    ],
)
def test_heights_and_depths(height: str, count: float, told: str) -> None:
    """NAVD88 in each of its units, upwards and down."""
    axis = crs.target_axes("EPSG:6344", height).height
    assert (axis.count, axis.told) == (count, told)


def test_what_exports_and_registers_count_to_the_other_side() -> None:
    assert lengths("EPSG:2053", None).signs == (-1.0, -1.0, 1.0)
    assert lengths("EPSG:6344", None, "EPSG:6358").signs == (1.0, 1.0, -1.0)
    assert lengths("EPSG:6344+6357", None).signs == (1.0, 1.0, -1.0)
    assert lengths("EPSG:4326", None).signs == (1.0, 1.0, 1.0)
    assert lengths("EPSG:5513", None).northing_first and not lengths("EPSG:2053", None).northing_first


@pytest.mark.parametrize("height", ["EPSG:5703", "EPSG:6360", "EPSG:6357", "EPSG:6358"])
def test_one_operation_whatever_heights_count_in(height: str) -> None:
    """With ellipsoidal heights carried, nothing but the writing differs; 3 m below is -3 m upwards."""
    axes = axes_of(pyproj.CRS("EPSG:6344"), pyproj.CRS(height))
    _, _, written = axes.written(0.0, 0.0, -3.0)
    assert_allclose(written, {"EPSG:5703": -3.0, "EPSG:6360": -3 / SURVEY, "EPSG:6357": 3.0}.get(height, 3 / SURVEY))


def test_plain_grids_stay_as_they_are() -> None:
    numbers = np.array([1.0, np.nan])
    assert Axes().written(numbers, numbers, numbers)[0] is numbers
    assert crs.target_axes("EPSG:2193", "EPSG:7839").described == "metres"


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("EPSG:2065", "longitudes from Ferro"),  # S-JTSK (Ferro) / Krovak
        ("EPSG:5017", "but not its method"),  # Bonne, south orientated
        ("EPSG:3052", "but not its method"),  # Lambert conic, west orientated
    ],
)
def test_what_cannot_be_served_is_refused_in_words(code: str, says: str) -> None:
    where = pyproj.CRS(code).area_of_use
    assert where is not None
    with pytest.raises(OperationError, match=says) as raised:
        working_to_issued(code, "ellipsoid", Area(where.west, where.south, where.east, where.north))
    assert raised.value.fix


def test_every_registered_grid_is_read_or_refused_in_words() -> None:
    """Of those around the poles, in southern Africa and in Central Europe."""
    for west, south, east, north in ((-180, 80, 180, 90), (-180, -90, 180, -80), (25, -30, 30, -25), (14, 49, 15, 51)):
        kinds = pyproj.enums.PJType.PROJECTED_CRS
        for info in query_crs_info("EPSG", kinds, area_of_interest=AreaOfInterest(west, south, east, north)):
            try:
                axes = crs.target_axes(f"EPSG:{info.code}", "ellipsoid")
            except OperationError as error:
                assert error.what and error.fix
            else:
                assert abs(axes.easting.count) > 0.1 and axes.easting.direction in ("east", "west")
