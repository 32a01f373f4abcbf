"""How the layers look when they are opened: a default style each, in the table ``layer_styles`` that programs read.

The symbols are ours. Proof is told by shape and by word, so that it is told in grey and to the colour-blind too; what
is held back is crossed out and says so beside itself. Each style is written twice, in the standard's language (OGC
02-070, Styled Layer Descriptor 1.0) and in the one that most programs take from that table.
"""

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from msgspec import Struct

from pipeline.words import Proof

#: The table in which they stand.
STYLES = "layer_styles"


class Mark(Struct, frozen=True):
    """A symbol: shape by the standard's word, turned by degrees, size in millimetres, fill (None: open) and outline."""

    shape: str
    size: float
    fill: str | None
    line: str
    turned: int = 0


class Rule(Struct, frozen=True):
    """Rows of which a column has a value (None: all others), what they are called, and their symbol."""

    value: str | None
    called: str
    mark: Mark


class Style(Struct, frozen=True):
    """A layer's style: the column that rules ask for, the rules, and what stands beside each row.

    The label is columns in order; ``unless`` names a value of the asked column that is left out of the label, since it
    says nothing; ``before`` is a text before it.
    """

    column: str
    rules: tuple[Rule, ...]
    label: tuple[str, ...]
    unless: str | None = None
    before: str = ""


_INK, _CALM, _WARN, _BAD = "#1b1b1b", "#1f7a4d", "#b35900", "#b3001b"

_POINTS = Style(
    "proof",
    (
        Rule(str(Proof.BRACKETED), "bracketed: proven by checks around it", Mark("circle", 1.8, _CALM, _INK)),
        Rule(str(Proof.UNCLOSED), "unclosed: no check after it", Mark("square", 2.6, None, _WARN, 45)),
        Rule(str(Proof.UNCHECKED), "unchecked: no check at all", Mark("square", 2.4, None, _WARN)),
        Rule(str(Proof.SUSPECT), "suspect: a check beside it failed", Mark("x", 3.4, None, _BAD)),
        Rule(None, "not proven", Mark("star", 3.4, None, _BAD)),
    ),
    ("name", "proof"),
    unless=str(Proof.BRACKETED),
)
_STYLES = {
    "points": _POINTS,
    "held_back": Style(
        "reason", (Rule(None, "HELD BACK: do not use", Mark("x", 5.0, None, _BAD)),), ("name", "reason"),
        before="HELD BACK ",
    ),
    "check_marks": Style(
        "passed",
        (
            Rule("1", "occupation of a mark: passed", Mark("circle", 3.6, None, _CALM)),
            Rule("0", "occupation of a mark: FAILED", Mark("cross", 5.0, None, _BAD)),
            Rule(None, "occupation of a mark: not tested", Mark("circle", 3.6, None, _INK)),
        ),
        ("mark", "role"),
    ),
    "marks": Style("status", (Rule(None, "control mark", Mark("triangle", 4.2, None, _INK)),), ("mark", "status")),
    "repeats": Style(
        "passed",
        (
            Rule("1", "measured twice: passed", Mark("square", 3.0, None, _CALM, 45)),
            Rule(None, "measured twice: FAILED", Mark("cross", 5.0, None, _BAD, 45)),
        ),
        ("name", "session_b"),
    ),
    "sessions": Style("verdict", (Rule(None, "base session", Mark("star", 4.2, None, _INK)),), ("session", "verdict")),
}  # fmt: skip
_CHANGES = "changes"


class Line(Struct, frozen=True):
    """Lines of which the proof is a word (None: all others), what they are called, their colour and their dashes."""

    value: str | None
    called: str
    colour: str
    dashes: str | None = None


#: A line is whole where all its points are proven; else it is broken, the shorter the worse.
_LINES = (
    Line(str(Proof.BRACKETED), "all points bracketed", _INK),
    Line(str(Proof.UNCLOSED), "a point unclosed", _WARN, "6 2"),
    Line(str(Proof.UNCHECKED), "a point unchecked", _WARN, "3 2"),
    Line(None, "a point suspect or not proven", _BAD, "1 2"),
)
_OF_LINES = "lines"


def style_of(layer: str) -> tuple[str, str] | None:
    """Return the style of a layer in the two languages, None for a layer that has none."""
    if layer == _CHANGES:
        return _line_in_use(), _sld(layer, _LINE_RULE)
    if layer == _OF_LINES:
        return _lines_in_use(), _sld(layer, "".join(map(_sld_line, _LINES)))
    style = _POINTS if layer.startswith("points_") else _STYLES.get(layer)
    if style is None:
        return None
    rules = "".join(_sld_rule(style, rule) for rule in style.rules)
    return _in_use(style), _sld(layer, rules, _sld_label(style))


#: Labels stand to the right of a symbol and above it, rather than on it.
_BESIDE = '<placement placement="1" quadOffset="2" xOffset="1.5" yOffset="0" offsetUnits="MM"/>'


def _number(value: str) -> str:
    return value if value.isdigit() else f"'{value}'"


def _label(style: Style) -> str:
    """Return the label as an expression in the language in use."""
    parts = [f"'{style.before}'"] if style.before else []
    for place, column in enumerate(style.label):
        shown = f"coalesce(\"{column}\", '')"
        if column == style.column and style.unless is not None:
            shown = f"CASE WHEN \"{column}\" = '{style.unless}' THEN '' ELSE coalesce(\"{column}\", 'not proven') END"
        parts += [*(["' '"] if place else []), shown]
    return f"trim({' || '.join(parts)})"


def _in_use(style: Style) -> str:
    rules, symbols = [], []
    for number, rule in enumerate(style.rules):
        asked = "ELSE" if rule.value is None else f'"{style.column}" = {_number(rule.value)}'
        asked = f" filter={quoteattr(asked)}" if len(style.rules) > 1 else ""
        rules.append(f'<rule key="r{number}" symbol="{number}" label={quoteattr(rule.called)}{asked}/>')
        symbols.append(
            f'<symbol type="marker" name="{number}" alpha="1" clip_to_extent="1" force_rhr="0">'
            f'<layer class="SimpleMarker" enabled="1" pass="0" locked="0">{_options(_marker(rule.mark))}</layer>'
            "</symbol>"
        )
    return _document(
        f'<renderer-v2 type="RuleRenderer" symbollevels="0" forceraster="0"><rules key="root">{"".join(rules)}</rules>'
        f"<symbols>{''.join(symbols)}</symbols></renderer-v2>"
        f'<labeling type="simple"><settings calloutType="simple"><text-style fontSize="8" textColor="27,27,27,255" '
        f'isExpression="1" fieldName={quoteattr(_label(style))}><text-buffer bufferDraw="1" bufferSize="0.8" '
        f'bufferColor="255,255,255,255"/></text-style>{_BESIDE}</settings></labeling>',
        0,
    )


def _marker(mark: Mark) -> dict[str, str]:
    return {
        "name": "cross2" if mark.shape == "x" else mark.shape,
        "angle": str(mark.turned),
        "size": f"{mark.size:g}",
        "size_unit": "MM",
        "color": _rgba(mark.fill or "#ffffff", 255 if mark.fill else 0),
        "outline_color": _rgba(mark.line, 255),
        "outline_style": "solid",
        "outline_width": "0.4",
        "outline_width_unit": "MM",
    }


def _line_in_use() -> str:
    given = {"line_color": _rgba(_BAD, 255), "line_style": "solid", "line_width": "0.5", "line_width_unit": "MM"}
    return _document(
        '<renderer-v2 type="singleSymbol" symbollevels="0" forceraster="0"><symbols><symbol type="line" name="0" '
        f'alpha="1" clip_to_extent="1" force_rhr="0"><layer class="SimpleLine" enabled="1" pass="0" locked="0">'
        f"{_options(given)}</layer></symbol></symbols></renderer-v2>",
        1,
    )


def _lines_in_use() -> str:
    rules, symbols = [], []
    for number, line in enumerate(_LINES):
        asked = "ELSE" if line.value is None else f"\"proof\" = '{line.value}'"
        rules.append(
            f'<rule key="r{number}" symbol="{number}" label={quoteattr(line.called)} filter={quoteattr(asked)}/>'
        )
        given = {"line_color": _rgba(line.colour, 255), "line_style": "solid", "line_width": "0.4"}
        given |= {"line_width_unit": "MM"}
        if line.dashes is not None:
            given |= {"use_custom_dash": "1", "customdash": line.dashes.replace(" ", ";"), "customdash_unit": "MM"}
        symbols.append(
            f'<symbol type="line" name="{number}" alpha="1" clip_to_extent="1" force_rhr="0">'
            f'<layer class="SimpleLine" enabled="1" pass="0" locked="0">{_options(given)}</layer></symbol>'
        )
    return _document(
        f'<renderer-v2 type="RuleRenderer" symbollevels="0" forceraster="0"><rules key="root">{"".join(rules)}</rules>'
        f"<symbols>{''.join(symbols)}</symbols></renderer-v2>",
        1,
    )


def _sld_line(line: Line) -> str:
    asked = "<ElseFilter/>"
    if line.value is not None:
        asked = (
            "<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>proof</ogc:PropertyName>"
            f"<ogc:Literal>{line.value}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
        )
    dashes = f'<CssParameter name="stroke-dasharray">{line.dashes}</CssParameter>' if line.dashes else ""
    return (
        f"<Rule><Name>{escape(line.called)}</Name>{asked}<LineSymbolizer><Stroke>"
        f'<CssParameter name="stroke">{line.colour}</CssParameter><CssParameter name="stroke-width">1.5</CssParameter>'
        f"{dashes}</Stroke></LineSymbolizer></Rule>"
    )


def _options(values: dict[str, str]) -> str:
    inner = "".join(f'<Option type="QString" name="{name}" value="{value}"/>' for name, value in values.items())
    return f'<Option type="Map">{inner}</Option>'


def _document(content: str, geometry: int) -> str:
    return (
        f"<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>"
        f'<qgis version="3.22" styleCategories="Symbology|Labeling" labelsEnabled="{int(geometry == 0)}">'
        f"{content}<layerGeometryType>{geometry}</layerGeometryType></qgis>"
    )


def _rgba(colour: str, alpha: int) -> str:
    return ",".join(str(int(colour[place : place + 2], 16)) for place in (1, 3, 5)) + f",{alpha}"


_LINE_RULE = (
    "<Rule><Name>from old to new</Name><LineSymbolizer><Stroke>"
    f'<CssParameter name="stroke">{_BAD}</CssParameter><CssParameter name="stroke-width">2</CssParameter>'
    "</Stroke></LineSymbolizer></Rule>"
)


def _sld(layer: str, *rules: str) -> str:
    """Return a style of one or more sets of rules, drawn one over the other.

    What is for all rows has a set of its own: a rule for all others stands for those that no rule of its set takes.
    """
    sets = "".join(f"<FeatureTypeStyle>{those}</FeatureTypeStyle>" for those in rules)
    return (
        '<?xml version="1.0" encoding="UTF-8"?><StyledLayerDescriptor version="1.0.0" '
        'xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">'
        f"<NamedLayer><Name>{escape(layer)}</Name><UserStyle>{sets}"
        "</UserStyle></NamedLayer></StyledLayerDescriptor>"
    )


def _sld_rule(style: Style, rule: Rule) -> str:
    asked = "<ElseFilter/>" if len(style.rules) > 1 else ""
    if rule.value is not None:
        asked = (
            f"<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{style.column}</ogc:PropertyName>"
            f"<ogc:Literal>{rule.value}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
        )
    mark, pixels = rule.mark, rule.mark.size / 0.28  # the standard's pixel
    fill = f'<Fill><CssParameter name="fill">{mark.fill}</CssParameter></Fill>' if mark.fill else ""
    turned = f"<Rotation>{mark.turned}</Rotation>" if mark.turned else ""
    return (
        f"<Rule><Name>{escape(rule.called)}</Name>{asked}<PointSymbolizer><Graphic><Mark>"
        f'<WellKnownName>{mark.shape}</WellKnownName>{fill}<Stroke><CssParameter name="stroke">{mark.line}'
        '</CssParameter><CssParameter name="stroke-width">1.5</CssParameter></Stroke></Mark>'
        f"<Size>{pixels:.1f}</Size>{turned}</Graphic></PointSymbolizer></Rule>"
    )


def _sld_label(style: Style) -> str:
    """Return a rule that writes the label's columns beside every row."""
    columns: Sequence[str] = style.label
    words = " ".join(f"<ogc:PropertyName>{column}</ogc:PropertyName>" for column in columns)
    beside = (
        "<LabelPlacement><PointPlacement><AnchorPoint><AnchorPointX>0</AnchorPointX><AnchorPointY>0</AnchorPointY>"
        "</AnchorPoint><Displacement><DisplacementX>6</DisplacementX><DisplacementY>2</DisplacementY></Displacement>"
        "</PointPlacement></LabelPlacement>"
    )
    text = f"<TextSymbolizer><Label>{escape(style.before)}{words}</Label>{beside}</TextSymbolizer>"
    return f"<Rule><Name>label</Name>{text}</Rule>"
