"""What goes to the field: marks at hand with their coordinates, and what a day's ties and checks promise."""
