"""What people get: a run folder made of small pieces, of which only what changed is made again.

A piece is one file of the run folder, or a part of one (a plate, a layer of the map page). What it
reads is noted while it is made, so that its key holds the content of that and of nothing else.
"""

from brimline.publish.folder import (
    CAUTIONS,
    MANIFEST,
    Published,
    publish,
    refuse_what_is_no_run,
)
from brimline.publish.groups import GROUPS, REPORT_PDF
from brimline.publish.sight import results_of

__all__ = [
    "CAUTIONS",
    "GROUPS",
    "MANIFEST",
    "REPORT_PDF",
    "Published",
    "publish",
    "refuse_what_is_no_run",
    "results_of",
]
