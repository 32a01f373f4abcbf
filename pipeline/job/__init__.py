"""The job file: its types, how it is read, and the line at which it is wrong."""
