"""From a matplotlib figure to an SVG element that sits in a page: small, repeatable, themed."""

from __future__ import annotations

import base64
import io
import re
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG

from brimline.report.palette import INKS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SETTINGS: Final[dict[str, Any]] = {
    "svg.hashsalt": "brimline",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",  # comes with matplotlib: the same letters everywhere
    "font.size": 7.0,
    "axes.linewidth": 0.6,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
}
BACKDROP: Final = "backdrop"

_ID: Final = re.compile(r'(\bid="|url\(#|href="#)([^")]+)')
_DIGITS: Final = re.compile(r"-?\d+\.\d{3,}")
_PATH: Final = re.compile(r' (?:d|points)="[^"]*"')
_COLOUR: Final = re.compile(r"#[0-9a-f]{6}")


def svg_of(figure: Figure, prefix: str, backdrop: tuple[bytes, str, str] | None = None) -> str:
    """Return a figure as one ``<svg>`` element without prologue, date or outside references.

    Parameters
    ----------
    prefix : makes identifiers unique in a page with several figures.
    backdrop : JPEG bytes, the attributes that place them, and the shape in which they are seen;
        takes the place of the patch
        whose identifier is `BACKDROP`.
    """
    with mpl.rc_context(SETTINGS):
        out = io.StringIO()
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = _PATH.sub(lambda found: _DIGITS.sub(_short, found[0]), text)
    if backdrop is not None:
        text = _with_image(text, *backdrop)
    text = _ID.sub(lambda found: f"{found[1]}{prefix}-{found[2]}", text)
    return re.sub(r"\s*\n\s*", "\n", text).strip()


def themed(svg: str) -> str:
    """Return the SVG with each colour of the palette as a variable that follows the theme."""
    known = {ink.light for ink in INKS}

    def variable(found: re.Match[str]) -> str:
        colour = found[0]
        return f"var(--c{colour[1:]},{colour})" if colour in known else colour

    return re.sub(r'style="[^"]*"', lambda style: _COLOUR.sub(variable, style[0]), svg)


def theme_variables(*, dark: bool) -> str:
    """Return CSS declarations of the variables that `themed` uses."""
    return "".join(f"--c{ink.light[1:]}:{ink.dark if dark else ink.light};" for ink in INKS)


def _short(found: re.Match[str]) -> str:
    return f"{float(found[0]):.2f}".rstrip("0").rstrip(".")


def _with_image(text: str, content: bytes, attributes: str, seen: str) -> str:
    data = base64.b64encode(content).decode()
    image = (
        f'<clipPath id="ground-seen">{seen}</clipPath><g clip-path="url(#ground-seen)">'
        f'<image class="ground" {attributes} href="data:image/jpeg;base64,{data}"/></g>'
    )
    found = re.search(rf'<g id="{BACKDROP}">.*?</g>', text, flags=re.DOTALL)
    if found is None:
        raise ValueError("the figure has no patch to put the picture in place of")
    return text[: found.start()] + image + text[found.end() :]
