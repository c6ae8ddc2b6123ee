"""What the results rest on: inputs, the survey's accuracy, parameters, and what the run noted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pydantic_core import PydanticUndefined

from brimline.config import Settings
from brimline.config.works import COLUMNS
from brimline.layers import drawn
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.results import Results

# USGS Lidar Base Specification 2023 rev. A, table 2: non-vegetated vertical accuracy, RMSE
CLASS_RMSE_M: Final = {"QL0": 0.05, "QL1": 0.10, "QL2": 0.10, "QL3": 0.20}
_NOT_PRINTED: Final = ("site", "inputs", "publish")
_DIGEST_SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file that the run was made from."""

    name: str
    path: str
    size: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of the run: its value in the configuration's own unit, which its key names."""

    table: str
    key: str
    value: str
    changed: bool
    meaning: str


@dataclass(frozen=True, slots=True)
class Note:
    """Something that the run changed on the person's behalf, or that a person should look at."""

    severity: str
    text: str
    mend: str


def input_files(results: Results) -> tuple[InputFile, ...]:
    """Return every input file, once each."""
    found: dict[str, InputFile] = {}
    for name, source in results.manifest.get("inputs", {}).items():
        for file in source.get("files", ()):
            before = found.get(file["path"])
            label = name.replace("_", " ")
            label = f"{before.name}, {label}" if before else label
            found[file["path"]] = InputFile(
                label, file["path"], _size(file["bytes"]), file["sha256"][:_DIGEST_SHOWN]
            )
    return tuple(found.values())


def accuracy(results: Results) -> tuple[tuple[str, str], ...]:
    """Return what is known of the survey as (words, value)."""
    grid, units = results.grid, results.units
    length, area = shown("level", units), shown("area", units)
    rows = [
        ("Coordinate reference system", grid.crs[:200] or "none"),
        ("Scale of the job", str(results.parameter("site", "profile") or "farm")),
        ("Cell size", length.text(grid.cell_m)),
        ("Grid", f"{grid.rows} rows × {grid.cols} columns"),
    ]
    survey: Mapping[str, Any] = results.facts.get("survey", {})
    if "area_m2" in survey:
        rows.append(("Ground surveyed", area.text(float(survey["area_m2"]))))
        small = shown("small area", units)
        rows.append(("Holes spanned", small.text(float(survey["spanned_m2"]))))
        rows.append(("Holes left", small.text(float(survey["left_void_m2"]))))
    stated = results.parameter("survey", "rmse_m")
    quality = results.parameter("survey", "accuracy_class")
    rmse_m = stated if stated is not None else CLASS_RMSE_M.get(str(quality))
    told = results.facts.get("level_survey", {}).get("rmse_m")
    if stated is None and told is not None:
        rmse_m = told
    if rmse_m is not None:
        if stated is not None:
            origin = "as stated"
        elif told is not None:
            origin = "as levels tell that were left out, inside the boundary"
        else:
            origin = f"of class {quality}, assumed"
        rows.append(("Vertical error (RMSE)", f"{length.text(float(rmse_m))}, {origin}"))
        rows.append(("Two levels differ surely from", length.text(1.96 * 2**0.5 * float(rmse_m))))
    return tuple(rows)


def parameters(results: Results) -> tuple[Parameter, ...]:
    """Return every parameter with its meaning, and whether it departs from the default."""
    found = []
    for table, values in results.manifest.get("parameters", {}).items():
        if table in _NOT_PRINTED or table not in Settings.model_fields:
            continue
        model: Any = Settings.model_fields[table].annotation
        for key, value in values.items():
            field = model.model_fields.get(key)
            if field is None:
                continue
            default = field.default
            plain = list(default) if isinstance(default, tuple) else default
            changed = default is not PydanticUndefined and value != plain
            meaning = str(field.description or "")
            found.append(Parameter(table, key, _value(value), changed, meaning))
    return (*found, *_usual_values())


def _usual_values() -> list[Parameter]:
    """Return what is taken for empty columns of the drawing, where no parameter says it."""
    said = set(COLUMNS.values())
    return [
        Parameter(
            item.name, column.name, _value(column.usual), changed=False, meaning=column.meaning
        )
        for item in drawn.ITEMS
        for column in item.columns
        if column.usual is not None and (item.name, column.name) not in said
    ]


def notes(results: Results) -> tuple[Note, ...]:
    """Return the run's warnings and notices, warnings first."""
    found = []
    for problem in results.manifest.get("problems", ()):
        where = ", ".join(part for part in (problem["source"], problem["place"]) if part)
        text = f"{where}: {problem['message']}" if where else problem["message"]
        found.append(Note(problem["severity"], text, problem["mend"]))
    return tuple(sorted(found, key=lambda note: note.severity != "warning"))


def _value(value: Any) -> str:  # noqa: ANN401 - any TOML value
    if value is None:
        return "left out"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_value(part)}" for key, part in value.items()) or "none"
    if isinstance(value, list | tuple):
        return ", ".join(_value(part) for part in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _size(count: int) -> str:
    size = float(count)
    for unit in ("bytes", "kB", "MB"):
        if size < 1000:
            return f"{size:.0f} {unit}"
        size /= 1000
    return f"{size:.1f} GB"
