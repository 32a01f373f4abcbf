"""The register of control marks."""

from pipeline.control.form import Form
from pipeline.control.register import Register, listed_marks, read_register

__all__ = ["Form", "Register", "listed_marks", "read_register"]
