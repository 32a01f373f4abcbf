"""The arrays that pass through the house, named once. Their shapes stand in the docstrings of whoever takes them."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]
#: Three coordinates, (n,) each.
Triple = tuple[Floats, Floats, Floats]
