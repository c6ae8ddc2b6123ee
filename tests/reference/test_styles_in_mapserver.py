"""Every layer drawn by its SLD in MapServer, an open map renderer that shares no code with ours.

What is looked for is the colour of each rule that has rows, in the picture that it draws.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from brimline.io.geopackage import write_geopackage
from brimline.layers import CATALOGUE, Geometry, Layer
from brimline.report.palette import style
from brimline.report.plates.pens import by_rule
from brimline.report.sld import layer_style

if TYPE_CHECKING:
    from brimline.report import Results

pytestmark = pytest.mark.renderer

NEAR = 60  # of 255, what blending with white at the edge of a thin line may change


@pytest.fixture(scope="module")
def pictures(made_results: Results, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Draw every vector layer that the invented site has rows of."""
    folder = tmp_path_factory.mktemp("styles")
    held = {
        name: rows
        for name, rows in made_results.frames.items()
        if isinstance(CATALOGUE.get(name), Layer) and "geometry" in rows and len(rows)
    }
    write_geopackage(
        folder / "site.gpkg",
        [(CATALOGUE[name], rows) for name, rows in held.items()],
        crs=made_results.grid.crs,
    )
    jobs, found = [], {}
    west, south, east, north = made_results.grid.bounds
    for name, rows in held.items():
        (folder / f"{name}.sld").write_text(layer_style(CATALOGUE[name]), encoding="utf-8")
        # MapServer draws a layer as one kind of shape, and a rule's first symbol for it: of layers
        # that hold points, lines and areas it can show the areas
        mixed = CATALOGUE[name].geometry is Geometry.ANY
        for kind in ["POLYGON"] if mixed else kinds_of(rows):
            found[f"{name} {kind}"] = folder / f"{name}-{kind}.png"
            jobs.append(
                [str(folder / "site.gpkg"), name, kind, str(folder / f"{name}.sld"),
                 str(found[f"{name} {kind}"]), [west, south, east, north]]
            )  # fmt: skip
    script = Path(__file__).with_name("render_with_mapserver.py")
    subprocess.run(
        ["/usr/bin/python3", str(script)],
        input=json.dumps(jobs),
        text=True,
        check=True,
        timeout=120,
    )
    return found


def kinds_of(rows) -> list[str]:
    names = rows.geometry.geom_type.str.replace("Multi", "").unique()
    return [{"Point": "POINT", "LineString": "LINE", "Polygon": "POLYGON"}[n] for n in names]


def has_colour(picture: Path, colour: str, opacity: float) -> bool:
    pixels = np.asarray(Image.open(picture).convert("RGB"), dtype=float)
    ink = np.array([int(colour[n : n + 2], 16) for n in (1, 3, 5)], dtype=float)
    wanted = ink * opacity + 255 * (1 - opacity)
    return bool((np.abs(pixels - wanted).max(axis=2) < NEAR * opacity).any())


def test_every_rule_of_every_layer_is_drawn(
    pictures: dict[str, Path], made_results: Results
) -> None:
    missing = []
    for key, picture in pictures.items():
        name, kind = key.split(" ")
        rows = made_results.frames[name]
        rows = rows[
            rows.geometry.geom_type.str.replace("Multi", "").str.upper().str[:4] == kind[:4]
        ]
        for rule, _ in by_rule(rows, style(name).rules):
            ink = {
                "POINT": rule.mark and (rule.mark.ink, 1.0),
                "LINE": rule.line and (rule.line.ink, 1.0),
                "POLYGON": (rule.line and (rule.line.ink, 1.0))
                or (rule.fill and (rule.fill.ink, rule.fill.opacity)),
            }[kind]
            if ink and not has_colour(picture, ink[0].light, ink[1]):
                missing.append(f"{key}: {rule.title}")
    assert not missing


def test_labels_are_drawn_with_their_rows(pictures: dict[str, Path]) -> None:
    # an intake's mark is 10 px wide; its name beside it reaches farther
    pixels = np.asarray(Image.open(pictures["intakes POINT"]).convert("L"))
    columns = np.flatnonzero((pixels < 200).any(axis=0))
    groups = np.split(columns, np.flatnonzero(np.diff(columns) > 12) + 1)
    assert max(len(group) for group in groups) > 20
