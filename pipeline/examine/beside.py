"""All that lies beside a job's files and is read by nothing: it comes and goes while the job stays as it is."""

from pipeline.examine.registers_beside import register_beside_notes
from pipeline.examine.unmatched_files import unmatched_file_notes
from pipeline.examine.unread_beside import unread_notes
from pipeline.intake.prepare import Prepared


def beside_notes(prepared: Prepared) -> tuple[str, ...]:
    """Return in words which files beside exports and register may belong to the job, or take the register's place."""
    return (*unmatched_file_notes(prepared), *unread_notes(prepared), *register_beside_notes(prepared))
