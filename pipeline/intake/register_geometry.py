"""Compares the CRS of a layer with that of the register whose marks are its geometry."""

from pathlib import Path

from pipeline.control import Register
from pipeline.files.features import UNKNOWN_CRS
from pipeline.geodesy import crs
from pipeline.geodesy.crs_comparison import crs_label, is_local, is_unknown, is_wgs84
from pipeline.geodesy.errors import OperationError
from pipeline.job.load import LoadedJob
from pipeline.problems import Problems
from pipeline.read.layer_crs import OF_SITE
from pipeline.read.sources import JSON


def check_register_geometry(register: Register, stated: str, loaded: LoadedJob, problems: Problems) -> None:
    """Check that a register whose coordinates are a layer's geometry is in the CRS that the job file says."""
    found = register.geometry_crs
    is_json = Path(register.shown).suffix.lower() in JSON
    # GeoJSON means WGS 84 by its standard, says it unasked, and is written in any datum all the same
    if found is None or (is_json and is_wgs84(found)):
        return
    if is_unknown(found) and is_json:
        problems.add(register.shown, 0, UNKNOWN_CRS[0].format(found), UNKNOWN_CRS[1])
        return
    try:
        same = crs.same_positions(found, stated)
    except OperationError:
        return  # an engineering CRS, or one that carries its own transformation: nothing to compare by
    if not same:
        own = f'crs = "{crs_label(found)}"'
        fix = f"write the layer's own, {own}, if that is right, or give the coordinates as attributes"
        problems.add(
            *loaded.where("control", "crs"),
            f"the geometry in {register.shown} is in {crs.parse(found).name} ({_code(found)}), but [control] crs is"
            f" {crs.parse(stated).name} ({_code(stated)})",
            OF_SITE if is_local(found) else fix,
        )


def _code(text: str) -> str:
    return text if len(text) <= 40 else crs.registered_code(crs.parse(text)) or "no registered code"
