"""Raw exports found, checked and read as batches of readings, a reason on every row that cannot be used."""
