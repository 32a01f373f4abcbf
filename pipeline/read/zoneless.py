"""Whether an export's times say by themselves which clock they are of: a look at its first rows."""

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.read.files import Export
from pipeline.read.findings import Unusable
from pipeline.read.sources import open_source

#: What ends an ISO time that says its offset from UTC.
_OFFSET = r"(?i)(?:z|utc|gmt|[+-]\d\d:?(?:\d\d)?)\s*$"


def bare_time(export: Export) -> tuple[int, str] | None:
    """Return row and text of the first time where that stands without an offset from UTC, else None.

    Times that a format keeps as such, as a GeoPackage does, are UTC by its standard.
    """
    wanted = export.points.time_format
    if wanted is not None and "%z" in wanted:
        return None
    try:
        with open_source(export.path, export.points, 1000, look=True) as source:
            for raw in source.batches:
                cells = raw.columns[source.how.names["time"]]
                if not pa.types.is_string(cells.type):
                    return None
                given = pc.indices_nonzero(pc.fill_null(pc.greater(pc.utf8_length(cells), 0), False))
                if len(given):
                    text = str(cells[given[0].as_py()].as_py())
                    with_offset = pc.match_substring_regex(pa.array([text]), _OFFSET)[0].as_py()
                    dated = wanted is None and with_offset and ":" in text
                    return None if dated else (int(raw.row[given[0].as_py()]), text)
    except (Unusable, UnicodeDecodeError):
        return None  # told by the reading of the file itself
    return None
