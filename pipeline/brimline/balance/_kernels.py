"""The day loop over stores and zones, for several variants of the stores at once.

The last axis of every state array runs over variants, so that one pass over the weather serves a
whole curve of sizes.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

# columns of the results
ET, DEMAND, ET_HARVEST, ET_MAINS, DRAINED, FED, GIVEN_STORE, GIVEN_MAINS, WATER = range(9)
FROM_SURFACE, SURFACE_DRY = 9, 10
IN_OWN, IN_SPILL, SPILLED, EVAPORATED, SOAKED, DRAWN, BROUGHT, HELD = range(8)
ASKED, USE_STORE, USE_MAINS = range(3)

# rows of what goes in
RAIN, ET0 = range(2)
KC, RUNOFF, KC_MOST, COVER = range(4)
OPEN, SOAKS = range(2)  # a store's areas by volume: of its water, of the ground that it soaks into

SHORT = 0.05  # a day is met where mains and deficit are at most this share of its demand
WETS_ALL_MM = 3.0  # less rain leaves the wetted share of the surface as it was (FAO-56, table 20)
TRACE_MM = 1e-6  # less irrigation is a rounding and wets nothing
LEAST_EXPOSED = 0.01  # of the surface: exposed and wetted


@kernel
def _at_fill(areas, share):
    """Area of a store at a share of its volume [m²]."""
    points = areas.size - 1
    at = share * points
    low = min(int(at), points - 1)
    part = at - low
    return areas[low] * (1.0 - part) + areas[low + 1] * part


@kernel
def _store_day(
    store, place, rain, et0, inflow, shapes, capacity, scales, held, tap, arrives, seeped, spare,
    row,
):  # fmt: skip
    """Fill, spill, then lose water from one store in every variant, into its row of results.

    `tap` is the share of its water that was brought from outside; `arrives` is the overflow that
    reaches each store, and how much of that was; `seeped` the same of what drained into it from
    the soil above on the day before.
    """
    for v in range(held.shape[1]):
        before = held[place, v]
        full = capacity[place, v]
        scale = scales[place, v] * 1e-3  # m³ for each mm
        own = inflow + rain * store.open_m2 * scale + seeped[0, place, v]
        water = before + own + arrives[0, place, v]
        share = 0.0
        if water > 0.0:
            share = (before * tap[place, v] + arrives[1, place, v] + seeped[1, place, v]) / water
        tap[place, v] = share
        spill = max(water - full, 0.0)
        water -= spill
        lost = 0.0
        soaked = 0.0
        if full > 0.0:
            fill = water / full
            lost = et0 * store.evaporates * _at_fill(shapes[OPEN, place], fill) * scale
            soaked = store.seep_mm * _at_fill(shapes[SOAKS, place], fill) * scale
        wanted = lost + soaked
        if wanted > water:
            lost *= water / wanted
            soaked = water - lost
            water = 0.0  # exactly, where a difference would leave a rounding below 0
        else:
            water -= wanted
        held[place, v] = water
        # yield after spillage: only what was there in the morning can be drawn today
        spare[place, v] = min(before, water)
        row[v, IN_OWN] = own
        row[v, IN_SPILL] = arrives[0, place, v]
        row[v, SPILLED] = spill
        row[v, EVAPORATED] = lost
        row[v, SOAKED] = soaked
        row[v, DRAWN] = 0.0
        row[v, BROUGHT] = 0.0
        arrives[0, place, v] = 0.0
        arrives[1, place, v] = 0.0
        seeped[0, place, v] = 0.0
        seeped[1, place, v] = 0.0
        if store.spills_to >= 0:
            arrives[0, store.spills_to, v] += spill
            arrives[1, store.spills_to, v] += spill * share


@kernel
def _feed(feed, stores, capacity, spare, held, tap, store_row):
    """Bring water into a store that is low, from another or from outside; to be drawn tomorrow."""
    place, source = feed.place, feed.source
    for v in range(held.shape[1]):
        full = capacity[place, v]
        if held[place, v] >= feed.below * full:
            continue
        part = min(feed.most_m3, full - held[place, v])
        share = 1.0
        if source >= 0:
            part = min(part, spare[source, v] - stores[source].reserve * capacity[source, v])
            share = tap[source, v]
        if part > 0.0:
            if source >= 0:
                spare[source, v] -= part
                held[source, v] -= part
                store_row[source, v, DRAWN] += part
            tap[place, v] = (tap[place, v] * held[place, v] + part * share) / (
                held[place, v] + part
            )
            held[place, v] += part
            store_row[place, v, BROUGHT] += part


@kernel
def _draw(amount, v, drinks, links, stores, capacity, spare, held, tap, store_row):
    """Take up to an amount from the stores of a zone or use in order [m³].

    Returns what it got, and how much of that had been brought from outside.
    """
    taken = 0.0
    brought = 0.0
    for link in range(drinks.first, drinks.last):
        place = links[link].place
        reserve = stores[place].reserve * capacity[place, v]
        part = min(amount - taken, spare[place, v] - reserve)
        if part > 0.0:
            spare[place, v] -= part
            held[place, v] -= part
            store_row[place, v, DRAWN] += part
            taken += part
            brought += part * tap[place, v]
    return taken, brought


@kernel
def _rest(missing, mains_left):
    """Return what the mains give; stores may have given a rounding more than was asked [m³]."""
    return max(min(missing, mains_left), 0.0)


@kernel
def _stress(depleted, total, readily):
    """Share of the demand that the roots can draw (FAO-56, equation 84)."""
    if depleted <= readily:
        return 1.0
    return max((total - depleted) / (total - readily), 0.0)


@kernel
def _evaporation(dry, exposed, basal, most, evaporable, readily):
    """Coefficient of evaporation from the soil's surface (FAO-56, equations 71 and 74).

    Drawn down to `dry` mm of the `evaporable`, `readily` of it without hindrance; `basal` and
    `most` are Kcb and Kc max; `exposed` is the share of the ground that is bare and wetted.
    """
    left = 1.0
    if dry > readily:
        left = max((evaporable - dry) / (evaporable - readily), 0.0)
    return min(left * (most - basal), exposed * most)


@kernel
def _readily(depletion, demand, total):
    """Water that is drawn without stress on a day of this demand [mm] (FAO-56, table 22)."""
    return min(max(depletion + 0.04 * (5.0 - demand), 0.1), 0.8) * total


@kernel
def _soil_day(
    water, from_store, from_mains, rain_in, fed, fed_tap, demand, evaporated, total, readily
):
    """Root zone through one day before irrigation; all in mm.

    `demand` is what roots want, `evaporated` what leaves through the surface besides (0 where
    the demand holds both).
    Returns water, its parts from stores and from mains, evapotranspiration, its parts from stores
    and from mains, and drainage. Water of all origins is taken as well mixed.
    """
    can = _stress(total - water, total, readily) * demand
    water += rain_in + fed
    from_store += fed - fed_tap
    from_mains += fed_tap
    used = min(can + evaporated, water)
    if water <= 0.0:
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    store_share, mains_share = from_store / water, from_mains / water
    left = water - used
    drained = max(left - total, 0.0)
    left -= drained
    return (
        left,
        left * store_share,
        left * mains_share,
        used,
        used * store_share,
        used * mains_share,
        drained,
    )


@kernel
def shed_by_wetness(days, parts, available):
    """Runoff (parts, days) [mm] of ground whose retention follows the water in its soil.

    `days` are rain and what plants drink without stress, (2, days); `parts` (parts, 4) the average
    retention and the parameters of `wetness.retention_by_wetness`.
    """
    shed = np.empty((parts.shape[0], days.shape[1]))
    for part in range(parts.shape[0]):
        water = available
        for day in range(days.shape[1]):
            rain = days[0, day]
            retention = parts[part, 0]
            if parts[part, 1] > 0.0:  # not sealed
                held = water + np.exp(parts[part, 2] - parts[part, 3] * water)
                retention = parts[part, 1] * (1.0 - water / held)
            beyond = max(rain - 0.2 * retention, 0.0)
            runoff = 0.0
            if beyond > 0.0:
                runoff = min(beyond * beyond / (beyond + retention), rain)
            drunk = _stress(available - water, available, 0.5 * available) * days[1, day]
            water = min(max(water + rain - runoff - drunk, 0.0), available)
            shed[part, day] = runoff
    return shed


@kernel
def simulate(
    weather, mains_limit, zones, zone_days, stores, inflow, shapes, sizes, uses, use_days, feeds,
    links, keep,
):  # fmt: skip
    """Run every day; returns totals by variant, days met, and series of the first variant.

    `zones`, `stores`, `uses`, `feeds` and `links` are records as `simulate.py` declares them; the
    links of a part lie from its `first` to before its `last`. Axes: weather (2, days); zone_days
    (4, zones, days), or (2, zones, days) where no zone is layered; inflow and use_days (parts,
    days); shapes (2, stores, points); sizes (2, stores, variants). Days met count the watched zones
    and uses together. Where a zone is layered, its coefficient is the basal one, and evaporation
    comes on top.
    """
    days = weather.shape[1]
    capacity, scale = sizes[0], sizes[1]
    variants = capacity.shape[1]
    kept = days if keep else 0
    zone_sum = np.zeros((zones.size, variants, 11))
    store_sum = np.zeros((stores.size, variants, 8))
    use_sum = np.zeros((uses.size, variants, 3))
    days_met = np.zeros(variants)
    zone_series = np.zeros((kept, zones.size, 11))
    store_series = np.zeros((kept, stores.size, 8))
    use_series = np.zeros((kept, uses.size, 3))

    water = np.empty((zones.size, variants))
    from_store = np.zeros((zones.size, variants))
    from_mains = np.zeros((zones.size, variants))
    held = np.empty((stores.size, variants))
    dry = np.empty((zones.size, variants))
    wet = np.ones((zones.size, variants))
    for z in range(zones.size):
        water[z] = zones[z].full * zones[z].available_mm
        dry[z] = zones[z].start_dry_mm
    for s in range(stores.size):
        for v in range(variants):
            held[s, v] = stores[s].full * capacity[s, v]
    tap = np.zeros((stores.size, variants))
    arrives = np.zeros((2, stores.size, variants))
    seeped = np.zeros((2, stores.size, variants))
    spare = np.zeros((stores.size, variants))
    fed = np.zeros((zones.size, variants))
    fed_tap = np.zeros((zones.size, variants))
    store_row = np.zeros((stores.size, variants, 8))
    row = np.empty(11)
    mains_left = np.empty(variants)
    day_demand = np.empty(variants)
    day_short = np.empty(variants)

    for day in range(days):
        rain = weather[RAIN, day]
        et0 = weather[ET0, day]
        fed[:] = 0.0
        fed_tap[:] = 0.0
        for k in range(stores.size):
            place = stores[k].order
            store = stores[place]
            _store_day(store, place, rain, et0, inflow[place, day], shapes, capacity, scale, held,
                       tap, arrives, seeped, spare, store_row[place])  # fmt: skip
            for link in range(store.first, store.last):
                z = links[link].place
                for v in range(variants):
                    soaked = store_row[place, v, SOAKED] * links[link].share
                    soaked_mm = soaked / zones[z].area_m2 * 1e3
                    fed[z, v] += soaked_mm
                    fed_tap[z, v] += soaked_mm * tap[place, v]
        for f in range(feeds.size):
            _feed(feeds[f], stores, capacity, spare, held, tap, store_row)
        mains_left[:] = mains_limit
        day_demand[:] = 0.0
        day_short[:] = 0.0
        for u in range(uses.size):
            asked = use_days[u, day]
            for v in range(variants):
                taken, brought = _draw(
                    asked, v, uses[u], links, stores, capacity, spare, held, tap, store_row
                )
                mains = _rest(asked - taken, mains_left[v])
                mains_left[v] -= mains
                # what was brought from outside is no harvest
                taken -= brought
                mains += brought
                use_sum[u, v, ASKED] += asked
                use_sum[u, v, USE_STORE] += taken
                use_sum[u, v, USE_MAINS] += mains
                if uses[u].watched:
                    day_demand[v] += asked
                    day_short[v] += asked - taken
                if keep and v == 0:
                    use_series[day, u, ASKED] = asked
                    use_series[day, u, USE_STORE] = taken
                    use_series[day, u, USE_MAINS] = mains
        for z in range(zones.size):
            zone = zones[z]
            coefficient = zone_days[KC, z, day]
            roots = coefficient * et0
            total = zone.available_mm
            readily = _readily(zone.depletion, roots, total)
            rain_in = rain - zone_days[RUNOFF, z, day]
            cubic = zone.area_m2 * 1e-3  # m³ for each mm
            to_soil = zone.efficiency / cubic
            layered, irrigated, watched = zone.layered, zone.irrigated, zone.watched
            evaporable, wetted = zone.evaporable_mm, zone.wetted
            bare, most = 0.0, 0.0
            if layered:
                bare = 1.0 - zone_days[COVER, z, day]
                most = zone_days[KC_MOST, z, day]
            for v in range(variants):
                evaporated = 0.0
                demand = roots
                if layered:
                    # rain comes in the morning, as in FAO-56, example 35
                    top = max(dry[z, v] - rain_in, 0.0)
                    if rain_in >= WETS_ALL_MM:
                        wet[z, v] = 1.0
                    exposed = max(min(bare, wet[z, v]), LEAST_EXPOSED)
                    evaporated = et0 * zone.unmulched * _evaporation(
                        top, exposed, coefficient, most, evaporable, zone.readily_mm)  # fmt: skip
                    evaporated = min(evaporated, water[z, v] + rain_in + fed[z, v])
                    dry[z, v] = min(top + evaporated / exposed, evaporable)
                    demand = roots + evaporated
                    readily = _readily(zone.depletion, demand, total)
                w, hs, hm, used, used_store, used_mains, drained = _soil_day(
                    water[z, v], from_store[z, v], from_mains[z, v], rain_in, fed[z, v],
                    fed_tap[z, v], roots, evaporated, total, readily)  # fmt: skip
                if drained > 0.0:  # what is left fills the soil, mixed as what drained
                    for link in range(zone.drains_first, zone.drains_last):
                        below = links[link].place
                        seeped[0, below, v] += drained * cubic * links[link].share
                        seeped[1, below, v] += drained * cubic * links[link].share * hm / w
                taken = 0.0
                mains = 0.0
                if irrigated and total - w > zone.start_at * readily:
                    asked = min(total - w, zone.most_mm) / zone.efficiency * cubic
                    taken, brought = _draw(
                        asked, v, zone, links, stores, capacity, spare, held, tap, store_row
                    )
                    mains = _rest(asked - taken, mains_left[v])
                    mains_left[v] -= mains
                    taken -= brought
                    mains += brought
                    w += (taken + mains) * to_soil
                    hs += taken * to_soil
                    hm += mains * to_soil
                    if layered and (taken + mains) * to_soil > TRACE_MM:
                        wet[z, v] = wetted
                        depth = (taken + mains) * to_soil / wetted
                        dry[z, v] = max(dry[z, v] - depth, 0.0)
                water[z, v] = w
                from_store[z, v] = hs
                from_mains[z, v] = hm
                if watched:
                    day_demand[v] += demand * cubic
                    day_short[v] += (demand - used + used_mains) * cubic
                row[ET] = used
                row[DEMAND] = demand
                row[ET_HARVEST] = used_store
                row[ET_MAINS] = used_mains
                row[DRAINED] = drained
                row[FED] = fed[z, v]
                row[GIVEN_STORE] = taken
                row[GIVEN_MAINS] = mains
                row[WATER] = w
                row[FROM_SURFACE] = evaporated
                row[SURFACE_DRY] = dry[z, v]
                sums = zone_sum[z, v]
                for q in range(11):
                    sums[q] += row[q]
                if keep and v == 0:
                    zone_series[day, z] = row
        for v in range(variants):
            if day_short[v] <= SHORT * day_demand[v]:
                days_met[v] += 1.0
        for s in range(stores.size):
            for v in range(variants):
                store_row[s, v, HELD] = held[s, v]
                for q in range(7):
                    store_sum[s, v, q] += store_row[s, v, q]
            if keep:
                store_series[day, s] = store_row[s, 0]
    for v in range(variants):
        for z in range(zones.size):
            zone_sum[z, v, WATER] = water[z, v]
            zone_sum[z, v, SURFACE_DRY] = dry[z, v]
        for s in range(stores.size):
            store_sum[s, v, HELD] = held[s, v]
    return zone_sum, store_sum, use_sum, days_met, zone_series, store_series, use_series
