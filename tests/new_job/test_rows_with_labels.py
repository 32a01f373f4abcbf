"""Rows with a label before each number: the labels are usual headings, and yet the first row is one of data."""

import pytest

from pipeline.new_job.text_header import find_header, has_coordinates

_ROWS = [b"CP1,E,2605007.869,N,1194149.078,H,596.159", b"CP2,E,2605040.405,N,1194094.585,H,604.993"]


def test_a_row_with_labels_heads_nothing() -> None:
    at, sign = find_header([b"Gauge,Letter,One,Letter,Other,Letter,Third", *_ROWS])
    assert (at, sign) == (0, ",")
    at, sign = find_header(_ROWS)
    assert (at, sign) == (0, ",") and has_coordinates(_ROWS[0].decode().split(sign))


@pytest.mark.parametrize("header", ["Mark,E,N,H", "2D,3D,E,N", "Point,Sol 1.0,Sol 2.0,E,N", "1,2,3"])
def test_headings_are_no_coordinates(header: str) -> None:
    assert not has_coordinates(header.split(","))
