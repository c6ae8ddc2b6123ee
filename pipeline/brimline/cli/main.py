"""The command ``brimline``: one module a subcommand; heavy imports wait until one is called."""

from __future__ import annotations

import errno
import os
import signal
import sys
import traceback
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from brimline import __version__
from brimline.cli import console
from brimline.errors import BrimlineError, InputError, shown

INTERRUPTED = 3
_ROOM = "make room on the disk; what was there before is untouched"
_RIGHTS = "see who may read and write there; what was there before is untouched"
_MENDS = {
    errno.ENOSPC: _ROOM,
    errno.EDQUOT: _ROOM,
    errno.EACCES: _RIGHTS,
    errno.EPERM: "take the right to write there from others (chmod o-w), or have it be yours",
    errno.EROFS: _RIGHTS,
    errno.EIO: "the disk is failing, or a network drive is gone",
    errno.ENAMETOOLONG: "shorten the names of files and folders",
    errno.EMFILE: "allow more open files, or run with fewer --jobs",
}

# Nothing is fetched but elevation from hosts that a site's file names (`io.remote`): files that
# would have a library go out are refused by what they hold (`io.formats`), and were one to pass,
# GDAL would find a proxy that takes nothing and PROJ no net.
_OFFLINE = {
    "GDAL_HTTP_PROXY": "127.0.0.1:0", "GDAL_HTTPS_PROXY": "127.0.0.1:0", "NO_PROXY": "",
    "no_proxy": "", "PROJ_NETWORK": "OFF",
}  # fmt: skip

app = typer.Typer(
    name="brimline",
    help="Water-harvesting earthworks from a terrain model, as layers for any GIS viewer.",
    no_args_is_help=True,
    epilog="Start with: brimline new my_site --elevation terrain.tif --boundary outline.gpkg",
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SiteFile = Annotated[Path, typer.Argument(metavar="SITE.toml", help="The site's file.")]
Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Say only what is wrong, and nothing of progress.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print a machine-readable result.")]


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Show the version and leave.")] = False,
) -> None:
    if version:
        console.result(f"brimline {__version__}")
        raise typer.Exit


@app.command(epilog="Example: brimline new my_site --elevation terrain.tif --boundary outline.gpkg")
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to start the site in.")],
    elevation: Annotated[
        list[Path] | None,
        typer.Option(help="GeoTIFF or point cloud, which may be several; or a file of levels."),
    ] = None,
    boundary: Annotated[Path | None, typer.Option(help="Polygon of the site.")] = None,
    intakes: Annotated[Path | None, typer.Option(help="Points where water is taken in.")] = None,
    breaklines: Annotated[
        Path | None, typer.Option(help="With levels: kerbs, walls, tops and toes of banks.")
    ] = None,
    crs: Annotated[
        str,
        typer.Option(
            help="Reference system where the elevation does not say it, such as EPSG:32633;"
            " local: a grid of your own in metres."
        ),
    ] = "",
    latitude: Annotated[
        float | None,
        typer.Option(min=-90, max=90, help="Degrees north, for sun and evaporation."),
    ] = None,
    grid_north: Annotated[
        float | None,
        typer.Option(
            min=-180, max=360, help="Of a local grid: true bearing of its upward axis, for sun."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Start a site: a commented site.toml and an empty plan.gpkg."""
    from brimline.cli import new as command

    vectors = {"boundary": boundary, "intakes": intakes, "breaklines": breaklines}
    command.run(
        folder, elevation or [], vectors, crs=crs, latitude_deg=latitude, grid_north_deg=grid_north,
        as_json=as_json,
    )  # fmt: skip


@app.command(epilog="Example: brimline check my_site/site.toml")
def check(site: SiteFile, as_json: AsJson = False) -> None:
    """Read every input and report all problems at once; writes nothing."""
    from brimline.cli import check as command

    command.run(site, as_json=as_json)


@app.command(epilog="Example: brimline run my_site/site.toml --out runs/first --pdf")
def run(
    site: SiteFile,
    out: Annotated[Path | None, typer.Option(help="Run folder; default runs/ beside SITE.")] = None,
    until: Annotated[str | None, typer.Option(help="Stop after this stage.")] = None,
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Run every stage again.")] = False,
    verify: Annotated[
        bool, typer.Option("--verify", help="Check every byte of what is reused.")
    ] = False,
    if_changed: Annotated[
        bool, typer.Option("--if-changed", help="Say nothing at all where nothing has changed.")
    ] = False,
    wait: Annotated[
        bool, typer.Option("--wait", help="Wait for another run of the site instead of leaving.")
    ] = False,
    brief: Annotated[
        bool, typer.Option("--brief", help="One line on standard output, for a mail.")
    ] = False,
    pdf: Annotated[
        bool,
        typer.Option(
            "--pdf",
            help="Print pages and crew sheets as PDF too; needs brimline[pdf].",
        ),
    ] = False,
    draft: Annotated[
        bool | None,
        typer.Option("--draft/--no-draft", help="Stop after site.gpkg and what needs a person."),
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            help="Make only this beside site.gpkg: tables, rasters, styles, stakes or pages; "
            "may be given several times."
        ),
    ] = None,
    option: Annotated[
        str, typer.Option(metavar="NAME", help="Run the site as its table [options.NAME] has it.")
    ] = "",
    jobs: Annotated[
        int | None,
        typer.Option(min=1, help="Threads and processes to work with; default: all cores."),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Run the stages of which something changed, and publish.

    A stage whose inputs, parameters and code are unchanged is not run again.
    """
    from brimline.cli import run as command

    console.be_quiet(quiet=quiet)
    options = command.RunOptions(
        out=out, until=until, rebuild=rebuild, verify=verify, if_changed=if_changed, wait=wait,
        brief=brief, jobs=jobs, pdf=pdf, draft=draft, only=tuple(only or ()), option=option,
    )  # fmt: skip
    command.run(site, options, as_json=as_json)


@app.command(epilog="Example: brimline watch my_site/site.toml --folder tiles")
def watch(
    site: SiteFile,
    folder: Annotated[
        Path | None, typer.Option(help="Folder that new elevation tiles arrive in.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Run folder; default runs/ beside SITE.")] = None,
    settle_s: Annotated[
        float, typer.Option("--settle", min=0, help="Seconds a file must stay as it is.")
    ] = 30.0,
    every_s: Annotated[
        float, typer.Option("--every", min=0.05, help="Seconds between two looks.")
    ] = 10.0,
    once: Annotated[
        bool, typer.Option("--once", help="Leave when nothing is arriving any more.")
    ] = False,
) -> None:
    """Run the site whenever its inputs change or tiles arrive."""
    from brimline.cli import watch as command

    command.run(
        site, command.WatchOptions(folder, out, settle_s=settle_s, every_s=every_s, once=once)
    )


@app.command(epilog="Example: brimline compare runs/before runs/after")
def compare(
    old_run: Annotated[Path, typer.Argument(metavar="OLD_RUN", help="Run folder before.")],
    new_run: Annotated[Path, typer.Argument(metavar="NEW_RUN", help="Run folder after.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder to write; default NEW_RUN-change beside NEW_RUN.")
    ] = None,
    confidence: Annotated[
        float, typer.Option(min=0.5, max=0.999, help="Of what is told as a change.")
    ] = 0.95,
    keep_shift: Annotated[
        bool, typer.Option("--keep-shift", help="Leave in what lies on all ground alike.")
    ] = False,
    stable: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Polygons of ground that has not changed; default: off the elements.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell what changed between two runs, what no longer holds first."""
    from brimline.cli import compare as command

    command.run(
        old_run,
        new_run,
        out,
        confidence=confidence,
        keep_shift=keep_shift,
        stable=stable,
        as_json=as_json,
    )


@app.command(epilog="Example: brimline options small.toml large.toml")
def options(
    sites: Annotated[
        list[Path],
        typer.Argument(metavar="SITE...", help="Site files, or one with [options.NAME] tables."),
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="Table to write, the page beside it; default options.csv by the first."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Run alternatives, each with its own plan, side by side."""
    from brimline.cli import options as command

    command.run(sites, out, as_json=as_json)


@app.command(epilog="Example: brimline survey 'tiles/*.tif' --out drained --intakes points.gpkg")
def survey(
    elevation: Annotated[
        list[str],
        typer.Argument(help="GeoTIFF tiles or globs; a .txt or .vrt that lists them."),
    ],
    out: Annotated[Path, typer.Option(help="Folder for the results; goes on where it stopped.")],
    intakes: Annotated[
        Path | None, typer.Option(help="Points whose whole catchment is wanted.")
    ] = None,
    kept: Annotated[
        Path | None, typer.Option(help="Points in hollows that are kept as sinks.")
    ] = None,
    snap_m: Annotated[float, typer.Option(min=0, help="How far a point may move.")] = 20.0,
    mode: Annotated[str, typer.Option(help="breach, fill or none.")] = "breach",
    breach_depth: Annotated[float, typer.Option(min=0, help="Deepest cut of a breach [m].")] = 1.0,
    breach_length: Annotated[float, typer.Option(min=0, help="Longest breach [m].")] = 30.0,
    workers: Annotated[int | None, typer.Option(min=1, help="Default: one a processor.")] = None,
    memory_gb: Annotated[float, typer.Option(min=0.5, help="Of all workers together.")] = 3.0,
    tile_cells: Annotated[
        int | None, typer.Option(min=16, help="Side of a tile; default: what fits the memory.")
    ] = None,
    scheduler: Annotated[
        str, typer.Option(metavar="ADDRESS", help="A running Dask scheduler, tcp://host:port.")
    ] = "",
    path_area_m2: Annotated[
        float | None,
        typer.Option(min=0.01, help="Draw flow paths that gather as much ground; default: none."),
    ] = None,
    coarser: Annotated[
        list[str] | None,
        typer.Option(help="Coarser elevation, taken where the tiles have no level."),
    ] = None,
    host: Annotated[
        list[str] | None,
        typer.Option(help="Web server that files named by address may be fetched from."),
    ] = None,
    footprints: Annotated[
        Path | None,
        typer.Option("--index", help="Footprints of all tiles, with names."),
    ] = None,
    crs: Annotated[str, typer.Option(help="Where the files do not say theirs.")] = "",
    vertical_unit: Annotated[str, typer.Option(help="auto, m, ft or us-ft.")] = "auto",
    as_json: AsJson = False,
) -> None:
    """Drain a survey of any size, in tiles.

    Surface, directions, areas, catchments of points.
    """
    from brimline._jit import thread_count
    from brimline.cli import survey as command
    from brimline.tiled.survey import Options

    command.run(
        elevation,
        out,
        Options(
            mode=mode,
            max_depth_m=breach_depth,
            max_length_m=breach_length,
            snap_m=snap_m,
            tile_cells=tile_cells or 0,
            workers=workers or thread_count(),
            memory_gb=memory_gb,
            scheduler=scheduler,
            path_area_m2=path_area_m2,
        ),
        intakes=intakes,
        kept=kept,
        footprints=footprints,
        coarser=coarser or [],
        hosts=host or [],
        crs=crs,
        vertical_unit=vertical_unit,
        as_json=as_json,
    )


@app.command(epilog="Example: brimline apply my_site/site.toml --all-safe")
def apply(
    site: SiteFile,
    mends: Annotated[
        list[str] | None,
        typer.Argument(metavar="MEND", help="mend_id of the table cascade_mends."),
    ] = None,
    advised: Annotated[
        bool,
        typer.Option(
            "--advised", help="Every mend of the last run that was dug and followed and chosen."
        ),
    ] = False,
    all_safe: Annotated[
        bool, typer.Option("--all-safe", help="Every mend that costs nothing elsewhere.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(help="Run folder to take mends from; default runs/ beside SITE.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write mends into the plan, with a copy of it as it was beside it."""
    from brimline.cli import apply as command

    command.run(site, mends or [], out, all_safe=all_safe, advised=advised, as_json=as_json)


@app.command(
    epilog="Examples: brimline layers, brimline layers overflows, brimline layers engineer"
)
def layers(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="One layer, table, raster or flag; all of them.")
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Print the catalogue of layers, columns and flags."""
    from brimline.cli import layers as command

    command.run(name, as_json=as_json)


class _Stopped:
    """Whether a signal has asked to stop: what it raises is lost inside a library's callback."""

    asked = False


def _interrupt(_number: int, _frame: object) -> None:
    _Stopped.asked = True
    raise KeyboardInterrupt


def _end_interrupted() -> NoReturn:
    console.say("interrupted; the last good result is untouched")
    sys.exit(INTERRUPTED)


def _of_the_machine(fault: Exception) -> InputError | None:
    """Say what the machine refused, and the way out; None where that was not what went wrong."""
    if isinstance(fault, MemoryError):
        return InputError.of(
            "there is not enough memory", mend="set a larger terrain.cell_m, or cut the elevation"
        )
    if isinstance(fault, RecursionError):
        return InputError.of("an input is nested too deeply", mend="write or draw it more simply")
    if isinstance(fault, OSError) and fault.errno in _MENDS:
        where = "" if fault.filename is None else shown(fault.filename)
        message = str(fault.strerror or fault)
        return InputError.of(message, mend=_MENDS[fault.errno], source=where)
    return None


def main() -> None:
    """Run the command and leave with the contract's exit codes."""
    as_json = "--json" in sys.argv
    os.environ.update(_OFFLINE)
    console.begin()
    for number in (signal.SIGTERM, signal.SIGINT):  # a timer's stop is an interrupt as well
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _interrupt)
    try:
        app()
    except BrimlineError as error:
        console.say_error(error, as_json=as_json)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        _end_interrupted()
    except Exception as fault:  # noqa: BLE001 - the last door: a fault of ours leaves with 1
        if _Stopped.asked:
            _end_interrupted()
        told = _of_the_machine(fault)
        if told is not None:
            console.say_error(told, as_json=as_json)
            sys.exit(told.exit_code)
        traceback.print_exc()
        console.say("this is a fault of brimline's own; please report it with the lines above")
        sys.exit(1)
