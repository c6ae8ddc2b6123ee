"""Passes as Dask tasks: a few at a time, each lost one tried again, finished ones never again."""

from __future__ import annotations

import hashlib
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline._jit import sources_digest
from brimline.errors import BrimlineError, GridError, InputError, Problem, StoreError
from brimline.tiled import passes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from distributed import Client, Future, LocalCluster

    from brimline.tiled.passes import Pack, TiledSurvey
    from brimline.tiled.store import FolderStore

_AHEAD: Final = 2  # tasks a worker thread that are handed out at a time
_RETRIES: Final = 3
_EXTRA: Final = "install it with: pip install 'brimline[vast]'"


@dataclass(frozen=True)
class Fault:
    """An error as a value: what a task hands back instead of raising."""

    kind: str
    text: str
    problems: tuple[Problem, ...] = ()

    def raised(self) -> BrimlineError:
        """Return the error."""
        if self.problems:
            return InputError(self.problems)
        return GridError(self.text) if self.kind == "GridError" else StoreError(self.text)


def task(
    function: Callable[..., Pack],
    store: FolderStore,
    survey: TiledSurvey,
    tile: int,
    arguments: tuple[Any, ...],
    mark: tuple[str, str] | None,
) -> Pack | Fault:
    """Call a pass for one tile and mark it as finished."""
    mine = replace(store, written=[])
    try:
        pack = passes.alone(function, mine, survey, tile, *arguments)
        if mark is not None:
            mine.keep(mark[0], tile, mark[1], pack)
    except BrimlineError as fault:
        return Fault(type(fault).__name__, str(fault), getattr(fault, "problems", ()))
    except MemoryError:
        return Fault(
            "StoreError", "a worker has too little memory; use fewer workers or smaller tiles"
        )
    return pack


class OnDask:
    """Runs passes on the workers of a Dask client.

    Parameters
    ----------
    told : called with the pass, how many of its tiles are done, of how many, and how many of
        them an earlier run had finished.
    """

    def __init__(
        self,
        client: Client,
        store: FolderStore,
        survey: TiledSurvey,
        told: Callable[[str, int, int, int], None] = lambda *_: None,
    ) -> None:
        self._client, self._store, self._survey, self._told = client, store, survey, told
        self._code = sources_digest(Path(passes.__file__))
        self.reused = self.called = 0

    def each(
        self,
        title: str,
        function: Callable[..., Pack],
        arguments: Mapping[int, tuple[Any, ...]],
        upstream: Mapping[int, tuple[str, ...]] | None = None,
    ) -> dict[int, Pack]:
        """Return the pack of each tile, as `chain.Runner` says.

        Raises
        ------
        InputError
            With the problems of all tiles whose source cannot be read; the others are finished.
        StoreError
            If the disk is full or a worker was lost again and again; what is finished stays.
        """
        results: dict[int, Pack] = {}
        waiting = []
        for tile, more in arguments.items():
            mark, found = None, None
            if upstream is not None:
                mark = title, self._key(title, tile, more, upstream[tile])
                found = self._store.kept(title, tile, mark[1])
            if found is None:
                waiting.append((tile, more, mark))
            else:
                results[tile] = found
        reused = len(results)
        self.reused += reused
        self.called += len(waiting)
        self._told(title, reused, len(arguments), reused)
        problems: list[Problem] = []
        for tile, outcome in self._outcomes(title, function, waiting):
            if isinstance(outcome, Fault):
                if not outcome.problems:
                    raise outcome.raised()
                problems += outcome.problems
                continue
            results[tile] = outcome
            self._told(title, len(results), len(arguments), reused)
        if problems:
            raise InputError(dict.fromkeys(problems))
        return results

    def _outcomes(
        self,
        title: str,
        function: Callable[..., Pack],
        waiting: list[tuple[int, tuple[Any, ...], tuple[str, str] | None]],
    ) -> Iterator[tuple[int, Pack | Fault]]:
        """Hand out a few tasks at a time and yield what comes back, in any order."""
        from distributed import as_completed
        from distributed.scheduler import KilledWorker

        at_once = max(_AHEAD * sum(self._client.nthreads().values()), _AHEAD)
        coming = iter(waiting)
        tile_of: dict[str, int] = {}

        def submit() -> Future | None:
            tile, more, mark = next(coming, (-1, (), None))
            if tile < 0:
                return None
            future = self._client.submit(
                task,
                function,
                self._store,
                self._survey,
                tile,
                more,
                mark,
                pure=False,
                retries=_RETRIES,
            )
            tile_of[future.key] = tile
            return future

        first = [future for future in (submit() for _ in range(at_once)) if future is not None]
        running = as_completed(first, loop=self._client.loop)
        for future in running:
            tile = tile_of.pop(future.key)
            try:
                outcome = future.result()
            except KilledWorker as fault:
                raise StoreError(
                    f"workers died again and again at tile {tile} in the pass {title!r}, most often"
                    " for lack of memory. Use fewer workers or smaller tiles; what is finished"
                    " stays, and the next run goes on from there."
                ) from fault
            future.release()
            following = submit()
            if following is not None:
                running.add(following)
            yield tile, outcome

    def _key(
        self, title: str, tile: int, arguments: tuple[Any, ...], upstream: tuple[str, ...]
    ) -> str:
        survey = self._survey
        digest = hashlib.blake2b(digest_size=16)
        settings = (survey.tiling, survey.cell_m, survey.mode, survey.max_depth_m)
        for part in (self._code, title, tile, *settings, survey.max_length_m, survey.sinks):
            digest.update(repr(part).encode() + b"\n")
        for value in arguments:
            if isinstance(value, np.ndarray):
                digest.update(f"{value.dtype} {value.shape}".encode())
                digest.update(np.ascontiguousarray(value).tobytes())
            elif value is None or isinstance(value, int | float):
                digest.update(repr(value).encode())
            digest.update(b"\n")
        for name in upstream:
            digest.update(name.encode() + b"\n")
        return digest.hexdigest()


@contextmanager
def client(*, address: str = "", workers: int, memory_gb: float, scratch: Path) -> Iterator[Client]:
    """Reach a Dask scheduler, or start one here with workers of one thread each.

    Parameters
    ----------
    address : of a running scheduler, such as ``tcp://10.0.0.5:8786``; empty: a local one.
    workers : local worker processes.
    memory_gb : memory of all local workers together.
    scratch : folder for what local workers spill.

    Raises
    ------
    StoreError
        If Dask is not installed or the scheduler does not answer.
    """
    try:
        from distributed import Client
    except ImportError as fault:
        raise StoreError(f"a survey in tiles needs Dask; {_EXTRA}") from fault
    if address:
        try:
            reached = Client(address, timeout="20s", set_as_default=False)
        except (OSError, ValueError) as fault:
            raise StoreError(
                f"no Dask scheduler answers at {address} ({fault}). Start one with `dask scheduler`"
                " and workers with `dask worker`, where the same brimline is installed and the"
                " folders are reached by the same paths."
            ) from fault
        with reached:
            yield reached
        return
    with (
        local_cluster(workers=workers, memory_gb=memory_gb, scratch=scratch) as cluster,
        Client(cluster, set_as_default=False) as local,
    ):
        yield local


@contextmanager
def local_cluster(*, workers: int, memory_gb: float, scratch: Path) -> Iterator[LocalCluster]:
    """Start a scheduler and workers on this machine, with patience where it is busy."""
    import dask
    from distributed import LocalCluster

    with (
        dask.config.set(
            {f"distributed.comm.timeouts.{name}": "300s" for name in ("connect", "tcp")}
        ),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            memory_limit=int(memory_gb * 1e9 / workers),
            dashboard_address="127.0.0.1:0",  # any free port: others may run beside it
            local_directory=str(scratch),
            silence_logs=50,
        ) as cluster,
    ):
        yield cluster
