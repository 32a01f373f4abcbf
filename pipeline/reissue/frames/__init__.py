"""What other frames than an earlier issue's do to numbers and proof: found by the shifts, told, and carried on."""
