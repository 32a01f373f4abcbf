"""Loading this module loads what a job needs: worker processes are forked from one that has done so.

For processes of the command's own alone, since it hides the libraries of data frames.
"""

from contextlib import suppress

from pipeline.run.lean import loaded_for_good, seldom_searched, without_unused

without_unused()
seldom_searched()
with loaded_for_good(), suppress(Exception):  # the first job that needs what cannot be loaded tells of it in words
    import adbc_driver_manager  # noqa: F401
    import adbc_driver_sqlite  # noqa: F401

    import pipeline.adjust.scipy_parts
    import pipeline.run.run_job  # noqa: F401
    from pipeline.files.gdal import fiona_at_home, gdal

    gdal()
    with fiona_at_home():
        pass
