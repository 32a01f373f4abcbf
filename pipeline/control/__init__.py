"""The register of control marks."""

from pipeline.control.register import Register, read_register

__all__ = ["Register", "read_register"]
