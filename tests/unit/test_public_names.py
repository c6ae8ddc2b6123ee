"""What `import brimline` offers: each name once, documented, and loaded only when asked for."""

import subprocess
import sys
from pathlib import Path

import pytest

import brimline


@pytest.mark.parametrize("name", brimline.__all__)
def test_a_public_name_is_there_and_explained(name):
    offered = getattr(brimline, name)
    assert offered.__name__ == name
    assert offered.__doc__
    assert not offered.__doc__.startswith(f"{name}(")  # what dataclass writes by itself
    assert not any(part.startswith("_") for part in offered.__module__.split("."))


def test_names_stand_once_and_no_room_hides_behind_one():
    homes = [name for names in brimline._HOMES.values() for name in names]
    assert sorted(homes) == sorted(brimline.__all__)
    assert len(set(homes)) == len(homes)
    assert set(brimline.__all__) <= set(dir(brimline))
    rooms = {path.stem for path in Path(brimline.__file__).parent.iterdir()}
    assert not rooms & set(brimline.__all__)


def test_importing_loads_nothing():
    code = (
        "import sys, brimline\n"
        "print(sorted({'numpy', 'numba', 'pandas', 'shapely', 'rasterio'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_unknown_name_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'swalez'"):
        brimline.swalez  # noqa: B018
