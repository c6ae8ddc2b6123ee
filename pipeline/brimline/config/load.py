"""Reading the site's file: every fault at once, each with its line and the nearest known key."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ValidationError

from brimline.config.tables import Settings
from brimline.errors import ConfigError, Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pydantic_core import ErrorDetails


@dataclass(frozen=True, slots=True)
class Loaded:
    """The settings of a site and where its file lies; paths in it are relative to `folder`."""

    path: Path
    settings: Settings

    @property
    def folder(self) -> Path:
        """Folder of the site's file."""
        return self.path.parent

    def resolve(self, name: str) -> Path:
        """Return the path that a file name in the settings stands for, without ``..``."""
        return Path(os.path.normpath(self.folder / name))


def load(path: Path) -> Loaded:
    """Read and validate a site's file.

    Raises
    ------
    ConfigError
        If the file is missing, is not TOML, or holds unknown keys or unusable values; every
        fault is named with its key path and line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ConfigError.of(
            "there is no such file",
            mend="give the path of a site.toml; `brimline new FOLDER` starts one",
            source=str(path),
        ) from None
    except IsADirectoryError:
        raise ConfigError.of(
            "this is a folder",
            mend=f"give the file, such as {path / 'site.toml'}",
            source=str(path),
        ) from None
    except UnicodeDecodeError as error:
        raise ConfigError.of(
            f"this is not a text file in UTF-8 ({error.reason} at byte {error.start})",
            mend="save it as UTF-8",
            source=str(path),
        ) from error
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError.of(
            f"this is not valid TOML: {error}",
            mend="texts need quotes, tables [brackets], and each key stands once",
            source=str(path),
        ) from error
    try:
        settings = Settings.model_validate(document)
    except ValidationError as error:
        raise ConfigError(
            _problem(details, text, str(path)) for details in error.errors(include_url=False)
        ) from error
    return Loaded(path, settings)


def _problem(details: ErrorDetails, text: str, source: str) -> Problem:
    keys = [part for part in details["loc"] if isinstance(part, str)]
    key_path = ".".join(keys)
    line = _line_of(keys, text)
    place = f"{key_path} (line {line})" if line else key_path
    if details["type"] == "extra_forbidden":
        known = _known_keys(keys[:-1])
        near = difflib.get_close_matches(keys[-1], known, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
        return Problem(Severity.ERROR, f"{keys[-1]} is not a known key", mend, source, place)
    if details["type"] == "missing":
        return Problem(
            Severity.ERROR,
            f"{keys[-1]} is missing",
            f"add {_example(keys)}",
            source,
            place,
        )
    found = details["input"]
    message = details["msg"].removeprefix("Value error, ")
    if not isinstance(found, dict | list):
        message = f"{message}; found {found!r}"
    return Problem(Severity.ERROR, message, _meaning(keys), source, place)


def _model_at(keys: Sequence[str]) -> type[BaseModel] | None:
    model: Any = Settings
    for key in keys:
        field = model.model_fields.get(key)
        if field is None:
            return None
        model = _nested_model(field.annotation)
        if model is None:
            return None
    return model  # type: ignore[no-any-return]


def _nested_model(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401
    for candidate in (annotation, *getattr(annotation, "__args__", ())):
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
        inner = _nested_model(candidate) if candidate is not annotation else None
        if inner is not None:
            return inner
    return None


def _known_keys(keys: Sequence[str]) -> list[str]:
    model = _model_at(keys)
    return list(model.model_fields) if model else []


def _meaning(keys: Sequence[str]) -> str:
    model = _model_at(keys[:-1])
    field = model.model_fields.get(keys[-1]) if model and keys else None
    return (field.description or "") if field else ""


def _example(keys: Sequence[str]) -> str:
    return f"[{keys[0]}]" if len(keys) == 1 else f"{keys[-1]} = … under [{'.'.join(keys[:-1])}]"


def _line_of(keys: Sequence[str], text: str) -> int:
    """Line of the deepest key that can be found in the text; 0 where none is."""
    table = ""
    best, depth = 0, 0
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\s*([\w.\-]+)\s*\]", line)
        if header:
            table = header[1]
            if keys and table == ".".join(keys[: table.count(".") + 1]) and depth < 1:
                best, depth = number, 1
            continue
        pair = re.match(r"\s*([\w.\-]+)\s*=", line)
        if pair:
            full = f"{table}.{pair[1]}".strip(".").split(".")
            if full == list(keys[: len(full)]) and len(full) > depth:
                best, depth = number, len(full)
    return best
