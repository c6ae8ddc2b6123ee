"""Every stage of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.stages import contours, site, storm, survey, terrain

if TYPE_CHECKING:
    from brimline.engine import Stage


def all_stages() -> tuple[Stage, ...]:
    """Return every stage; their order in a run follows from what each needs and makes."""
    return tuple(module.STAGE for module in (survey, site, storm, terrain, contours))
