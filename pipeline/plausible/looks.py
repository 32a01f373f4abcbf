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
    Look.ZERO: "both coordinates are zero: the position was never known",
    Look.SWAPPED: "with longitude and latitude swapped it would be among the others",
    Look.LONGITUDE_SIGN: "with the other sign of its longitude it would be among the others",
    Look.LATITUDE_SIGN: "with the other sign of its latitude it would be among the others",
    Look.BOTH_SIGNS: "with the other signs of longitude and latitude it would be among the others",
    Look.PLACEHOLDER: "a number that software writes for an unknown height",
    Look.HEIGHT_SIGN: "with the other sign it would be among the others",
    Look.HEIGHT_POINT: "with its decimal point moved it would be among the others",
    Look.POSITION_POINT: "with the decimal point of one coordinate moved it would be among the others",
    Look.COORDINATES_SWAPPED: "with its two coordinates swapped it would be among the others",
    Look.COORDINATE_SIGN: "with the other sign of one coordinate it would be among the others",
}
