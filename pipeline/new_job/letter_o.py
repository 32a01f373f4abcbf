"""Reads the letter O of longitudes as the west where a run does: beneath headings in a Romance language."""

import pyarrow as pa

from pipeline.files.heading_words import words_of
from pipeline.files.letter_o import romance_headings, with_west
from pipeline.new_job.headings import rank
from pipeline.new_job.look import FileLook
from pipeline.replace import replace


def with_west_read(look: FileLook) -> FileLook:
    """Return a file with W in place of the O of its longitudes, where that is sure; the same one elsewhere."""
    columns = west_read(look, look.columns)
    return look if columns == look.columns else replace(look, columns=columns, west=romance_headings(_headings(look)))


def west_read(look: FileLook, texts: dict[str, list[str]]) -> dict[str, list[str]]:
    """Return ``texts`` of a file's columns likewise."""
    if not romance_headings(_headings(look)):
        return texts
    return {name: _west(look, those) if _is_longitude(name) else those for name, those in texts.items()}


def _west(look: FileLook, texts: list[str]) -> list[str]:
    west = with_west(pa.array([text or None for text in texts], pa.string()), _headings(look))
    return [text or "" for text in west.to_pylist()]


def _is_longitude(heading: str) -> bool:
    """Tell whether a heading is one of longitudes, or of the degrees of one: "Longitud G"."""
    return any(rank("longitude", said) is not None for said in (heading, *words_of(heading)[:1]))


def _headings(look: FileLook) -> tuple[str, ...]:
    """Return a file's headings as a run knows them: none where columns go by number, or two rows name them."""
    parts = [name for one in look.joined for name in (*one.rest, one.side) if name]
    return () if look.by_number else (*look.names, *parts)
