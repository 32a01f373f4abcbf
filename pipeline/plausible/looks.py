"""What an impossible coordinate may have been, in words."""

from enum import IntEnum


class Look(IntEnum):
    """What an impossible coordinate looks like."""

    NOTHING = 0
    ZERO = 1
    SWAPPED = 2
    LONGITUDE_SIGN = 3
    LATITUDE_SIGN = 4
    BOTH_SIGNS = 5
    PLACEHOLDER = 6
    HEIGHT_SIGN = 7
    HEIGHT_POINT = 8
    POSITION_POINT = 9
    COORDINATES_SWAPPED = 10
    COORDINATE_SIGN = 11


LOOKS = {
    Look.NOTHING: "",
    Look.ZERO: "both coordinates are zero: a position that was never known",
    Look.SWAPPED: "with longitude and latitude exchanged it would lie among the others",
    Look.LONGITUDE_SIGN: "with the other sign of its longitude it would lie among the others",
    Look.LATITUDE_SIGN: "with the other sign of its latitude it would lie among the others",
    Look.BOTH_SIGNS: "with the other signs of longitude and latitude it would lie among the others",
    Look.PLACEHOLDER: "a number that software writes for a height that it does not know",
    Look.HEIGHT_SIGN: "with the other sign it would lie among the others",
    Look.HEIGHT_POINT: "with its decimal point moved it would lie among the others",
    Look.POSITION_POINT: "with the decimal point of one coordinate moved it would lie among the others",
    Look.COORDINATES_SWAPPED: "with its two coordinates exchanged it would lie among the others",
    Look.COORDINATE_SIGN: "with the other sign of one coordinate it would lie among the others",
}
