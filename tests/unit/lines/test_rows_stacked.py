"""Rows that pass on to rows below them: by hand on a plane, and against every way to choose."""

from itertools import combinations, product

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import limits
from brimline.lines.rows import Duty, RowSection, RowSpacing, WantedRows, swale_rows
from brimline.lines.rows.stacks import passed_down, sections_for, stack_of, without_each

NO_SOAK = Duty(runoff_mm=25.0, storage_m2=0.5)  # a metre holds the section A: 0.5 m³


def plane(rows, cols=60, slope=0.10):
    row, _ = np.indices((rows, cols))
    return (100 - slope * row).astype(np.float32)


def rows_on(dem, spacing, wanted, duty=NO_SOAK, **options):
    grid = Grid(*dem.shape, 1.0, north_m=float(dem.shape[0]))
    where = limits(dem, grid, max_slope_pct=40.0)
    drawing = Drawing(min_length_m=10.0)
    return swale_rows(
        dem, dem, grid, where, duty, spacing, wanted=wanted, drawing=drawing, **options
    )


def test_n_rows_at_a_spacing_on_a_plane_by_hand():
    # Interval 3 m on 10 %: rows s = 30 m apart; each of length L = 59 m, between the outermost
    # centres of W = 60 m of ground, and section A = 0.5 m² holds A L = 29.5 m³. A strip sheds
    # s W q = 30 × 60 × 0.025 = 45 m³, so the k-th row from the top passes on k (s W q − A L), and
    # what leaves the last is n times that. Half a cell above the outermost centres: 0.75 m³ more.
    rows = rows_on(
        plane(160), RowSpacing("interval", 5.0, 80.0, interval_m=3.0), WantedRows(any_size=True)
    )
    assert len(rows) == 5
    for k, row in enumerate(rows, start=1):
        assert row.holds_m3 == pytest.approx(0.5 * row.length_m)
        assert row.length_m == pytest.approx(59.0)
        assert row.passes_on_m3 == pytest.approx(k * (45.0 - 29.5) + 0.75, rel=0.01)
        assert row.passes_to == (k if k < 5 else -1)
        assert row.stack == 1
        assert "undersized" in row.flags  # what reaches the last one is held by none
    total = sum(row.must_hold_m3 for row in rows)
    assert sum(row.kept_m3 for row in rows) == pytest.approx(5 * 0.5 * rows[0].length_m, rel=1e-6)
    assert rows[-1].passes_on_m3 == pytest.approx(total - 5 * 0.5 * rows[0].length_m)


def test_what_an_upper_row_cannot_hold_is_held_by_the_rows_below_it():
    # A drawn row 60 m below the top gets 60 × 0.025 = 1.5 m³ by metre and holds 0.5; a row 20 m
    # below it gets 0.5 of its own and the other 1.0, and holds both only with a section of 1.5 m².
    drawn = [shapely.LineString([(0.5, 99.5), (59.5, 99.5)])]
    deep = (RowSection(0.4, 0.5), RowSection(0.6, 1.0), RowSection(0.8, 1.6))
    spacing = RowSpacing("interval", 5.0, 80.0, interval_m=2.0)
    dem = plane(160)
    upper, *below = [
        row
        for row in rows_on(dem, spacing, WantedRows(sections=deep), drawn=drawn)
        if row.level_m < 94.5
    ]
    assert upper.drawn == 0
    assert below
    assert upper.passes_on_m3 > 0
    assert "undersized" not in upper.flags  # those below hold it
    assert below[0].from_above_m3 == pytest.approx(upper.passes_on_m3)
    assert below[-1].passes_on_m3 == pytest.approx(0.0, abs=1e-6)
    # without deeper sections none below can, and those that cannot are not proposed
    shallow = rows_on(dem, spacing, WantedRows(sections=deep[:1]), drawn=drawn)
    assert [row.drawn for row in shallow if row.level_m < 94.5] == [0]
    assert "undersized" in next(row for row in shallow if row.drawn == 0).flags


def test_depths_are_even_where_water_can_be_passed_on_and_not_where_it_cannot():
    sections = tuple(RowSection(d, d) for d in (1.0, 2.0, 3.0, 4.0))
    to = np.array([1, 2, -1])
    length, none = np.ones(3), np.full(3, np.nan)
    # most water above: 4 + 1 + 1 are shared out as 2 2 2
    assert sections_for(np.array([4.0, 1, 1]), length, to, none, sections).tolist() == [1, 1, 1]
    # most water below: it cannot run up
    assert sections_for(np.array([1.0, 1, 4]), length, to, none, sections).tolist() == [0, 0, 3]
    # two rows above one: 3 + 1 + 2 on three rows is 2 each
    assert sections_for(
        np.array([3.0, 1, 2]), length, np.array([2, 2, -1]), none, sections
    ).tolist() == [1, 0, 2]


@pytest.mark.parametrize("seed", range(12))
def test_sections_take_no_more_digging_than_the_best_of_all_ways(seed):
    """Against all combinations of sections of small stacks."""
    rng = np.random.default_rng(seed)
    count = 5
    to = np.array([rng.integers(i + 1, count) if i < count - 1 else -1 for i in range(count)])
    own = rng.uniform(0.2, 3.0, count)
    length, none = np.ones(count), np.full(count, np.nan)
    depths = (1.0, 1.5, 2.0, 2.5)
    sections = tuple(RowSection(d, d) for d in depths)
    dug = {d: d * d for d in depths}  # convex: what is dug deeper costs more
    chosen = sections_for(own, length, to, none, sections)
    held = np.array(depths)[chosen]
    best = min(
        (
            sum(dug[d] for d in at)
            for at in product(depths, repeat=count)
            if passed_down(own, np.array(at), to).taken.all()
        ),
        default=None,
    )
    if best is None:
        assert not passed_down(own, held, to).taken.all()
        return
    assert passed_down(own, held, to).taken.all()
    assert sum(dug[d] for d in held) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(8))
def test_what_leaves_with_a_row_is_what_reckoning_without_it_shows(seed):
    rng = np.random.default_rng(seed)
    count = 7
    to = np.array([rng.integers(i + 1, count) if i < count - 1 else -1 for i in range(count)])
    own, holds = rng.uniform(0.1, 2.0, count), rng.uniform(0.5, 2.5, count)
    holds[-1] += own.sum() * rng.uniform(0.0, 0.5)
    # begin with what holds
    there = np.ones(count, dtype=bool)
    now = passed_down(own, holds, to)
    if not now.taken.all():
        holds[-1] += now.passes_m3[-1]
        now = passed_down(own, holds, to)
    assert now.taken.all()
    kept = np.minimum(now.reaches_m3, holds)
    for one, leaving in enumerate(without_each(own, holds, to, there)):
        gone = {one}
        while True:  # by hand: take out the last rows that leak until none does
            left = np.where(np.isin(np.arange(count), list(gone)), 0.0, holds)
            after = passed_down(own, left, to)
            leaks = {i for i in range(count) if i not in gone and not after.taken[i]}
            if not leaks or one == count:
                break
            # water that passes over rows that are gone is held by none of them
            gone |= {max(leaks)}
        after_kept = np.minimum(after.reaches_m3, left)
        if set(leaving.rows) == gone:
            assert leaving.loss_m3 == pytest.approx(kept.sum() - after_kept.sum(), abs=1e-9)
        assert one in leaving.rows
        assert set(leaving.rows) >= gone


def test_a_limit_of_length_keeps_nearly_as_much_as_the_best_set_of_rows():
    """Against all sets of the rows of a slope with a kink, on the ground itself."""
    row, col = np.indices((170, 60))
    dem = (100 - 0.1 * row - 0.0006 * col * row).astype(np.float32)
    spacing = RowSpacing("interval", 5.0, 80.0, interval_m=2.9)
    sections = tuple(RowSection(d, h) for d, h in ((0.4, 0.5), (0.6, 0.9), (0.8, 1.4)))
    every = rows_on(dem, spacing, WantedRows(sections=sections))
    assert 4 <= len(every) <= 8
    most = 0.5 * sum(one.length_m for one in every)
    some = rows_on(dem, spacing, WantedRows(sections=sections, most_length_m=most))
    assert 0 < sum(one.length_m for one in some) <= most
    best = 0.0
    for count in range(1, len(every) + 1):
        for chosen in combinations(every, count):
            if sum(one.length_m for one in chosen) > most:
                continue
            alone = rows_on(
                dem, None, WantedRows(any_size=True), Duty(25.0, 1.4),
                drawn=[one.line for one in chosen],
                drawn_levels_m=[one.level_m for one in chosen],
            )  # fmt: skip
            if all("undersized" not in one.flags for one in alone):
                best = max(best, sum(one.kept_m3 for one in alone))
    assert sum(one.kept_m3 for one in some) >= 0.95 * best


def test_stacks_are_told_by_their_last_row_and_rows_must_come_from_the_top_down():
    assert stack_of(np.array([2, 3, 3, -1, -1])).tolist() == [3, 3, 3, 3, 4]
    with pytest.raises(ValueError, match="top down"):
        passed_down(np.ones(2), np.ones(2), np.array([-1, 0]))
