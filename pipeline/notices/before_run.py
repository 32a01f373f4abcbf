"""What can be said before any shift is derived: of the register, of where the bases are, of each export as a whole."""

from pathlib import Path

from pipeline.examine.base_logs import base_log_notes
from pipeline.examine.clock_doubts import clock_notes
from pipeline.examine.copied_times import copied_time_notes
from pipeline.examine.examine import Examined
from pipeline.examine.exchanged_axes import place_notes
from pipeline.examine.exports import file_notes
from pipeline.examine.filled_blanks import blank_notes
from pipeline.examine.filled_down import filled_notes
from pipeline.examine.height_heading_doubts import heading_notes
from pipeline.examine.height_systems import system_notes
from pipeline.examine.hidden_sheets import hidden_notes
from pipeline.examine.issued_units import issued_unit_notes
from pipeline.examine.job_file import job_notes
from pipeline.examine.lost_signs import lost_sign_notes
from pipeline.examine.mark_columns import mark_column_notes
from pipeline.examine.mean_rows import mean_notes
from pipeline.examine.mixed_heights import mixed_notes
from pipeline.examine.moved_cells import moved_notes
from pipeline.examine.pasted_cells import pasted_notes
from pipeline.examine.pole_heights import left_pole_notes, pole_notes
from pipeline.examine.register_datums import register_datum_notes
from pipeline.examine.register_rows import register_row_notes
from pipeline.examine.shared_numbers import shared_notes
from pipeline.examine.site_doubts import site_notes
from pipeline.examine.sorted_columns import sorted_notes
from pipeline.examine.sorted_names import sorted_name_notes
from pipeline.examine.time_zones import zone_notes
from pipeline.examine.untested_shifts import untested_shift_notes
from pipeline.examine.zero_led_names import zero_led_notes
from pipeline.intake.held_checks import held_checks
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.job.time_zones import reversed_sign
from pipeline.notices.bases import base_notes
from pipeline.notices.codes import check_code_notes, code_notes, drawn_code_notes
from pipeline.notices.deleted_rows import deleted_notes
from pipeline.notices.idle_keys import idle_keys
from pipeline.notices.register import register_warnings


def before_notes(examined: Examined, last: Record | None, shown: str | None = None) -> list[str]:
    """Return in words what should be looked at in the register, in the exports, of the times and of the bases.

    Args:
        examined: the job.
        last: the record of the issue that is drawn from, if there is one.
        shown: the register's path for messages; else it counts from the job file, so that an issue says the same
            wherever the job lies.
    """
    survey = examined.survey
    told = [
        *examined.remarks,
        *(place_notes(survey) if last is None else ()),
        *idle_keys(survey, shown is None),
        *job_notes(survey),
        *base_log_notes(survey),
        *issued_unit_notes(survey),
        *untested_shift_notes(survey, examined.stood),
        *site_notes(survey),
        *heading_notes(survey),
        *pole_notes(survey),
        *left_pole_notes(survey),
        *mixed_notes(survey),
        *mark_column_notes(survey),
        *register_row_notes(survey),
        *register_datum_notes(survey),
        *filled_notes(survey),
        *blank_notes(survey, examined.on_marks),
        *mean_notes(survey),
        *zero_led_notes(survey),
        *copied_time_notes(survey),
        *shared_notes(survey, examined.on_marks),
        *pasted_notes(survey, examined.on_marks),
        *sorted_notes(survey),
        *sorted_name_notes(survey),
        *moved_notes(survey, examined.on_marks),
        *lost_sign_notes(survey),
        *deleted_notes(survey),
    ]
    told += system_notes(survey, examined.stood)
    register, control = survey.register, survey.job.control
    if register is not None and control is not None:
        path = shown or survey.prepared.loaded.recorded(control.file)
        warned = register_warnings(survey, examined.stood, last)
        told += [f"{path}:{warning.line}: {warning.what}" for warning in warned]
    told += [*_reversed_zones(survey, shown is None), *held_checks(survey.prepared, survey.first_pass)]
    told += [*zone_notes(survey), *survey.first_pass.notes]
    told += base_notes(survey, clock_told=any(one.holds for one in examined.clocks))
    told += [*clock_notes(examined.clocks), *file_notes(survey), *hidden_notes(survey)]
    return [*told, *check_code_notes(survey), *drawn_code_notes(survey), *code_notes(survey, shown is not None)]


def _reversed_zones(survey: Survey, recorded: bool) -> list[str]:
    """Return in words what zones such as "Etc/GMT+2" stand for, whose sign is not the one that people expect.

    What is ``recorded`` names the job file without its folder, so that an issue says the same wherever the job lies.
    """
    told = {}
    for number, block in enumerate(survey.job.points):
        offset = reversed_sign(block.time_zone or "")
        file, line = survey.where("points", number, "time_zone")
        if offset is not None:
            path = Path(file).name if recorded else file
            way = "behind" if offset.startswith("-") else "ahead of"
            told[block.time_zone] = f'{path}:{line}: the time zone "{block.time_zone}" is {way} UTC: it means {offset}'
    return list(told.values())
