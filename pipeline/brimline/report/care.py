"""Looking after the works: what, when, and for which kinds (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from brimline.report.results import Results

_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
_WET_MONTHS: Final = 4
_USUAL_DRAWDOWN_H: Final = 72.0


@dataclass(frozen=True, slots=True)
class Care:
    """One thing to do: when, what, and which elements it is for."""

    when: str
    what: str
    where: str


def wet_months(results: Results) -> tuple[str, str] | None:
    """Return the first and last of the four months in a row with most rain, where it is known."""
    months = results.table("site_months")
    if months is None or "rain_mm" not in months.columns:
        return None
    average = months[months["year"].isna()].sort_values("month")
    rain = average["rain_mm"].to_numpy(dtype=np.float64)
    if len(rain) != len(_MONTHS) or np.ptp(rain) <= 0:
        return None
    turned = np.concatenate([rain, rain[: _WET_MONTHS - 1]])
    sums = np.convolve(turned, np.ones(_WET_MONTHS), "valid")
    first = int(sums.argmax())
    return _MONTHS[first], _MONTHS[(first + _WET_MONTHS - 1) % len(_MONTHS)]


def calendar(results: Results) -> tuple[Care, ...]:
    """Return what there is to do, the most frequent first, as far as the site has such elements."""
    elements = results.layer("elements")
    if elements is None:
        return ()
    by_kind = {str(k): list(rows["element_id"]) for k, rows in elements.groupby("kind")}
    wet = wet_months(results)
    before, after = "Before the wet season", "After the wet season"
    if wet is not None:
        before = f"Before {wet[0]}, when the wettest months begin"
        after = f"After {wet[1]}, when the wettest months end"
    hours = float(results.parameter("works", "drawdown_h") or _USUAL_DRAWDOWN_H)
    soaking, earth = ("swale", "basin"), ("swale", "drain", "pond", "basin")
    every = (*earth, "tank")
    tasks: tuple[tuple[str, str, tuple[str, ...]], ...] = (
        (
            "After every heavy rain in the first year, then after every storm",
            (
                "Walk the way of the water from top to bottom. At each overflow: is it level, has "
                "stone moved, has soil washed away? Mend it before the next rain."
            ),
            every,
        ),
        (
            f"{hours:g} hours after heavy rain",
            (
                "Look whether the water has soaked away. Where it has not, rake off the silt; if "
                "that does not help, ask the designer."
            ),
            soaking,
        ),
        (
            "Until grass covers the ground",
            "Keep bare mounds and banks seeded, mulched and watered. Keep stock and vehicles off.",
            earth,
        ),
        (
            before,
            (
                "Clear gutters, screens and the device that leads the first dirty water away; "
                "empty what has settled."
            ),
            ("tank",),
        ),
        (before, "Cut growth in the channel and clear what blocks its bends and end.", ("drain",)),
        (
            before,
            (
                "Clear every overflow and pipe mouth, and see that a person can reach each of them "
                "in the rain."
            ),
            every,
        ),
        (
            after,
            (
                "Dig out silt where it has taken a quarter of the depth, and spread it uphill of "
                "the planting."
            ),
            soaking,
        ),
        (after, "Top up mulch, weed, and replace plants that have died.", ("basin",)),
        (
            "Twice a year, and when the water is low",
            (
                "Walk the bank: cracks, wet or soft spots on its outer side, burrows, and young "
                "trees are signs that it may fail. Lower the water and call an engineer if you "
                "find any. Never let trees grow on it."
            ),
            ("pond",),
        ),
        ("Every year", "Check the fence, the gentle shelf and the lifebuoy.", ("pond",)),
        (
            "Every five years",
            (
                "Check the level of each overflow and of each bank against the drawings with a "
                "level, and sound the depth of silt."
            ),
            earth,
        ),
    )
    found = []
    for when, what, kinds in tasks:
        held = [kind for kind in kinds if kind in by_kind]
        if held:
            all_of_them = len(held) == len(by_kind)
            names = ", ".join(str(name) for kind in held for name in by_kind[kind])
            found.append(Care(when, what, "everywhere" if all_of_them else names))
    return tuple(found)
