"""Files: rasters, vectors, points, tables, GeoPackage, exchange formats."""
