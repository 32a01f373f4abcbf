"""The second pass: every reading corrected, proven or held back, as the rows of the issued layers."""
