"""Tracks that vehicles can climb, with the least earth."""

from brimline.lines.tracks.finding import Track, TrackRules, bench_m2, eased, find_track

__all__ = ["Track", "TrackRules", "bench_m2", "eased", "find_track"]
