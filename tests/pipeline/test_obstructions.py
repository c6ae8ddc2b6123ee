"""What stands up and keeps off sun and wind, as people draw it: with a height or without."""

import shapely


def test_heights_are_taken_as_given_else_assumed_and_told(site):
    west, south = site.west, site.north - site.size

    def square(x, y, size=10.0):
        return shapely.box(west + x, south + y, west + x + size, south + y + size)

    covers = ["roof", "roof", "woods", "row crops"]
    site.write_shapes(
        "surfaces", [square(20, 20), square(40, 20), square(60, 20), square(80, 20)],
        cover=covers, height_m=[7.0, None, None, None], name=["Barn", "Shed", None, None],
    )  # fmt: skip
    shapes = [
        square(40, 20),
        square(100, 20),
        square(120, 20),
        shapely.Point(west + 90, south + 90),
    ]
    site.write_shapes(
        "keep_out", shapes, kind=["building", "building", "tree", "tree"],
        setback_m=[0.0] * 4, name=["Shed again", "House", "Oak", "Elm"],
    )  # fmt: skip
    site.write_plan(
        drawn_shade=[{"name": "Hedge", "height_m": None, "shape": shapely.box(20, 60, 60, 62)}]
    )
    site.tables = "[sun]\nusual_heights_m = { woods = 15.0 }\n"
    done = site.run("--until", "obstructions")
    assert done.code == 0, done.err
    rows = site.layer("obstructions").set_index("name")
    assert rows["height_m"].to_dict() == {
        "Barn": 7.0, "Shed": 5.0, "woods": 15.0, "Hedge": 5.0, "House": 5.0, "Oak": 8.0,
    }  # fmt: skip  # the shed drawn twice is one; a field stands not up; a point has no width
    assumed = rows["flag"].fillna("") == "assumed"
    assert not assumed["Barn"]
    assert assumed.drop("Barn").all()
    told = [one["message"] for one in site.manifest["problems"]]
    assert any("5 buildings and trees without a height" in one for one in told)
    assert any("1 building or tree drawn as points" in one for one in told)
