"""What is done when: planting, watering in, and the care of plants and elements, as a calendar."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brimline.planting.plants import Plant
    from brimline.planting.water import Climate

# minutes to plant one, by layer, and what elements ask for; common practice, no source
PLANTING_MIN: Final = {
    "canopy": 30.0, "understorey": 25.0, "shrub": 12.0, "climber": 12.0, "herb": 3.0,
    "groundcover": 2.0, "root": 2.0, "aquatic": 5.0,
}  # fmt: skip
# what, before the wet season (else in the dry one), minutes, years between
ELEMENT_CARE: Final[dict[str, tuple[tuple[str, bool, float, int], ...]]] = {
    "swale": (
        ("walk it: mend the lip where it has sunk, clear the sill", True, 20.0, 1),
        ("take silt out of the floor", False, 240.0, 5),
    ),
    "drain": (("clear leaves and silt, mend bare places", True, 30.0, 1),),
    "pond": (
        ("clear the sill; look for wet places, cracks and burrows on the bank", True, 30.0, 1),
        ("cut what is woody off the bank, roots too", False, 60.0, 1),
        ("take silt out", False, 960.0, 10),
    ),
    "basin": (
        ("clear inlet and sill", True, 20.0, 1),
        ("renew the mulch, loosen what is sealed", False, 60.0, 2),
    ),
    "tank": (
        ("clean gutters and first flush", True, 30.0, 1),
        ("drain the sediment", False, 60.0, 3),
    ),
}

_LONGEST_BYTES = 75  # of a line of an iCalendar file, RFC 5545, section 3.1

_DRY, _WET = 7, 11  # months taken where no weather tells, half a year later in the south


@dataclass(frozen=True, slots=True)
class Task:
    """Something that is done in one month of a year.

    Parameters
    ----------
    subject : a zone, an element or a plant.
    minutes : for all of it together; NaN is not known.
    every_y : years between two times; 0 once only.
    """

    what: str
    subject: str
    year: int
    month: int
    minutes: float
    every_y: int = 1


def calendar_text(tasks: Sequence[Task], name: str, stamp: dt.date) -> str:
    """Write tasks as an iCalendar file: all-day events on the first of their month.

    Parameters
    ----------
    name : of the calendar, and of what its events belong to.
    stamp : day that the file is made; the same tasks give the same text.

    References
    ----------
    RFC 5545 (Desruisseaux 2009), Internet calendaring and scheduling
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//brimline//{_escaped(name)}//EN",
             "CALSCALE:GREGORIAN", f"X-WR-CALNAME:{_escaped(name)}"]  # fmt: skip
    for number, task in enumerate(tasks, start=1):
        first = dt.date(task.year, task.month, 1)
        long = "" if math.isnan(task.minutes) else f"; about {task.minutes / 60:.1f} h"
        lines += [
            "BEGIN:VEVENT",
            f"UID:{number}-{task.year}{task.month:02d}@brimline",
            f"DTSTAMP:{stamp:%Y%m%d}T000000Z",
            f"DTSTART;VALUE=DATE:{first:%Y%m%d}",
            f"DTEND;VALUE=DATE:{first + dt.timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{_escaped(f'{task.subject}: {task.what}')}",
            f"DESCRIPTION:{_escaped(f'Any day of the month{long}.')}",
            *([f"RRULE:FREQ=YEARLY;INTERVAL={task.every_y}"] if task.every_y else []),
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(part + "\r\n" for line in lines for part in _folded(line))


def _escaped(text: str) -> str:
    for sign in "\\;,":
        text = text.replace(sign, "\\" + sign)
    return text.replace("\n", "\\n")


def _folded(line: str) -> Iterable[str]:
    """Fold a line to 75 bytes without splitting a letter."""
    part, size = "", 0
    for letter in line:
        more = len(letter.encode())
        if size + more > _LONGEST_BYTES:
            yield part
            part, size = " ", 1
        part, size = part + letter, size + more
    yield part


def months_of_work(climate: Climate | None, *, southern: bool) -> tuple[int, int]:
    """Return the driest month and the wettest; usual ones where no weather tells.

    Parameters
    ----------
    southern : the site lies south of the equator.
    """
    if climate is not None:
        return climate.driest_month, int(np.argmax(climate.rain_mm)) + 1
    dry, wet = ((month + 5) % 12 + 1 if southern else month for month in (_DRY, _WET))
    return dry, wet


def building_and_planting(
    elements: Sequence[tuple[str, str]],
    counts: Mapping[str, Mapping[Plant, int]],
    dry_month: int,
    wet_month: int,
) -> list[Task]:
    """Return what is done from the first year on, in order.

    Earth is moved in the driest month of the first year; plants follow in the first of their own
    months after it, and their care begins the year after.

    Parameters
    ----------
    elements : identifier and kind.
    counts : plants of each zone.
    dry_month, wet_month : driest and wettest month of the average year, 1 to 12.
    """
    found = [Task("build", name, 1, dry_month, math.nan, 0) for name, _ in elements]
    for name, kind in elements:
        for what, before_wet, minutes, every in ELEMENT_CARE.get(kind, ()):
            month = (wet_month - 2) % 12 + 1 if before_wet else dry_month
            first = 1 if before_wet and month > dry_month else 1 + every
            found.append(Task(what, name, first, month, minutes, every))
    for zone, kinds in counts.items():
        for plant, count in kinds.items():
            found += _plant_tasks(zone, plant, count, dry_month)
    return sorted(found, key=lambda task: (task.year, task.month, task.subject, task.what))


def _plant_tasks(zone: str, plant: Plant, count: int, dry_month: int) -> list[Task]:
    wait, month = min(((month - dry_month - 1) % 12, month) for month in plant.plant_months)
    year = 1 if dry_month + wait + 1 <= 12 else 2
    subject = f"{zone}: {count} {plant.name}"
    tasks = [Task("plant and water in", subject, year, month, count * PLANTING_MIN[plant.layer], 0)]
    for what, months, minutes in plant.care:
        tasks += [
            Task(what, subject, year + 1, each, count * minutes / len(months)) for each in months
        ]
    return tasks
