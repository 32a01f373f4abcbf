"""The keys of ``[control]``: the register of control marks."""

from typing import Annotated, Literal

from pydantic import Field

from pipeline.job.key_values import Column, Epoch, File, Length, LineNumber, Unit, Units
from pipeline.job.sections.strict import Strict, Table

#: Standard uncertainty of each horizontal component and of the height of a mark whose register states none, in
#: metres. Common practice, no source: about how well a pole or a level is set up on a mark of good standing.
UNSTATED = (0.005, 0.005)


_PlaceOfLength = Annotated[Column, Unit("`units`")]


class RegisterColumns(Strict):
    """Our name = the register's, below it. Unmapped, a column goes by our name; other columns go into the record."""

    mark: Column | None = Field(None, description="the mark's name")
    easting: Column | None = Field(None, description="with `northing`, in a projected `crs`")
    northing: Column | None = Field(None, description="with `easting`")
    longitude: Column | None = Field(None, description="with `latitude`, in a geographic `crs`")
    latitude: Column | None = Field(None, description="with `longitude`")
    height: Column | None = Field(None, description="height in the datum `control.height`")
    ellipsoid_height: Column | None = Field(None, description='where `control.height` is `"ellipsoid"`')
    hu95: _PlaceOfLength | None = Field(None, description="95 % uncertainty of the position: radius of the circle")
    vu95: _PlaceOfLength | None = Field(None, description="95 % uncertainty of the height")
    holds: Column | None = Field(
        None, description="`3d`, `position` or `height`: what of its coordinates is held; where empty, what is there"
    )
    source: Column | None = Field(None, description="where the coordinates come from")
    dated: Column | None = Field(None, description="the day they date from; the newest of several rows is used")


class ControlSection(Table):
    """The register of control marks."""

    file: File = Field(
        description="CSV, spreadsheet (`.xlsx`), GeoJSON or GeoPackage with `mark`, `easting`, `northing`, `height` (or"
        " `longitude`, `latitude`; `ellipsoid_height`) and, if wanted, `hu95`, `vu95`, `holds`"
        " (`3d`, `position` or `height`), `source`, `dated`"
    )
    crs: str = Field(description="CRS of its coordinates, as `target.grid`")
    height: str = Field("ellipsoid", description='vertical CRS of its heights, or `"ellipsoid"`')
    layer: str | None = Field(None, description="layer of a GeoPackage, or sheet, where there is more than one")
    epoch: Epoch | None = Field(
        None,
        description="of its coordinates, where its frame moves; needed where the grid's does not, else"
        " `target.epoch` is assumed and a note says so",
    )
    units: Units | None = Field(None, description="as in `[source]`, for its ellipsoidal heights, `hu95` and `vu95`")
    angles: Literal["decimal", "dms"] | None = Field(None, description="as in `[source]`, for longitude and latitude")
    header: LineNumber | None = Field(None, description="as in `[source]`, of a text or a spreadsheet")
    sigma_horizontal: Length = Field(
        UNSTATED[0],
        description="standard uncertainty of east and of north of a mark without `hu95`; reaches `hu95` of every point"
        " by the shift that the mark gives",
    )
    sigma_vertical: Length = Field(
        UNSTATED[1], description="of the height of a mark without `vu95`; reaches `vu95` of every point likewise"
    )
    columns: RegisterColumns = Field(
        RegisterColumns(), description="what each column holds, as `[control.columns]` below `[control]`"
    )
