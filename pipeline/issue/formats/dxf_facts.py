"""What a drawing says of itself, in its properties and in its title note."""

from collections.abc import Sequence

from pipeline.geodesy.axes import Axes
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.layer_names import one_line
from pipeline.issue.formats.unproven import NAME as UNPROVEN


def facts(about: FileFacts, unproven: str | None) -> list[tuple[str, str]]:
    """Return what the drawing says of itself, each fact with its name; ``unproven`` is `unproven.unproven_told`."""
    plot = about.drafting
    told = [
        ("issue", about.title),
        ("last observation", about.data_to_text),
        ("grid", about.grid_text),
        ("heights", about.height_name),
        ("units", _units(about.axes)),
        ("plot", f"1:{plot.scale:g}, texts {plot.text_height:g} mm high"),
    ]
    told += about.judged
    if unproven is not None:
        told.append((UNPROVEN, f"{unproven}, on separate layers with the proof word in the name"))
    return [(name, one_line(text)) for name, text in [*told, ("caution", about.caution)]]


def _units(axes: Axes) -> str:
    """Return in words what the drawing counts in, its texts too, and what differs from that."""
    told = f"{axes.easting.units}; easting, northing, height"
    if axes.plain:
        return told
    if axes.height.metres != axes.easting.metres:
        told += f", also of heights beside points; the GeoPackage has heights in {axes.height.units}"
    told += "; differences in metres"
    if axes.turned:
        told += f"; east is right and north above: the grid counts to the {axes.easting.direction}"
        told += f" and to the {axes.northing.direction}"
    if axes.height.count < 0.0:
        told += "; heights beside points count downwards"
    return told


def lines_of(facts: Sequence[tuple[str, str]]) -> list[str]:
    """Return the lines of the title note."""
    return [f"{name}: {text}" for name, text in facts]
