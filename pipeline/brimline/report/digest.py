"""Whether pages that were written earlier are still those that would be written now."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path


@cache
def pages_digest() -> str:
    """Return a digest of everything in this room: code, templates and assets."""
    room = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(room.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            digest.update(path.relative_to(room).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
