"""``brimline run``: the stages that must run, then the run folder in one move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from brimline.cli import console

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.engine import Inputs, RunResult
    from brimline.stages.publish import Published

STORE = ".brimline"


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says."""

    out: Path | None
    until: str | None
    rebuild: bool
    if_changed: bool
    jobs: int | None
    pdf: bool = False


def run(site: Path, options: Options, *, as_json: bool) -> None:
    """Run a site and publish its results."""
    from brimline.config import load

    loaded = load(site)
    folder = options.out or loaded.folder / "runs" / site.stem
    result, inputs, published = _run(loaded, options, folder)
    ran = result.ran
    if as_json:
        console.result_json(_plain(result, published))
    elif not published.written and not ran:
        if not options.if_changed:
            console.result(f"Nothing has changed; the results in {folder} are up to date.")
    else:
        from brimline.cli.summary import summary

        console.result(summary(published.manifest, loaded.settings.site.units, folder))
        reused = len(result.stages) - len(ran)
        console.say(f"{len(ran)} stages ran, {reused} were reused")
    del inputs


def _run(loaded: Loaded, options: Options, folder: Path) -> tuple[RunResult, Inputs, Published]:
    from brimline.cli.progress import Progress
    from brimline.engine import (
        CodeReach,
        Digests,
        Inputs,
        Journal,
        Store,
        Tools,
        execute,
        ordered,
        site_lock,
    )
    from brimline.grid import Grid
    from brimline.io.intermediates import FileCodec, checked, versions
    from brimline.stages.pages import weasyprint_or_refuse
    from brimline.stages.publish import publish
    from brimline.stages.registry import stages_for
    from brimline.stages.sources import sources_of

    if options.pdf:
        weasyprint_or_refuse()  # before an hour of work, not after
    _use_threads(options.jobs)
    every = stages_for(loaded.settings)
    stages = ordered(every, options.until)
    store_folder = loaded.folder / STORE
    with site_lock(store_folder):
        store = Store(store_folder)
        digests = Digests(store)
        settings = loaded.settings
        inputs = Inputs(
            tables={name: getattr(settings, name) for name in type(settings).model_fields},
            sources=sources_of(loaded),
            versions=versions(),
            digests=digests,
        )
        progress = Progress(len(stages))
        journal = Journal(store_folder / "journal.jsonl", progress)
        _say_compiling()
        tools = Tools(FileCodec(), checked, CodeReach(digests).of)
        result = execute(
            every, inputs, store, tools, journal,
            until=options.until, rebuild=options.rebuild,
        )  # fmt: skip
        published = publish(
            result,
            inputs,
            folder,
            site_folder=loaded.folder,
            site_name=settings.site.name,
            units=settings.site.units,
            pdf=options.pdf,
            grid=Grid(**result.value("grid")),
            told=progress.note,
        )
        progress.end()
    return result, inputs, published


def _use_threads(jobs: int | None) -> None:
    if jobs is not None:
        import numba

        numba.set_num_threads(min(jobs, numba.config.NUMBA_NUM_THREADS))


def _say_compiling() -> None:
    from brimline import _jit

    if not _jit.is_compiled():
        console.say("first run on this machine: compiling the fast loops, half a minute, once")


def _plain(result: RunResult, published: Published) -> dict[str, Any]:
    return {
        "ok": True,
        "folder": str(published.folder),
        "written": published.written,
        "ran": list(result.ran),
        "headline": published.manifest["headline"],
        "problems": published.manifest["problems"],
    }
