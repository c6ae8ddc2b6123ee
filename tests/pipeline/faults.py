"""The catalogue of faulty inputs: what is broken, in which input, and what must be said of it.

Each entry is data. ``level`` is the least that must be told: ``error`` (a run is refused),
``warning`` (it goes on, a person should look) or ``fine`` (taken rightly: neither). ``says`` is a
pattern of the message. Inputs that do not hang together are broken side by side, one fault of each
in one site, because every problem is told at once.
"""

from __future__ import annotations

import io
from typing import Any, NamedTuple

import laspy
import numpy as np
import shapely
from pyproj import CRS

Rows = list[dict[str, Any]]


class Fault(NamedTuple):
    """One fault of one input."""

    what: str
    given: Any
    level: str
    says: str


def _of(*rows: tuple[str, Any, str, str]) -> tuple[Fault, ...]:
    return tuple(Fault(*row) for row in rows)


# tables as text --------------------------------------------------------------------------------

RAIN = "duration_h,2,10,100\n1,20,30,45\n24,50,70,100\n"
PLANT_HEAD = (
    "name,kind,layer,spacing_m,height_m,crown_m,mature_y,sun,water,frost_limit_c,kc,kc_dormant,"
    "root_depth_m,price_each,size,plant_months,care\n"
)
FIG = "fig,fig,canopy,4,4,4,8,full,moist,-12,0.8,0.3,1.0,20,pot,11-3,prune @ 1-2 @ 20\n"
GUILDS = "guild,plant,count,radius_m\nfig guild,fig,1,0\nfig guild,bean,4,1.5\n"
PLANTS = PLANT_HEAD + FIG + FIG.replace("fig,fig,canopy", "bean,bean,herb")
INFLOWS = "time_h,Ditch\n0,0\n1,0.2\n2,0\n"
BINARY = bytes(range(256)) * 8

RAINFALL = _of(
    ("empty", "", "error", "is empty"),
    ("a header only", "duration_h,2,10\n", "error", "needs a row"),
    ("one column", "duration_h\n1\n", "error", "needs a row"),
    ("bytes", BINARY, "error", "not a table|not text"),
    ("UTF-16", RAIN.encode("utf-16"), "error", "not a table|not text"),
    ("a web page", "<html><body>404</body></html>\n", "error", "needs a row|does not say"),
    ("semicolons", RAIN.replace(",", ";"), "fine", ""),
    ("semicolons and decimal commas", "duration_h;2;10;100\n1;20,5;30,1;45\n24;50;70;100\n", "fine", ""),
    ("tabs", RAIN.replace(",", "\t"), "fine", ""),
    ("a byte order mark", "\ufeff" + RAIN, "fine", ""),
    ("line ends of another system", RAIN.replace("\n", "\r\n"), "fine", ""),
    ("remarks", "# from the weather office\n" + RAIN, "fine", ""),
    ("rows in any order", "duration_h,2,10,100\n24,50,70,100\n1,20,30,45\n", "fine", ""),
    ("no unit of duration", RAIN.replace("duration_h", "duration"), "error", "unit of the durations"),
    ("a year that is none", RAIN.replace("100\n1", "often\n1"), "error", "does not name a return period"),
    ("text for a depth", RAIN.replace("30", "thirty"), "error", 'line 2, 10: "thirty" is not a number'),
    ("a gap", RAIN.replace("30", ""), "error", "line 2, 10: is empty"),
    ("a short row", "duration_h,2,10,100\n1,20,30\n24,50,70,100\n", "error", "line 2, 100"),
    ("a long row", "duration_h,2,10,100\n1,20,30,45,60\n24,50,70,100\n", "error", "line 2|more cells"),
    ("not a number said so", RAIN.replace("30", "nan"), "error", "line 2, 10"),
    ("without end", RAIN.replace("30", "inf"), "error", "line 2, 10"),
    ("below nothing", RAIN.replace("20", "-20"), "error", "rise|above 0|positive|fall"),
    ("all nothing", "duration_h,2,10\n1,0,0\n24,0,0\n", "error", "above 0|positive|rise"),
    ("a duration of nothing", "duration_h,2,10\n0,20,30\n24,50,70\n", "error", "duration"),
    ("a duration below nothing", "duration_h,2,10\n-1,20,30\n24,50,70\n", "error", "duration"),
    ("a duration twice", "duration_h,2,10\n24,50,70\n24,60,80\n", "error", "duration"),
    ("a period twice", "duration_h,2,2\n1,20,30\n24,50,70\n", "error", "period"),
    ("a period of nothing", "duration_h,0,10\n1,20,30\n24,50,70\n", "error", "period"),
    ("less rain in longer storms", "duration_h,2,10\n1,50,70\n24,20,30\n", "error", "fall|rise"),
    ("less rain in rarer storms", "duration_h,2,10\n1,30,20\n24,70,50\n", "error", "fall|rise"),
    ("inches", "duration_h,2,10\n1,0.8,1.2\n24,2,2.8\n", "warning", "usual are .* mm"),
    ("tenths", "duration_h,2,10\n1,2000,3000\n24,5000,7000\n", "error", "ever measured"),
    ("minutes named hours", "duration_h,2,10\n60,20,30\n1440,50,70\n", "error", "does not reach|outside|shorter"),
    ("intensities named depths", "duration_h,2,10\n1,20,30\n24,2.1,2.9\n", "error", "fall|rise"),
    ("more than was ever measured", RAIN.replace("100\n", "9000\n"), "error", "ever measured"),
    ("the storm not reached", "duration_h,2,10\n0.5,20,30\n1,25,40\n", "error", "duration|hours| h"),
    ("the period not reached", "duration_h,2,5\n1,20,30\n24,50,70\n", "error", "period|year"),
    ("quotes left open", 'duration_h,2,10\n1,"20,30\n24,50,70\n', "error", "not a table|not a number|line"),
    ("a formula", RAIN.replace("30", "=1+29"), "error", "not a number"),
    ("a header twice", RAIN + RAIN, "error", "not a number"),
    ("control characters", RAIN.replace("30", "30\x07"), "error", "control characters"),
    ("a table of one cell", "x\n", "error", "needs a row|does not say"),
    ("thousands parted", RAIN.replace("45", '"1,045"'), "error", "falls"),
    ("units in cells", RAIN.replace("30", "30 mm"), "error", "not a number"),
)  # fmt: skip

PLANTS_FILE = _of(
    ("empty", "", "error", "is empty"),
    ("a header only", PLANT_HEAD, "error", "holds no row"),
    ("bytes", BINARY, "error", "not a table|not text"),
    ("Latin letters of old", PLANTS.replace("bean", "böhne").encode("latin-1"), "error", "not text|UTF-8"),
    ("no name column", PLANTS.replace("name,", "title,"), "error", "no column name|title"),
    ("a strange column", PLANTS.replace("kc,", "kk,"), "error", "column kk"),
    ("an unknown layer", PLANTS.replace("canopy", "sky"), "error", 'layer "sky"'),
    ("text for a spacing", PLANTS.replace("canopy,4", "canopy,wide"), "error", 'spacing_m "wide"'),
    ("no spacing", PLANTS.replace("canopy,4", "canopy,"), "error", "spacing_m is empty"),
    ("a spacing of nothing", PLANTS.replace("canopy,4", "canopy,0"), "error", "spacing_m"),
    ("a spacing below nothing", PLANTS.replace("canopy,4", "canopy,-4"), "error", "spacing_m"),
    ("a spacing in mm", PLANTS.replace("canopy,4", "canopy,4000"), "error", "spacing_m"),
    ("a height of a mountain", PLANTS.replace("canopy,4,4", "canopy,4,4000"), "error", "height_m"),
    ("a crown in cm", PLANTS.replace("canopy,4,4,4", "canopy,4,4,400"), "error", "crown_m"),
    ("frost in kelvin", PLANTS.replace("-12", "261"), "error", "frost_limit_c"),
    ("kc of a percent", PLANTS.replace("0.8,0.3", "80,30"), "error", "kc"),
    ("roots to the core", PLANTS.replace("1.0,20", "1000,20"), "error", "root_depth_m"),
    ("a price below nothing", PLANTS.replace(",20,pot", ",-20,pot"), "error", "price_each"),
    ("an unknown sun", PLANTS.replace("full", "bright"), "error", 'sun "bright"'),
    ("an unknown wetness", PLANTS.replace("moist", "sodden"), "error", 'water "sodden"'),
    ("a month that is none", PLANTS.replace("11-3", "13-3"), "error", "plant_months"),
    ("months in words", PLANTS.replace("11-3", "November"), "error", "plant_months"),
    ("care without months", PLANTS.replace("prune @ 1-2 @ 20", "prune"), "error", "care"),
    ("care of less than no time", PLANTS.replace("@ 20", "@ -20"), "error", "care"),
    ("a name twice", PLANTS.replace("bean,bean", "fig,bean"), "error", "fig stands twice"),
    ("a name of nothing", PLANTS.replace("fig,fig", ",fig"), "error", "name is empty"),
    ("a long row", PLANTS + "plum," + "4," * 40 + "\n", "error", "line 4|more cells|not a table"),
    ("a decimal comma in quotes", PLANTS.replace("canopy,4", 'canopy,"4,5"'), "fine", ""),
    ("semicolons", PLANTS.replace(",", ";"), "fine", ""),
    ("a name of control characters", PLANTS.replace("fig,fig", "f\x1b[2Jig,fig"), "warning|error", r"\\x1b"),
    ("a name that turns letters round", PLANTS.replace("fig,fig", "f\u202eig,fig"), "warning|error", r"\\u202e"),
    ("a name like a formula", PLANTS.replace("fig,fig", "=fig,fig"), "fine", ""),
    ("a very long name", PLANTS.replace("fig,fig", "f" * 9000 + ",fig"), "warning|error", "long|letters"),
    ("capital letters in the header", PLANTS.replace("name,kind", "Name,Kind"), "fine", ""),
)  # fmt: skip

GUILDS_FILE = _of(
    ("empty", "", "error", "is empty"),
    ("bytes", BINARY, "error", "not a table|not text"),
    ("no plant column", GUILDS.replace("plant", "kind"), "error", "column"),
    ("an unknown plant", GUILDS.replace(",bean", ",baen"), "error", "no plant baen"),
    ("a guild called as a plant", GUILDS.replace("fig guild", "fig"), "error", "is a plant"),
    ("two centres", GUILDS.replace("1.5", "0"), "error", "two centres"),
    ("no centre", GUILDS.replace(",1,0", ",1,2"), "error", "no centre"),
    ("half a plant", GUILDS.replace(",4,", ",4.5,"), "error", "count"),
    ("no plants", GUILDS.replace(",4,", ",0,"), "error", "count"),
    ("a radius below nothing", GUILDS.replace("1.5", "-1.5"), "error", "radius_m"),
    ("text for a radius", GUILDS.replace("1.5", "near"), "error", "radius_m"),
    ("more plants than a field", GUILDS.replace(",4,", ",40000000,"), "error", "count"),
    ("a radius of a valley", GUILDS.replace("1.5", "15000"), "error", "radius_m"),
    ("a name of control characters", GUILDS.replace("fig guild", "fig\x07guild"), "warning|error", r"\\x07"),
    ("a guild without a name", GUILDS.replace("fig guild,bean", ",bean"), "error", "guild"),
)  # fmt: skip

INFLOWS_FILE = _of(
    ("empty", "", "error", "is empty"),
    ("bytes", BINARY, "error", "not a table|not text"),
    ("no time", INFLOWS.replace("time_h", "hours"), "error", "time_h"),
    ("a time without its unit", INFLOWS.replace("time_h", "time"), "error", "time_h"),
    ("times only", "time_h\n0\n1\n", "error", "each inflow|one for each"),
    ("text for a flow", INFLOWS.replace("0.2", "much"), "error", "not a number"),
    ("a gap", INFLOWS.replace("1,0.2", "1,"), "error", "not a number|empty"),
    ("times that fall", INFLOWS.replace("1,0.2", "5,0.2"), "error", "rise|time"),
    ("a flow below nothing", INFLOWS.replace("0.2", "-0.2"), "error", "below 0|negative|not be"),
    ("litres for cubic metres", INFLOWS.replace("0.2", "20000"), "warning", "usual"),
    ("one row", "time_h,Ditch\n0,0.2\n", "error", "two|row|Ditch"),
    ("a name that no point has", INFLOWS.replace("Ditch", "Dicth"), "warning", "Dicth"),
    ("semicolons", INFLOWS.replace(",", ";"), "fine", ""),
    ("a name twice", "time_h,Ditch,Ditch\n0,0,0\n1,0.2,0.3\n2,0,0\n", "error", "two columns called Ditch"),
    ("control characters", INFLOWS.replace("Ditch", "Di\x1btch"), "warning|error", r"\\x1b"),
    ("times of years", INFLOWS.replace("\n2,", "\n20000,"), "error|warning", "usual|long|hours"),
    ("dates for hours", INFLOWS.replace("\n1,", "\n2026-01-01,"), "error", "not a number"),
    ("no water at all", INFLOWS.replace("0.2", "0"), "warning", "no water|brings none"),
)  # fmt: skip


def weather(**changed: Any) -> str:
    """Ten years of plain weather; a column is changed by a function of its day and value."""
    days = np.arange(np.datetime64("2011-01-01"), np.datetime64("2021-01-01"))
    turn = 2 * np.pi * np.arange(days.size) / 365.25
    columns = {
        "rain_mm": np.where(np.arange(days.size) % 3 == 0, 6.0, 0.0),
        "temp_max_c": 14 - 9 * np.cos(turn),
        "temp_min_c": 6 - 8 * np.cos(turn),
    }
    for name, change in changed.items():
        columns[name] = change(columns[name].copy())
    lines = [
        ",".join([str(day), *(f"{columns[name][at]:.1f}" for name in columns)])
        for at, day in enumerate(days)
    ]
    return "date,rain_mm,temp_max_c,temp_min_c\n" + "\n".join(lines) + "\n"


def _at(place: Any, value: float) -> Any:
    def change(values: np.ndarray) -> np.ndarray:
        values[place] = value
        return values

    return change


_FAIR = weather()
_LINES = _FAIR.splitlines(keepends=True)
WEATHER = _of(
    ("empty", "", "error", "is empty"),
    ("bytes", BINARY, "error", "not a table|not text|column|read"),
    ("a header only", _LINES[0], "error", "holds no|no rows|value|days|row"),
    ("a month", "".join(_LINES[:31]), "error", "30 days"),
    ("no rain column", _FAIR.replace("rain_mm", "wet"), "error", "no column for precipitation"),
    ("two rain columns", _FAIR.replace("temp_min_c", "rain"), "error", "several columns|no column"),
    ("a day twice", _FAIR.replace("2011-01-02", "2011-01-04"), "error", "stands twice"),
    ("a day that is none", _FAIR.replace("2011-02-28", "2011-02-30"), "error", "2011-02-30.*date"),
    ("days before months", _FAIR.replace("2011-", "31.12."), "error", "date"),
    ("text for rain", _FAIR.replace("2011-01-01,6.0", "2011-01-01,wet"), "error", '"wet"'),
    ("decimal commas", _FAIR.replace(",", ";").replace(".", ","), "fine", ""),
    ("rain in inches", weather(rain_mm=lambda v: v / 25.4), "warning", "inches"),
    ("rain in tenths", weather(rain_mm=lambda v: v * 100), "error", "tenths|unit"),
    ("rain below nothing", weather(rain_mm=lambda v: -v), "error", "below 0"),
    ("no rain at all", weather(rain_mm=lambda v: 0 * v), "warning", "rain"),
    ("temperatures as rain", weather(rain_mm=lambda v: v * 0 + 12), "error|warning", "right column|unit|few places"),
    ("Fahrenheit", weather(temp_max_c=lambda v: v * 1.8 + 32, temp_min_c=lambda v: v * 1.8 + 32), "error", "°F"),
    ("kelvin", weather(temp_max_c=lambda v: v + 273, temp_min_c=lambda v: v + 273), "error", "kelvin"),
    ("tenths of degrees", weather(temp_max_c=lambda v: v * 10, temp_min_c=lambda v: v * 10), "error", "tenths"),
    ("swapped temperatures", weather(temp_max_c=lambda v: v - 30), "error", "swapped"),
    ("one hot day", weather(temp_max_c=_at(100, 99.0)), "warning", "impossible"),
    ("a year missing", "".join(line for line in _LINES if not line.startswith("2015")), "error", "2015"),
    ("a flood that never was", weather(rain_mm=_at(9, 2500.0)), "warning", "impossible precipitation"),
    ("missing marks", weather(rain_mm=_at(slice(9, 12), -9999.0)), "warning", "missing"),
)  # fmt: skip

# single levels, in a grid of one's own ------------------------------------------------------------

_SPOTS = [
    (f"{n}", 5.0 + 10 * (n % 6), 5.0 + 10 * (n // 6), 100 - 0.3 * (n // 6) + 0.05 * (n % 6))
    for n in range(36)
]


def spots(*changed: tuple[int, tuple[Any, ...]], head: str = "name,easting,northing,level") -> str:
    """A file of 36 single levels; rows are replaced by number."""
    rows: list[tuple[Any, ...]] = list(_SPOTS)
    for at, row in changed:
        rows[at] = row
    return head + "\n" + "\n".join(",".join(str(cell) for cell in row) for row in rows) + "\n"


LEVELS = _of(
    ("empty", "", "error", "is empty"),
    ("bytes", BINARY, "error", "column|not text"),
    ("a header only", "name,easting,northing,level\n", "error", "holds no points|no points"),
    ("two points", "name,easting,northing,level\n1,0,0,10\n2,10,0,10\n", "error", "level"),
    ("three on a line", "name,easting,northing,level\n1,0,0,9\n2,10,0,9\n3,20,0,9\n", "error", "line|level"),
    ("all in one place", "name,easting,northing,level\n" + "1,5,5,10\n" * 9, "error", "place|level"),
    ("no level column", spots(head="name,easting,northing,thing"), "error", "no column for the level"),
    ("no northing column", spots(head="name,easting,thing,level"), "error", "no column for the northing"),
    ("text for a level", spots((7, ("7", 15, 15, "high"))), "error", 'level is "high"'),
    ("a gap", spots((7, ("7", 15, 15, ""))), "error", "level is empty"),
    ("without end", spots((7, ("7", 15, 15, "inf"))), "error", "not a number"),
    ("a far place", spots((7, ("7", 15000, 15, 99.7))), "error", "from the middle"),
    ("all swapped with a far row", spots((7, ("7", 5200000, 350000, 99.7))), "error", "from the middle"),
    ("one level in feet", spots((14, ("14", 25, 25, 325.8))), "warning", "in feet"),
    ("one level of nothing", spots((14, ("14", 25, 25, 0))), "warning", "reads 0"),
    ("one level slipped by ten", spots((14, ("14", 25, 25, 9.92))), "warning", "reads 9.9"),
    ("two levels at one place", spots((8, ("8", 15, 5, 98.0))), "warning", "two levels at one place"),
    ("millimetres", spots(*((n, (*_SPOTS[n][:3], _SPOTS[n][3] * 1000)) for n in range(36))), "warning|error", "unit|outside"),
    ("a name of control characters", spots((7, ("7\x1b[2J", 15, 15, 99.7))), "warning|error", r"\\x1b"),
    ("a mark of bytes and commas", "\ufeff" + spots(), "fine", ""),
    ("a row cut short", spots() + "37,5", "error", "empty|cells|not a number"),
    ("decimal commas", spots().replace(",", ";").replace(".", ","), "fine", ""),
)  # fmt: skip

# what is drawn ------------------------------------------------------------------------------------


def box(x: float, y: float, w: float = 6, h: float = 6) -> shapely.Polygon:
    """A rectangle in metres from the site's corner."""
    return shapely.box(x, y, x + w, y + h)


BOWTIE = shapely.Polygon([(5, 5), (25, 25), (25, 5), (5, 25)])
SITE = box(4, 4, 32, 32)
LINE = shapely.LineString([(8, 20), (32, 20)])
SPOT = shapely.Point(20, 20)
FAR = 1e6


def _moved(shape: Any, dx: float, dy: float = 0) -> Any:
    return shapely.transform(shape, lambda xy: xy + np.array([dx, dy]))


def _row(shape: Any, **columns: Any) -> Rows:
    return [{**columns, "shape": shape}]


BOUNDARY = _of(
    ("nothing drawn", [], "error", "no polygon|no rows"),
    ("a crossed outline", _row(BOWTIE), "error", "invalid polygon"),
    ("a line left open", _row(LINE), "error", "is a line"),
    ("a closed line", _row(shapely.LineString(SITE.exterior.coords)), "fine", ""),
    ("a point", _row(SPOT), "error", "is a point"),
    ("far off", _row(_moved(SITE, FAR)), "error", "km to the"),
    ("partly off the data", _row(_moved(SITE, 15)), "error", "has no elevation"),
    ("three cells", _row(box(10, 10, 1, 3)), "warning", "cells"),
    ("a row without a shape", _row(None) + _row(SITE), "warning", "no shape"),
    ("drawn twice", _row(SITE) * 2, "warning", "twice|same|overlap"),
    ("overlapping parts", _row(box(4, 4, 20, 32)) + _row(box(16, 4, 20, 32)), "warning", "overlap"),
    ("metres for degrees", _row(shapely.box(-27.0, 47.0, -26.9, 47.1)), "error", "has no elevation|outside"),
)  # fmt: skip

INTAKES = _of(
    ("off the data", _row(shapely.Point(900, 20), name="Spring"), "error", 'intake "Spring"'),
    ("a name twice", _row(SPOT, name="A") + _row(shapely.Point(9, 9), name="A"), "warning", "A"),
    ("at one place", _row(SPOT, name="A") + _row(SPOT, name="B"), "warning", "one place|coincide|same place"),
    ("a polygon", _row(SITE, name="A"), "error", "is a polygon"),
    ("yes and no", _row(SPOT, name="A", snap="perhaps"), "error", "perhaps"),
    ("a name of control characters", _row(SPOT, name="A\nB\x1b[2J"), "warning", "control characters"),
    ("a name of nothing", _row(SPOT, name="  "), "fine", ""),
    ("a very long name", _row(SPOT, name="N" * 5000), "warning", "long|letters"),
    ("nothing drawn", [], "warning", "no rows"),
)  # fmt: skip

SURFACES = _of(
    ("a roof inside a roof", _row(box(8, 8), cover="roof", name="a") + _row(box(9, 9, 2, 2), cover="roof", name="b"), "notice", "overlap"),
    ("a name that turns letters round", _row(box(8, 8), cover="roof", name="a\u202eb"), "warning", r"\\u202e"),
    ("no cover", _row(box(8, 8)), "error", 'no column "cover"'),
    ("an unknown cover", _row(box(8, 8), cover="cheese"), "error", "cheese.*allowed"),
    ("an empty cover", _row(box(8, 8), cover=None), "error", "cover is empty|no column"),
    ("a coefficient of a percent", _row(box(8, 8), cover="roof", runoff_coefficient=90.0), "error", "most allowed"),
    ("text for a coefficient", _row(box(8, 8), cover="roof", runoff_coefficient="all"), "error", "not a number"),
    ("a height below nothing", _row(box(8, 8), cover="roof", height_m=-3.0), "error", "least allowed"),
    ("a tower", _row(box(8, 8), cover="roof", height_m=2000.0), "warning", "usual"),
    ("a line", _row(LINE, cover="roof"), "error", "is a line"),
    ("a crossed outline", _row(BOWTIE, cover="roof"), "error", "invalid polygon"),
    ("off the data", _row(_moved(box(8, 8), 5000), cover="roof"), "warning", "off the elevation|outside the elevation"),
    ("far off", _row(_moved(box(8, 8), FAR), cover="roof"), "error|warning", "outside the elevation"),
    ("overlapping covers", _row(box(8, 8), cover="roof", name="a") + _row(box(9, 8), cover="pasture", name="b"), "notice", "overlap"),
    ("a roof name twice", _row(box(8, 8), cover="roof", name="a") + _row(box(20, 8), cover="roof", name="a"), "warning", '"a"'),
    ("a misspelled column", _row(box(8, 8), cover="roof", runof_coefficient=0.5), "warning", "runof_coefficient"),
    ("capital letters", _row(box(8, 8), Cover="Roof"), "fine", ""),
)  # fmt: skip

SOILS = _of(
    ("the later of two soils counts", _row(SITE, group="D") + _row(box(8, 8, 12, 12), group="A"), "notice", "the later row counts"),
    ("a depth below nothing", _row(SITE, group="B", depth_m=-1.0), "error", "least allowed"),
    ("a depth to the core", _row(SITE, group="B", depth_m=3000.0), "warning", "usual"),
    ("an unknown group", _row(SITE, group="E"), "error", 'group is "E"'),
    ("an unknown texture", _row(SITE, texture="crumbly"), "error", "crumbly"),
    ("soakage below nothing", _row(SITE, group="B", soak_mm_per_h=-5.0), "error", "least allowed"),
    ("soakage of a river", _row(SITE, group="B", soak_mm_per_h=1e9), "warning", "usual"),
    ("text for soakage", _row(SITE, group="B", soak_mm_per_h="fast"), "error", "not a number"),
    ("off the data", _row(_moved(SITE, 5000), group="B"), "warning", "outside the elevation"),
    ("a point", _row(SPOT, group="B"), "error", "is a point"),
    ("overlapping soils", _row(SITE, group="A") + _row(box(8, 8, 12, 12), group="D"), "notice", "overlap"),
    ("a decimal comma", _row(SITE, group="B", soak_mm_per_h="5,5"), "fine", ""),
)  # fmt: skip

KEEP_OUT = _of(
    ("an unknown kind", _row(SPOT, kind="castle"), "error", "castle.*allowed"),
    ("a setback below nothing", _row(SPOT, kind="well", setback_m=-1.0), "error", "least allowed"),
    ("a setback of a county", _row(SPOT, kind="well", setback_m=30000.0), "warning", "usual"),
    ("no setback", _row(SPOT, kind="well"), "warning", "no setback_m"),
    ("off the data", _row(shapely.Point(9000, 0), kind="well", setback_m=30.0), "warning", "outside the elevation"),
)  # fmt: skip

CULVERTS = _of(
    ("450 m wide", _row(LINE, name="c", diameter_m=450.0), "warning", "usual"),
    ("a width of nothing", _row(LINE, name="c", diameter_m=0.0), "warning|error", "diameter_m is 0"),
    ("below nothing", _row(LINE, name="c", diameter_m=-0.4), "error", "least allowed"),
    ("without length", _row(shapely.LineString([(9, 9), (9, 9)]), name="c"), "warning", "without length"),
    ("a point", _row(SPOT, name="c"), "error", "is a point"),
    ("off the data", _row(_moved(LINE, 5000), name="c"), "warning", "outside the elevation"),
)  # fmt: skip

WALLS = _of(
    ("a height below nothing", _row(LINE, height_m=-1.0), "error", "least allowed"),
    ("a wall to the sky", _row(LINE, height_m=300.0), "warning", "usual"),
    ("a polygon", _row(SITE, height_m=1.0), "error", "is a polygon"),
    ("text for a height", _row(LINE, height_m="low"), "error", "not a number"),
    ("low enough to be breached", _row(LINE, height_m=0.3), "warning", "breach"),
    ("off the data", _row(_moved(LINE, 5000), height_m=2.0), "warning", "outside the elevation"),
)  # fmt: skip

TILE_INDEX = _of(
    ("points", _row(SPOT, name="t1"), "error", "is a point"),
    ("nothing drawn", [], "error", "no footprint|holds no"),
    ("fine", _row(SITE, name="t1"), "fine", ""),
)  # fmt: skip

NOTES = _of(
    ("no text", _row(SPOT), "error", 'no column "text"'),
    ("an empty text", _row(SPOT, text=" "), "error", "text is empty"),
    ("a line", _row(LINE, text="here"), "error", "is a line"),
    ("an accuracy below nothing", _row(SPOT, text="here", accuracy_m=-3.0), "error", "least allowed"),
    ("yes and no", _row(SPOT, text="here", moved="maybe"), "error", "maybe"),
    ("off the data", _row(shapely.Point(9000, 0), text="here"), "warning", "outside the elevation"),
)  # fmt: skip

AS_BUILT = _of(
    ("empty", "", "error", "is empty"),
    ("a header only", "name,easting,northing,level\n", "error", "no points"),
    ("elsewhere", "name,easting,northing,level\na,100,100,120\nb,110,100,120\n", "error", "off the site"),
    ("swapped", "name,easting,northing,level\na,5209980,350010,119\nb,5209975,350015,119\n", "error", "changed places"),
    ("degrees", "name,easting,northing,level\na,-28.97,47.02,119\nb,-28.97,47.02,119\n", "error", "off the site"),
    ("feet", "name,easting,northing,level\na,350010,5209980,388.0\nb,350015,5209975,386.5\nc,350020,5209970,386.0\n", "error", "feet"),
    ("text for a level", "name,easting,northing,level\na,350010,5209980,low\n", "error", "low"),
    ("far under the ground", "name,easting,northing,level\na,350010,5209980,60\nb,350015,5209975,60.5\n", "warning|error", "off the ground|below the ground|under the ground"),
)  # fmt: skip

# the outline as a file of any kind: its ending, its bytes ------------------------------------------

_SQUARE = "[[[-28.97,47.02],[-28.96,47.02],[-28.96,47.03],[-28.97,47.03],[-28.97,47.02]]]"


def geojson(shape: str = f'{{"type":"Polygon","coordinates":{_SQUARE}}}', more: str = "") -> bytes:
    """One feature, as text that may be wrong."""
    feature = f'{{"type":"Feature","properties":{{}},"geometry":{shape}}}'
    return f'{{"type":"FeatureCollection"{more},"features":[{feature}]}}'.encode()


FILES = _of(
    ("an empty package", ("gpkg", b""), "error", "is empty"),
    ("bytes called a package", ("gpkg", BINARY), "error", "no format that"),
    ("text called a package", ("gpkg", b"not a package"), "error", "no format that"),
    ("an archive", ("gpkg", b"PK\x03\x04" + b"\0" * 90), "error", "archive"),
    ("a web page", ("geojson", b"<html>404</html>"), "error", "elsewhere"),
    ("a base without layers", ("gpkg", b"SQLite format 3\0" + b"\0" * 84), "error", "cannot be read|no layer"),
    ("the head of a base", ("gpkg", b"SQLite format 3\0"), "error", "cannot be read|no layer"),
    ("the head of a binary map", ("fgb", b"fgb\x03fgb\0"), "error", "cannot be read|no layer"),
    ("the head of a shape file", ("shp", b"\0\0\x27\x0a" + b"\0" * 96), "error", "cannot be read|no rows"),
    ("features cut short", ("geojson", geojson()[:90]), "error", "cannot be read"),
    ("features without coordinates", ("geojson", geojson('{"type":"Polygon"}')), "error", "no polygon|no shape|no rows"),
    ("features of no shape", ("geojson", geojson("null")), "error", "no polygon|no shape|no rows"),
    ("an unknown kind of shape", ("geojson", geojson('{"type":"Blob","coordinates":[]}')), "error", "no polygon|no shape|no rows"),
    ("coordinates without end", ("geojson", geojson().replace(b"47.02", b"1e999")), "error", "not finite|outside|cannot|far|no elevation|number"),
    ("coordinates as text", ("geojson", geojson().replace(b"47.02", b'"47"')), "error", "no polygon|no shape|cannot|number|no rows"),
    ("a polygon of two corners", ("geojson", geojson('{"type":"Polygon","coordinates":[[[-29,47],[-29,47]]]}')), "error", "two corners"),
    ("a polygon of one place", ("geojson", geojson('{"type":"Polygon","coordinates":[[[-29,47],[-29,47],[-29,47],[-29,47]]]}')), "error", "invalid|no polygon|area|no elevation"),
    ("brackets without end", ("geojson", b'{"type":"FeatureCollection","features":' + b"[" * 100_000), "error", "cannot be read"),
    ("a reference system to fetch", ("geojson", geojson(more=',"crs":{"type":"link","properties":{"href":"http://192.0.2.1/a"}}')), "error", "link"),
    ("a reference system that is none", ("geojson", geojson(more=',"crs":{"type":"name","properties":{"name":"EPSG:999999"}}')), "error", "elevation|reference system"),
    ("something else in braces", ("geojson", b'{"name": "site"}'), "error", "cannot be read"),
    ("points of a receiver", ("gpx", b'<?xml version="1.0"?><gpx version="1.1" creator="x"><wpt lat="47" lon="-29"/></gpx>'), "error", "is a point|no layer|several layers|no polygon|no rows"),
    ("markup cut short", ("kml", b'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Docu'), "error", "cannot be read|no layer|no rows"),
    ("a drawing of nothing", ("dxf", b"0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n"), "warning|error", "holds no rows"),
    ("a table without shapes", ("csv", b"name\nsite\n"), "error", "without shapes|cannot be read"),
    ("two bytes a letter", ("geojson", geojson().decode().encode("utf-16")), "error", "no format that|cannot be read"),
)  # fmt: skip

# the plan: names and what they lead to --------------------------------------------------------------

POND = {"name": "Well", "shape": shapely.Point(20, 26).buffer(3)}
POINT = {"name": "Way out", "shape": shapely.Point(20, 4)}


def _plan(**layers: Rows) -> dict[str, Rows]:
    return {"drawn_ponds": [dict(POND)], "discharge_points": [dict(POINT)], **layers}


def _pond(**columns: Any) -> Rows:
    return [{**POND, **columns}]


_PLAIN_NORMALS = "weather"  # entries that need normals say so in their layer's name
PLAN = _of(
    ("fine", _plan(), "fine", ""),
    ("a name twice", _plan(drawn_ponds=_pond() + _pond(shape=box(28, 24))), "error", "'Well'"),
    ("a name of an outlet", _plan(drawn_ponds=_pond(name="Way out")), "error", "'Way out'"),
    ("spills to nothing drawn", _plan(drawn_ponds=_pond(spills_to="Way uot")), "error", "Way uot"),
    ("spills to itself", _plan(drawn_ponds=_pond(spills_to="Well")), "error|warning", "itself"),
    ("drawn twice", _plan(drawn_ponds=_pond() + _pond(name="Other")), "warning", "same place|overlap|twice"),
    ("a crossed outline", _plan(drawn_ponds=_pond(shape=BOWTIE)), "error", "invalid polygon"),
    ("a pond of no size", _plan(drawn_ponds=_pond(shape=box(20, 20, 0.01, 0.01))), "warning", "m²"),
    ("a pond off the data", _plan(drawn_ponds=_pond(shape=_moved(POND["shape"], 900))), "error|warning", "outside the elevation"),
    ("a spill level in the sky", _plan(drawn_ponds=_pond(spill_level_m=500.0)), "warning", "spill_level_m .*ground"),
    ("a spill level under the ground", _plan(drawn_ponds=_pond(spill_level_m=20.0)), "warning", "spill_level_m .*ground"),
    ("a spill level in feet", _plan(drawn_ponds=_pond(spill_level_m=388.0)), "warning", "feet"),
    ("a swale level off the ground", _plan(drawn_swales=_row(LINE, name="S", level_m=200.0)), "warning", "level_m .*ground"),
    ("a swale off the data", _plan(drawn_swales=_row(_moved(LINE, 900), name="S")), "error|warning", "outside the elevation"),
    ("a swale half off the data", _plan(drawn_swales=_row(_moved(LINE, 20), name="S")), "error|warning", "outside the elevation"),
    ("a swale without length", _plan(drawn_swales=_row(shapely.LineString([(9, 9), (9, 9)]), name="S")), "warning", "without length"),
    ("a drain that rises", _plan(drawn_drains=_row(shapely.LineString([(20, 8), (20, 34)]), name="D")), "warning", "rises|uphill"),
    ("a drain of an unknown lining", _plan(drawn_drains=_row(shapely.LineString([(20, 34), (20, 8)]), name="D", lining="gold")), "error|warning", "lining"),
    ("a drain of an unknown soil", _plan(drawn_drains=_row(shapely.LineString([(20, 34), (20, 8)]), name="D", soil="dust")), "error|warning", "soil"),
    ("a tank that names no roof there is", _plan(drawn_tanks=_row(SPOT, name="T", roofs="Barn")), "error|warning", "Barn"),
    ("a tank of a lake", _plan(drawn_tanks=_row(SPOT, name="T", volume_m3=9e6)), "warning", "usual"),
    ("a pipe of 0.1 mm", _plan(drawn_pipes=_row(shapely.LineString([(20, 26), (20, 8)]), name="P", diameter_mm=0.1)), "warning", "usual"),
    ("a pipe in metres", _plan(drawn_pipes=_row(shapely.LineString([(20, 26), (20, 8)]), name="P", diameter_mm=0.15)), "warning", "usual"),
    ("a pipe from nothing drawn", _plan(drawn_pipes=_row(LINE, name="P", from_id="Wall")), "error|warning", "Wall"),
    ("a pipe to nothing drawn", _plan(drawn_pipes=_row(LINE, name="P", from_id="Well", to_id="Sea")), "error|warning", "Sea"),
    ("an overflow to nothing drawn", _plan(drawn_overflows=_row(LINE, name="O", from_id="Well", to_id="Sea")), "error|warning", "Sea"),
    ("a downpipe to nothing drawn", _plan(drawn_downpipes=_row(LINE, name="L", to_id="Sea")), "error|warning", "Sea"),
    ("a downpipe of no roof", _plan(drawn_downpipes=_row(LINE, name="L", to_id="Well", roof="Barn")), "error|warning", "Barn"),
    ("a feed to nothing drawn", _plan(drawn_feeds=_row(LINE, name="F", to_id="Sea")), "error|warning", "Sea"),
    ("an inflow into nothing drawn", _plan(inflow_points=_row(SPOT, name="I", into="Sea", peak_m3_s=1.0, volume_m3=9.0)), "error|warning", "Sea"),
    ("an inflow of nothing", _plan(inflow_points=_row(SPOT, name="I", into="Well")), "warning", "peak_m3_s"),
    ("an inflow of an unknown cover", _plan(inflow_points=_row(SPOT, name="I", into="Well", area_m2=900.0, cover="gras")), "error|warning", "gras"),
    ("an inflow of a river", _plan(inflow_points=_row(SPOT, name="I", into="Well", peak_m3_s=90000.0, volume_m3=9e9)), "warning", "usual"),
    ("a peak without a volume", _plan(inflow_points=_row(SPOT, name="I", into="Well", peak_m3_s=1.0)), "warning", "volume_m3"),
    ("a line where a polygon belongs", _plan(drawn_ponds=_pond(shape=LINE)), "error", "is a line"),
    ("a polygon where a line belongs", _plan(drawn_swales=_row(box(9, 9), name="S")), "error", "is a polygon"),
    ("a layer that nobody knows", _plan(drawn_pounds=_pond(name="Other")), "warning", "drawn_pounds"),
    ("a column that nobody knows", _plan(drawn_ponds=_pond(dept_m=2.0)), "warning", "dept_m"),
    ("a pad with a slope of a cliff", _plan(drawn_pads=_row(box(9, 9), name="A", fall_pct=400.0)), "error", "most allowed"),
    ("a pad far above the ground", _plan(drawn_pads=_row(box(9, 9), name="A", level_m=300.0)), "warning", "level_m .*ground"),
    ("a zone off the data", _plan(planting_zones=_row(_moved(box(9, 9), 900), name="Z", planting="small vegetables")), "error|warning", "outside the elevation"),
    ("unknown planting", _plan(planting_zones=_row(box(9, 9), name="Z", planting="moon cheese")), "error", "moon cheese"),
    ("unknown texture of a zone", _plan(planting_zones=_row(box(9, 9), name="Z", planting="small vegetables", texture="rubble")), "error", "rubble"),
    ("a zone that draws on nothing drawn", _plan(planting_zones=_row(box(9, 9), name="Z", planting="small vegetables", draws_on="Wall")), "error", "Wall"),
    ("zones over one another", _plan(planting_zones=_row(box(9, 9), name="Z", planting="small vegetables") + _row(box(10, 9), name="Y", planting="small vegetables")), "warning", "counted in both"),
    ("roots of no depth", _plan(planting_zones=_row(box(9, 9), name="Z", planting="small vegetables", root_depth_m=0.0)), "error", "root_depth_m"),
    ("unknown plants", _plan(plant_rows=_row(LINE, name="R", plants="fgi")), "error", "fgi"),
    ("plants a hair apart", _plan(plant_rows=_row(LINE, name="R", plants="fig", spacing_m=0.0001)), "error", "between plants"),
    ("plants without number", _plan(planting_zones=_row(SITE, name="Z", plants="fig", spacing_m=0.25, row_spacing_m=0.05)), "error", "plants, more than|between plants"),
    ("a name like a formula", _plan(drawn_ponds=_pond(name="=1+1")), "fine", ""),
    ("a name of a page's script", _plan(drawn_ponds=_pond(name="<script>")), "fine", ""),
    ("a name with line breaks", _plan(drawn_ponds=_pond(name="We\nll\x07")), "warning", "control characters"),
    ("a discharge off the data", _plan(discharge_points=_row(shapely.Point(900, 4), name="Out")), "error|warning", "outside the elevation"),
    ("a discharge high above the site", _plan(discharge_points=[{**POINT, "level_m": 300.0}]), "warning", "level_m .*ground"),
    ("shade without height", _plan(drawn_shade=_row(box(9, 9), height_m=500.0)), "error", "most allowed"),
    ("a track off the data", _plan(drawn_tracks=_row(_moved(LINE, 900), name="K")), "error|warning", "outside the elevation"),
    ("a kept hollow off the data", _plan(kept_hollows=_row(shapely.Point(900, 9), name="H")), "warning", "outside the elevation"),
    ("a guide line off the data", _plan(guide_lines=_row(_moved(LINE, 900), name="G")), "warning", "outside the elevation"),
)  # fmt: skip

# the survey ---------------------------------------------------------------------------------------------


def ground(size: int = 40) -> np.ndarray:
    """A hollow slope around 120 m."""
    row, col = np.indices((size, size))
    return 120 - 0.1 * row + 0.002 * (col - size / 2) ** 2 + 0.003 * np.sin(row + 3 * col)


def _ground(change: Any = lambda dem: dem, **tags: Any) -> dict[str, Any]:
    return {"dem": change(ground()), **tags}


def _put(value: float, *places: Any) -> Any:
    def change(dem: np.ndarray) -> np.ndarray:
        for place in places:
            dem[place] = value
        return dem

    return change


ELEVATION = _of(
    ("fine", _ground(), "fine", ""),
    ("one cell of 8000 m", _ground(_put(8000, (9, 9))), "warning", "stands? more than"),
    ("one cell of -400 m", _ground(_put(-400, (9, 9))), "warning", "stands? more than"),
    ("four cells of 8000 m", _ground(_put(8000, (slice(9, 11), slice(9, 11)))), "warning", "stand"),
    ("a corner of 8000 m", _ground(_put(8000, (0, 0))), "warning", "stands? more than"),
    ("centimetres", _ground(lambda dem: dem * 100), "warning", "outside|unit"),
    ("decimetres", _ground(lambda dem: dem * 10), "warning", "steep|unit"),
    ("millimetres", _ground(lambda dem: dem * 1000), "warning|error", "outside|unit|marker|no cell|impossible"),
    ("kilometres", _ground(lambda dem: dem / 1000), "warning", "flat|unit|steps"),
    ("wholly flat", _ground(lambda dem: dem * 0 + 120), "warning", "flat"),
    ("whole metres", _ground(np.round), "warning", "whole|steps"),
    ("whole numbers of a byte", _ground(np.round, dtype="uint8"), "warning", "whole numbers"),
    ("nothing but nodata", _ground(lambda dem: dem * np.nan), "error", "all is nodata"),
    ("nodata not declared", _ground(_put(-9999, (slice(0, 9), slice(0, 9)))), "warning", "not tagged"),
    ("nodata of zeros", _ground(_put(0, (slice(0, 9), slice(0, 9)))), "warning", "exactly 0"),
    ("nodata of the largest number", _ground(_put(3.4e38, (slice(0, 9), slice(0, 9)))), "warning", "not tagged"),
    ("without end", _ground(_put(np.inf, (9, 9))), "fine", ""),
    ("upside down", _ground(lambda dem: -dem), "warning", "below the sea|outside"),
    ("no reference system", _ground(crs=None), "error", "reference system"),
    ("no place", _ground(transform=None), "error", "not georeferenced"),
    ("a picture", _ground(count=3, dtype="uint8"), "error", "picture"),
    ("two bands", _ground(count=2), "warning", "bands"),
    ("numbers of two parts", _ground(dtype="complex64"), "error", "not levels"),
    ("three rows", _ground(lambda dem: dem[:3, :3]), "error|warning", "cells|elevation"),
    ("one cell", _ground(lambda dem: dem[:1, :1]), "error|warning", "cells|elevation"),
    ("degrees taken for metres", _ground(transform=(1e-5, -27.0, 47.0)), "error|warning", "elevation|cells|area"),
    ("cells of a kilometre", _ground(transform=(1000.0, 350_000.0, 5_210_000.0)), "warning|error", "cells|elevation"),
    ("cells of a millimetre", _ground(transform=(0.001, 350_000.0, 5_210_000.0)), "error", "elevation"),
    ("an unknown unit", _ground(units=("cubits",)), "warning", "cubits"),
    ("cut short", {"cut": 0.5}, "error", "damaged|cannot be read"),
    ("its first bytes only", {"cut": 0.005}, "error", "damaged|cannot be read|not georeferenced"),
    ("empty", {"text": b""}, "error", "is empty"),
    ("text", {"text": b"not a raster at all"}, "error", "cannot be read"),
    ("a web page", {"text": b"<html>404</html>"}, "error", "describes where|cannot be read"),
    ("a web service", {"text": b"<GDAL_WMS><Service name='TMS'><ServerUrl>http://192.0.2.1/${x}</ServerUrl></Service></GDAL_WMS>"}, "error", "elsewhere"),
    ("a virtual raster", {"text": b"<VRTDataset rasterXSize='9' rasterYSize='9'></VRTDataset>"}, "error", "elsewhere"),
    ("an archive", {"text": b"PK\x03\x04" + b"\0" * 200}, "error", "archive"),
    ("bytes", {"text": BINARY}, "error", "cannot be read"),
    ("a header of a giant", {"giant": True}, "error", "memory.*(cell_m|cut|tiles)"),
    ("a folder", {"folder": True}, "error", "folder|file"),
    ("not there", {"gone": True}, "error", "no such file|does not exist|is not there"),
    ("a device", {"fifo": True}, "error", "file"),
)  # fmt: skip

# point clouds: the ending of the name, and bytes ------------------------------------------------


def _cloud(ending: str = "las", *, keep: float = 1.0, said: int | None = None, **columns: Any):
    """A cloud of one point a cell; `said` is the count that its header tells, `keep` what is left."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [350_000.0, 5_209_960.0, 0.0]
    header.add_crs(CRS.from_epsg(32626))
    points, (row, col) = laspy.LasData(header), np.indices((40, 40))
    values = {
        "x": 350_000.5 + col,
        "y": 5_209_999.5 - row,
        "z": ground(),
        "classification": row * 0 + 2,
    }
    for name, given in (values | columns).items():
        setattr(points, name, np.broadcast_to(given, (40, 40)).ravel())
    file = io.BytesIO()
    points.write(file, do_compress=ending == "laz")
    raw = bytearray(file.getvalue())
    if said is not None:
        raw[247:255] = said.to_bytes(8, "little")  # LAS 1.4 R15, table 3: number of point records
    return ending, bytes(raw[: int(len(raw) * keep)])


CLOUDS = _of(
    ("fine", _cloud(), "fine", ""),
    ("fine and compressed", _cloud("laz"), "fine", ""),
    ("ends before its header says", _cloud(keep=0.6), "error", "damaged|ends|fewer|cannot be read"),
    ("compressed and cut short", _cloud("laz", keep=0.6), "error", "damaged|ends|fewer|cannot be read"),
    ("a header only", _cloud(keep=0.005), "error", "damaged|ends|cannot be read|reference system"),
    ("a header of a million million points", _cloud(said=10**12), "error", "damaged|ends|memory|fewer|cannot be read"),
    ("a header of no points", _cloud(said=0), "error", "no points|no ground|holds no"),
    ("no ground among its classes", _cloud(classification=5), "error|warning", "class|ground"),
    ("all at one place", _cloud(x=350_020.0, y=5_209_980.0), "error", "at one place"),
    ("on one line", _cloud(y=5_209_980.0), "error", "on one line"),
    ("one point far away", _cloud(x=np.where(np.indices((40, 40)).sum(0) == 0, 2.35e6, 350_000.5 + np.indices((40, 40))[1])), "warning", "far from the others"),
    ("millimetres", _cloud(z=ground() * 1000), "error|warning", "outside|unit|impossible"),
    ("bytes", ("las", BINARY), "error", "cannot be read|damaged"),
    ("text", ("laz", b"not a point cloud"), "error", "cannot be read|damaged"),
    ("empty", ("las", b""), "error", "is empty"),
)  # fmt: skip

# the site's own file: table and key, as TOML ------------------------------------------------------------------

SEARCH = """[search]
free = [{{ element = "{}", dimension = "depth_m", low = 0.5, high = 1, step = 0.25 }}]
check_storms = [{}]
tries = 50
points = 1
[rates]
"""
KEYS = _of(
    ("a misspelled table", "[contuors]\ninterval_m = 1", "error", "contuors is not a known key"),
    ("a misspelled key", "[contours]\nintervall_m = 1", "error", "intervall_m is not a known key"),
    ("a key twice", "[contours]\ninterval_m = 1\ninterval_m = 2", "error", "TOML"),
    ("a table twice", "[contours]\ninterval_m = 1\n[contours]\nsmooth_m = 1", "error", "TOML"),
    ("quotes left open", '[rates]\ncurrency = "EUR', "error", "TOML"),
    ("yes for a number", "[survey]\nrealisations = true", "error", "whole number"),
    ("yes for a length", "[contours]\ninterval_m = true", "error", "number"),
    ("text for a number", '[contours]\ninterval_m = "1"', "error", "number"),
    ("a number for text", "[rates]\ncurrency = 5", "error", "text"),
    ("a list for a number", "[contours]\ninterval_m = [1, 2]", "error", "number"),
    ("not a number", "[contours]\ninterval_m = nan", "error", "number"),
    ("without end", "[contours]\ninterval_m = inf", "error", "number"),
    ("half a count", "[survey]\nrealisations = 1.5", "error", "whole number"),
    ("a smoothing of a million km", "[contours]\nsmooth_m = 1e9", "error", "smooth_m"),
    ("a smoothing of lines", "[lines]\nsmooth_m = 50000", "error", "smooth_m"),
    ("contours by the micrometre", "[contours]\ninterval_m = 1e-6", "error", "interval_m|contours"),
    ("a time step of a microsecond", "[storm]\nstep_min = 1e-6", "error", "step_min|steps"),
    ("a time step of a day", "[storm]\nstep_min = 1440", "error", "blocks|step"),
    ("a storm of a century", "[storm]\nduration_h = 1e6", "error", "duration_h"),
    ("a storm of an ocean", "[storm]\ndepth_mm = 1e7", "error", "depth_mm|rain"),
    ("stakes by the micrometre", "[stakes]\ninterval_m = 1e-6", "error", "interval_m"),
    ("sections by the micrometre", "[earthworks]\nsection_interval_m = 1e-6", "error", "section_interval_m"),
    ("cells of a nanometre", "[terrain]\ncell_m = 1e-9", "error", "cell_m|cells"),
    ("cells larger than the survey", "[terrain]\ncell_m = 5000", "error|warning", "cell"),
    ("another unit", '[terrain]\nvertical_unit = "yards"', "error", "vertical_unit|one of|must be"),
    ("a reference system that is none", '[terrain]\ncrs = "EPSG:999999"', "error", "EPSG:999999"),
    ("the wrong reference system", '[terrain]\ncrs = "EPSG:2056"', "error|warning", "reference system|elevation"),
    ("a text that is no system", '[terrain]\ncrs = "somewhere"', "error", "somewhere"),
    ("a latitude of 95", "[site]\nlatitude_deg = 95", "error", "latitude_deg|90"),
    ("an unknown profile", '[site]\nprofile = "castle"', "error", "garden"),
    ("a name of nothing", '[site]\nname = ""', "error", "empty|name"),
    ("a cover that nobody knows", '[works]\nusual_cover = "cheese"', "error", "cheese"),
    ("a texture that nobody knows", '[year]\nusual_texture = "rubble"', "error", "rubble"),
    ("a planting that nobody knows", '[year]\nusual_planting = "moon cheese"', "error", "moon cheese"),
    ("a size of nothing drawn", '[[works.free]]\nelement = "Nothing"\ndimension = "depth_m"\nlow = 1\nhigh = 2', "error|warning", "Nothing"),
    ("a storm to size for that is not run", '[works]\ngoal_storm = "7-year"\ngoal_capture_share = 0.5', "error|warning", "7-year"),
    ("a factor of a cover that nobody knows", "[soil_loss.cover_factors]\ncheese = 0.5", "error|warning", "cheese"),
    ("a site at the pole", "[site]\nlatitude_deg = 89", "error", "latitude_deg must lie between"),
    ("a search for nothing drawn", SEARCH.format("Wall", "").replace("[rates]", "[rates]\ncut_per_m3 = 5"), "error", "no element called Wall"),
    ("a search without prices", SEARCH.format("Well", ""), "error", "needs prices"),
    ("a search in a storm that is not run", SEARCH.format("Well", '"7-year"'), "error", "no check storm called 7-year"),
    ("a search for what a pond has not", SEARCH.format("Well", "").replace("depth_m", "colour").replace("[rates]", "[rates]\ncut_per_m3 = 5"), "fine", ""),
    ("bounds that fall", "[works]\npond_depth_range_m = [2.5, 0.6]", "error", "rise"),
    ("spacings that fall", "[swales]\nmin_spacing_m = 50\nmax_spacing_m = 10", "error", "above"),
    ("falls that fall", "[drains]\nleast_fall_pct = 2\nmost_fall_pct = 1", "error", "above"),
    ("normals of eleven months", "[weather]\nnormal_rain_mm = [1,2,3,4,5,6,7,8,9,10,11]", "error", "12 months"),
    ("a month that is none", '[[year.uses]]\nname = "u"\nm3_per_d = 1\nmonths = [13]', "error", "12"),
    ("a use that draws on nothing drawn", '[[year.uses]]\nname = "u"\nm3_per_d = 1\ndraws_on = ["Sea"]', "error", "Sea"),
    ("a draw order of nothing drawn", '[year]\ndraw_order = ["Sea"]', "error", "Sea"),
    ("a zone order of nothing drawn", '[year]\nzone_order = ["Sea"]', "error", "Sea"),
    ("a store that is a file", '[keep]\nstore = "terrain.tif"', "error", "terrain.tif"),
    ("a store below a file", '[keep]\nstore = "terrain.tif/store"', "error", "terrain.tif"),
    ("room for nothing", "[keep]\nstore_gb = 0", "error", "above 0"),
    ("three fixed points", "[stakes]\nfixed_points = [{name='a',easting_m=1,northing_m=1},{name='b',easting_m=2,northing_m=1},{name='c',easting_m=3,northing_m=1}]", "error", "2"),
    ("a benchmark in the sky", "[stakes]\nbenchmark_level_m = 5000", "warning", "benchmark_level_m .*ground"),
    ("a filter that is more than a condition", '[inputs]\nsurfaces = {file = "boundary.gpkg", where = "1=1; drop table x"}', "error", "not a condition"),
    ("a filter on no column", '[inputs]\nsurfaces = {file = "boundary.gpkg", where = "colour = 1"}', "error", "filter"),
    ("a layer that is not there", '[inputs]\nsurfaces = {file = "boundary.gpkg", layer = "roofs"}', "error", 'no layer "roofs"'),
    ("a file that is not there", '[inputs]\nsurfaces = "roofs.gpkg"', "error", "roofs.gpkg"),
    ("a file of nothing", '[inputs]\nsurfaces = ""', "error", "empty|surfaces"),
    ("a path without end", f'[inputs]\nsurfaces = "{"a/" * 3000}b.gpkg"', "error", "long|there"),
    ("a name on the net", '[inputs]\nsurfaces = "/vsicurl/http://192.0.2.1/x.gpkg"', "error", "there|exist"),
    ("an address", '[inputs]\nsurfaces = "http://192.0.2.1/x.gpkg"', "error", "there|exist"),
    ("a path with a null", '[inputs]\nsurfaces = "a\\u0000b.gpkg"', "error", "does not exist"),
    ("a rainfall file that is not there", '[inputs]\nrainfall = "rane.csv"', "error", "rane.csv"),
    ("a rainfall file that is a folder", '[inputs]\nrainfall = "."', "error", "folder|file"),
    ("a plan that is a table", '[inputs]\nplan = "site.toml"', "error", "site.toml"),
    ("weather that is a raster", '[inputs]\nweather = "terrain.tif"', "error", "terrain.tif"),
    ("plants that are a raster", '[inputs]\nplants = "terrain.tif"', "error", "terrain.tif"),
    ("inflows that are a raster", '[inputs]\ninflows = "terrain.tif"', "error", "terrain.tif"),
    ("levels that are a raster", '[inputs]\nas_built = "boundary.gpkg"', "error", "boundary.gpkg"),
)  # fmt: skip
