"""Surveys larger than memory: tile by tile on Dask, equal in every cell to the whole at once."""
