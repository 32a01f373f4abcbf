"""Frames, PROJ operations, heights and 95 % figures. Arrays in, arrays out; the one room that imports pyproj."""
