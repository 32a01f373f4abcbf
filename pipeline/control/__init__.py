"""The register of control marks."""

from pipeline.control.register import Register, listed_marks, read_register

__all__ = ["Register", "listed_marks", "read_register"]
