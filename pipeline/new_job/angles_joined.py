"""Puts angles together whose degrees, minutes and seconds stand apart, as a run does that reads a register."""

from pipeline.files.angle_parts import AngleParts, joined_texts, parts_of
from pipeline.files.heading_words import words_of
from pipeline.new_job.columns import mapped
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import rank
from pipeline.new_job.letter_o import with_west_read
from pipeline.new_job.look import FileLook
from pipeline.replace import replace


def with_joined_angles(look: FileLook) -> FileFound | None:
    """Return a file with whole angles in its columns of degrees; None where longitude and latitude are not in parts.

    Nor where columns go by their numbers: the parts of an angle are known by their headings.
    """
    if look.by_number or (look.pages is not None and len(look.pages.names) > 1):
        return None
    found: dict[str, AngleParts] = {}
    for axis in ("longitude", "latitude"):
        headed = [name for name in look.names if any(rank(axis, said) is not None for said in words_of(name)[:1])]
        parts = [one for name in headed if (one := parts_of(name, axis, look.columns)) is not None]
        if len(parts) != 1:
            return None
        found[axis] = parts[0]
    whole = replace(look, columns=joined_texts(look.columns, tuple(found.values())), joined=tuple(found.values()))
    whole = with_west_read(whole)
    # "Breite Grad" is no heading of a latitude that is known
    ours = {one.degrees: axis for axis, one in found.items() if rank(axis, one.degrees) is None}
    if set(ours.values()) & set(whole.names):
        return None
    called = {axis: name for name, axis in ours.items()}
    mapping = mapped(replace(whole, columns={ours.get(name, name): texts for name, texts in whole.columns.items()}))
    mapping.columns = {word: called.get(name, name) for word, name in mapping.columns.items()}
    mapping.rivals = {word: [called.get(name, name) for name in names] for word, names in mapping.rivals.items()}
    return FileFound(whole, mapping)
