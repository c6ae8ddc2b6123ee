"""A stage as a frozen declaration, and the little that its function is given."""

from __future__ import annotations

import copy
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeAlias

from brimline.errors import InternalError
from brimline.grid import Grid

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping
    from pathlib import Path

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.errors import Problem

Facts: TypeAlias = dict[str, Any]  # plain values that JSON can hold
# an array on the run's grid, a vector layer, a table, or facts
Value: TypeAlias = "NDArray[Any] | GeoDataFrame | DataFrame | Facts"

GRID: Final = "grid"  # the fact that says where the run's cells are


def grid_facts(grid: Grid) -> Facts:
    """Return the run's grid as the fact that the first stage makes under the name ``grid``."""
    return asdict(grid)


class Params(Protocol):
    """A validated table of the configuration (a pydantic model)."""

    def model_dump(self, *, mode: str) -> dict[str, Any]:
        """Return the validated values; mode ``"json"`` gives what JSON can hold."""
        ...


@dataclass(frozen=True, slots=True)
class Source:
    """One of the person's inputs.

    Parameters
    ----------
    value : what the stage is handed, usually the model of the configuration's entry.
    files : every file that the input is read from; their content enters the stage's key.
    said : what the entry says beyond the files (layer, filter); plain values, enter the key.
    """

    value: Any
    files: tuple[Path, ...] = ()
    said: Any = None


class Reporter(Protocol):
    """What a stage tells while it works."""

    def advanced(self, fraction: float, note: str = "") -> None:
        """Say how much of the stage is done, 0 to 1, and what comes now."""
        ...

    def problem(self, problem: Problem) -> None:
        """Tell a notice or a warning; it is kept with the result and told again on reuse.

        Raises
        ------
        InputError
            If the problem is an error: the run cannot go on.
        """
        ...


class Given:
    """What a stage declared, and nothing else.

    Parameters
    ----------
    stage : the declaration.
    load : returns a value of the run by name.
    present : names of the optional needs that some stage of this run makes.
    params : validated model of the stage's table.
    sources : what the configuration says of each declared source; None where it says nothing.
    """

    def __init__(
        self,
        stage: Stage,
        load: Callable[[str], Value],
        *,
        present: Collection[str] = (),
        params: Params | None = None,
        sources: Mapping[str, Any] | None = None,
    ) -> None:
        self._stage = stage
        self._load = load
        self._present = frozenset(present)
        self._params = params
        self._sources = {name: (sources or {}).get(name) for name in stage.sources}

    def raster(self, name: str) -> NDArray[Any]:
        """Return a raster of the run, (rows, cols), read-only."""
        array: NDArray[Any] = self._get(name)
        view = array.view()
        view.flags.writeable = False
        return view

    def frame(self, name: str) -> GeoDataFrame:
        """Return a vector layer, a copy of the stage's own."""
        return self._get(name).copy()

    def table(self, name: str) -> DataFrame:
        """Return rows without geometry, a copy of the stage's own."""
        frame: DataFrame = self._get(name).copy()
        return frame

    def facts(self, name: str) -> Facts:
        """Return plain values, a copy of the stage's own."""
        facts: Facts = copy.deepcopy(self._get(name))
        return facts

    def has(self, name: str) -> bool:
        """Tell whether an optional need is made in this run."""
        if name not in self._stage.optional_needs:
            raise InternalError(f"stage {self._stage.name} does not declare optional {name}")
        return name in self._present

    @property
    def grid(self) -> Grid:
        """The run's grid."""
        return Grid(**self._get(GRID))

    @property
    def params(self) -> Any:  # noqa: ANN401 - the stage knows its own model
        """The validated model of the stage's table."""
        if self._params is None:
            raise InternalError(f"stage {self._stage.name} declares no table of parameters")
        return self._params

    def source(self, name: str) -> Any:  # noqa: ANN401 - the stage knows its own model
        """Return what the configuration says of one of the person's inputs; None where absent."""
        if name not in self._sources:
            raise InternalError(f"stage {self._stage.name} does not declare source {name}")
        return self._sources[name]

    def _get(self, name: str) -> Any:  # noqa: ANN401 - the accessor above names the type
        if name not in self._stage.needs and name not in self._present:
            raise InternalError(f"stage {self._stage.name} does not declare that it needs {name}")
        return self._load(name)


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of a run: what it needs, what it makes, and the plain function between.

    Names that the layer catalogue holds are rasters, layers or tables; any other name is a
    fact. A stage that makes a raster needs (or makes) the fact ``grid`` as well.

    Parameters
    ----------
    name : short word, unique among the stages; people write it after ``--until``.
    version : raised by hand where a change of code does not show in the code itself.
    title : what people read while it runs.
    needs, makes : names of values in and out; the function returns exactly `makes`.
    run : a plain function of the module that declares the stage; it reads nothing but what it
        is given, and writes to none of it.
    optional_needs : used where another stage of the run makes them.
    sources : names of the person's inputs that it reads.
    table : the one table of the configuration that it may read.
    """

    name: str
    version: int
    title: str
    needs: tuple[str, ...]
    makes: tuple[str, ...]
    run: Callable[[Given, Reporter], Mapping[str, Value]]
    optional_needs: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    table: str | None = None
