"""``brimline run``: the stages that must run, then the run folder in one move."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from brimline.cli import console
from brimline.errors import BrimlineError, InputError, Problem, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.engine import (
        CodeReach,
        Digests,
        Holder,
        Journal,
        RunResult,
        Stage,
        Store,
    )
    from brimline.engine.digests import Status
    from brimline.publish import Published
    from brimline.tiled.survey import Result as Drained

JOURNAL: Final = "journal.jsonl"
_GB: Final = 1_000_000_000
_UNPACKED: Final = 400  # bytes of a run that a packed byte of elevation becomes at the most
_SAME_AREA: Final = 0.01  # rims, spanned holes and moved points explain as much


@dataclass(frozen=True, slots=True)
class RunOptions:
    """What the command line says."""

    out: Path | None = None
    until: str | None = None
    rebuild: bool = False
    verify: bool = False
    if_changed: bool = False
    wait: bool = False
    brief: bool = False
    jobs: int | None = None
    pdf: bool = False
    draft: bool | None = None
    only: tuple[str, ...] = ()
    option: str = ""
    sensitivity: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """A finished run."""

    result: RunResult
    published: Published
    loaded: Loaded
    seen: Mapping[Path, Status]

    @property
    def changed(self) -> bool:
        """Whether anything ran or was written."""
        return self.published.written or bool(self.result.ran)


def run(site: Path, options: RunOptions, *, as_json: bool) -> None:
    """Run a site and publish its results."""
    if _at_a_glance(site, options, as_json=as_json):
        return
    try:
        done = run_site(site, options)
    except BrimlineError as error:
        if options.brief and not as_json:
            console.result(f"{site}: failed, exit code {error.exit_code}: {_first(error)}")
        raise
    if as_json:
        console.result_json(_plain(done))
    elif not done.changed:
        if not options.if_changed:
            name, folder = done.loaded.settings.site.name, done.published.folder
            console.result(_unchanged(name, folder, brief=options.brief))
    elif options.brief:
        console.result(_brief(done))
    else:
        from brimline.cli.summary import summary
        from brimline.engine import STORE

        units = done.loaded.settings.site.units
        console.result(summary(done.published.manifest, units, done.published.folder))
        ran, every = len(done.result.ran), len(done.result.stages)
        console.say(f"{ran} stages ran, {every - ran} were reused; {_pieces(done.published)}")
        console.say(f"Log: {done.loaded.folder / STORE / JOURNAL}")


def _pieces(published: Published) -> str:
    text = f"{counted(len(published.made), 'piece')} of the run folder made"
    if not published.left_out:
        return text
    left = " ".join(f"--only {group}" for group in published.left_out)
    return f"{text}; the rest with: brimline run {left}"


def _at_a_glance(site: Path, options: RunOptions, *, as_json: bool) -> bool:
    """Say that nothing has changed, where that can be seen without loading the stages."""
    special = options.rebuild or options.verify or options.until or options.only or options.option
    if special or options.draft is not None or as_json:
        return False
    from brimline.engine import STORE, Journal, Listener, glance

    store_folder, folder = site.parent / STORE, run_folder(site, options.out)
    name = glance.unchanged(store_folder, site, folder)
    if name is None or (options.pdf and not (folder / "report.pdf").exists()):
        return False
    Journal(store_folder / JOURNAL, Listener()).write(
        "nothing changed", site=str(site), folder=str(folder), pid=os.getpid()
    )
    if not options.if_changed:
        console.result(_unchanged(name, folder, brief=options.brief))
    return True


def run_folder(site: Path, out: Path | None, option: str = "") -> Path:
    """Return the folder that the results of a site, or of one of its options, go to."""
    return out or site.parent / "runs" / (f"{site.stem}-{option}" if option else site.stem)


def run_site(site: Path, options: RunOptions) -> Done:
    """Run a site and publish its results, with progress on standard error.

    Raises
    ------
    InputError
        If the person's files hold a fault.
    StoreError
        If another run holds the site and this one is not to wait, or a folder cannot be written.
    """
    from brimline.config import load
    from brimline.engine import (
        STORE,
        CodeReach,
        Digests,
        Journal,
        Store,
        glance,
        ordered,
        refuse_store,
        site_lock,
    )
    from brimline.engine.digests import status
    from brimline.inputs.profile import at_scale
    from brimline.inputs.sources import store_of
    from brimline.io.atomic import recover
    from brimline.publish import refuse_what_is_no_run
    from brimline.stages.registry import stages_for

    if options.pdf:
        from brimline.publish.pages import weasyprint_or_refuse

        weasyprint_or_refuse()  # before an hour of work, not after
    began_s = time.time()
    before = status(site) if site.is_file() else (0, 0, 0, 0)  # loading says what is wrong
    said = load(site)
    store_folder = said.folder / STORE
    refuse_store(store_of(said))
    code, store = glance.code_files(), Store(store_of(said))
    digests = Digests(store)
    reach = CodeReach(digests, store=store)
    if options.option:
        said = said.option(options.option)
    said, remote = _brought(said)
    whole, sources = said, _sources(said)
    said, drained = _at_size(said)
    loaded, profile_told = at_scale(said, reach.known, digests)
    if options.sensitivity:
        loaded = loaded.with_sensitivity()
    _use_threads(options.jobs)
    _groups(options, loaded)  # a wrong word is told before anything runs
    stages = stages_for(loaded.settings, reach.known)
    count = len(ordered(stages, options.until))
    folder = run_folder(site, options.out, options.option)
    with site_lock(store_folder, wait=options.wait, on_wait=_say_waiting) as dead:
        from brimline.cli.progress import Progress

        progress = Progress(count, hold_back=options.if_changed)
        journal = Journal(store_folder / JOURNAL, progress)
        _tell_before(dead, recover(folder), journal)
        refuse_what_is_no_run(folder)  # before an hour of work, not after
        if profile_told and not options.if_changed:
            console.say(profile_told)
        journal.write("run started", site=str(site), folder=str(folder), pid=os.getpid())
        try:
            glance.forget(store_folder)
            done = _run(loaded, options, folder, stages, reach, store, digests, journal, progress)
            special = options.until or options.only or options.option or remote
            if drained:
                _tell_areas(done, drained)
            if not special and options.draft is None:
                seen = {site: before, **(sources if drained else {})}
                _note_for_a_glance(
                    site, store_folder, done, whole if drained else loaded, seen, code, began_s
                )
        except BaseException as fault:
            journal.write("run failed", kind=type(fault).__name__, error=str(fault))
            raise
        finally:
            progress.end()
        journal.write("run finished", ran=list(done.result.ran), written=done.published.written)
    return done


def _brought(said: Loaded) -> tuple[Loaded, bool]:
    """Fetch elevation that is named by address; tell whether there was any."""
    from brimline.inputs.remote import remote_names, with_remote

    if not remote_names(said):
        return said, False
    from brimline.cli.survey import FetchProgress

    said, notices = with_remote(said, FetchProgress())
    for problem in notices:
        console.say_problem(problem)
    return said, True


def _sources(said: Loaded) -> dict[Path, Status]:
    """Return the status of every elevation file, where a run may take a cut of them."""
    if _small(said):
        return {}
    from brimline.engine import files_of
    from brimline.engine.digests import status
    from brimline.inputs.sources import said_paths

    files = [file for name in said_paths(said) for file in files_of(name)]
    return {file: status(file) for file in files if file.is_file()}


def _at_size(said: Loaded) -> tuple[Loaded, Drained | None]:
    """Drain a survey that is larger than memory, and go on with what drains to the site."""
    if _small(said):
        return said, None
    from brimline.inputs.size import cut_to_site, survey_size

    size = survey_size(said)
    if size is None or not size.in_tiles:
        return said, None
    from brimline.cli.survey import TileProgress
    from brimline.inputs.profile import at_scale

    at_scale(said)  # what is wrong with the file is told before an hour of work, not after
    console.say(size.told())
    for problem in size.index.notices:
        console.say_problem(problem)
    return cut_to_site(said, size, TileProgress())


def _small(said: Loaded) -> bool:
    """Tell by their sizes on disk that files fit the memory, before anything heavy is loaded."""
    tiles = said.settings.tiles
    if tiles.use != "auto" or tiles.memory_gb is not None or said.settings.inputs.coarser:
        return tiles.use == "never"
    from brimline.engine import files_of
    from brimline.io.machine import free_gb

    names = [said.resolve(name) for name in said.settings.inputs.elevation]
    files = [file for name in names for file in files_of(name) if file.is_file()]
    return sum(file.stat().st_size for file in files) * _UNPACKED < free_gb() * _GB


def _tell_areas(done: Done, drained: Drained) -> None:
    """Say where the cut ground gives an intake less than the whole survey did."""
    if drained.intakes is None:
        return
    rows = done.result.value("intakes")
    for name, here_m2, whole in zip(
        rows["name"], rows["area_m2"], drained.facts["intakes"], strict=False
    ):
        whole_m2 = whole["area_m2"]
        if abs(here_m2 - whole_m2) > _SAME_AREA * whole_m2:
            console.say_problem(
                Problem(
                    Severity.WARNING,
                    f"has {here_m2:.0f} m² in this run and {whole_m2:.0f} m² in the whole survey:"
                    " the two differ in what they span or open, or in where the point came to lie",
                    "look at both; survey.json in the folder surveys has the whole survey's.",
                    f"intake {name}",
                )
            )


def _note_for_a_glance(
    site: Path,
    store_folder: Path,
    done: Done,
    loaded: Loaded,
    said: Mapping[Path, Status],
    code: Mapping[Path, Status],
    began_s: float,
) -> None:
    """Leave a note of all that the run rests on; what was cut for it is a result of it."""
    from brimline.engine import files_of, glance
    from brimline.inputs.sources import said_paths
    from brimline.io import atomic
    from brimline.publish import MANIFEST

    results = [done.published.folder / MANIFEST]
    named = {file for path in said_paths(loaded) for file in files_of(path)}
    cut = [loaded.resolve(name) for name in done.loaded.settings.inputs.elevation]
    cut = [path for path in cut if path.is_file() and path not in named]
    seen = {path: found for path, found in done.seen.items() if path not in cut}
    text = glance.note_text(
        site,
        loaded.settings.site.name,
        done.published.folder,
        said_paths(loaded),
        {**seen, **said},
        code,
        [*results, *cut],
        began_s,
    )
    if text:
        atomic.write_text(store_folder / glance.NOTE, text)


def _run(
    loaded: Loaded,
    options: RunOptions,
    folder: Path,
    stages: tuple[Stage, ...],
    reach: CodeReach,
    store: Store,
    digests: Digests,
    journal: Journal,
    progress: Any,  # noqa: ANN401 - Progress; importing it here would slow the start
) -> Done:
    from brimline.engine import RunInputs, Tools, execute
    from brimline.grid import Grid
    from brimline.inputs.sources import missing_files, sources_of
    from brimline.io.intermediates import FileCodec, checked
    from brimline.io.libraries import versions
    from brimline.publish import publish
    from brimline.publish.ahead import RastersAhead
    from brimline.publish.groups import RASTERS
    from brimline.publish.workers import Workers

    settings, sources = loaded.settings, sources_of(loaded)
    if gone := missing_files(sources):
        raise InputError(gone)
    inputs = RunInputs(
        tables={name: getattr(settings, name) for name in type(settings).model_fields},
        sources=sources,
        versions=versions(reach.known.recall),
        digests=digests,
    )
    groups = _groups(options, loaded)
    tools = Tools(FileCodec(), checked, reach.of, code_unchanged=reach.check_unchanged)
    with Workers(alone=len(groups) == 1) as workers:
        progress.on_work = workers.start
        ahead = RastersAhead(inputs, reach, store, workers, settings.site.name, settings.site.units)
        result = execute(
            stages, inputs, store, tools, journal,
            until=options.until, rebuild=options.rebuild, verify=options.verify,
            on_made=ahead.made if RASTERS in groups else lambda _made, _there: None,
        )  # fmt: skip
        published = publish(
            result,
            inputs,
            folder,
            reach=reach,
            store=store,
            site_folder=loaded.folder,
            site_name=settings.site.name,
            units=settings.site.units,
            grid=Grid(**result.value("grid")),
            workers=workers,
            groups=groups,
            pdf=options.pdf,
            keep_runs=settings.keep.runs,
            told=progress.note,
        )
    digests.save()
    journal.write("published", made=list(published.made), left_out=list(published.left_out))
    stages_kept = {done.key for done in result.stages}
    store.prune(int(settings.keep.store_gb * _GB), keep=stages_kept | set(published.keys))
    return Done(result, published, loaded, digests.seen)


def _tell_before(dead: Holder | None, recovered: str, journal: Journal) -> None:
    """Say what a run that was killed has left, and that it is put right."""
    if dead:
        console.say(f"the run before this one ended without finishing: {dead}")
        journal.write("dead holder", holder=str(dead))
    if recovered:
        console.say(recovered)
        journal.write("recovered", what=recovered)


def _say_waiting(holder: Holder | None) -> None:
    console.say(f"waiting for another run of this site: {holder or 'it is just starting'}")


def _groups(options: RunOptions, loaded: Loaded) -> tuple[str, ...]:
    """Return the parts of the run folder that are to be made."""
    from brimline.publish import GROUPS
    from brimline.publish.groups import LAYERS

    unknown = [name for name in options.only if name not in GROUPS]
    if unknown:
        raise InputError.of(
            f"a run folder has no part called {', '.join(unknown)}",
            mend=f"name any of {', '.join(GROUPS)}",
            source="--only",
        )
    draft = loaded.settings.publish.draft if options.draft is None else options.draft
    if options.only or draft:
        return tuple(dict.fromkeys((LAYERS, *options.only)))
    return tuple(GROUPS)


def _use_threads(jobs: int | None) -> None:
    if jobs is not None:
        import numba

        from brimline import _jit

        numba.set_num_threads(min(jobs, numba.config.NUMBA_NUM_THREADS))
        _jit.use_threads(jobs)


def _unchanged(name: str, folder: Path, *, brief: bool) -> str:
    text = f"Nothing has changed; the results in {folder} are up to date."
    return f"{name}: {text}" if brief else text


def _brief(done: Done) -> str:
    result, manifest = done.result, done.published.manifest
    seconds = sum(stage.seconds for stage in result.stages)
    warnings = manifest["warnings"]
    return (
        f"{done.loaded.settings.site.name}: {len(result.ran)} of {len(result.stages)} stages ran "
        f"in {seconds:.0f} s; {counted(warnings, 'warning')}; "
        f"results in {done.published.folder}"
    )


def _first(error: BrimlineError) -> str:
    """Return the first problem of an error on one line, and how many more there are."""
    if not isinstance(error, InputError):
        return " ".join(str(error).split())
    more = len(error.problems) - 1
    text = " ".join(str(error.problems[0]).split()) if error.problems else ""
    return f"{text} (and {more} more)" if more > 0 else text


def _plain(done: Done) -> dict[str, Any]:
    manifest = done.published.manifest
    return {
        "ok": True,
        "folder": str(done.published.folder),
        "written": done.published.written,
        "ran": list(done.result.ran),
        "headline": manifest["headline"],
        "problems": manifest["problems"],
    }
