"""The surface: voids, gridding of points, conditioning, slope and curvature. Arrays only."""
