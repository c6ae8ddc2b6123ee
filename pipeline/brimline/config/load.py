"""Reading the site's file: every fault at once, each with its line and the nearest known key."""

from __future__ import annotations

import difflib
import json
import os
import re
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, ValidationError

from brimline.config.tables import Settings
from brimline.errors import ConfigError, InputError, Problem, Severity, shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic_core import ErrorDetails

# what is wrong with a value, in our words, by how pydantic calls it
_WORDS: Final = {
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "literal_error": "must be one of {expected}",
    "finite_number": "must be a number with an end",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} letters",
    "too_short": "must hold at least {min_length} values",
    "too_long": "must hold at most {max_length} values",
}
_KINDS: Final = {
    "float": "must be a number",
    "int": "must be a whole number",
    "bool": "must be true or false",
    "string": "must be a text in quotes",
    "tuple": "must be a list in [brackets]",
    "dict": "must be a table of keys",
    "model": "must be a table of keys",
}
OPTIONS: Final = "options"
_NAME: Final = re.compile(r"[\w-]+")


@dataclass(frozen=True, slots=True)
class SiteOption:
    """One of several designs of a site: what its table says, and the settings with that."""

    said: Mapping[str, Any]
    settings: Settings


@dataclass(frozen=True, slots=True)
class Loaded:
    """The settings of a site and where its file lies; paths in it are relative to `folder`.

    Parameters
    ----------
    options : by the name of their tables in ``[options]``.
    """

    path: Path
    settings: Settings
    options: Mapping[str, SiteOption] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """Folder of the site's file."""
        return self.path.parent

    def resolve(self, name: str) -> Path:
        """Return the path that a file name in the settings stands for, without ``..``."""
        return Path(os.path.normpath(self.folder / name))

    def option(self, name: str) -> Loaded:
        """Return the site as one of its options has it.

        Raises
        ------
        InputError
            If it has no option of that name.
        """
        if name not in self.options:
            known = ", ".join(self.options) or f"none: write a table [{OPTIONS}.{name}]"
            raise InputError.of(
                f"has no option called {name}", mend=f"known here: {known}", source=str(self.path)
            )
        return replace(self, settings=self.options[name].settings)

    def with_sensitivity(self) -> Loaded:
        """Return the site with its design tried in other worlds."""
        on = self.settings.sensitivity.model_copy(update={"on": True})
        return replace(self, settings=self.settings.model_copy(update={"sensitivity": on}))


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
    tables = document.pop(OPTIONS, {})
    settings = _validated(document, text, str(path))
    return Loaded(path, settings, _options(tables, document, text, str(path)))


def _validated(
    document: Mapping[str, Any], text: str, source: str, within: tuple[str, ...] = ()
) -> Settings:
    try:
        # strict, as JSON, where lists are tuples: no text or yes is taken for a number
        return Settings.model_validate_json(json.dumps(document, default=str), strict=True)
    except ValidationError as error:
        details = error.errors(include_url=False)
        raise ConfigError(_problem(one, text, source, within) for one in details) from error


def _options(
    tables: Any,  # noqa: ANN401 - whatever was written
    document: Mapping[str, Any],
    text: str,
    source: str,
) -> dict[str, SiteOption]:
    """Return the settings of each option: those of the site with what its table overrides."""
    named = tables if isinstance(tables, dict) else {"": tables}
    wrong = [
        Problem(
            Severity.ERROR,
            f"{name or 'options'} is not the table of an option",
            "write [options.NAME] of letters, digits and dashes, and in it the keys that differ,"
            ' such as inputs.plan = "other.gpkg"',
            source,
            OPTIONS,
        )
        for name, said in named.items()
        if not (isinstance(said, dict) and _NAME.fullmatch(name))
    ]
    if wrong:
        raise ConfigError(wrong)
    return {
        name: SiteOption(said, _validated(_over(document, said), text, source, (OPTIONS, name)))
        for name, said in named.items()
    }


def _over(below: Any, above: Any) -> Any:  # noqa: ANN401 - any TOML value
    """Lay tables over tables key by key; any other value takes the place of what was there."""
    if not (isinstance(below, dict) and isinstance(above, dict)):
        return above
    return below | {key: _over(below.get(key), value) for key, value in above.items()}


def _problem(
    details: ErrorDetails, text: str, source: str, within: tuple[str, ...] = ()
) -> Problem:
    keys = [part for part in details["loc"] if isinstance(part, str)]
    key_path = ".".join((*within, *keys))
    line = _line_of([*within, *keys], text)
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
    found, context = details["input"], details.get("ctx", {})
    kind = details["type"]
    message = _KINDS.get(kind.split("_")[0]) or details["msg"].removeprefix("Value error, ")
    if kind in _WORDS:
        message = _WORDS[kind].format(**context)
    if not isinstance(found, dict | list):
        message = f"{message}; found {shown(json.dumps(found, ensure_ascii=False, default=str))}"
    mend = _meaning(keys) or "correct it or leave it out: what is left out is as usual"
    return Problem(Severity.ERROR, message, mend, source, place)


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
