"""What pages are made of beside code."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path


@cache
def assets_digest() -> str:
    """Return a digest of the templates and assets."""
    room = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(room.rglob("*")):
        if path.is_file() and path.suffix not in {".py", ".pyc"}:
            digest.update(path.relative_to(room).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
