"""A job file to start from, made from what lies in a folder of exports."""

from pipeline.new_job.start import Started, new_job

__all__ = ["Started", "new_job"]
