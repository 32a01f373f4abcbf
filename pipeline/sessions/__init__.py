"""The base sessions of a job as windows in time, and each reading to its own."""
