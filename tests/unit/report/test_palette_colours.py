"""The palette against the sets that it cites, colour blindness, and contrast on the page."""

from __future__ import annotations

import itertools

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb

from brimline.layers import CATALOGUE, Layer
from brimline.report import palette, ramps

# Machado, Oliveira & Fernandes 2009, doi:10.1109/TVCG.2009.113, table of matrices at severity 1.0
# (values from memory; each row of such a matrix sums to 1, which the test below holds them to)
BLINDNESS = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}
# lines that lie on one plate with no other difference than colour (all are plain, medium lines)
MEETING = ("BROWN", "BLUE", "BLUE_GREEN", "PURPLE", "VERMILION", "WINE", "INDIGO")


def linear(colour: str) -> np.ndarray:
    rgb = np.array(to_rgb(colour))
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb_linear: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB under D65 (IEC 61966-2-1)."""
    xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ) @ np.clip(rgb_linear, 0, 1)
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.1, definitions of relative luminance and contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    lums = sorted((float(weights @ linear(colour)) for colour in (one, other)), reverse=True)
    return (lums[0] + 0.05) / (lums[1] + 0.05)


@pytest.mark.parametrize(
    ("name", "colours"),
    [
        ("YlOrBr", ramps.YL_OR_BR),
        ("Blues", ramps.BLUES),
        ("YlGnBu", ramps.YL_GN_BU),
        ("BrBG", ramps.BR_BG),
        ("PuOr", ramps.PU_OR),
        ("viridis", ramps.VIRIDIS),
        ("cividis", ramps.CIVIDIS),
    ],
)
def test_ramps_are_the_published_sets(name: str, colours: tuple[str, ...]) -> None:
    """matplotlib carries the same sets; its own interpolation rounds by up to 2 of 255."""
    told = mpl.colormaps[name](np.linspace(0, 1, len(colours)))
    theirs = np.array([ramps.rgb(to_hex(colour)) for colour in told])
    ours = np.array([ramps.rgb(colour) for colour in colours])
    assert np.abs(theirs - ours).max() <= 2


def test_ramps_have_a_colour_for_each_rising_class() -> None:
    for ramp in ramps.RAMPS.values():
        assert len(ramp.breaks) == len(ramp.colours)
        assert list(ramp.breaks) == sorted(set(ramp.breaks))
        assert len(set(ramp.colours)) == len(ramp.colours)


def test_classes_hold_their_lower_limit_and_leave_out_nodata() -> None:
    ramp = ramps.RAMPS["slope_pct"]
    values = np.array([0.0, 1.99, 2.0, 30.0, 500.0, np.nan, -1.0])
    assert ramp.classes(values).tolist() == [0, 0, 1, 6, 6, 255, 255]


def test_each_paper_colour_has_one_counterpart() -> None:
    assert len({ink.light for ink in palette.INKS}) == len(palette.INKS)


def test_every_published_layer_has_a_style_of_its_own() -> None:
    for item in CATALOGUE.values():
        if isinstance(item, Layer) and item.published:
            assert item.name in palette.STYLES, f"{item.name} would be drawn in plain ink"


def test_styles_name_columns_that_exist() -> None:
    for look in palette.STYLES.values():
        item = CATALOGUE.get(look.layer)
        if not isinstance(item, Layer):
            continue
        known = {column.name for column in item.columns}
        asked = {rule.where.column for rule in look.rules if rule.where} | {look.label} - {""}
        assert asked <= known, look.layer


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_can_be_read(theme: str) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for text."""
    paper = getattr(palette.PAPER, theme)
    for ink in (palette.INK, palette.QUIET):
        assert contrast(getattr(ink, theme), paper) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_lines_stand_out_from_paper(theme: str) -> None:
    """WCAG 2.1, success criterion 1.4.11: 3 to 1 for graphics; fills are exempt."""
    paper = getattr(palette.PAPER, theme)
    for look in palette.STYLES.values():
        for rule in look.rules:
            drawn = [part.ink for part in (rule.line, rule.mark) if part is not None]
            for ink in drawn:
                assert contrast(getattr(ink, theme), paper) >= 3.0, (look.layer, ink)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("kind", ["none", *BLINDNESS])
def test_lines_can_be_told_apart_without_red_or_green(kind: str, theme: str) -> None:
    """A difference of 10 in CIE 1976 is plain side by side (2.3 is just noticeable)."""
    seen = np.array(BLINDNESS.get(kind, np.eye(3)))
    assert np.allclose(seen.sum(axis=1), 1, atol=1e-5)
    inks = {name: lab(seen @ linear(getattr(getattr(palette, name), theme))) for name in MEETING}
    for one, other in itertools.combinations(MEETING, 2):
        assert np.linalg.norm(inks[one] - inks[other]) > 10, (one, other)


def test_the_last_rule_that_holds_is_taken() -> None:
    paths = palette.style("flow_paths")
    assert [paths.rule({"order": order}).title for order in (1, 2, 3, 4, 7)] == [
        "Flow path",
        "Path of order 2",
        "Path of order 3",
        "Order 4 and up",
        "Order 4 and up",
    ]
