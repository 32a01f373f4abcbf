"""A file of a folder, or one of its layers, with the mapping of its columns."""

from dataclasses import dataclass

from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped


@dataclass(frozen=True)
class FileFound:
    """A file, or a layer of one, that is looked at, with what its columns are."""

    look: FileLook
    mapped: Mapped
