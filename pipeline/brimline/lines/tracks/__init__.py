"""Tracks that vehicles can climb, with the least earth."""

from brimline.lines.tracks.finding import (
    STEEPEST_PCT,
    Track,
    TrackRules,
    bench_m2,
    eased,
    find_track,
    gentlest_grade_pct,
)
from brimline.lines.tracks.laying import LaidTrack, TrackGround, WantedTrack

__all__ = [
    "STEEPEST_PCT",
    "LaidTrack",
    "Track",
    "TrackGround",
    "TrackRules",
    "WantedTrack",
    "bench_m2",
    "eased",
    "find_track",
    "gentlest_grade_pct",
]
