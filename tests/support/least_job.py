"""The beginning of a job file that says the least that one must, but for its sessions; nothing in it is read."""

YARD = """\
[job]
name = "yard"
folder = "out"
[target]
grid = "EPSG:2193"
height = "ellipsoid"
[source]
crs = "EPSG:4959"
[[points]]
files = ["*.csv"]
[control]
file = "control.csv"
crs = "EPSG:2193"
"""
