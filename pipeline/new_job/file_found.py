"""A file of a folder, or one of its layers, with the mapping of its columns."""

from msgspec import Struct

from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped


class FileFound(Struct, frozen=True):
    """A file, or a layer of one, that is looked at, with what its columns are."""

    look: FileLook
    mapped: Mapped
