"""``brimline watch``: run a site whenever its inputs change, and take in tiles that arrive."""

from __future__ import annotations

import fnmatch
import glob
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.cli import console
from brimline.cli import run as run_command
from brimline.errors import BrimlineError

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.io.arrivals import Settling

_ASIDE: Final = "replaced"


@dataclass(frozen=True, slots=True)
class WatchOptions:
    """What the command line says.

    Parameters
    ----------
    folder : where tiles arrive; None watches the site's own inputs only.
    settle_s : how long a file must stay as it is before it is taken as complete [s].
    every_s : time between two looks [s].
    once : leave when everything that is there has settled and was run.
    """

    folder: Path | None
    out: Path | None
    settle_s: float
    every_s: float
    once: bool = False


def run(site: Path, options: WatchOptions) -> None:
    """Watch until interrupted, or until nothing moves any more."""
    watcher = Watcher(site, options)
    console.say(f"watching {options.folder or 'the inputs of ' + str(site)}; Ctrl-C ends it")
    while True:
        moving = watcher.look()
        if options.once and not moving:
            return
        time.sleep(options.every_s)


class Watcher:
    """What has been seen so far of a site's inputs and of its folder of arrivals."""

    def __init__(self, site: Path, options: WatchOptions) -> None:
        from brimline.io.arrivals import Settling

        self._site = site
        self._options = options
        self._arriving: Settling = Settling(options.settle_s)
        self._inputs: Settling = Settling(options.settle_s)
        self._refused: dict[Path, object] = {}
        self._ran_with: dict[Path, object] | None = None
        self._told = ""

    def look(self) -> bool:
        """Look once: take what has arrived, run if inputs changed; tell whether files move."""
        from brimline.config import load
        from brimline.inputs.sources import sources_of
        from brimline.io.arrivals import status_of

        try:
            loaded = load(self._site)
            moving = self._take_arrivals(loaded)
            files = {self._site: status_of(self._site)}
            for source in sources_of(loaded).values():
                files |= {file: status_of(file) for file in source.files}
            quiet = self._inputs.settled(files)
            if len(quiet) < sum(status is not None for status in files.values()):
                return True
            if files != self._ran_with:
                self._ran_with = dict(files)
                self._run()
        except BrimlineError as error:
            if self._options.once:
                raise
            if str(error) != self._told:  # told once, and tried again when something changes
                console.say_error(error, as_json=False)
            self._told = str(error)
            return False
        self._told = ""
        return moving

    def _run(self) -> None:
        run_command.run(
            self._site,
            run_command.RunOptions(out=self._options.out, if_changed=True, wait=True, brief=True),
            as_json=False,
        )

    def _take_arrivals(self, loaded: Loaded) -> bool:
        """Move complete tiles to where the site looks for them; tell whether others move."""
        from brimline.io.arrivals import status_of, take, tiles_in, why_unreadable

        if self._options.folder is None:
            return False
        tiles = tiles_in(self._options.folder)
        quiet = self._arriving.settled(tiles)
        for tile in quiet:
            if self._refused.get(tile) == status_of(tile):
                continue
            target = home_of(tile.name, loaded)
            fault = why_unreadable(tile)
            if not fault and target is None:
                fault = f"no entry of inputs.elevation in {self._site} takes a file of this name"
            if fault or target is None:
                self._refused[tile] = status_of(tile)
                console.say(f"{tile}: left where it is: {fault}")
                continue
            console.say(f"{tile}: taken to {take(tile, target, self._options.folder / _ASIDE)}")
        return len(quiet) < len(tiles)


def home_of(name: str, loaded: Loaded) -> Path | None:
    """Return the folder in which the site would find an elevation file of this name."""
    for said in loaded.settings.inputs.elevation:
        pattern = loaded.resolve(said)
        if fnmatch.fnmatch(name, pattern.name) and not glob.has_magic(str(pattern.parent)):
            return pattern.parent
    return None
