"""The schema of the records that this version writes; what needs no more of them does not load their types."""

from typing import Final

#: Raised whenever a key comes, goes or changes its meaning: once for all that a version of the program changes.
SCHEMA: Final = 8
