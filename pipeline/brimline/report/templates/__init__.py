"""The pages' templates, filled by jinja2."""

from __future__ import annotations

import jinja2


def environment() -> jinja2.Environment:
    """Return the environment that escapes everything and refuses what is not given."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("brimline.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
