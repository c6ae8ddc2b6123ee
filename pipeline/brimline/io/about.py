"""What a GeoPackage says of itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class About:
    """What the file says of itself.

    Parameters
    ----------
    title, description : of the whole file.
    written_at : moment that goes into the file; the same moment and rows give the same bytes.
    cautions : what every reader must know before using the layers.
    details : anything else that is plain JSON, such as software versions or units.
    styles : an OGC style (SLD, XML text) by layer; of layers that are in the file.
    """

    title: str = ""
    description: str = ""
    written_at: datetime | None = None
    cautions: tuple[str, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)
    styles: Mapping[str, str] = field(default_factory=dict)
