"""Cut a small piece out of a GTX geoid grid, node by node, around a place.

    python sample_data/crop_geoid.py sample_data/geoid/egm96_canterbury.gtx --longitude 172.0 --latitude -43.75

The grid that it is made for is the EGM96 grid of 15 minutes (public domain, US National Geospatial-Intelligence
Agency), which Debian's package proj-data installs as /usr/share/proj/egm96_15.gtx.
"""

import argparse
from pathlib import Path

import numpy as np
from closed_forms import Geoid, read_gtx, write_gtx

EGM96 = Path("/usr/share/proj/egm96_15.gtx")


def _window(start: float, step: float, size: int, centre: float, half: float) -> slice:
    """Return the nodes from the last one at or below centre - half to the first one at or above centre + half."""
    first = int(np.floor(round((centre - half - start) / step, 9)))
    last = int(np.ceil(round((centre + half - start) / step, 9)))
    if first < 0 or last >= size:
        raise SystemExit(f"the piece around {centre:g} degrees does not lie within the grid")
    return slice(first, last + 1)


def crop(geoid: Geoid, longitude: float, latitude: float, half: float) -> Geoid:
    """Return the nodes within ``half`` degrees of a place and the ones just outside; values are copied unchanged."""
    size_rows, size_columns = geoid.values.shape
    rows = _window(geoid.south, geoid.step_latitude, size_rows, latitude, half)
    columns = _window(geoid.west, geoid.step_longitude, size_columns, longitude, half)
    return Geoid(
        geoid.south + rows.start * geoid.step_latitude,
        geoid.west + columns.start * geoid.step_longitude,
        geoid.step_latitude,
        geoid.step_longitude,
        geoid.values[rows, columns],
    )


def main() -> None:
    """Read the arguments and write the piece."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("to", type=Path, help="the GTX file to write")
    parser.add_argument("--longitude", type=float, required=True, help="degrees east of the place")
    parser.add_argument("--latitude", type=float, required=True, help="degrees north of the place")
    parser.add_argument("--half", type=float, default=0.75, help="half width in degrees (default 0.75)")
    parser.add_argument("--grid", type=Path, default=EGM96, help=f"the GTX file to cut from (default {EGM96})")
    given = parser.parse_args()
    given.to.parent.mkdir(parents=True, exist_ok=True)
    write_gtx(crop(read_gtx(given.grid), given.longitude, given.latitude, given.half), given.to)


if __name__ == "__main__":
    main()
