"""Geometry on the ground: contours, swale rows, graded lines, keypoints and keylines."""
