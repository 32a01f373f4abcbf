"""What occupations of control marks prove: differences, the proof word of a time, and what a failing check means."""
