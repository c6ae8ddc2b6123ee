"""Who spills to whom."""

from dataclasses import replace

import pytest

from brimline.cascade import NOWHERE, Discharge, Link, Network
from brimline.elements import Orifice, Sill


def test_order_runs_downwards_whatever_the_listing(hillside):
    backwards = replace(hillside, elements=hillside.elements[::-1])
    for network in (hillside, backwards):
        place = {network.elements[at].element_id: rank for rank, at in enumerate(network.order)}
        for link in network.links:
            if link.to_id in place:
                assert place[link.from_id] < place[link.to_id]


def test_lowest_sill_takes_first_and_names_the_target(box):
    network = Network(
        (
            box("top", spill=1.0),
            box("left", floor=-2, spill=-1, crest=0),
            box("right", floor=-2, spill=-1, crest=0),
        ),
        (Link("top", "right", Sill(1.2, 1.0)), Link("top", "left", Sill(1.0, 1.0))),
    )
    assert [link.to_id for link in network.ways_out("top")] == ["left", "right"]
    assert network.spills_to("top") == "left"
    assert network.spill_level_m("top") == 1.0


def test_a_low_pipe_does_not_set_the_spill_level(hillside):
    assert hillside.ways_out("pond")[0].outlet.is_pipe
    assert hillside.spill_level_m("pond") == 118.5
    assert hillside.spills_to("pond") == "swale-0"


def test_no_way_out_spills_nowhere(box):
    network = Network((box("a"),), ())
    assert network.main_way_out("a") is None
    assert network.spills_to("a") == NOWHERE
    assert network.spill_level_m("a") == 1.0


def test_drop_to_the_next_spill_level_and_to_the_discharge(hillside):
    drops = {(link.from_id, link.to_id): hillside.drop_m(link) for link in hillside.links}
    assert drops["swale-0", "swale-1"] == pytest.approx(1.5)
    assert drops["swale-2", "stream"] == pytest.approx(1.0)
    # a drain lets go at its lower end
    assert drops["drain", "pond"] == pytest.approx(119.2 - 118.5)


def test_unknown_discharge_level_gives_no_drop(box):
    network = Network((box("a"),), (Link("a", "end", Sill(1.0, 1.0)),), (Discharge("end", "End"),))
    assert network.drop_m(network.links[0]) is None


def test_rings_are_found_with_their_members(box):
    links = [
        Link(a, b, Sill(1.0, 1.0)) for a, b in (("a", "b"), ("b", "c"), ("c", "b"), ("d", "d"))
    ]
    network = Network(tuple(box(name) for name in "abcd"), tuple(links))
    assert network.rings == (("b", "c"), ("d",))
    assert sorted(network.order) == [0, 1, 2, 3]
    assert network.below({"a"}) == {"a", "b", "c"}


@pytest.mark.parametrize(
    ("names", "links", "says"),
    [
        ("aa", (), "unique"),
        ((NOWHERE,), (), "not empty"),
        ("a", (Link("x", "a", Sill(1, 1)),), "not an element"),
        ("a", (Link("a", "x", Sill(1, 1)),), "neither an element"),
        ("a", (Link("a", NOWHERE, Orifice(-1.0, 0.1)),), "below its floor"),
    ],
)
def test_impossible_networks_are_refused(names, links, says, box):
    with pytest.raises(ValueError, match=says):
        Network(tuple(box(name) for name in names), links)


def test_changed_copies_leave_the_original_alone(hillside):
    wider = replace(hillside.links[1], outlet=Sill(118.5, 9.0))
    changed = hillside.with_link(hillside.links[1], wider)
    assert changed.links[1] is wider
    assert hillside.links[1] is not wider
    assert len(hillside.with_link(None, wider).links) == len(hillside.links) + 1
    deeper = hillside.element("swale-0").changed("depth_m", 0.6)
    assert hillside.with_element(deeper).element("swale-0") is deeper


def test_an_outlet_that_the_built_floor_buries_begins_at_that_floor(box):
    low, high = Orifice(0.1, 0.05), Sill(1.0, 2.0)
    network = Network((box("pond"),), (Link("pond", "", low), Link("pond", "", high)))
    silted = box("pond", floor=0.4)
    now = network.rebuilt({"pond": silted, "nobody": silted}, {})
    assert now.elements == (silted,)
    assert now.links[0].outlet == Orifice(0.4, 0.05)
    assert now.links[1] is network.links[1]  # its crest stands clear of the floor
    built = network.rebuilt({}, {1: Sill(0.9, 2.0)})
    assert built.elements == network.elements
    assert built.links[0] is network.links[0]
    assert built.links[1].outlet == Sill(0.9, 2.0)
