"""The weather: design storms, runoff, hydrographs, daily records."""
