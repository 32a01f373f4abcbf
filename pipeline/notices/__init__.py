"""What deserves a look and stops nothing: warnings in words, before a run and after it."""
