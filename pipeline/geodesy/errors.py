"""The one exception of this room."""


class OperationError(Exception):
    """A CRS, a grid file or an operation cannot be used as the job file asks; ``fix`` says what to do about it."""

    def __init__(self, what: str, fix: str = "") -> None:
        self.what = what
        self.fix = fix
        super().__init__(what, fix)

    def __str__(self) -> str:
        return f"{self.what} -> {self.fix}" if self.fix else self.what
