"""An issue against the one before: what is carried forward, what changed, and why."""
