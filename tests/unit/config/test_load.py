"""The site's file: every fault at once, each with its line and the nearest known key."""

import tomllib

import pytest

from brimline.config import load
from brimline.config.tables import Settings
from brimline.config.template import template, toml_value
from brimline.errors import ConfigError

SMALLEST = """\
[site]
name = "Tern Bank"

[inputs]
elevation = "a.tif"
boundary = "site.gpkg"
"""


def written(tmp_path, text):
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_smallest_file_takes_every_default(tmp_path):
    loaded = load(written(tmp_path, SMALLEST))
    assert loaded.settings.site.name == "Tern Bank"
    assert loaded.settings.inputs.elevation == ("a.tif",)
    assert loaded.settings.inputs.boundary.file == "site.gpkg"
    assert loaded.settings.drainage == Settings.model_fields["drainage"].default
    assert loaded.resolve("a.tif") == tmp_path / "a.tif"


def test_vector_input_with_layer_and_filter(tmp_path):
    text = SMALLEST + "intakes = {file = 'x.gpkg', layer = 'points', where = \"kind = 'in'\"}\n"
    intakes = load(written(tmp_path, text)).settings.inputs.intakes
    assert intakes is not None
    assert (intakes.file, intakes.layer, intakes.where) == ("x.gpkg", "points", "kind = 'in'")


def test_all_faults_are_told_at_once_with_their_lines(tmp_path):
    text = SMALLEST.replace("name", "nane") + "[swales]\nmin_spacing_m = -3\n[lanes]\nx = 1\n"
    with pytest.raises(ConfigError) as caught:
        load(written(tmp_path, text))
    told = {problem.place: problem for problem in caught.value.problems}
    assert told["site.nane (line 2)"].mend == "did you mean name?"
    assert "is missing" in told["site.name (line 1)"].message
    assert "above 0; found -3" in told["swales.min_spacing_m (line 8)"].message
    assert told["lanes (line 9)"].mend == "did you mean lines?"


def test_order_of_two_keys_is_checked(tmp_path):
    text = SMALLEST + "[swales]\nmin_spacing_m = 30\nmax_spacing_m = 20\n"
    with pytest.raises(ConfigError, match=r"max_spacing_m \(20.0 m\) must be above min_spacing_m"):
        load(written(tmp_path, text))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[site\nname = 1", "not valid TOML"),
        (b"name = \xff\xfe", "not a text file in UTF-8"),
    ],
)
def test_unreadable_files_are_named(tmp_path, content, says):
    path = tmp_path / "site.toml"
    path.write_bytes(content)
    with pytest.raises(ConfigError, match=says):
        load(path)


def test_missing_file_and_folder_say_what_to_give(tmp_path):
    with pytest.raises(ConfigError, match="brimline new"):
        load(tmp_path / "none.toml")
    with pytest.raises(ConfigError, match="this is a folder"):
        load(tmp_path)


def test_template_is_valid_and_its_defaults_are_the_models(tmp_path):
    given = {
        "site": {"name": 'The "North" field'},
        "inputs": {"elevation": ["a.tif", "b.tif"], "boundary": {"file": "b.gpkg", "layer": "x"}},
    }
    text = template(given)
    settings = load(written(tmp_path, text)).settings
    assert settings.site.name == 'The "North" field'
    assert settings.inputs.elevation == ("a.tif", "b.tif")
    assert settings.inputs.boundary.layer == "x"
    # every default shown behind '#' is the one that holds: take all the '#' away and compare
    shown = [
        line[2:] if line.startswith("# ") and " = " in line and "…" not in line else line
        for line in text.splitlines()
        if not (line.startswith("#") and " = " not in line)
    ]
    document = tomllib.loads("\n".join(shown))
    assert Settings.model_validate(document) == settings


def test_template_refuses_unknown_names():
    with pytest.raises(KeyError, match="no such table: sight"):
        template({"sight": {}})
    with pytest.raises(KeyError, match=r"no such key in \[site\]: nam"):
        template({"site": {"nam": "x"}})


def test_values_survive_a_round_trip_through_toml():
    value = {"a": [1, 2.5, "é\n"], "b": True}
    assert tomllib.loads(f"v = {toml_value(value)}")["v"] == value
    with pytest.raises(TypeError):
        toml_value(object())


def test_every_key_says_what_it_means():
    for name, table in Settings.model_fields.items():
        model = table.annotation
        assert model.__doc__, name
        for key, field in model.model_fields.items():
            assert field.description, f"{name}.{key} has no description"
