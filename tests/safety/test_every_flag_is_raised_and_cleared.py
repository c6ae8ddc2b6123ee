"""Each flag of the catalogue: what raises it, what a person is told, and that it goes again.

Every flag has two situations that differ by what is unsafe alone, as the smallest call of the
domain that can tell them apart. A flag that is added to the catalogue without them fails here.
That a flag on a row reaches the report, the map page and the closing list of a run with its
meaning and mend is seen in `tests/unit/report/test_every_flag_reaches_people.py`.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from brimline.layers import FLAGS

if TYPE_CHECKING:
    from collections.abc import Callable

    Situation = Callable[[], dict[str, str]]

ROOMS = ("of_lines", "of_water", "of_designs", "of_built", "of_plants")


def _examples() -> dict[str, tuple[Situation, Situation]]:
    """Situations by flag: the unsafe one, and the same without what makes it so."""
    sys.path.insert(0, str(Path(__file__).parent))
    try:
        modules = [importlib.import_module(name) for name in ROOMS]
    finally:
        sys.path.pop(0)
    assert sum(len(one.EXAMPLES) for one in modules) == len(
        {code for one in modules for code in one.EXAMPLES}
    )
    return {code: pair for one in modules for code, pair in one.EXAMPLES.items()}


EXAMPLES = _examples()


def test_every_flag_of_the_catalogue_has_its_situations_and_no_other_has():
    assert set(EXAMPLES) == set(FLAGS)


@pytest.mark.parametrize("code", FLAGS)
def test_a_flag_is_raised_by_what_is_unsafe_and_goes_with_it(code):
    unsafe, safe = EXAMPLES[code]
    raised = unsafe()
    assert code in raised
    assert set(raised) <= set(FLAGS)
    sentence = (raised[code] or FLAGS[code].meaning).replace("\N{NO-BREAK SPACE}", " ")
    assert " " in sentence
    assert sentence.isprintable()
    assert code not in safe()
