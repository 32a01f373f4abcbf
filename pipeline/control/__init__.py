"""The register of control marks."""

from pipeline.control.register import Register, listed_marks, read_register
from pipeline.control.register_frame import RegisterFrame
from pipeline.control.table_form import Form

__all__ = ["Form", "Register", "RegisterFrame", "listed_marks", "read_register"]
