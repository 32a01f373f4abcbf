"""Where an issue's coordinates come from, in sentences for the metadata of its files."""

from pathlib import Path

from pipeline.intake.survey import Survey
from pipeline.reissue.fingerprint import program_version
from pipeline.words import MARKS_DRAWN, counted


def provenance(survey: Survey) -> list[str]:
    """Return what an issue is, then each step by which it came about, inputs with their sums."""
    goal, register = survey.target, survey.prepared.register
    files = [f"Read {Path(export.shown).name} (SHA-256 {export.sha256})." for export in survey.exports]
    told = f"Control marks from {Path(register.shown).name} (SHA-256 {register.sha256})." if register else ""
    steps = [f"Transformed ({one.step}) by {one.definition}" for one in survey.operations.recorded()]
    return [
        f"Points of {counted(len(survey.windows), 'base session')} in {goal['grid_name']}, {goal['height_name']}: "
        "tied to control marks by least squares in geocentric space, with their proof; what is not proven is held "
        "back or marked.",
        *files,
        *([told] if told else []),
        *steps,
        f"{MARKS_DRAWN} The layer marks has both.",
        f"Computed by {program_version()}.",
    ]
