"""The GeoPackage of an issue: its layers, how they are written, summed, read back and revised."""
