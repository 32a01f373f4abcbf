"""Codes that the job says how to draw and that no point has: told, since such a line of the job file does nothing."""

from collections.abc import Collection
from contextlib import closing
from pathlib import Path

from pipeline.files.unlocked_database import unlocked
from pipeline.near import nearest


def without_points(package: Path, codes: Collection[str]) -> list[str]:
    """Return in words which ``codes`` no point of a finished GeoPackage has, and which it has that are near."""
    if not codes:
        return []
    with closing(unlocked(package)) as file:
        there = [code for (code,) in file.execute("SELECT DISTINCT code FROM points") if code is not None]
    return [_told(code, sorted(there)) for code in codes if code not in there]


def _told(code: str, there: list[str]) -> str:
    near = nearest(code, there)
    hint = f"; did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    return f"[drawing] states how the code '{code}' is drawn, but no point has it{hint}"
