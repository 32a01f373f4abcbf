"""References by letters of 100 km squares, against published ones."""

import pytest

from pipeline.files.grid_letters import lettered_reference


@pytest.mark.parametrize(
    ("text", "easting", "northing", "code"),
    [
        # the water tower of Ordnance Survey's guide to coordinate systems: 651409.903, 313177.270
        ("TG 51409 13177", "651409", "313177", "EPSG:27700"),
        ("TG5140913177", "651409", "313177", "EPSG:27700"),
        ("TG 51409.903 13177.270", "651409.903", "313177.270", "EPSG:27700"),
        # the squares' corners as the index maps of both grids have them
        ("SV 00000 00000", "0", "0", "EPSG:27700"),
        ("NN 16600 71200", "216600", "771200", "EPSG:27700"),  # Ben Nevis
        ("HU 40000 40000", "440000", "1140000", "EPSG:27700"),  # Shetland
        ("O 15904 34671", "315904", "234671", "EPSG:29903"),  # the Spire in Dublin
        ("V 00000 00000", "0", "0", "EPSG:29903"),
        ("tq 11729.085 68099.369", "511729.085", "168099.369", "EPSG:27700"),
        ("TQ 117 680", "511700", "168000", "EPSG:27700"),
    ],
)
def test_published_references_are_what_they_mean(text: str, easting: str, northing: str, code: str) -> None:
    found = lettered_reference(text)
    assert found is not None and (found.easting, found.northing, found.code) == (easting, northing, code)


@pytest.mark.parametrize(
    "text", ["", "CP 1", "CP12", "I 12345 12345", "TI 12345 12345", "AA 12345 12345", "TQ 12345 123", "1"]
)
def test_other_texts_are_none(text: str) -> None:
    assert lettered_reference(text) is None
