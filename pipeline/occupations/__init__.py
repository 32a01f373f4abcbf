"""Tells which readings are occupations of marks, by what their names and codes say and by where they lie. Pure."""
