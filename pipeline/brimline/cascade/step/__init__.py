"""One step of time for all elements of a cascade together."""
