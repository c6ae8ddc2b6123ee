"""Plates of the report, each a piece of its own."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

from brimline.report.plates.album import plate
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.publish.sight import Sight

FRAME: Final = "parts/frame"


def write_frame(sight: Sight, path: Path) -> None:
    """Write the rectangle of ground that every map plate shows."""
    path.write_text(json.dumps(asdict(MapFrame.around(sight.results))), encoding="utf-8")


def write_plate(sight: Sight, path: Path, module: str, name: str) -> None:
    """Write one plate as JSON, where the run allows it."""
    frame = MapFrame(**json.loads(sight.piece(FRAME) or ""))
    drawn = plate(sight.results, frame, module, name)
    if drawn is not None:
        path.write_text(json.dumps(asdict(drawn)), encoding="utf-8")


def read_plates(sight: Sight, names: tuple[str, ...]) -> list[Plate]:
    """Return the plates that were made, in their order."""
    texts = [sight.piece(name) for name in names]
    return [Plate(**json.loads(text)) for text in texts if text is not None]
