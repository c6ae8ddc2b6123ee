"""Which pieces a run folder is made of."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pyarrow.parquet as pq

from brimline.layers import CATALOGUE, Layer, Raster, Table
from brimline.publish import client, data, map_page, near, pages, plates, sheets, stakes
from brimline.publish.groups import CLIENT_PDF, FIGURES, LAYERS, NEAR, REPORT_PDF
from brimline.publish.piece import Piece, raster_piece
from brimline.report.map_data import part_names
from brimline.report.plates.album import CONCEPT, PLATES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from brimline.engine.store import Store
    from brimline.publish.sight import World

_REPORT = "brimline.report"


def pieces_of(world: World, store: Store, *, pdf: bool) -> tuple[Piece, ...]:
    """Return every piece of a run, each after those that it is put together from."""
    staked = _names(world, store, "stakes", "element_id")
    first = tuple(_near(world))
    names = tuple(piece.name for piece in first)
    return first + tuple(
        replace(piece, after=(*names, *piece.after)) for piece in _shown(world, staked, pdf=pdf)
    )


def _near(world: World) -> Iterator[Piece]:
    """Yield what the layers are made of that all others show."""
    if "near_ground" not in world.outputs:
        return
    for piece, name in NEAR.items():
        if name in world.outputs:
            title = f"taking what lies near the site: {name.replace('_', ' ')}"
            yield Piece(piece, LAYERS, title, near.write_near, (name,), part=True)


def _shown(world: World, staked: tuple[str, ...], *, pdf: bool) -> tuple[Piece, ...]:
    return (
        Piece(FIGURES, LAYERS, "what needs a person", pages.write_figures, part=True),
        *_layers(world),
        *_data(world),
        *_stakes(staked, pdf=pdf),
        Piece("survey.html", "pages", "writing the page of the survey", pages.write_survey),
        *_notes(world),
        *_report(pdf=pdf),
        *_map(),
    )


def _layers(world: World) -> Iterator[Piece]:
    parts = []
    for item in CATALOGUE.values():
        if item.published and item.name in world.outputs and not isinstance(item, Raster):
            parts.append(data.part_of(item.name))
            title = f"writing layers: {item.name}"
            yield Piece(parts[-1], LAYERS, title, data.write_layer, (item.name,), part=True)
    for file, write in (("site.gpkg", data.write_layers), ("design.gpkg", data.write_design)):
        yield Piece(file, LAYERS, f"writing {file}", write, after=tuple(parts))


def _data(world: World) -> Iterator[Piece]:
    for item in CATALOGUE.values():
        if not item.published or item.name not in world.outputs:
            continue
        name = item.name
        if isinstance(item, Raster):
            yield raster_piece(name)
        elif isinstance(item, Table):
            file = f"tables/{name}.csv"
            yield Piece(file, "tables", f"writing {file}", data.write_one_table, (name,))
        if isinstance(item, Layer | Raster):
            file = f"styles/{name}.sld"
            yield Piece(file, "styles", f"writing {file}", data.write_style, (name,))


def _stakes(staked: tuple[str, ...], *, pdf: bool) -> Iterator[Piece]:
    files: tuple[tuple[str, Callable[..., None], tuple[str, ...]], ...] = (
        ("site.dxf", stakes.write_drawing, ()),
        ("site.gpx", stakes.write_tracks, ()),
        ("site.xml", stakes.write_surfaces, ()),
        ("stakes.csv", stakes.write_points, ("stakes",)),
        ("as_built.csv", stakes.write_points, ("as_built_stakes",)),
        ("plants.csv", stakes.write_points, ("plants",)),
        ("care.ics", stakes.write_calendar, ()),
        ("stakes_for_logger.csv", stakes.write_for_logger, ("stakes",)),
        ("plants_for_logger.csv", stakes.write_for_logger, ("plants",)),
        *((f"{name}.geojson", stakes.write_features, (name,)) for name in stakes.GEOJSON),
    )
    for name, write, args in files:
        yield Piece(f"stakes/{name}", "stakes", f"writing stakes/{name}", write, args)
    parts = tuple(sheets.PARTS + name for name in staked)
    for name, part in zip(staked, parts, strict=True):
        title = f"drawing the staking sheet of {name}"
        yield Piece(part, "stakes", title, sheets.write_sheet, (name,), part=True)
    title = "putting the staking sheets together"
    yield Piece("stakes/sheets.html", "stakes", title, sheets.write_sheets, after=parts)
    if pdf and parts:
        title = "printing the staking sheets"
        yield Piece("stakes/sheets.pdf", "stakes", title, sheets.write_sheets_pdf, after=parts)
    title = "drawing the sheets for setting out by hand"
    yield Piece(sheets.HAND, "stakes", title, sheets.write_hand)
    if pdf:
        title, name = "printing the sheets for setting out by hand", "stakes/by_hand.pdf"
        yield Piece(name, "stakes", title, sheets.write_hand_pdf, after=(sheets.HAND,))


def _notes(world: World) -> Iterator[Piece]:
    if "notes" in world.outputs:
        yield Piece("notes.html", "pages", "writing the notes from the ground", pages.write_notes)


def _report(*, pdf: bool) -> Iterator[Piece]:
    yield Piece(
        plates.FRAME, "pages", "looking at the site's extent", plates.write_frame, part=True
    )
    names = []
    for module, function in PLATES:
        words = f"{module.rpartition('.')[2]}, {function}".replace("_", " ")
        names.append(f"parts/plates/{words}")
        yield Piece(
            names[-1], "pages", f"drawing: {words}", plates.write_plate, (module, function),
            code=(module,), part=True, after=(plates.FRAME,),
        )  # fmt: skip
    drawn, plan = tuple(names), names[PLATES.index(CONCEPT)]
    yield Piece(
        "client.html", "pages", "writing the client's page", client.write_client, (plan,),
        after=(plan,),
    )  # fmt: skip
    title = "drawing the set of drawings"
    yield Piece(client.DRAWINGS, "pages", title, client.write_drawings)
    if pdf:
        title, name = "printing the set of drawings", "drawings.pdf"
        yield Piece(name, "pages", title, client.write_drawings_pdf, after=(client.DRAWINGS,))
        title = "printing the client's page"
        yield Piece(CLIENT_PDF, "pages", title, client.write_client_pdf, (plan,), after=(plan,))
    title = "putting the report together"
    yield Piece("report.html", "pages", title, pages.write_report, drawn, after=drawn)
    if pdf:
        yield Piece(REPORT_PDF, "pages", "printing the report", pages.write_pdf, drawn, after=drawn)


def _map() -> Iterator[Piece]:
    parts = tuple(map_page.PARTS + name for name in part_names())
    for name, part in zip(part_names(), parts, strict=True):
        title = f"drawing the map page: {name.replace('_', ' ')}"
        yield Piece(part, "pages", title, map_page.write_part, (name,), part=True)
    title = "putting the map page together"
    yield Piece("map.html", "pages", title, map_page.write_map, after=parts)


def _names(world: World, store: Store, name: str, column: str) -> tuple[str, ...]:
    """Return each value of a column once, without loading the layer."""
    stored = world.outputs.get(name)
    if stored is None:
        return ()
    values = pq.read_table(store.open(stored), columns=[column]).column(0).to_pylist()
    return tuple(dict.fromkeys(str(value) for value in values))
