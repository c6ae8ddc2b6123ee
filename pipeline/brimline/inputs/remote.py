"""Elevation that the site's file names by address, brought here before anything reads it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.inputs.sources import store_of
from brimline.io.paths import is_remote

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.errors import Problem

FOLDER: Final = "remote"  # in the store
_KEYS: Final = ("elevation", "coarser")


def remote_names(loaded: Loaded) -> tuple[str, ...]:
    """Return the addresses that the site's file names."""
    inputs = loaded.settings.inputs
    return tuple(n for key in _KEYS for n in getattr(inputs, key) or () if is_remote(n))


def with_remote(
    loaded: Loaded, told: Callable[[str, int, int], None]
) -> tuple[Loaded, tuple[Problem, ...]]:
    """Fetch what is remote and not here, and return the site with the copies in its place.

    Raises
    ------
    InputError
        If a host is not named by `inputs.hosts`, or a file cannot be had.
    """
    from brimline.io.remote import fetch

    urls, folder = remote_names(loaded), _folder(loaded)
    found = fetch(urls, folder, loaded.settings.inputs.hosts, told)
    return _with(loaded, folder), found.notices


def kept_remote(loaded: Loaded) -> tuple[Loaded, int]:
    """Return the site with copies of remote files that are here, asking nobody.

    Returns
    -------
    the site; and how many files are still to be fetched.

    Raises
    ------
    InputError
        If a host is not named by `inputs.hosts`.
    """
    urls, folder = remote_names(loaded), _folder(loaded)
    if not urls:
        return loaded, 0
    from brimline.io.remote import is_kept, refuse_hosts  # what talks to servers

    refuse_hosts(urls, loaded.settings.inputs.hosts)
    return _with(loaded, folder), sum(not is_kept(url, folder) for url in urls)


def _folder(loaded: Loaded) -> Path:
    return (store_of(loaded) / FOLDER).resolve()


def _with(loaded: Loaded, folder: Path) -> Loaded:
    from brimline.io.remote import place_of

    inputs = loaded.settings.inputs
    changed = {
        key: tuple(str(place_of(n, folder)) if is_remote(n) else n for n in names)
        for key in _KEYS
        if (names := getattr(inputs, key))
    }
    inputs = inputs.model_copy(update=changed)
    return replace(loaded, settings=loaded.settings.model_copy(update={"inputs": inputs}))
