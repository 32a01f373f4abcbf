"""The first pass: what a job names, loaded; its readings sorted, and what the shifts will need of them kept."""
