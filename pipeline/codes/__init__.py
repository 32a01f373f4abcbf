"""What codes mean: the table of codes that a job names, and how codes of strings are written."""
