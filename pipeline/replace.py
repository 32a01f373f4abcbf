"""A copy of a value with some of its fields replaced, whichever of the two kinds of values it is.

The libraries' own `replace` each fail on a value of the other kind, which the type checker does not always find.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # mypy checks the names and types of the fields of both kinds by it
    from dataclasses import replace as replace
else:
    import dataclasses

    from msgspec import Struct, structs

    def replace(value: Any, /, **changes: Any) -> Any:
        """Return a copy of a struct or dataclass with these fields; one that it does not have is a `TypeError`."""
        return (structs if isinstance(value, Struct) else dataclasses).replace(value, **changes)
