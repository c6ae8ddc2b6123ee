"""Fitting curves to a level: the loops behind `brimline.lines.tidy`."""
