"""What a GeoPackage holds beside its layers: their default styles, and where they come from as standard metadata.

Provenance stands in the tables of the standard's metadata extension (OGC 12-128r18, annex F.8), as ISO 19139, of the
whole file.
"""

import sqlite3
from collections.abc import Sequence
from xml.sax.saxutils import escape

from pipeline.issue.geopackage.styles import style_of

#: The standard by which the metadata is written, as the standard's examples name it.
ISO = "http://www.isotc211.org/2005/gmd"
_MIME = "text/xml"

#: No extension is declared for it: libraries would warn of one that they do not know whenever the file is opened.
_STYLES = (
    "CREATE TABLE IF NOT EXISTS layer_styles (id INTEGER PRIMARY KEY NOT NULL, f_table_catalog TEXT, "
    "f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT, "
    "useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME)"
)

#: The tables of the metadata extension, by the standard (annex F.8, tables 15 and 16).
_METADATA = (
    "CREATE TABLE IF NOT EXISTS gpkg_metadata (id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, "
    "md_scope TEXT NOT NULL DEFAULT 'dataset', md_standard_uri TEXT NOT NULL, "
    "mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '')",
    "CREATE TABLE IF NOT EXISTS gpkg_metadata_reference (reference_scope TEXT NOT NULL, table_name TEXT, "
    "column_name TEXT, row_id_value INTEGER, timestamp DATETIME NOT NULL DEFAULT "
    "(strftime('%Y-%m-%dT%H:%M:%fZ','now')), md_file_id INTEGER NOT NULL, md_parent_id INTEGER, "
    "CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id), "
    "CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))",
)
_DEFINED = "http://www.geopackage.org/spec121/#extension_metadata"


def write_beside(file: sqlite3.Connection, title: str, date: str, lineage: Sequence[str]) -> None:
    """Give a GeoPackage that has its layers their styles, and its provenance; what was there of both is replaced.

    ``title`` is how it is called, ``date`` the one that it bears, ``lineage`` what it was made from, a sentence each.
    """
    layers = [name for (name,) in file.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
    _write_styles(file, layers, date)
    if lineage:
        _write_lineage(file, date, iso_metadata(title, date, lineage))


def _write_styles(file: sqlite3.Connection, layers: Sequence[str], date: str) -> None:
    """Write the styles there are; without any no table of them, which readers would list beside the layers."""
    styles = {layer: found for layer in layers if (found := style_of(layer)) is not None}
    if not styles:
        return
    file.execute(_STYLES)
    file.execute("DELETE FROM layer_styles")
    for layer, found in styles.items():
        row = ("", "", layer, "geom", "tiedown", *found, 1, f"how {layer} is shown", "", None, date)
        columns = "f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, styleSLD"
        columns += ", useAsDefault, description, owner, ui, update_time"
        file.execute(f"INSERT INTO layer_styles ({columns}) VALUES ({', '.join('?' * len(row))})", row)


def _write_lineage(file: sqlite3.Connection, date: str, text: str) -> None:
    for table in _METADATA:
        file.execute(table)
    for name in ("gpkg_metadata", "gpkg_metadata_reference"):
        _declare(file, (name, None, "gpkg_metadata", _DEFINED, "read-write"))
    of_ours = "(SELECT id FROM gpkg_metadata WHERE md_standard_uri = ?)"
    file.execute(f"DELETE FROM gpkg_metadata_reference WHERE md_file_id IN {of_ours}", (ISO,))
    file.execute("DELETE FROM gpkg_metadata WHERE md_standard_uri = ?", (ISO,))
    ((number,),) = file.execute("SELECT ifnull(max(id), 0) + 1 FROM gpkg_metadata").fetchall()
    file.execute("INSERT INTO gpkg_metadata VALUES (?, 'dataset', ?, ?, ?)", (number, ISO, _MIME, text))
    row = ("geopackage", None, None, None, date, number, None)
    file.execute("INSERT INTO gpkg_metadata_reference VALUES (?, ?, ?, ?, ?, ?, ?)", row)


def _declare(file: sqlite3.Connection, row: tuple[str | None, ...]) -> None:
    query = "SELECT 1 FROM gpkg_extensions WHERE table_name = ? AND extension_name = ?"
    if file.execute(query, (row[0], row[2])).fetchone() is None:
        file.execute("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)", row)


def iso_metadata(title: str, date: str, lineage: Sequence[str]) -> str:
    """Return the metadata record of an issue by ISO 19139: what it is, of when, and from what it was made."""

    def text(name: str, value: str) -> str:
        return f"<gmd:{name}><gco:CharacterString>{escape(value)}</gco:CharacterString></gmd:{name}>"

    def code(name: str, value: str) -> str:
        return f'<gmd:{name} codeList="{ISO}#{name}" codeListValue="{value}">{value}</gmd:{name}>'

    moment = f"<gco:DateTime>{date.removesuffix('Z').partition('.')[0]}</gco:DateTime>"
    steps = "".join(
        f"<gmd:processStep><gmd:LI_ProcessStep>{text('description', line)}</gmd:LI_ProcessStep></gmd:processStep>"
        for line in lineage[1:]
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><gmd:MD_Metadata xmlns:gmd="{ISO}" '
        f'xmlns:gco="http://www.isotc211.org/2005/gco">{text("fileIdentifier", title)}{text("language", "eng")}'
        '<gmd:contact><gmd:CI_ResponsibleParty><gmd:organisationName gco:nilReason="missing"/>'
        f"<gmd:role>{code('CI_RoleCode', 'author')}</gmd:role></gmd:CI_ResponsibleParty></gmd:contact>"
        f"<gmd:dateStamp>{moment}</gmd:dateStamp>"
        f"<gmd:identificationInfo><gmd:MD_DataIdentification><gmd:citation><gmd:CI_Citation>{text('title', title)}"
        f"<gmd:date><gmd:CI_Date><gmd:date>{moment}</gmd:date><gmd:dateType>{code('CI_DateTypeCode', 'creation')}"
        f"</gmd:dateType></gmd:CI_Date></gmd:date></gmd:CI_Citation></gmd:citation>{text('abstract', lineage[0])}"
        f"{text('language', 'eng')}</gmd:MD_DataIdentification></gmd:identificationInfo>"
        f"<gmd:dataQualityInfo><gmd:DQ_DataQuality><gmd:scope><gmd:DQ_Scope><gmd:level>"
        f"{code('MD_ScopeCode', 'dataset')}</gmd:level></gmd:DQ_Scope></gmd:scope><gmd:lineage><gmd:LI_Lineage>"
        f"{text('statement', ' '.join(lineage))}{steps}</gmd:LI_Lineage></gmd:lineage></gmd:DQ_DataQuality>"
        "</gmd:dataQualityInfo></gmd:MD_Metadata>"
    )
