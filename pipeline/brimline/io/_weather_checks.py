"""Whether the numbers of a weather file can be what their column says: units, order, oddities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.errors import Severity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.io._weather_rows import WeatherRows

    Values = dict[str, NDArray[np.float64]]

_LEAST_WET_DAY_MM: Final = 1.0  # mean depth of days with rain; 3 to 15 mm in most climates (ours)
_HIGHEST_RAIN_MM: Final = 1900.0  # above the record for one day (1825 mm, WMO archive; from memory)
_COLDEST_C, _HOTTEST_C = -90.0, 57.0  # WMO records are -89.2 and 56.7 °C (from memory)
_FEW: Final = 0.01  # share of rows that may be slips; more is a wrong column or unit
_MOST_CROSSED: Final = 0.05

# highest mean over a record, and the greatest and least single value that can be right
_LIMITS: Final[dict[str, tuple[float, float, float]]] = {
    "radiation": (35.0, 0.0, 45.0),
    "sunshine": (16.0, 0.0, 24.0),
    "humidity_max": (100.0, 0.0, 105.0),
    "humidity_min": (100.0, 0.0, 105.0),
    "humidity_mean": (100.0, 0.0, 105.0),
    "wind": (13.0, 0.0, 60.0),
    "dewpoint": (35.0, -90.0, 40.0),
}
_UNIT_MEND: Final = {
    "radiation": "it is taken in MJ/m² a day; state weather.radiation_unit",
    "wind": "it is taken in m/s; state weather.wind_unit",
    "sunshine": "it is taken in hours a day",
    "dewpoint": "it is taken in °C; state weather.temperature_unit",
}


@dataclass(frozen=True, slots=True)
class Checks:
    """One look at the values of a file, in our units."""

    rows: WeatherRows
    dates: NDArray[np.datetime64]
    values: Values

    def sound(self) -> bool:
        """Tell everything that looks wrong, turn slips into gaps; False where nothing is to use."""
        needed = ("precipitation", "temp_max", "temp_min")
        void = [name for name in needed if np.isnan(self.values[name]).all()]
        for name in void:
            self._error(f"{name} holds no value", "check the column")
        if void:
            return False
        fine = [self._temperatures(), self._rain(), self._others()]
        if all(fine):
            self._years()
        return not self.rows.failed

    def _error(self, message: str, mend: str, at: NDArray[np.int64] | None = None) -> None:
        self.rows.tell(Severity.ERROR, message, mend, self._place(at))

    def _warning(self, message: str, mend: str, at: NDArray[np.int64] | None = None) -> None:
        self.rows.tell(Severity.WARNING, message, mend, self._place(at))

    def _place(self, at: NDArray[np.int64] | None) -> str:
        return "" if at is None else self.rows.place(at)

    def _temperatures(self) -> bool:
        high, low = self.values["temp_max"], self.values["temp_min"]
        if float(np.nanpercentile(high, 95)) > 50:
            self._another_unit(high)
            return False
        crossed = np.flatnonzero(high < low)
        if crossed.size > _MOST_CROSSED * high.size:
            self._error(
                f"temp_max is below temp_min in {crossed.size} rows: the columns look swapped",
                "swap their names, or name the right ones in [weather]",
                crossed,
            )
            return False
        self._to_gaps(crossed, ("temp_max", "temp_min"), "temp_max below temp_min")
        for name in ("temp_max", "temp_min"):
            values = self.values[name]
            wrong = np.flatnonzero((values < _COLDEST_C) | (values > _HOTTEST_C))
            self._to_gaps(wrong, (name,), f"impossible {name}")
        return True

    def _another_unit(self, high: NDArray[np.float64]) -> None:
        """Tell which unit temperatures beyond what is possible in °C look like, and where."""
        years = self._whole_years()
        warm = {
            year: float(np.nanpercentile(high[days], 95)) > 50
            for year, days in years.items()
            if not np.isnan(high[days]).all()
        }
        if any(warm.values()) and not all(warm.values()):
            for year in (year for year, is_warm in warm.items() if is_warm):
                self._other_year(year, years[year], high)
            return
        beyond = np.flatnonzero(high > 50)
        reaches = f"temp_max reaches {np.nanmax(high):.0f}"
        if float(np.nanmin(high)) > 200:
            self._error(f"{reaches}: this looks like kelvin", "take 273.15 off", beyond)
            return
        unit, name = ("tenths of °C", "tenths of C") if np.nanmax(high) > 140 else ("°F", "F")
        mend = f'state weather.temperature_unit = "{name}"'
        self._error(f"{reaches}: this looks like {unit}", mend, beyond)

    def _other_year(self, year: int, days: NDArray[np.bool_], high: NDArray[np.float64]) -> None:
        self._error(
            f"temp_max averages {np.nanmean(high[days]):.1f} in {year} and"
            f" {np.nanmean(high[~days]):.1f} in other years: is that year in another unit?",
            "bring all years to one unit",
            np.flatnonzero(days)[:1],
        )

    def _whole_years(self) -> dict[int, NDArray[np.bool_]]:
        """Rows of each year that has most of its days."""
        year_of = self.dates.astype("datetime64[Y]").astype(np.int64) + 1970
        found = {int(year): year_of == year for year in np.unique(year_of)}
        return {year: days for year, days in found.items() if days.sum() > 300}

    def _rain(self) -> bool:
        rain = self.values["precipitation"]
        below = np.flatnonzero(rain < 0)
        if below.size > _FEW * rain.size:
            self._error(
                f"precipitation is below 0 in {below.size} rows: is it the right column?",
                "name it in weather.precipitation_column",
                below,
            )
            return False
        yearly = float(np.nanmean(rain)) * 365.25
        largest = np.array([np.nanargmax(rain)])
        if yearly > 13_000:
            self._error(
                f"{yearly:.0f} mm of rain a year: the unit looks wrong",
                'if these are tenths, state weather.precipitation_unit = "tenths of mm"',
                largest,
            )
            return False
        if yearly > 4000:
            self._warning(
                f"{yearly:.0f} mm of rain a year, which few places have",
                'if these are tenths, state weather.precipitation_unit = "tenths of mm"',
                largest,
            )
        wet_day = float(np.nanmean(rain[rain > 0])) if (rain > 0).any() else np.nan
        if yearly < 80 or wet_day < _LEAST_WET_DAY_MM:
            self._warning(
                f"only {yearly:.0f} mm of rain a year, {rain[largest[0]]:g} on the wettest day and"
                f" {wet_day:.2g} on the mean day with rain",
                'if these are inches, state weather.precipitation_unit = "in"',
                largest,
            )
        if float((rain[~np.isnan(rain)] > 0).mean()) > 0.95:
            self._warning(
                "it rains on nearly every day: is it the right column?",
                "name it in weather.precipitation_column",
                np.flatnonzero(rain > 0),
            )
        wrong = np.flatnonzero((rain < 0) | (rain > _HIGHEST_RAIN_MM))
        self._to_gaps(wrong, ("precipitation",), "impossible precipitation")
        return True

    def _others(self) -> bool:
        for name, (mean, least, most) in _LIMITS.items():
            values = self.values.get(name)
            if values is None or np.isnan(values).all():
                continue
            outside = np.flatnonzero((values < least) | (values > most))
            as_share = name.startswith("humidity") and float(np.nanmax(values)) <= 1.5
            if float(np.nanmean(values)) > mean or outside.size > _FEW * values.size or as_share:
                at = outside if outside.size else np.flatnonzero(values == np.nanmax(values))
                self._error(
                    f"{name} averages {np.nanmean(values):.1f} and reaches {np.nanmax(values):.1f}:"
                    " the unit looks wrong",
                    _UNIT_MEND.get(name, "it is taken in %"),
                    at,
                )
                return False
            self._to_gaps(outside, (name,), f"impossible {name}")
        return True

    def _years(self) -> None:
        """Tell years that do not look like the others: another unit, or a gauge that was off."""
        years = self._whole_years()
        if len(years) < 2:
            return
        high, depth = self.values["temp_max"], self.values["precipitation"]
        warm = {year: float(np.nanmean(high[days])) for year, days in years.items()}
        rain = {year: float(np.nansum(depth[days])) for year, days in years.items()}
        usual_c, usual_mm = np.median(list(warm.values())), np.median(list(rain.values()))
        for year, days in years.items():
            if abs(warm[year] - usual_c) > 10:
                self._other_year(year, days, high)
            if rain[year] < 0.05 * usual_mm or rain[year] > 6 * usual_mm > 0:
                self._warning(
                    f"{rain[year]:.0f} mm of rain in {year} and {usual_mm:.0f} in other years",
                    "look whether the gauge was read, and in which unit",
                    np.flatnonzero(days)[:1],
                )

    def _to_gaps(self, at: NDArray[np.int64], names: tuple[str, ...], what: str) -> None:
        if not at.size:
            return
        shown = ", ".join(f"{self.values[name][at[0]]:g}" for name in names)
        self._warning(
            f"{what} ({shown}) in {at.size} rows: taken as missing", "correct them in the file", at
        )
        for name in names:
            self.values[name][at] = np.nan
