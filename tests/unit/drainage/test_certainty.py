"""How sure catchments are: how intakes follow their paths, and what is seen at a divide."""

import threading
import time

import numpy as np
import pytest

from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty import Draining, catchment_chance
from brimline.drainage.certainty.moving import nearest_alike
from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
)
from brimline.errors import GridError
from brimline.terrain.conditioning import fill


def followed(area, place, expected_m2, radius_m, cell_m=2.0):
    moved = nearest_alike(
        np.array([place]),
        np.array(area, dtype=np.float64),
        expected_m2=np.array([expected_m2]),
        radii_m=np.array([radius_m]),
        cell_m=cell_m,
    )
    return tuple(moved[0].tolist())


AREA = [
    [1, 1, 50, 1, 90],
    [1, 1, 1, 1, 1],
    [1, 1, 8, 40, 1],
    [1, 60, np.nan, 1, 1],
    [1, 1, 1, 1, 1],
]


@pytest.mark.parametrize(
    ("expected_m2", "radius_m", "to"),
    [
        (8, 4.0, (2, 2)),  # still on a path like its own
        (16, 4.0, (2, 2)),  # half of it is still the same path
        (60, 4.0, (2, 3)),  # the nearest within a factor of two, though (3, 1) is more alike
        (110, 4.0, (3, 1)),
        (110, 9.0, (3, 1)),
        (140, 9.0, (0, 4)),
        (140, 4.0, (3, 1)),  # none within a factor of two: the most alike
        (3, 4.0, (2, 2)),  # 8 is nearer to 3 than 1 is, by ratio
        (70, 0.0, (2, 2)),  # not movable
    ],
)
def test_an_intake_follows_its_path_to_the_nearest_cell_alike(expected_m2, radius_m, to):
    assert followed(AREA, (2, 2), expected_m2, radius_m) == to


def test_of_equally_near_cells_the_one_that_gathers_more_is_taken_then_the_first():
    assert followed([[9, 1, 5], [1, 1, 1], [5, 1, 7]], (1, 1), 5, 3.0) == (0, 0)
    assert followed([[5, 1, 5], [1, 1, 1], [5, 1, 7]], (1, 1), 5, 3.0) == (2, 2)
    assert followed([[1, 5, 1], [5, 1, 5], [1, 5, 1]], (1, 1), 5, 3.0) == (0, 1)


def twin_valleys(rows=40):
    """Two equal valleys running south with a ridge between them in column 20."""
    row, col = np.indices((rows, 41))
    across = np.minimum(np.abs(col - 10), np.abs(col - 30))
    return (0.1 * across + 0.08 * (rows - 1 - row)).astype(np.float32)


def tried(dem, places, area, **options):
    given = {
        "cell_m": 1.0,
        "rmse_m": 0.1,
        "correlations_m": (3.0,),
        "realisations": 80,
        "seed": 7,
        "snap_radius_m": 3.0,
    }
    return catchment_chance(dem, places, area, **(given | options))


def test_at_a_divide_between_equal_valleys_the_chance_is_even_and_mirrors():
    dem = twin_valleys()
    place = [[38, 10]]
    area = subcatchments(flow_directions(fill(dem)), place).cells
    found = tried(dem, place, area, realisations=200)
    by_column = found.chance[2:34].mean(axis=0)
    assert by_column[8:13].min() > 0.94
    assert by_column[28:33].max() < 0.03
    # a rounded ridge sends some of its own water down its length, to neither of the two
    other = tried(dem, [[38, 30]], area, realisations=200).chance[2:34].mean(axis=0)
    assert by_column[20] == pytest.approx(other[20], abs=0.08)
    np.testing.assert_allclose(by_column, other[::-1], atol=0.12)
    assert by_column[20] + other[20] <= 1.0
    assert (np.diff(by_column[12:29]) < 0.02).all()
    assert found.area_low_m2[0] < area[0] < found.area_high_m2[0]


def test_a_larger_error_widens_the_span_of_areas():
    dem = twin_valleys()
    place = [[38, 10]]
    area = subcatchments(flow_directions(fill(dem)), place).cells
    spans = [
        np.ptp([found.area_low_m2[0], found.area_high_m2[0]])
        for found in (tried(dem, place, area, rmse_m=rmse_m) for rmse_m in (0.01, 0.05, 0.2))
    ]
    assert spans[0] < spans[1] < spans[2]


def pitted():
    """A valley running south with a pit on its floor, above the place that is asked of."""
    row, col = np.indices((40, 40))
    dem = (0.1 * np.abs(col - 20) + 0.08 * (39 - row)).astype(np.float32)
    dem[18:22, 19:23] -= 1.0
    return dem


def test_each_fourth_surface_is_followed_by_another_method_in_turn():
    """Without error every surface is the survey, so that each area is that of its method."""
    dem, place = pitted(), np.array([[36, 20]])
    filled, pit = fill(dem), np.zeros(dem.shape, dtype=bool)
    pit[np.unravel_index(np.argmin(np.where(dem < filled, dem, np.inf)), dem.shape)] = True
    wide_cell_m2 = 4.0
    wide = fill(dem.reshape(20, 2, 20, 2).mean(axis=(1, 3)))
    once = accumulate(flow_directions(filled))[36, 20]
    kept = accumulate(flow_directions(fill(dem, sinks=pit), sinks=pit))[36, 20]
    asked = {
        "two receivers": dinf_accumulation(filled)[36, 20],
        "wider cells": wide_cell_m2 * accumulate(flow_directions(wide))[18, 10],
        "all lower neighbours": mfd_accumulation(filled, exponent=4.0)[36, 20],
        "the pit kept": kept,
    }
    assert kept < 0.6 * once  # the ground above the pit does not reach the place
    assert len({*asked.values(), once}) == 5
    found = catchment_chance(
        dem, place, [once], cell_m=1.0, rmse_m=0.0, correlations_m=(3.0,), realisations=16,
        seed=1, snap_radius_m=0.0, wider=Draining(),
        other=Draining(lambda each: fill(each, sinks=pit), pit),
    )  # fmt: skip
    areas_m2 = found.areas_m2[:, 0].reshape(4, 4)
    np.testing.assert_allclose(areas_m2[:, 3], list(asked.values()))
    np.testing.assert_array_equal(areas_m2[:, :3], once)


def test_wider_cells_and_other_sinks_are_tried_only_where_there_are_any():
    dem = pitted()
    once = accumulate(flow_directions(fill(dem)))[36, 20]
    small = accumulate(flow_directions(fill(dem)))[37, 30]  # fewer than 200 cells
    areas_m2 = tried(dem, [[36, 20]], [once], rmse_m=0.0, realisations=16, snap_radius_m=0.0)
    np.testing.assert_array_equal(areas_m2.areas_m2[[7, 15], 0], once)
    assert small < 200
    options = {"rmse_m": 0.0, "realisations": 8, "snap_radius_m": 0.0, "wider": Draining()}
    areas_m2 = tried(dem, [[36, 20], [37, 30]], [once, small], **options).areas_m2
    np.testing.assert_array_equal(areas_m2[7], [once, small])


def test_each_method_meets_each_correlation_length():
    """Of 48 surfaces over three lengths, the other methods have each length once."""
    drawn = tried(
        twin_valleys(20), [[18, 10]], [300.0], correlations_m=(2.0, 3.0, 4.0), realisations=48,
        rmse_m=0.0, snap_radius_m=0.0,
    ).areas_m2[:, 0]  # fmt: skip
    two, all_lower = drawn[[9, 10, 11]], drawn[[33, 34, 35]]
    assert np.ptp(two) == np.ptp(all_lower) == 0
    assert two[0] != all_lower[0] != drawn[0]
    others = np.delete(drawn, [9, 10, 11, 33, 34, 35])
    np.testing.assert_array_equal(others, drawn[0])


def test_percentiles_are_those_of_the_areas():
    dem = twin_valleys(20)
    found = tried(dem, [[18, 10], [18, 30]], [300.0, 300.0], realisations=21)
    ordered = np.sort(found.areas_m2, axis=0)
    np.testing.assert_allclose(found.area_low_m2, ordered[1])
    np.testing.assert_allclose(found.area_high_m2, ordered[19])


def test_progress_is_told_from_the_calling_thread():
    told = []
    tried(
        twin_valleys(12),
        [[10, 10]],
        [100.0],
        realisations=5,
        workers=3,
        progress=lambda done, total: told.append((done, total, threading.get_ident())),
    )
    assert told == [(number, 5, threading.get_ident()) for number in range(1, 6)]


def test_a_fault_while_conditioning_comes_out_and_stops_the_rest():
    calls = []

    def broken(dem):
        calls.append(dem)
        time.sleep(0.05)  # so that there is time to stop
        raise ArithmeticError("no way down")

    with pytest.raises(ArithmeticError, match="no way down"):
        tried(twin_valleys(12), [[10, 10]], [100.0], workers=1, ways=Draining(broken))
    assert len(calls) < 80


def test_no_intakes_give_no_areas_and_no_chance():
    found = tried(twin_valleys(12), [], [], realisations=2)
    assert found.areas_m2.shape == (2, 0)
    assert found.area_low_m2.size == 0
    assert found.chance.max() == 0


def test_what_cannot_be_tried_is_refused():
    dem = twin_valleys(12)
    dem[0, 0] = np.nan
    with pytest.raises(ValueError, match="at least 1 realisation"):
        tried(dem, [[10, 10]], [1.0], realisations=0)
    with pytest.raises(ValueError, match="snap_radius_m"):
        tried(dem, [[10, 10]], [1.0], snap_radius_m=-1.0)
    with pytest.raises(GridError, match="1 of 2 intakes lie outside"):
        tried(dem, [[10, 10], [0, 0]], [1.0, 1.0])
