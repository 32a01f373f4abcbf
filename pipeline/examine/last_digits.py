"""Finds the resolution of a number that was read as a float, in the number's own unit: its final zeros are lost."""

import numpy as np

#: What a number of 53 bits that was converted may be off: as a share of it, and of its last digit at the least.
_BITS, _LEAST = 4 * np.finfo(np.float64).eps, 1e-6


def last_digit(value: float, decimals: range) -> float:
    """Return the step of a number's last digit, in its unit: a power of ten with the fewest fitting ``decimals``.

    The finest of them where none fits.
    """
    for number in decimals:
        scaled = abs(value) * 10.0**number
        if abs(scaled - round(scaled)) <= max(_LEAST, _BITS * scaled):
            return float(10.0**-number)
    return float(10.0 ** -decimals[-1])
