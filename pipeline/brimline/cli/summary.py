"""What matters of a run, in a short table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.units import shown

if TYPE_CHECKING:
    from brimline.units import System

_QUANTITY = {"_m2": "area", "_m3": "volume", "_m": "length", "_pct": "slope"}


def summary(manifest: dict[str, Any], units: System) -> str:
    """Return the headline figures, a line each, and how many warnings need a person."""
    figures = manifest["headline"]
    lines = [
        f"  {name.replace('_', ' ')}: {_text(name, value, units)}"
        for name, value in figures.items()
    ]
    warnings = manifest["warnings"]
    if warnings:
        lines.append(f"  {warnings} warnings need a person: see above, and problems in run.json")
    return "\n".join(lines)


def _text(name: str, value: Any, units: System) -> str:  # noqa: ANN401
    if isinstance(value, float | int) and not isinstance(value, bool):
        for suffix, quantity in _QUANTITY.items():
            if name.endswith(suffix):
                return shown(quantity, units).text(value)
        return f"{value:,}"
    return str(value)
