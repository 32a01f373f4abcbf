"""What the last digit of a number is worth that was read as a number: its zeros at the end are not to be seen."""

import numpy as np

#: What a number of 53 bits that was converted may be off: as a share of it, and of its last digit at the least.
_BITS, _LEAST = 4 * np.finfo(np.float64).eps, 1e-6


def last_digit(value: float, decimals: range) -> float:
    """Return what the last digit of a number is worth that has the fewest of these decimals; of more, the finest."""
    for number in decimals:
        scaled = abs(value) * 10.0**number
        if abs(scaled - round(scaled)) <= max(_LEAST, _BITS * scaled):
            return float(10.0**-number)
    return float(10.0 ** -decimals[-1])
