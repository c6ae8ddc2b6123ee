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
IN_OWN, IN_SPILL, SPILLED, EVAPORATED, SOAKED, DRAWN, HELD = range(7)
ASKED, USE_STORE, USE_MAINS = range(3)

SHORT = 0.05  # a day is met where mains and deficit are at most this share of its demand
WETS_ALL_MM = 3.0  # less rain leaves the wetted share of the surface as it was (FAO-56, table 20)
TRACE_MM = 1e-6  # less irrigation is a rounding and wets nothing
LEAST_EXPOSED = 0.01  # of the surface: exposed and wetted


@kernel
def _at_fill(areas, place, share):
    """Area of a store at a share of its volume [m²]."""
    points = areas.shape[1] - 1
    at = share * points
    low = min(int(at), points - 1)
    part = at - low
    return areas[place, low] * (1.0 - part) + areas[place, low + 1] * part


@kernel
def _store_day(
    place, day, inflow, open_area, rain, held, arrives, spare, capacity, area, soak_area,
    area_scale, seep, evaporates, et0, row, spills_to,
):  # fmt: skip
    """Fill, spill, then lose water from one store in every variant, into its row of results."""
    for v in range(held.shape[1]):
        before = held[place, v]
        full = capacity[place, v]
        scale = area_scale[place, v] * 1e-3  # m³ for each mm
        own = inflow[place, day] + rain[day] * open_area[place] * scale
        water = before + own + arrives[place, v]
        spill = max(water - full, 0.0)
        water -= spill
        lost = 0.0
        soaked = 0.0
        if full > 0.0:
            share = water / full
            lost = et0[day] * evaporates[place] * _at_fill(area, place, share) * scale
            soaked = seep[place] * _at_fill(soak_area, place, share) * scale
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
        row[v, IN_SPILL] = arrives[place, v]
        row[v, SPILLED] = spill
        row[v, EVAPORATED] = lost
        row[v, SOAKED] = soaked
        row[v, DRAWN] = 0.0
        arrives[place, v] = 0.0
        target = spills_to[place]
        if target >= 0:
            arrives[target, v] += spill


@kernel
def _draw(amount, v, first, last, draw_from, spare, held, capacity, reserve, store_row):
    """Take up to an amount from stores in order; returns what was taken [m³]."""
    taken = 0.0
    for link in range(first, last):
        place = draw_from[link]
        part = min(amount - taken, spare[place, v] - reserve[place] * capacity[place, v])
        if part > 0.0:
            spare[place, v] -= part
            held[place, v] -= part
            store_row[place, v, DRAWN] += part
            taken += part
    return taken


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
def _soil_day(water, from_store, from_mains, rain_in, fed, demand, evaporated, total, readily):
    """Root zone through one day before irrigation; all in mm.

    `demand` is what roots want, `evaporated` what leaves through the surface besides (0 where
    the demand holds both).
    Returns water, its parts from stores and from mains, evapotranspiration, its parts from stores
    and from mains, and drainage. Water of all origins is taken as well mixed.
    """
    can = _stress(total - water, total, readily) * demand
    water += rain_in + fed
    from_store += fed
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
def simulate(
    rain, et0, mains_limit,
    zone_area, zone_total, zone_depletion, zone_kc, zone_runoff, zone_start_at, zone_efficiency,
    zone_most, zone_irrigated, zone_full, zone_first, zone_draws, zone_watched,
    layered, kc_most, cover, evaporable, evaporates_readily, wetted, unmulched, surface_start,
    inflow, open_area, capacity, area, soak_area, area_scale, seep, evaporates, spills_to, reserve,
    store_full, order,
    feed_first, feed_zone, feed_share,
    use_demand, use_first, use_draws, use_watched,
    keep,
):  # fmt: skip
    """Run every day; returns totals by variant, days met, and series of the first variant.

    Axes: zone_kc and zone_runoff (zones, days); inflow (stores, days); capacity and area_scale
    (stores, variants). Links are lists with the place where each part's begin. Days met count the
    watched zones and uses together. Where a zone is layered, its zone_kc is the basal coefficient
    and kc_most and cover (zones, days) are read; evaporation comes on top.
    """
    days = rain.size
    zones, stores, uses, variants = (
        zone_area.size,
        order.size,
        use_first.size - 1,
        capacity.shape[1],
    )
    kept = days if keep else 0
    zone_sum = np.zeros((zones, variants, 11))
    store_sum = np.zeros((stores, variants, 7))
    use_sum = np.zeros((uses, variants, 3))
    days_met = np.zeros(variants)
    zone_series = np.zeros((kept, zones, 11))
    store_series = np.zeros((kept, stores, 7))
    use_series = np.zeros((kept, uses, 3))

    water = np.empty((zones, variants))
    from_store = np.zeros((zones, variants))
    from_mains = np.zeros((zones, variants))
    held = np.empty((stores, variants))
    dry = np.empty((zones, variants))
    wet = np.ones((zones, variants))
    for z in range(zones):
        water[z] = zone_full[z] * zone_total[z]
        dry[z] = surface_start[z]
    for s in range(stores):
        held[s] = store_full[s] * capacity[s]
    arrives = np.zeros((stores, variants))
    spare = np.zeros((stores, variants))
    fed = np.zeros((zones, variants))
    store_row = np.zeros((stores, variants, 7))
    mains_left = np.empty(variants)
    day_demand = np.empty(variants)
    day_short = np.empty(variants)

    for day in range(days):
        fed[:] = 0.0
        for k in range(stores):
            place = order[k]
            _store_day(place, day, inflow, open_area, rain, held, arrives, spare, capacity, area,
                       soak_area, area_scale, seep, evaporates, et0, store_row[place],
                       spills_to)  # fmt: skip
            for link in range(feed_first[place], feed_first[place + 1]):
                z = feed_zone[link]
                for v in range(variants):
                    depth = store_row[place, v, SOAKED] * feed_share[link] / zone_area[z] * 1e3
                    fed[z, v] += depth
        mains_left[:] = mains_limit
        day_demand[:] = 0.0
        day_short[:] = 0.0
        for u in range(uses):
            asked = use_demand[u, day]
            for v in range(variants):
                taken = _draw(asked, v, use_first[u], use_first[u + 1], use_draws, spare, held,
                              capacity, reserve, store_row)  # fmt: skip
                mains = _rest(asked - taken, mains_left[v])
                mains_left[v] -= mains
                use_sum[u, v, ASKED] += asked
                use_sum[u, v, USE_STORE] += taken
                use_sum[u, v, USE_MAINS] += mains
                if use_watched[u]:
                    day_demand[v] += asked
                    day_short[v] += asked - taken
                if keep and v == 0:
                    use_series[day, u, ASKED] = asked
                    use_series[day, u, USE_STORE] = taken
                    use_series[day, u, USE_MAINS] = mains
        for z in range(zones):
            roots = zone_kc[z, day] * et0[day]
            total = zone_total[z]
            readily = _readily(zone_depletion[z], roots, total)
            rain_in = rain[day] - zone_runoff[z, day]
            cubic = zone_area[z] * 1e-3  # m³ for each mm
            for v in range(variants):
                evaporated = 0.0
                demand = roots
                if layered[z]:
                    # rain comes in the morning, as in FAO-56, example 35
                    top = max(dry[z, v] - rain_in, 0.0)
                    if rain_in >= WETS_ALL_MM:
                        wet[z, v] = 1.0
                    exposed = max(min(1.0 - cover[z, day], wet[z, v]), LEAST_EXPOSED)
                    evaporated = et0[day] * unmulched[z] * _evaporation(
                        top, exposed, zone_kc[z, day], kc_most[z, day], evaporable[z],
                        evaporates_readily[z])  # fmt: skip
                    evaporated = min(evaporated, water[z, v] + rain_in + fed[z, v])
                    dry[z, v] = min(top + evaporated / exposed, evaporable[z])
                    demand = roots + evaporated
                    readily = _readily(zone_depletion[z], demand, total)
                w, hs, hm, used, used_store, used_mains, drained = _soil_day(
                    water[z, v], from_store[z, v], from_mains[z, v], rain_in, fed[z, v], roots,
                    evaporated, total, readily)  # fmt: skip
                taken = 0.0
                mains = 0.0
                if zone_irrigated[z] and total - w > zone_start_at[z] * readily:
                    asked = min(total - w, zone_most[z]) / zone_efficiency[z] * cubic
                    taken = _draw(asked, v, zone_first[z], zone_first[z + 1], zone_draws, spare,
                                  held, capacity, reserve, store_row)  # fmt: skip
                    mains = _rest(asked - taken, mains_left[v])
                    mains_left[v] -= mains
                    to_soil = zone_efficiency[z] / cubic
                    w += (taken + mains) * to_soil
                    hs += taken * to_soil
                    hm += mains * to_soil
                    if layered[z] and (taken + mains) * to_soil > TRACE_MM:
                        wet[z, v] = wetted[z]
                        depth = (taken + mains) * to_soil / wetted[z]
                        dry[z, v] = max(dry[z, v] - depth, 0.0)
                water[z, v] = w
                from_store[z, v] = hs
                from_mains[z, v] = hm
                if zone_watched[z]:
                    day_demand[v] += demand * cubic
                    day_short[v] += (demand - used + used_mains) * cubic
                zone_sum[z, v, ET] += used
                zone_sum[z, v, DEMAND] += demand
                zone_sum[z, v, ET_HARVEST] += used_store
                zone_sum[z, v, ET_MAINS] += used_mains
                zone_sum[z, v, DRAINED] += drained
                zone_sum[z, v, FED] += fed[z, v]
                zone_sum[z, v, GIVEN_STORE] += taken
                zone_sum[z, v, GIVEN_MAINS] += mains
                zone_sum[z, v, WATER] = w
                zone_sum[z, v, FROM_SURFACE] += evaporated
                zone_sum[z, v, SURFACE_DRY] = dry[z, v]
                if keep and v == 0:
                    series = zone_series[day, z]
                    series[ET] = used
                    series[DEMAND] = demand
                    series[ET_HARVEST] = used_store
                    series[ET_MAINS] = used_mains
                    series[DRAINED] = drained
                    series[FED] = fed[z, v]
                    series[GIVEN_STORE] = taken
                    series[GIVEN_MAINS] = mains
                    series[WATER] = w
                    series[FROM_SURFACE] = evaporated
                    series[SURFACE_DRY] = dry[z, v]
        for v in range(variants):
            if day_short[v] <= SHORT * day_demand[v]:
                days_met[v] += 1.0
        for s in range(stores):
            for v in range(variants):
                store_row[s, v, HELD] = held[s, v]
                for q in range(6):
                    store_sum[s, v, q] += store_row[s, v, q]
                store_sum[s, v, HELD] = held[s, v]
            if keep:
                for q in range(7):
                    store_series[day, s, q] = store_row[s, 0, q]
    return zone_sum, store_sum, use_sum, days_met, zone_series, store_series, use_series
