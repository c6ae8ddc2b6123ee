"""How rows are shared out among threads, and that results come back in order."""

import itertools
import threading

import pytest

from brimline._jit import bands, side_by_side, thread_count, threads


@pytest.mark.parametrize("rows", [1, 63, 64, 127, 128, 1000])
@pytest.mark.parametrize("count", [1, 2, 5])
def test_bands_cover_every_row_once_and_are_not_too_thin(rows, count):
    with threads(count):
        parts = bands(rows)
    assert parts[0][0] == 0
    assert parts[-1][1] == rows
    assert all(one[1] == other[0] for one, other in itertools.pairwise(parts))
    assert len(parts) <= count
    assert len(parts) == 1 or min(last - first for first, last in parts) >= 64


def test_calls_run_at_the_same_time_and_answer_in_order():
    meet = threading.Barrier(3, timeout=30)

    def call(number):
        meet.wait()  # passes only if all three are under way at once
        return number

    with threads(3):
        assert side_by_side([lambda n=n: call(n) for n in range(3)]) == [0, 1, 2]


def test_one_thread_runs_calls_in_the_caller():
    with threads(1):
        assert side_by_side([threading.get_ident] * 2) == [threading.get_ident()] * 2


def test_an_error_in_a_call_reaches_the_caller():
    def fail():
        raise ZeroDivisionError

    with threads(2), pytest.raises(ZeroDivisionError):
        side_by_side([fail, lambda: None])


def test_the_setting_ends_with_its_block_and_must_be_positive():
    before = thread_count()
    with threads(7):
        assert thread_count() == 7
    assert thread_count() == before
    with pytest.raises(ValueError, match="at least 1 thread"), threads(0):
        pass
