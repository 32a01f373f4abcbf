"""Who is told how far a job has come."""

from collections.abc import Callable

#: Takes the stage, the rows done, and the rows in all; 0 where that is not known.
Progress = Callable[[str, int, int], None]
