"""How often the 5 to 95 % range of an intake holds the area on known ground, and how wide it is.

Run with ``pytest -s -m slow tests/benchmarks/test_ranges_hold_the_truth.py`` to see the figures.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

from brimline.drainage.certainty import Draining, catchment_chance

sys.path.insert(0, str(Path(__file__).parent))
from known_ground import CELL_M, ERRORS, KINDS, RADIUS_M, site


def measured(seeds, errors, most):
    """Rows of surveyed area, true area, largest true area in reach, low, high; and their kinds."""
    rows, kinds = [], []
    for kind in KINDS:
        for error in errors:
            for seed in seeds:
                known = site(kind, error, seed)
                found = catchment_chance(
                    known.dem,
                    known.cells,
                    known.area_m2,
                    cell_m=CELL_M,
                    rmse_m=0.10,
                    correlations_m=(5.0, 10.0, 30.0),
                    realisations=most,
                    seed=1,
                    snap_radius_m=RADIUS_M,
                    wider=Draining(),
                )
                rows.append(
                    np.column_stack(
                        (
                            known.area_m2,
                            known.true_m2,
                            known.largest_m2,
                            found.area_low_m2,
                            found.area_high_m2,
                        )
                    )
                )
                kinds += [(kind, error)] * len(known.cells)
    return np.vstack(rows), np.array(kinds)


def figures(rows):
    area, true, largest, low, high = rows.T
    return (
        np.mean((true >= low) & (true <= high)),
        np.median((high - low) / area),
        np.mean((area >= low) & (area <= high)),
        np.mean((largest >= low) & (largest <= high)),
    )


def told(rows, kinds):
    print("\nground or error   intakes   truth in   width/area   area in   largest in reach in")
    for column, names in enumerate((KINDS, ERRORS)):
        for name in names:
            chosen = rows[kinds[:, column] == name]
            if len(chosen):
                print(f"{name:16s}  {len(chosen):7d}", *(f"{x:10.2f}" for x in figures(chosen)))
    print(f"{'all':16s}  {len(rows):7d}", *(f"{x:10.2f}" for x in figures(rows)))


@pytest.fixture(scope="module")
def two_hundred_sites():
    rows, kinds = measured(range(10), ERRORS, most=120)
    told(rows, kinds)
    return figures(rows)


@pytest.mark.slow
def test_over_two_hundred_sites_the_range_holds_at_least_85_in_100_true_areas(two_hundred_sites):
    assert two_hundred_sites[0] >= 0.85


@pytest.mark.slow
@pytest.mark.xfail(strict=True, reason="0.96 was measured")
def test_over_two_hundred_sites_the_median_width_is_at_most_0_95_of_the_area(two_hundred_sites):
    assert two_hundred_sites[1] <= 0.95


def test_over_a_few_sites_the_range_holds_the_true_area():
    rows, kinds = measured(range(2), ("own model", "white"), most=60)
    told(rows, kinds)
    held, _, _, _ = figures(rows)
    # 64 intakes of which 0.85 are held: two standard errors below are 0.76
    assert held >= 0.76
