"""The earth as a sphere, good to half a percent: enough to tell places apart, and for nothing that is issued."""

import math

#: Metres.
RADIUS = 6_371_000.0
#: Metres in a degree of a great circle.
DEGREE = RADIUS * math.pi / 180.0
