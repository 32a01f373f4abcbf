"""Frames, PROJ operations, heights and 95 % figures. Arrays in, arrays out; the one room that imports pyproj."""

from pipeline.sealed import sealed_off

with sealed_off():  # it looks at the environment when it is loaded
    from pyproj import network as _network

    _network.set_network_enabled(active=False)  # type: ignore[attr-defined]  # compiled, without stubs
