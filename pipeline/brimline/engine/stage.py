"""A stage as a frozen declaration, and the little that its function is given."""

from __future__ import annotations

import copy
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeAlias, TypeVar

import numpy as np

from brimline.errors import InternalError
from brimline.grid import Grid
from brimline.grid.tiles import Window

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping
    from pathlib import Path

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.engine.known import Later
    from brimline.errors import Problem

Facts: TypeAlias = dict[str, Any]  # plain values that JSON can hold
# an array on the run's grid, a vector layer, a table, facts, or a frozen dataclass
Value: TypeAlias = object
Made: TypeAlias = "Mapping[str, Value]"  # what the function of a stage returns
Kind = TypeVar("Kind")

GRID: Final = "grid"  # the fact that says where the run's cells are
NEAR: Final = "near"  # the fact that says which block of them lies near the site


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
    paths : what `files` were found by, where more may come: folders and patterns.
    """

    value: Any
    files: tuple[Path, ...] = ()
    said: Any = None
    paths: tuple[Path, ...] = ()


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

    def tell(self, problems: Iterable[Problem]) -> None:
        """Tell several notices and warnings.

        Raises
        ------
        InputError
            With all the errors among them.
        """
        ...


class Given:
    """What a stage declared, and nothing else.

    Parameters
    ----------
    stage : the declaration.
    load : returns a value of the run by name.
    present : names of the optional needs that some stage of this run makes.
    tables : validated models of the stage's tables, by name.
    sources : what the configuration says of each declared source; None where it says nothing.
    """

    def __init__(
        self,
        stage: Stage,
        load: Callable[[str], Value],
        *,
        present: Collection[str] = (),
        tables: Mapping[str, Params] | None = None,
        sources: Mapping[str, Any] | None = None,
    ) -> None:
        self._stage = stage
        self._load = load
        self._present = frozenset(present)
        self._tables = dict(tables or {})
        self._sources = {name: (sources or {}).get(name) for name in stage.sources}

    def raster(self, name: str, *, around: int = 0) -> NDArray[Any]:
        """Return a raster of the run on `grid`, (rows, cols), read-only.

        Parameters
        ----------
        around : cells more on each side of the ground near the site, as far as the run's grid goes.
        """
        array: NDArray[Any] = self._get(name)
        view = array.view()
        if self._stage.near and array.shape[-2:] == self.whole_grid.shape:
            view = np.ascontiguousarray(view[..., *self.block(around).slices])
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
        """Where the stage's rasters are: the run's grid, or its block near the site."""
        return self.whole_grid.window(*self.block()) if self._stage.near else self.whole_grid

    @property
    def whole_grid(self) -> Grid:
        """The run's grid."""
        return Grid(**self._get(GRID))

    def block(self, around: int = 0) -> Window:
        """Return the cells of the run's grid near the site, with so many more on each side."""
        row, col, rows, cols = Window(**self._get(NEAR))
        wider = Window(row - around, col - around, rows + 2 * around, cols + 2 * around)
        return wider.common(Window(0, 0, *self.whole_grid.shape))

    def value(self, name: str, kind: type[Kind]) -> Kind:
        """Return a typed value, the very one that other stages are given: it is frozen.

        Parameters
        ----------
        kind : its class, as the stage that makes it declares.
        """
        return self._of_kind(self._get(name), kind, name)

    def params(self, table: str, kind: type[Kind]) -> Kind:
        """Return the validated model of one of the stage's tables.

        Parameters
        ----------
        kind : class of the model.
        """
        if table not in self._stage.tables or table not in self._tables:
            raise InternalError(f"stage {self._stage.name} declares no table {table}")
        return self._of_kind(self._tables[table], kind, table)

    def source(self, name: str, kind: type[Kind]) -> Kind | None:
        """Return what the configuration says of one of the person's inputs; None where absent.

        Parameters
        ----------
        kind : class of the entry.
        """
        if name not in self._sources:
            raise InternalError(f"stage {self._stage.name} does not declare source {name}")
        said = self._sources[name]
        return None if said is None else self._of_kind(said, kind, name)

    def _of_kind(self, value: object, kind: type[Kind], name: str) -> Kind:
        if not isinstance(value, kind):
            raise InternalError(
                f"stage {self._stage.name} takes {name} for a {kind.__name__}, "
                f"it is a {type(value).__name__}"
            )
        return value

    def _get(self, name: str) -> Any:  # noqa: ANN401 - the accessor above names the type
        if name not in self._stage.needs and name not in self._present:
            raise InternalError(f"stage {self._stage.name} does not declare that it needs {name}")
        return self._load(name)


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of a run: what it needs, what it makes, and the plain function between.

    Names that the layer catalogue holds are rasters, layers or tables; those in `typed` are frozen
    dataclasses; any other name is a fact. A stage that makes a raster needs (or makes) the fact
    ``grid`` as well.

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
    tables : the tables of the configuration that it may read.
    typed : classes of the typed values among what it makes, by name.
    near : it works on the ground near the site alone: its grid and rasters are cut to that. It
        needs the fact ``near``.
    """

    name: str
    version: int
    title: str
    needs: tuple[str, ...]
    makes: tuple[str, ...]
    run: Callable[[Given, Reporter], Made]
    optional_needs: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()
    typed: Mapping[str, type | Later] = field(default_factory=dict, hash=False)
    near: bool = False
