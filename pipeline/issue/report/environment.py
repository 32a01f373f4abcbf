"""The templates of the report, compiled once, as Python compiles its modules, and kept where it keeps those."""

import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from importlib.util import cache_from_source
from pathlib import Path
from typing import Any

import jinja2
from jinja2.bccache import Bucket

from pipeline.issue.report import number_format

_TEMPLATES = Path(__file__).parent / "templates"
_FILTERS: dict[str, Callable[..., Any]] = {
    "metres": number_format.metres,
    "count": number_format.count,
    "moment": number_format.moment,
    "local": number_format.local,
    "clipped": number_format.clipped,
}


class _Kept(jinja2.FileSystemBytecodeCache):
    """Compiled templates beside the package's own compiled modules; where they cannot be kept, nothing is lost.

    As Python does with those, what is there is used even where it is told to keep none.
    """

    def dump_bytecode(self, bucket: Bucket) -> None:
        if sys.dont_write_bytecode:
            return
        with suppress(OSError):
            super().dump_bytecode(bucket)


@cache
def environment() -> jinja2.Environment:
    """Return the environment of the templates: everything escaped, an unknown name an error."""
    folder = Path(cache_from_source(__file__)).parent
    kept = _Kept(str(folder)) if folder.is_dir() else None
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        bytecode_cache=kept,
    )
    made.filters.update(_FILTERS)
    made.globals["many"] = number_format.many
    return made
