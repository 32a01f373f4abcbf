"""An issue of a job: its layers, its record, and the folder in which it appears whole or not at all."""
