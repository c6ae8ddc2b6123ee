"""``brimline compare``: what changed between two runs, what no longer holds first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.units import shown

if TYPE_CHECKING:
    from pathlib import Path

_MOST_FINDINGS = 12
_EFFECTS = {
    "worse": "What no longer holds, the gravest first",
    "different": "What is different",
    "better": "What is better",
}


def run(
    then: Path,
    now: Path,
    out: Path | None,
    *,
    confidence: float,
    keep_shift: bool,
    stable: Path | None,
    as_json: bool,
) -> None:
    """Compare two run folders and write the result beside the new one."""
    from brimline.io.runs import read_run
    from brimline.publish.comparing import compare, write_comparison

    folder = out or now.with_name(f"{now.resolve().name}-change")
    found = compare(
        read_run(then),
        read_run(now),
        confidence=confidence,
        take_off_shift=not keep_shift,
        stable=stable,
    )
    write_comparison(found, folder)
    if as_json:
        console.result_json({"ok": True, "folder": str(folder)} | found.plain)
        return
    console.result(_summary(found.plain))
    console.result(f"\nResults: {folder}")


def _summary(plain: dict[str, Any]) -> str:
    units = plain["units"]
    level, earth, area = (shown(name, units) for name in ("level", "earth", "area"))
    lines = [f"  least change told: {level.text(plain['detection_m'])}"]
    if plain["shift"]["told"]:
        off = "; taken off" if plain["shift_taken_off"] else ""
        lines.append(f"  {plain['shift']['told']}{off}")
    if plain["changed_areas"] == 0:
        lines.append("  no change of the ground beyond the errors of both surveys")
    for kind, title in (("cut", "earth gone"), ("fill", "earth come")):
        volume = plain[kind]
        if volume["area_m2"] > 0:
            lines.append(
                f"  {title}: {earth.text(volume['volume_m3'])} ± {earth.text(volume['error_m3'])} "
                f"on {area.text(volume['area_m2'])}"
            )
    if not any(one["effect"] == "worse" for one in plain["findings"]):
        lines.append("\nNothing that was found puts the old design in question.")
    for effect, title in _EFFECTS.items():
        told = [one for one in plain["findings"] if one["effect"] == effect]
        if told:
            lines.append(f"\n{title}:")
        for finding in told[:_MOST_FINDINGS]:
            where = " ".join(part for part in (finding["layer"], finding["id"]) if part)
            lines.append(f"  {where + ': ' if where else ''}{finding['text']}")
        if len(told) > _MOST_FINDINGS:
            more = len(told) - _MOST_FINDINGS
            lines.append(f"  and {more} more, in compare.html and change_findings")
    return "\n".join(lines)
