"""The folder of a job: issues complete or absent, the list of them, and ``current``."""
