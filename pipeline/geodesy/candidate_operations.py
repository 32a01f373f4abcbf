"""PROJ's candidate operations between two CRSs over an area, asked for so that there is one kind of error only."""

import warnings
from functools import lru_cache

from pyproj.crs import CRS
from pyproj.exceptions import ProjError
from pyproj.transformer import AreaOfInterest, TransformerGroup

from pipeline.geodesy import grids
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError


def candidate_operations(source: CRS, target: CRS, area: Area) -> TransformerGroup:
    """Return PROJ's operations from source to target (longitude or easting first) over the area, best first.

    None is a ballpark; one whose grid is missing is among the unavailable ones. Raises `OperationError` where PROJ
    finds no way, or where the best way needs a method that PROJ does not have (such as a velocity model of some
    national frames), which pyproj meets with an IndexError: it looks for a grid to name, and there is none.

    PROJ takes seconds over two frames with many realisations between them, and a job asks for the same two more than
    once, so the last answers are kept for as long as no grid file comes or goes.
    """
    return _candidates(source.srs, target.srs, area, grids.state_of_folders())


@lru_cache(maxsize=32)
def _candidates(source: str, target: str, area: Area, _grids: object) -> TransformerGroup:
    return _asked(_known(source), _known(target), area)


@lru_cache(maxsize=64)
def _known(text: str) -> CRS:
    """Return a CRS from its text: PROJ takes milliseconds, as long as for some operations."""
    return CRS.from_user_input(text)


def _asked(source: CRS, target: CRS, area: Area) -> TransformerGroup:
    interest = AreaOfInterest(area.west, area.south, area.east, area.north)
    with warnings.catch_warnings():
        # "Best transformation is not available": whoever asks looks at what is missing
        warnings.simplefilter("ignore", UserWarning)
        try:
            return TransformerGroup(source, target, always_xy=True, area_of_interest=interest, allow_ballpark=False)
        except ProjError as error:
            raise OperationError(
                f"PROJ finds no operation from {source.name} to {target.name} ({error})",
                "check both CRSs and the location of the points",
            ) from error
        except IndexError as error:
            raise OperationError(
                f"PROJ knows an operation from {source.name} to {target.name}, but not its method, and no other is"
                " used",
                "give the coordinates in another grid or realisation that PROJ can transform, such as one that"
                " the national service publishes parameters for",
            ) from error
