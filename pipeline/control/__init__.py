"""The register of control marks."""

from pipeline.control.register import Register, listed_marks, read_register
from pipeline.control.table_form import Form

__all__ = ["Form", "Register", "listed_marks", "read_register"]
