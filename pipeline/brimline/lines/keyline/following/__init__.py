"""Following one level line along the ground from a place beside it."""

from brimline.lines.keyline.following.level_run import LevelRun, level_run

__all__ = ["LevelRun", "level_run"]
