"""In what the coordinates of a register are given, as the job file says."""

from msgspec import Struct

from pipeline.control.register_rows import POSITION
from pipeline.geodesy.units import Lengths

#: A register whose every length is metres.
IN_METRES = Lengths(1.0, 1.0, 1.0, False)


class RegisterFrame(Struct, frozen=True):
    """In what the coordinates of a register are.

    Args:
        kind: of its CRS, "projected" or "geographic" (of any other, no register is read); it decides which columns are
            needed.
        ellipsoid: whether the heights are ``ellipsoid_height`` rather than ``height``.
        lengths: what its coordinates count in.
    """

    kind: str
    ellipsoid: bool
    lengths: Lengths = IN_METRES

    @property
    def columns(self) -> tuple[str, str, str]:
        """The columns of the three coordinates. Raises `KeyError` for a CRS of another kind."""
        across, along = POSITION[self.kind]
        return across, along, "ellipsoid_height" if self.ellipsoid else "height"

    @property
    def units(self) -> tuple[float, float, float]:
        """Metres, or degrees, in one of each coordinate; below zero where it counts west, south or downwards."""
        across = self.lengths.plan if self.kind == "projected" else 1.0
        east, north, up = self.lengths.signs
        return across * east, across * north, self.lengths.up * up
