"""The documentation site: the pages beside this file, and a reference made of declarations."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import brimline
from brimline.config import Settings
from brimline.config.template import template
from brimline.layers import FLAGS, Raster, drawn, published

if TYPE_CHECKING:
    from sphinx.application import Sphinx

HERE = Path(__file__).parent
MADE = HERE / "_made"  # written anew by every build, never kept
RUN = HERE.parent / "runs" / "quillback_hill"

project = "brimline"
copyright = "the brimline authors, GPL-3.0-or-later"  # noqa: A001 - the name that Sphinx reads
release = brimline.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
html_theme = "furo"
html_title = "brimline"
exclude_patterns = ["timers"]
myst_heading_anchors = 3
napoleon_google_docstring = False
autodoc_typehints = "none"  # the docstrings say shapes, types and units
# pages also stand on their own in the repository, where links to other files of it lead on
suppress_warnings = ["myst.xref_missing"]


def _cell(text: object) -> str:
    return " ".join(str(text).split()).replace("|", "\\|")


def _rows(heads: tuple[str, ...], rows: list[tuple[object, ...]]) -> str:
    lines = [f"| {' | '.join(heads)} |", f"|{' --- |' * len(heads)}"]
    lines += [f"| {' | '.join(_cell(value) for value in row)} |" for row in rows]
    return "\n".join(lines) + "\n"


def _default(field: Any) -> str:  # noqa: ANN401 - a field of a pydantic model
    if field.is_required():
        return "needed"
    return "" if field.default is None else f"`{field.default}`"


def _configuration() -> str:
    parts = ["# Configuration", "", "Every table and key of `site.toml` with its default.", ""]
    for name, field in Settings.model_fields.items():
        model = field.annotation
        parts += [f"## `[{name}]`", "", (model.__doc__ or "").strip().splitlines()[0], ""]
        rows = [
            (f"`{key}`", _default(one), one.description or "")
            for key, one in model.model_fields.items()
        ]
        parts += [_rows(("key", "default", "meaning"), rows)]
    parts += ["## As a file", "", "```toml", template({}), "```", ""]
    return "\n".join(parts)


def _layers() -> str:
    parts = ["# Layers, tables and rasters", ""]
    for title, items in (("What comes out", published()), ("What is drawn", drawn.ITEMS)):
        parts += [f"## {title}", ""]
        for item in items:
            parts += [f"### `{item.name}`", "", f"{item.title}. {item.meaning}", ""]
            if isinstance(item, Raster):
                parts += [f"Held as int16 in steps of {item.step:g}.", ""] if item.step else []
                continue
            rows = [
                (f"`{column.name}`", column.dtype, column.unit, column.meaning)
                for column in item.columns
            ]
            parts += [_rows(("column", "type", "unit", "meaning"), rows)]
    return "\n".join(parts)


def _flags() -> str:
    parts = ["# Flags", ""]
    for title, severity in (("That need a person", "look"), ("That only tell", "notice")):
        rows = [
            (f"`{flag.code}`", flag.meaning, flag.mend)
            for flag in FLAGS.values()
            if flag.severity == severity
        ]
        parts += [f"## {title}", "", _rows(("flag", "meaning", "what to do"), rows)]
    return "\n".join(parts)


def _names() -> str:
    parts = ["# Names of the library", "", "Under `import brimline`.", ""]
    for name in brimline.__all__:
        kind = "autoclass" if isinstance(getattr(brimline, name), type) else "autofunction"
        parts += ["```{eval-rst}", f".. {kind}:: brimline.{name}", "```", ""]
    return "\n".join(parts)


def _gallery() -> str:
    """Show the figures of the demo where it has been run; say how to get them where not."""
    parts = ["# What the demo looks like", ""]
    figures = sorted((RUN / "figures").glob("*.svg")) if (RUN / "figures").is_dir() else []
    for figure in figures:
        shutil.copy(figure, MADE / figure.name)
        parts += [f"![{figure.stem}]({figure.name})", ""]
    if not figures:
        said = (
            "Run `make demo`, and open `runs/quillback_hill/report.html`: all plates stand there."
        )
        parts += [said, ""]
    return "\n".join(parts)


def _write_reference(_app: Sphinx) -> None:
    MADE.mkdir(exist_ok=True)
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    pages = {
        "start.md": readme.replace("](docs/", "](../"),
        "configuration.md": _configuration(),
        "layers.md": _layers(),
        "flags.md": _flags(),
        "names.md": _names(),
        "gallery.md": _gallery(),
    }
    for name, text in pages.items():
        (MADE / name).write_text(text, encoding="utf-8")


def setup(app: Sphinx) -> None:
    """Write the reference before pages are read."""
    app.connect("builder-inited", _write_reference)
