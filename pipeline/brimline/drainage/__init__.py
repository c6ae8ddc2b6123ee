"""Flow on the ground: direction, accumulation, catchments, flow paths, hollows. Arrays only."""
