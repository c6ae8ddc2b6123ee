"""What a run tells: to a listener as it goes, to a log of JSON lines, and in the manifest."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.listener import Listener
from brimline.engine.store import explained
from brimline.errors import InternalError, Severity

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.engine.run import RunInputs, RunResult
    from brimline.engine.stage import Stage
    from brimline.errors import Problem

HEADLINE: Final = "headline"  # the key under which a fact offers figures for the manifest

_LOG_MAX_BYTES: Final = 4_000_000


class Journal(Listener):
    """A listener that writes one JSON object a line, and passes everything on.

    Parameters
    ----------
    path : the log; appended to. Past 4 MB it is set aside as ``<name>.1`` and begun anew.
    then : the listener to pass on to.
    """

    def __init__(self, path: Path, then: Listener) -> None:
        self._path = path
        self._then = then
        with explained(path.parent):
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.exists() and path.stat().st_size > _LOG_MAX_BYTES:
                path.replace(path.with_name(f"{path.name}.1"))

    def write(self, event: str, **more: object) -> None:
        """Append an event, such as the start or the end of a run."""
        line = {"time": now_text(), "event": event} | more
        with explained(self._path.parent), self._path.open("a", encoding="utf-8") as log:
            log.write(json.dumps(line, ensure_ascii=False) + "\n")

    def started(self, stage: Stage, why: str) -> None:
        """Log the start of a stage."""
        self.write("stage started", stage=stage.name, why=why)
        self._then.started(stage, why)

    def advanced(self, stage: Stage, fraction: float, note: str) -> None:
        """Pass on; a log keeps no progress."""
        self._then.advanced(stage, fraction, note)

    def problem(self, stage: Stage, problem: Problem) -> None:
        """Log a notice or warning."""
        self.write("problem", stage=stage.name, **asdict(problem))
        self._then.problem(stage, problem)

    def finished(self, stage: Stage, seconds: float, *, reused: bool) -> None:
        """Log the end of a stage."""
        self.write("stage finished", stage=stage.name, seconds=round(seconds, 3), reused=reused)
        self._then.finished(stage, seconds, reused=reused)


def manifest(result: RunResult, inputs: RunInputs, *, version: str, base: Path) -> dict[str, Any]:
    """Return what ``run.json`` holds, as plain values.

    Parameters
    ----------
    version : of brimline.
    base : folder of the site file; files below it are named from there.
    """
    return {
        "brimline": version,
        "finished": now_text(),
        "seconds": round(sum(done.seconds for done in result.stages), 3),
        "inputs": {
            name: {
                "said": source.said,
                "files": [
                    {"path": _from(base, path), "bytes": size, "sha256": digest}
                    for path in source.files
                    for size, digest in [inputs.digests.taken(path)]
                ],
            }
            for name, source in inputs.sources.items()
        },
        "parameters": {
            name: table.model_dump(mode="json") for name, table in inputs.tables.items()
        },
        "versions": dict(inputs.versions),
        "stages": [
            {
                "name": done.stage.name,
                "key": done.key,
                "reused": done.reused,
                "why": done.why,
                "seconds": round(done.seconds, 3),
                "made_seconds": round(done.made_seconds, 3),
            }
            for done in result.stages
        ],
        "problems": [
            {"stage": done.stage.name} | asdict(problem)
            for done in result.stages
            for problem in done.problems
        ],
        "warnings": sum(
            problem.severity is Severity.WARNING
            for done in result.stages
            for problem in done.problems
        ),
        "outputs": {name: stored.digest for name, stored in result.outputs.items()},
        "headline": _headline(result),
    }


def now_text() -> str:
    """Return the present time, UTC, in ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _headline(result: RunResult) -> dict[str, Any]:
    figures: dict[str, Any] = {}
    for name in result.fact_names:
        for figure, value in result.value(name).get(HEADLINE, {}).items():
            if figure in figures:
                raise InternalError(f"headline figure {figure} is given twice, again by {name}")
            figures[figure] = value
    return figures


def _from(base: Path, path: Path) -> str:
    inside = path.is_relative_to(base)
    return path.relative_to(base).as_posix() if inside else path.as_posix()
