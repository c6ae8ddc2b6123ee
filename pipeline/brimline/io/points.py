"""Point clouds: which files are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_ENDINGS: Final = frozenset({".las", ".laz"})


def is_points(path: Path) -> bool:
    """Tell whether a file is a point cloud, by its ending."""
    return path.suffix.lower() in _ENDINGS


def read_points(files: Sequence[Path], **_: Any) -> Any:  # noqa: ANN401
    """Refuse point clouds: they are not read yet."""
    raise InputError.of(
        "is a point cloud, which this version does not read",
        mend="grid its ground points first and name the raster.",
        source=str(files[0]),
    )
