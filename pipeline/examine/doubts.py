"""Collects the doubts about sessions from the modules that look for them."""

from collections.abc import Iterable, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.cliffs import cliff_doubts
from pipeline.examine.clock_doubts import ClockFinding, clock_doubts
from pipeline.examine.coarse_digits import coarse_doubts
from pipeline.examine.computed import OnTheMarks
from pipeline.examine.cut_off import cut_off_doubts
from pipeline.examine.datum_steps import mixed_steps
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.epoch_gaps import epoch_doubts
from pipeline.examine.exchanged_axes import axis_doubts
from pipeline.examine.filled_blanks import blank_doubts
from pipeline.examine.filled_down import filled_doubts
from pipeline.examine.flat_heights import flat_doubts
from pipeline.examine.geoid_step import geoid_doubts
from pipeline.examine.headed_sides import side_doubts
from pipeline.examine.height_heading_doubts import heading_doubts
from pipeline.examine.height_systems import system_doubts
from pipeline.examine.job_file import tolerance_doubts
from pipeline.examine.lost_signs import mirrored_doubts
from pipeline.examine.mark_columns import mark_column_doubts
from pipeline.examine.missing_digits import missing_digit_doubts
from pipeline.examine.mixed_heights import mixed_doubts
from pipeline.examine.moved_cells import moved_doubts
from pipeline.examine.other_bases import base_doubts
from pipeline.examine.other_ellipsoid import ellipsoid_doubts
from pipeline.examine.other_positions import other_position_doubts
from pipeline.examine.out_of_area import place_doubts
from pipeline.examine.packed_degree_doubts import packed_doubts
from pipeline.examine.pasted_cells import pasted_doubts
from pipeline.examine.pole_heights import pole_doubts
from pipeline.examine.register_datums import register_datum_doubts
from pipeline.examine.register_digits import register_digit_doubts
from pipeline.examine.register_epoch import register_epoch_doubts
from pipeline.examine.register_rows import register_row_doubts
from pipeline.examine.shared_numbers import shared_doubts
from pipeline.examine.shifted_copy_doubts import shifted_doubts
from pipeline.examine.site_doubts import site_doubts
from pipeline.examine.stated_precisions import precision_doubts
from pipeline.examine.stood_on import Stood
from pipeline.examine.stretches_beside import stretch_doubts
from pipeline.examine.time_zones import zone_doubts
from pipeline.examine.uncertainties import uncertainty_doubts
from pipeline.examine.unit_doubts import stated_unit_doubts
from pipeline.examine.unmapped_corrections import unmapped_doubts
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.job.model import Job
from pipeline.replace import replace
from pipeline.words import Doubt

#: Metres: a shift beyond this is no datum's, and what comes so large, what less large.
_ELSEWHERE = 2_000.0
_WRONG_PLACE = (
    "swapped columns (latitude and longitude, easting and northing), a lost sign, another zone or CRS, or degrees,"
    " minutes and seconds in one number (48.1238621 for 48°12'38.621\") in the register or in the export"
)
_WRONG = "a wrong mark, a wrong datum or height system, a wrong antenna height or feet read as metres"


def doubts_before(
    survey: Survey,
    stood: Stood | None,
    on_marks: OnTheMarks,
    of_steps: Sequence[Doubtful],
    own_way: Operation | None,
    clocks: Sequence[ClockFinding],
) -> tuple[Doubtful, ...]:
    """Return the doubts that are known before any shift is derived; `tiedown check` tells them too.

    ``stood`` and ``on_marks`` are which readings stand on marks and how they lie to these, ``of_steps`` those about
    operations that were found already; ``own_way`` is PROJ's own to the height datum.
    """
    flat = flat_doubts(survey)
    found = [
        *ellipsoid_doubts(survey, stood),
        *system_doubts(survey, stood),
        *stated_unit_doubts(survey),
        *of_steps,
        *heading_doubts(survey),
        *pole_doubts(survey),
        *mixed_doubts(survey),
        *geoid_doubts(survey, own_way),
        *flat,
        *mixed_steps(survey),
        *epoch_doubts(survey),
        *register_epoch_doubts(survey),
        *register_datum_doubts(survey),
        *zone_doubts(survey),
        *precision_doubts(survey),
        *coarse_doubts(survey, on_marks, {doubt.file for doubt in flat}),
        *register_digit_doubts(survey, stood, on_marks),
        *cliff_doubts(survey),
        *mirrored_doubts(survey),
        *clock_doubts(survey, clocks),
        *place_doubts(survey),
        *packed_doubts(survey),
        *side_doubts(survey),
        *axis_doubts(survey),
        *other_position_doubts(survey),
        *stretch_doubts(survey),
        *tolerance_doubts(survey),
        *uncertainty_doubts(survey, stood),
        *site_doubts(survey),
        *base_doubts(survey),
        *unmapped_doubts(survey),
        *mark_column_doubts(survey),
        *register_row_doubts(survey),
        *filled_doubts(survey),
        *blank_doubts(survey, on_marks),
        *shared_doubts(survey, on_marks),
        *pasted_doubts(survey, on_marks),
        *missing_digit_doubts(survey),
        *moved_doubts(survey, on_marks),
        *shifted_doubts(survey),
        *cut_off_doubts(survey),
    ]
    return confirmed_by(survey.job, found)


def confirmed_by(job: Job, doubts: Iterable[Doubtful]) -> tuple[Doubtful, ...]:
    """Return doubts with those confirmed that the job file says somebody looked into, those too that are already."""
    return tuple(replace(doubt, confirmed=doubt.confirmed or doubt.kind in job.checks.confirmed) for doubt in doubts)


def shift_doubts(survey: Survey, local: Floats) -> list[Doubtful]:
    """Return a doubt for each session whose shift, (S, 3) east, north, up, is larger than a base may be off."""
    limits = survey.job.shift
    found = []
    for window, (east, north, up) in zip(survey.windows, local, strict=True):
        if np.hypot(east, north) > limits.limit_horizontal or abs(up) > limits.limit_vertical:
            far = np.hypot(east, north) > _ELSEWHERE
            what = (
                f"session {window.session.name}: a shift of {np.hypot(east, north):.1f} m horizontally and {up:+.1f} m"
                f" in height exceeds the limits of {limits.limit_horizontal:g} and {limits.limit_vertical:g} m; a"
                f" self-averaged base is off by less, so look for {_WRONG_PLACE if far else _WRONG}"
            )
            found.append(Doubtful(Doubt.SHIFT, what, (window.index,)))
    return found
