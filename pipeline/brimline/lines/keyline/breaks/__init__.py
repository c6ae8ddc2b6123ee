"""Fast searches for the breaks of a long profile."""
