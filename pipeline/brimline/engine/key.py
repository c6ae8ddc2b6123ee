"""A stage's key: a digest of all that its result can depend on, and words for what changed.

A key is made from *parts*, a flat mapping from ``"kind name"`` to a plain value, so that the
parts of two runs can be laid side by side to say why a stage runs again.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from importlib import import_module, metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.known import KnownParts, Later
from brimline.errors import InternalError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from brimline.engine.digests import Digests
    from brimline.engine.stage import Params, Source, Stage
    from brimline.engine.store import Store
    from brimline.layers import Item

Parts = dict[str, Any]

_NAMED_MODULES: Final = 3
_IMPORTS: Final = "imports"
_FORMAT: Final = 1  # raised when the store's own files change their meaning
_WORDS: Final = frozenset({"title", "meaning"})  # of a declaration: do not touch the values


class CodeReach:
    """Digests of the modules that a stage's module imports, directly or through others.

    The engine itself is left out: it hands values over and takes no part in making them.
    Imports that only the type checker sees do not count, nor do packages of others, whose
    versions enter the key by themselves. A package's ``__init__`` counts where a module imports
    the package or anything in it, but what it imports only counts in the first case. Such a
    package may hand on names that it loads when they are asked for; what it imports for the type
    checker then stands for what it loads, and counts.

    Parameters
    ----------
    package : import name of the root package.
    store : remembers between runs what imports what; None finds it out anew.

    Attributes
    ----------
    known : what earlier runs of the same code found out.
    """

    def __init__(
        self, digests: Digests, package: str = "brimline", store: Store | None = None
    ) -> None:
        self._digests = digests
        self._package = package
        root = Path(str(import_module(package).__file__)).parent
        self._paths = dict(_modules_below(root, package))
        self._code: dict[str, str] = {}
        codes = {name: self._code_of(name) for name in sorted(self._paths)}
        self.known = KnownParts(store, hashlib.sha256(json.dumps(codes).encode()).hexdigest())
        graphs: list[dict[str, list[str]]] = self.known.recall(
            _IMPORTS, metadata.version("grimp"), self._graphs
        )
        self._imports, self._shown = graphs

    def _graphs(self) -> list[dict[str, list[str]]]:
        """Return what each module imports, loaded and with what type checkers see."""
        import grimp

        graphs = [
            grimp.build_graph(self._package, exclude_type_checking_imports=loaded, cache_dir=None)
            for loaded in (True, False)
        ]
        return [
            {name: sorted(graph.find_modules_directly_imported_by(name)) for name in graph.modules}
            for graph in graphs
        ]

    def of(self, stage: Stage) -> dict[str, str]:
        """Return a digest for each module that the stage's code reaches.

        Raises
        ------
        InternalError
            If the stage's function is not a plain one of a module in the package, so that
            part of what it does would escape the key.
        """
        if isinstance(stage.run, Later):  # noted, which only plain functions are
            return self.of_modules([stage.run.module])
        module = getattr(stage.run, "__module__", "")
        hidden = getattr(stage.run, "__closure__", ()) is not None
        if hidden or module not in self._imports:
            raise InternalError(
                f"stage {stage.name} must run a plain function of a module of {self._package}"
            )
        return self.of_modules([module])

    def of_modules(self, modules: Iterable[str]) -> dict[str, str]:
        """Return a digest for each module that code of these modules reaches."""
        reached = set(modules)
        waiting = list(reached)
        while waiting:
            for name in self._imported_by(waiting.pop()):
                if name not in reached and not name.startswith(f"{self._package}.engine"):
                    reached.add(name)
                    waiting.append(name)
        packages = {parent for name in reached for parent in self._packages(name)}
        return {name: self._code_of(name) for name in sorted(reached | packages)}

    def check_unchanged(self, stage: Stage) -> None:
        """Make sure that what has been loaded for a stage is the code that its digests tell of.

        Raises
        ------
        InputError
            If a module was changed in between.
        """
        self._digests.check_unchanged(self._paths[name] for name in self.of(stage))

    def _code_of(self, module: str) -> str:
        if module not in self._code:
            self._code[module] = self._digests.code(self._paths[module])
        return self._code[module]

    def _imported_by(self, module: str) -> list[str]:
        lazy = self._paths[module].name == "__init__.py" and module != self._package
        return (self._shown if lazy else self._imports)[module]

    def _packages(self, module: str) -> Iterator[str]:
        """Yield the packages around a module; the root holds no more than the version."""
        while (module := module.rpartition(".")[0]) and module != self._package:
            yield module


def _modules_below(folder: Path, name: str) -> Iterator[tuple[str, Path]]:
    """Yield the modules of a package and of those in it, with their files."""
    if not (folder / "__init__.py").is_file():
        return
    yield name, folder / "__init__.py"
    for path in sorted(folder.iterdir()):
        if path.suffix == ".py" and path.stem != "__init__":
            yield f"{name}.{path.stem}", path
        elif path.is_dir():
            yield from _modules_below(path, f"{name}.{path.name}")


def parts_of(
    stage: Stage,
    *,
    inputs: Mapping[str, str],
    code: Mapping[str, str],
    tables: Mapping[str, Params],
    sources: Mapping[str, Source | None],
    digests: Digests,
    versions: Mapping[str, str],
    catalogue: Mapping[str, Item],
) -> Parts:
    """Gather all that a stage's result can depend on.

    Parameters
    ----------
    inputs : content digest of each value that the stage is given.
    code : digest of each module that it reaches.
    versions : versions of the libraries that results depend on.
    """
    parts: Parts = {"format": _FORMAT, "version": stage.version, "makes": sorted(stage.makes)}
    parts |= {f"input {name}": digest for name, digest in inputs.items()}
    parts |= {f"code {module}": digest for module, digest in code.items()}
    parts |= {f"library {name}": version for name, version in versions.items()}
    for name, params in tables.items():
        parts |= dict(_flat(f"parameter {name}", params.model_dump(mode="json")))
    for name, source in sources.items():
        parts[f"settings {name}"] = None if source is None else source.said
        files = () if source is None else source.files
        parts[f"files {name}"] = [[path.name, digests.content(path)] for path in files]
    for name in stage.makes:
        if name in catalogue:
            parts[f"declaration {name}"] = _shape(catalogue[name])
    plain: Parts = json.loads(json.dumps(parts))  # as it will be read back for comparison
    return plain


def key_of(stage: Stage, parts: Parts) -> str:
    """Return the key of a stage: the SHA-256 of its name and the parts in canonical JSON."""
    text = json.dumps([stage.name, parts], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def changes(before: Parts, after: Parts) -> list[str]:
    """Say in words what differs between the parts of two runs.

    What a person changed comes first; many changed modules are one update of brimline.
    """
    found, modules = [], []
    for name in sorted(before.keys() | after.keys()):
        old, new = before.get(name), after.get(name)
        if old == new and (name in before) == (name in after):
            continue
        kind, _, rest = name.partition(" ")
        if kind == "code":
            modules.append(rest)
        else:
            found += _words(kind, rest, old, new)
    if len(modules) > _NAMED_MODULES:
        found.append(f"code of {len(modules)} modules changed")
    else:
        found += [f"code of {module} changed" for module in modules]
    return found


def _words(kind: str, name: str, old: Any, new: Any) -> list[str]:  # noqa: ANN401 - plain JSON
    match kind:
        case "parameter" | "library":
            return [f"{name} changed from {json.dumps(old)} to {json.dumps(new)}"]
        case "files":
            was, now = dict(old or []), dict(new or [])
            changed = [file for file in now if file in was and was[file] != now[file]]
            told = [f"{file} changed" for file in changed]
            told += [f"{file} is new" for file in now if file not in was]
            told += [f"{file} is gone" for file in was if file not in now]
            return [f"input {name}: {text}" for text in told or ["order of files changed"]]
        case "input" | "settings" | "declaration":
            return [f"{kind} of {name} changed" if kind != "input" else f"{name} changed"]
        case _:
            return [f"{kind} of the stage changed"]


def _flat(prefix: str, value: Any) -> Iterator[tuple[str, Any]]:  # noqa: ANN401 - plain JSON
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(f"{prefix}.{key}", inner)
    else:
        yield prefix, value


def _shape(item: Item) -> Any:  # noqa: ANN401 - plain JSON
    """Return what of a declaration bears on values: all but the words for people."""

    def bare(value: Any) -> Any:  # noqa: ANN401
        if isinstance(value, dict):
            return {key: bare(inner) for key, inner in value.items() if key not in _WORDS}
        return [bare(inner) for inner in value] if isinstance(value, list | tuple) else str(value)

    return [type(item).__name__, bare(asdict(item))]
