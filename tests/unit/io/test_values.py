"""Typed values: they come back as they were, and equal ones have equal bytes."""

from dataclasses import dataclass, fields

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from brimline.cascade import Discharge, Link, Network
from brimline.elements import Sill
from brimline.errors import InternalError, Problem, Severity
from brimline.grid import Grid
from brimline.io.values import value_bytes, value_of
from brimline.rainfall import Storm
from brimline.rainfall.daily import DailyWeather

STORM = Storm("10-year", 300.0, np.array([1.0, 2.5, np.nextafter(3.0, 4.0)]), 10.0)


def same(one, other):
    """Tell whether two values agree in type and content, arrays bit by bit."""
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return (
            one.dtype == other.dtype
            and one.shape == other.shape
            and one.tobytes() == other.tobytes()
        )
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if hasattr(one, "__dataclass_fields__"):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, shapely.Geometry):
        return one.wkb == other.wkb
    return one == other or (one != one and other != other)


@pytest.mark.parametrize(
    "value",
    [
        STORM,
        Grid(3, 4, 0.5, 10.0, 20.0, "EPSG:32633"),
        Problem(Severity.WARNING, "Straße 5 €", "mend", "file"),
        Link("a", "b", Sill(12.3, 2.0), float("inf")),
        Link("a", "b", Sill(-0.0, 2.0), 1e-320),
    ],
)
def test_a_value_comes_back_as_it_was(value):
    back = value_of(value_bytes(value))
    assert same(back, value)
    assert value_bytes(back) == value_bytes(value)


def test_what_comes_back_is_read_only():
    with pytest.raises(ValueError, match="read-only"):
        value_of(value_bytes(STORM)).depth_mm[0] = 2.0


def test_shapes_with_levels_come_back_and_so_do_empty_ones():
    for shape in (
        shapely.LineString([(0, 0, 1.5), (1, 2, 2.5)]),
        shapely.Polygon([(0, 0), (1, 0), (1, 1)], [[(0.2, 0.1), (0.4, 0.1), (0.4, 0.2)]]),
        shapely.Point(),
        shapely.MultiPoint([(1, 2), (3, 4)]),
    ):
        back = value_of(value_bytes(Link("a", "b", shape))).outlet
        assert same(back, shape)
        assert back.has_z == shape.has_z


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner).map(tuple) | st.dictionaries(st.text(), inner),
        max_leaves=12,
    )
)
def test_whatever_a_field_holds_comes_back_with_equal_bytes(held):
    value = Link("a", "b", held)
    content = value_bytes(value)
    assert value_bytes(value_of(content)) == content


@given(st.sampled_from(["f4", "f8", "i4", "u1", "?", "U3", "M8[D]", ">f8"]), st.integers(0, 5))
def test_arrays_of_every_usual_kind_come_back(kind, size):
    array = np.arange(size).astype(kind) if kind != "?" else np.arange(size) % 2 == 1
    back = value_of(value_bytes(Link("a", "b", array))).outlet
    assert np.array_equal(back, array)
    assert value_bytes(Link("a", "b", np.asfortranarray(array))) == value_bytes(
        Link("a", "b", array)
    )


def test_scalars_of_numpy_are_kept_as_pythons_own_and_mappings_in_any_order():
    assert value_bytes(Link("a", "b", np.float64(2.5))) == value_bytes(Link("a", "b", 2.5))
    one, other = {"x": 1, "y": (2,)}, {"y": (2,), "x": 1}
    assert value_bytes(Link("a", "b", one)) == value_bytes(Link("a", "b", other))


def test_a_field_that_its_class_works_out_is_kept():
    network = Network((), (), (Discharge("out", "out", None),))
    assert value_of(value_bytes(network)).discharges == network.discharges


@dataclass(frozen=True)
class Foreign:
    number: int


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ({"a": 1}, "must be a frozen dataclass, is a dict"),
        (Link("a", "b", [1]), r"Link.outlet holds a list"),
        (Link("a", "b", (1, {2})), r"Link.outlet\[1\] holds a set"),
        (Link("a", "b", np.array([{}])), "Link.outlet holds an array of object"),
        (Foreign(1), "no class of a module of ours"),
    ],
)
def test_what_cannot_be_kept_is_named(value, message):
    with pytest.raises(InternalError, match=message):
        value_bytes(value)


def test_a_file_cannot_name_any_class():
    with pytest.raises(InternalError, match="no class of ours"):
        value_of(b'{"class":"subprocess:Popen","fields":{}}\n')
    with pytest.raises(InternalError, match="neither a dataclass nor an enum"):
        value_of(b'{"class":"brimline.io.values:value_of","fields":{}}\n')


def test_a_weather_record_comes_back_with_its_first_day():
    weather = DailyWeather(
        np.datetime64("2001-02-28"), np.array([0.0, 3.5]), np.full(2, 20.0), np.full(2, -2.0)
    )
    back = value_of(value_bytes(weather))
    assert back.first_day == np.datetime64("2001-02-28")
    assert back.dates.tolist() == weather.dates.tolist()
    assert back.precipitation_mm.tolist() == [0.0, 3.5]
    assert back.wind_m_s is None
    assert value_bytes(back) == value_bytes(weather)
