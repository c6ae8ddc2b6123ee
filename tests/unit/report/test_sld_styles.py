"""The styles: well-formed SLD 1.0.0, one rule for each row, the palette's colours."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from brimline.layers import CATALOGUE, Layer, layer
from brimline.report import palette, styles
from brimline.report.ramps import RAMPS
from brimline.report.sld import layer_style

if TYPE_CHECKING:
    from brimline.report import Results

SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
PUBLISHED = [i.name for i in CATALOGUE.values() if isinstance(i, Layer) and i.published]
# order of the children of these elements in the schema of OGC 02-070, appendix A
ORDER = {
    "Rule": ["Name", "Title", "Filter", "PolygonSymbolizer", "LineSymbolizer", "PointSymbolizer",
             "TextSymbolizer", "RasterSymbolizer"],
    "NamedLayer": ["Name", "UserStyle"],
    "UserStyle": ["Name", "Title", "IsDefault", "FeatureTypeStyle"],
    "Mark": ["WellKnownName", "Fill", "Stroke"],
    "Graphic": ["Mark", "Size", "Rotation"],
    "PolygonSymbolizer": ["Fill", "Stroke"],
    "TextSymbolizer": ["Label", "Font", "Halo", "Fill"],
}  # fmt: skip
MARKS = {"square", "circle", "triangle", "star", "cross", "x"}


def local(element: ET.Element) -> str:
    return element.tag.split("}")[1]


def holds(element: ET.Element | None, row: dict[str, Any]) -> bool:
    """Evaluate an OGC filter, as a viewer would."""
    if element is None:
        return True
    name, parts = local(element), list(element)
    if name == "Filter":
        return holds(parts[0], row)
    if name == "Not":
        return not holds(parts[0], row)
    if name == "And":
        return all(holds(part, row) for part in parts)
    value = row[element.findtext(f"{OGC}PropertyName")]
    wanted = element.findtext(f"{OGC}Literal")
    if name == "PropertyIsGreaterThanOrEqualTo":
        return float(value) >= float(wanted)
    assert name == "PropertyIsEqualTo"
    return str(value).lower() == wanted.lower()


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_layers_style_follows_the_schema(name: str) -> None:
    root = ET.fromstring(layer_style(layer(name)).encode())
    assert root.tag == f"{SLD}StyledLayerDescriptor"
    assert root.get("version") == "1.0.0"
    assert root.findtext(f"{SLD}NamedLayer/{SLD}Name") == name
    for element in root.iter():
        wanted = ORDER.get(local(element))
        if wanted:
            found = [wanted.index(local(child)) for child in element]
            assert found == sorted(found), local(element)
    for mark in root.iter(f"{SLD}WellKnownName"):
        assert mark.text in MARKS
    colours = {c.text for c in root.iter(f"{SLD}CssParameter") if c.text and c.text[0] == "#"}
    assert colours <= {ink.light for ink in palette.INKS}


@pytest.mark.parametrize("name", ["flow_paths", "contours", "elements", "surfaces"])
def test_exactly_one_rule_holds_for_each_row(made_results: Results, name: str) -> None:
    rules = [
        rule
        for rule in ET.fromstring(layer_style(layer(name)).encode()).iter(f"{SLD}Rule")
        if rule.findtext(f"{SLD}Name") != "Labels"
    ]
    for _, row in made_results.frames[name].iterrows():
        found = [
            rule.findtext(f"{SLD}Title")
            for rule in rules
            if holds(rule.find(f"{OGC}Filter"), dict(row))
        ]
        assert found == [palette.style(name).rule(row).title]


def test_every_published_thing_of_the_run_has_a_style(made_results: Results) -> None:
    found = styles(made_results)
    drawn = {name for name, frame in made_results.frames.items() if "geometry" in frame.columns}
    assert set(found) == drawn | set(made_results.rasters)


@pytest.mark.parametrize("name", ["slope_pct", "catchment_chance", "wetness"])
def test_a_rasters_colours_are_its_ramps(made_results: Results, name: str) -> None:
    """A reader that blends between entries, as the standard leaves open, sees the ramp's steps."""
    root = ET.fromstring(styles(made_results)[name].encode())
    entries = list(root.iter(f"{SLD}ColorMapEntry"))
    quantities = [float(entry.get("quantity")) for entry in entries]
    assert quantities == sorted(quantities)
    ramp = RAMPS[name]
    rng = np.random.default_rng(3)
    for value in rng.uniform(ramp.breaks[0], ramp.breaks[-1] * 1.5, 200):
        below = max(i for i, quantity in enumerate(quantities) if quantity <= value)
        near = {entries[below].get("color"), entries[min(below + 1, len(entries) - 1)].get("color")}
        assert ramp.colours[int(ramp.classes(np.array([value]))[0])] in near
    words = [entry.get("label") for entry in entries if entry.get("label")]
    assert len(words) == len(ramp.colours)


def test_codes_are_never_blended(made_results: Results) -> None:
    root = ET.fromstring(styles(made_results)["flow_direction"].encode())
    pairs = [(float(e.get("quantity")), e.get("color")) for e in root.iter(f"{SLD}ColorMapEntry")]
    assert [quantity for quantity, _ in pairs] == [5.5, 6.499]
    assert pairs[0][1] == pairs[1][1]
