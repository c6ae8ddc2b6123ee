"""The year's system of zones and stores, as drawn and with one thing changed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from brimline.balance.collectors import stores_of, usual_order
from brimline.balance.planting import unmulched
from brimline.balance.simulate import warmed
from brimline.balance.surface import Air, SoilSurface, cover_share, most_kc
from brimline.balance.system import System, Use, Zone
from brimline.balance.wetness import WettingSoil, shed_mm

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.balance.collectors import Collector
    from brimline.balance.planted import PlantedZone
    from brimline.balance.rules import YearRules
    from brimline.balance.soil import Within
    from brimline.balance.system import Feed
    from brimline.rainfall import MixedGround
    from brimline.rainfall.daily import DailyWeather


@dataclass(frozen=True, slots=True)
class Variant:
    """What is changed of the site as drawn.

    Parameters
    ----------
    rain, et0 : factors on every day's rain and reference evapotranspiration.
    within : where in the range of their textures the soils lie.
    by_wetness : ground sheds as wet as its soil is that morning; else as at average wetness.
    """

    name: str
    text: str
    rain: float = 1.0
    et0: float = 1.0
    within: Within = "middle"
    by_wetness: bool = True


AS_DRAWN = Variant("as drawn", "Soils and weather as they were given.")


def cases(rules: YearRules) -> tuple[Variant, ...]:
    """Return the site as drawn, and what it is compared with."""
    rain_pct, et0_pct = rules.drier_rain_pct, rules.drier_et0_pct
    return (
        AS_DRAWN,
        Variant(
            "drier climate",
            f"{rain_pct:g} % less rain on every day, {et0_pct:g} % more evapotranspiration.",
            1 - rain_pct / 100,
            1 + et0_pct / 100,
        ),
        Variant(
            "soil that holds less",
            "Soils at the low end of what their textures hold for plants.",
            within="low",
        ),
        Variant(
            "soil that holds more",
            "Soils at the high end of what their textures hold for plants.",
            within="high",
        ),
        Variant(
            "ground always of average wetness",
            "Runoff of every day by the tabulated curve numbers, however wet the ground is.",
            by_wetness=False,
        ),
    )


@dataclass(frozen=True, slots=True)
class YearSite:
    """Everything that the system is made of.

    Parameters
    ----------
    grounds : what of each zone sheds water, by name.
    feeds : store to zones to shares of its soakage.
    under_stores : share of a zone's ground where rain falls into stores instead, by name.
    et0_mm : (days,) reference evapotranspiration [mm/d].
    southern : the site lies south of the equator.
    filled : how stores are filled by pump or by hand.
    over_beds : share of a zone's ground over reservoirs beneath beds, by zone and bed.
    """

    zones: Sequence[PlantedZone]
    grounds: Mapping[str, MixedGround]
    elements: Sequence[Collector]
    feeds: Mapping[str, dict[str, float]]
    under_stores: Mapping[str, float]
    weather: DailyWeather
    et0_mm: NDArray[np.float64]
    southern: bool
    rules: YearRules
    filled: Sequence[Feed] = ()
    over_beds: Mapping[str, dict[str, float]] = field(default_factory=dict)

    def system(self, case: Variant = AS_DRAWN) -> System:
        """Make the system of a case, with the contents that its first year leaves behind."""
        rain, et0 = self.weather.precipitation_mm * case.rain, self.et0_mm * case.et0
        limit = self.rules.mains_limit_m3_per_d
        return warmed(
            System(
                rain,
                et0,
                tuple(self._zone(zone, rain, et0, case) for zone in self.zones),
                stores_of(
                    self.elements, rain, et0, self.feeds, self.rules, by_wetness=case.by_wetness
                ),
                self._uses(),
                mains_limit_m3=math.inf if limit is None else limit,
                feeds=tuple(self.filled),
            )
        )

    def _zone(
        self, zone: PlantedZone, rain: NDArray[np.float64], et0: NDArray[np.float64], case: Variant
    ) -> Zone:
        rules = self.rules
        southern = self.southern and not zone.own_season
        kc, surface = self._coefficients(zone, case, southern=southern)
        soil = self._wetting_soil(zone, case) if case.by_wetness else None
        drains_to = self.over_beds.get(zone.zone_id, {})
        # the wall of a bed keeps its rain
        shedding = max(1.0 - sum(drains_to.values()), 0.0)
        runoff = shedding * shed_mm(self.grounds[zone.zone_id], rain, kc * et0, soil)
        # where a store lies on the zone, its rain is the store's: it is counted there
        lost = runoff + self.under_stores.get(zone.zone_id, 0.0) * (rain - runoff)
        return Zone(
            zone.zone_id,
            zone.shape.area,
            zone.available_mm(case.within),
            zone.planting.depletion,
            kc,
            lost,
            draws_on=self._stores_there(zone.draws_on),
            irrigated=zone.irrigated,
            start_at=rules.start_at,
            efficiency=rules.irrigation_efficiency,
            most_mm=rules.most_mm_per_d,
            surface=surface,
            drains_to=drains_to,
        )

    def _coefficients(
        self, zone: PlantedZone, case: Variant, *, southern: bool
    ) -> tuple[NDArray[np.float64], SoilSurface | None]:
        """Single coefficients, or basal ones and the surface beside the plants."""
        days = self.weather.day_of_year
        if self.rules.coefficients == "single":
            return zone.planting.mulched(zone.mulch_share).kc_of(days, southern=southern), None
        air = Air.of(self.weather)
        kcb = zone.planting.kcb_of(days, air, southern=southern)
        height = zone.planting.height_of(days, southern=southern)
        most = most_kc(kcb, height, air)
        readily, evaporable = zone.evaporable_mm(case.within)
        return kcb, SoilSurface(
            most,
            cover_share(kcb, most, height),
            evaporable,
            readily,
            wetted_share=self.rules.wetted_share,
            unmulched=unmulched(zone.mulch_share),
        )

    def _wetting_soil(self, zone: PlantedZone, case: Variant) -> WettingSoil:
        textures = zone.textures or {self.rules.usual_texture: 1.0}
        soil = WettingSoil.of(textures, zone.root_depth_m, case.within)
        return WettingSoil(zone.available_mm(case.within), soil.drainable_mm)

    def _stores_there(self, wanted: tuple[str, ...]) -> tuple[str, ...]:
        """Return who is asked, in order; stores that could not be made are passed over."""
        names = {element.element_id for element in self.elements}
        asked = wanted or usual_order(self.elements, self.rules)
        return tuple(name for name in asked if name in names)

    def _uses(self) -> tuple[Use, ...]:
        months = self.weather.months
        return tuple(
            Use(
                use.name,
                np.where(np.isin(months, use.months), use.m3_per_d, 0.0),
                self._stores_there(use.draws_on),
            )
            for use in self.rules.uses
        )
