"""What the numbers of a CRS count in, against the definitions of the units in the EPSG registry and in law."""

import json

import pytest
from pyproj import CRS

from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.units import METRES, Lengths, lengths

SURVEY, FOOT = 1200 / 3937, 0.3048


@pytest.mark.parametrize(
    ("crs", "units", "height", "found"),
    [
        ("EPSG:2193", None, None, Lengths(1, 1, 1, False)),
        ("EPSG:2193", "metre", None, Lengths(1, 1, 1, False)),
        ("EPSG:4978", None, None, Lengths(1, 1, 1, False)),
        ("EPSG:2227", "us-survey-foot", None, Lengths(SURVEY, SURVEY, SURVEY, False)),
        ("EPSG:2222", "foot", None, Lengths(FOOT, FOOT, FOOT, False)),
        ("EPSG:4326", "foot", None, Lengths(FOOT, FOOT, FOOT, True)),
        ("EPSG:4979", "foot", None, Lengths(FOOT, FOOT, FOOT, True)),
        ("EPSG:6455+6360", None, None, Lengths(SURVEY, SURVEY, 1, False)),
        ("EPSG:6455+6360", "us-survey-foot", None, Lengths(SURVEY, SURVEY, SURVEY, False)),
        ("EPSG:6455+5703", None, None, Lengths(SURVEY, 1, 1, False)),
        ("EPSG:6454+8228", None, None, Lengths(1, FOOT, 1, False)),
        ("EPSG:6318+6360", None, None, Lengths(1, SURVEY, 1, True)),
        ("EPSG:6318+6360", "us-survey-foot", None, Lengths(SURVEY, SURVEY, SURVEY, True)),
        ("EPSG:2314", None, "EPSG:5703", Lengths(0.3047972654, 1, 1, False)),  # Clarke's foot
        ("EPSG:29871", None, "EPSG:5703", Lengths(20.116765121552632, 1, 1, False)),  # British chain (Sears 1922)
        ("EPSG:24370", None, "EPSG:5703", Lengths(0.9143985307444408, 1, 1, False)),  # Indian yard
        ("EPSG:2066", None, "EPSG:5703", Lengths(0.201166195164, 1, 1, False)),  # Clarke's link
        ("EPSG:6455", None, "EPSG:6360", Lengths(SURVEY, SURVEY, 1, False)),
        ("EPSG:6455", "us-survey-foot", "ellipsoid", Lengths(SURVEY, SURVEY, SURVEY, False)),
        ("EPSG:6318", "foot", "ellipsoid", Lengths(FOOT, FOOT, FOOT, True)),
    ],
)
def test_each_crs_is_obeyed(crs: str, units: str | None, height: str | None, found: Lengths) -> None:
    counted = lengths(crs, units, height)
    for name in ("plan", "up", "other"):
        if not (name == "plan" and found.degrees):
            assert getattr(counted, name) == pytest.approx(getattr(found, name), rel=1e-12), name
    assert counted.degrees is found.degrees


@pytest.mark.parametrize(
    ("crs", "units", "height", "words"),
    [
        ("EPSG:2227", "foot", None, ("US survey foot", '"foot"', '"us-survey-foot"')),
        ("EPSG:2222", "us-survey-foot", None, ("in foot", '"us-survey-foot"', '"foot"')),
        ("EPSG:2227", "metre", None, ("US survey foot", "EPSG:26943")),
        ("EPSG:2193", "foot", None, ("metre", '"foot"', 'units = "metre"')),
        ("EPSG:2227", None, None, ("US survey foot", 'units = "us-survey-foot"')),
        ("EPSG:2227", None, "ellipsoid", ("US survey foot", 'units = "us-survey-foot"')),
        ("EPSG:2314", None, None, ("Clarke's foot", "height datum")),
        ("EPSG:2314", "foot", None, ("Clarke's foot", '"foot"', "leave units out")),
        ("EPSG:6455+5703", "us-survey-foot", None, ("heights in metre", "leave units out", "EPSG:6360")),
        ("EPSG:6318+5703", "foot", None, ("heights in metre", "EPSG:8228")),
        ("EPSG:6455", "us-survey-foot", "EPSG:5703", ("heights in metre", "leave units out")),
        ("EPSG:6454", "us-survey-foot", "EPSG:6360", ("northings in metre", "EPSG:6455")),
    ],
)
def test_a_contradiction_names_both_and_what_to_write(
    crs: str, units: str | None, height: str | None, words: tuple[str, ...]
) -> None:
    with pytest.raises(OperationError) as raised:
        lengths(crs, units, height)
    told = f"{raised.value.what}; {raised.value.fix}"
    assert all(word in told for word in words), told


def test_grads_are_not_read_as_degrees() -> None:
    grads = CRS("EPSG:4258").to_json_dict()
    for axis in grads["coordinate_system"]["axis"]:
        axis["unit"] = {"type": "AngularUnit", "name": "grad", "conversion_factor": 0.015707963267949}
    grads.pop("id", None)
    with pytest.raises(OperationError, match="is in grad") as raised:
        lengths(json.dumps(grads), None)
    assert "degrees" in raised.value.fix


def test_the_units_are_those_of_their_definitions() -> None:
    """NIST SP 811, appendix B: 1 ft = 0.3048 m, 1 US survey foot = 1200/3937 m, exactly."""
    assert {"metre": 1.0, "foot": 0.3048, "us-survey-foot": pytest.approx(0.304800609601219, abs=1e-15)} == METRES
