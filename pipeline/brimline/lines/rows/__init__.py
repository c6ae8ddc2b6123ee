"""Swale rows: where they go, what sheds to them, and rows that a person has drawn."""

from brimline.lines.rows.drawn import Corrected, around, corrected
from brimline.lines.rows.propose import SwaleRow, swale_rows
from brimline.lines.rows.ranked import RankedRow, ranked
from brimline.lines.rows.rules import Duty, RowSpacing, catchment_ratio, terrace_interval_m
from brimline.lines.rows.stacks import RowSection
from brimline.lines.rows.worth import WantedRows

__all__ = [
    "Corrected",
    "Duty",
    "RankedRow",
    "RowSection",
    "RowSpacing",
    "SwaleRow",
    "WantedRows",
    "around",
    "catchment_ratio",
    "corrected",
    "ranked",
    "swale_rows",
    "terrace_interval_m",
]
