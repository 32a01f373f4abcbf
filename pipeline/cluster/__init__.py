"""The jobs of a batch, run by the workers of a Dask scheduler that is there already."""
