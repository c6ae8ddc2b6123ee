"""What an input file is by its first bytes; only formats that hold their own data are opened.

GDAL would open whatever it knows: a file called ``.tif`` or ``.gpkg`` may describe a web service or
point to another file, and opening it would call out. So a file is looked at first, and then opened
by the one driver that its bytes name.
"""

from __future__ import annotations

import json
import mmap
import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import rasterio

from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_FIRST_BYTES: Final = 1024
_CRS_BYTES: Final = 4096
_RASTERS: Final[tuple[tuple[bytes, str], ...]] = (
    (b"II\x2a\0", "GTiff"),
    (b"MM\0\x2a", "GTiff"),
    (b"II\x2b\0", "GTiff"),
    (b"MM\0\x2b", "GTiff"),
    (b"EHFA_HEADER_TAG", "HFA"),
    (b"UHL1", "DTED"),
    (b"\x89PNG", "PNG"),  # pictures are opened so that they can be told to be pictures
    (b"\xff\xd8\xff", "JPEG"),
)
_BARE_RASTERS: Final = {".hgt": "SRTMHGT", ".bil": "EHdr", ".flt": "EHdr"}  # no mark of their own
_GRID_TEXT: Final = re.compile(rb"\s*(ncols|nrows|xll(corner|center))\s", re.IGNORECASE)
# Without the first, heights of a compound CRS in older GeoTIFFs are dropped on opening; with the
# second, a side file could send GDAL to another place for its overviews.
_OPTIONS: Final = {"GTIFF_REPORT_COMPD_CS": "YES", "GDAL_PAM_ENABLED": "NO"}

_SQLITE: Final = b"SQLite format 3\0"
_JOURNAL: Final = bytes.fromhex("d9d505f920a163d7")  # of SQLite, "The Rollback Journal"
_VECTORS: Final = (_SQLITE, b"fgb\x03", b"\0\0\x27\x0a")  # the last is a Shapefile's
_JSON: Final = re.compile(rb"(\xef\xbb\xbf)?\s*\x1e?\s*\{")
# a reference system in GeoJSON may be a link, which GDAL would follow; its reader takes letters as
# escapes, names in either case, single quotes and remarks before the colon
_JSON_CRS: Final = re.compile(
    rb"""["'](c|\\u00[46]3)(r|\\u00[57]2)(s|\\u00[57]3)["']\s*(/\*.*?\*/\s*|//[^\n]*\s*)*:\s*""",
    re.IGNORECASE | re.DOTALL,
)
_MARKUP: Final = re.compile(
    rb"(\xef\xbb\xbf)?\s*(<\?xml[^>]*\?>)?(\s*<!--.*?-->)*\s*<(gpx|kml)[\s>]", re.DOTALL
)
_DRAWING: Final = re.compile(rb"\s*(0\s+SECTION|999\s)")
_BLANK: Final = b"\xef\xbb\xbf \r\n\t"
_USUAL_RASTER: Final = "save it as GeoTIFF."
_USUAL_VECTOR: Final = "save it as GeoPackage, GeoJSON, FlatGeobuf or Shapefile."


def raster_driver(path: Path) -> str:
    """Return the driver that may open a raster.

    Raises
    ------
    InputError
        If the file cannot be read, or is of no format that holds its own cells.
    """
    head = _head(path)
    for mark, driver in _RASTERS:
        if head.startswith(mark):
            return driver
    if _GRID_TEXT.match(head):
        return "AAIGrid"
    if path.suffix.lower() in _BARE_RASTERS and not head.lstrip(_BLANK).startswith(b"<"):
        return _BARE_RASTERS[path.suffix.lower()]
    raise _refused(path, head, "a raster", _USUAL_RASTER)


@contextmanager
def open_raster(path: Path) -> Iterator[Any]:
    """Open a raster by the one driver that its bytes name, without side files.

    Raises
    ------
    InputError
        As `raster_driver`.
    rasterio.errors.RasterioError
        If it is damaged.
    """
    driver = raster_driver(path)
    with rasterio.Env(**_OPTIONS), rasterio.open(path, driver=driver) as file:
        yield file


def check_vector(path: Path) -> None:
    """Let a vector file pass that holds its own rows.

    Raises
    ------
    InputError
        If the file cannot be read, or is of another format.
    """
    if path.is_dir() and path.suffix.lower() == ".gdb":
        return
    head = _head(path)
    if head.startswith(_VECTORS):
        _refuse_half_written(path)
        return
    if _JSON.match(head):
        _refuse_linked_crs(path)
        return
    if _MARKUP.match(head) or _DRAWING.match(head):
        return
    if path.suffix.lower() == ".csv" and head and not head.lstrip(_BLANK).startswith(b"<"):
        return
    raise _refused(path, head, "vector data", _USUAL_VECTOR)


def _refuse_half_written(path: Path) -> None:
    """Refuse a GeoPackage that holds half of what a program is writing, or was when it ended."""
    journal = path.with_name(f"{path.name}-journal")
    try:
        with journal.open("rb") as file:
            half = file.read(len(_JOURNAL)) == _JOURNAL
    except OSError:
        return
    if half:
        raise InputError.of(
            f"another program is writing to it, or ended while it did ({journal.name})",
            mend="save it there; where no program is writing, open it once in a GIS viewer, which"
            " puts it right, and run again.",
            source=str(path),
        )


def _refuse_linked_crs(path: Path) -> None:
    """Let GeoJSON pass whose reference system, where it has one, is named in the file."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text:
        places = [found.end() for found in _JSON_CRS.finditer(text)]
        said = [bytes(text[place : place + _CRS_BYTES]) for place in places]
    for one in said:
        try:
            value, _ = json.JSONDecoder().raw_decode(one.decode("utf-8", "replace"))
        except ValueError:  # too long or no JSON: what it says is not known
            value = {"type": "link"}
        kinds = (
            [v for k, v in value.items() if k.lower() == "type"] if isinstance(value, dict) else []
        )
        if any(str(kind).lower() in ("link", "url") for kind in kinds):
            raise InputError.of(
                "names a link for its reference system, which would have to be fetched",
                mend="save it as GeoPackage, or without the member crs in degrees of WGS 84.",
                source=str(path),
            )


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_FIRST_BYTES)
    except OSError as fault:
        raise InputError.of(
            f"cannot be read ({fault.strerror})",
            mend="check its name and who may read it.",
            source=str(path),
        ) from fault


def _refused(path: Path, head: bytes, what: str, mend: str) -> InputError:
    if not head:
        message, mend = "is empty", "copy or download the file again."
    elif head.startswith(b"PK"):
        message, mend = "is a packed archive", "unpack it and name the file inside."
    elif head.lstrip(_BLANK).startswith(b"<"):
        message = f"cannot be read as {what}: it only describes where data lie elsewhere"
        mend = "name the file that holds the data; nothing is fetched from elsewhere."
    else:
        message = f"cannot be read as {what}: it is of no format that is read here"
    return InputError.of(message, mend=mend, source=str(path))
