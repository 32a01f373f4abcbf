"""What speaks against a job before any shift is derived: what stops it, and what takes its proof away."""
