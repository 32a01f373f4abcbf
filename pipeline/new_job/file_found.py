"""A file of a folder, or a layer of one, with what its columns are taken for."""

from dataclasses import dataclass

from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped


@dataclass(frozen=True)
class FileFound:
    """A file, or a layer of one, that is looked at, with what its columns are."""

    look: FileLook
    mapped: Mapped
