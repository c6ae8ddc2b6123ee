"""Elevation files on other machines: fetched by HTTP ranges from hosts that a person names, kept.

Pieces are written as they come, so that what came before a server vanished is not asked for again.
A file that is whole is asked for once a run, by a single byte, to learn whether it changed.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import re
import shutil
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import PurePosixPath
from typing import IO, TYPE_CHECKING, Any, Final, TypeVar
from urllib.parse import SplitResult, unquote, urlsplit

from filelock import FileLock, Timeout

from brimline.errors import InputError, Problem, Severity, StoreError
from brimline.io.atomic import told as told_plainly
from brimline.io.atomic import write_text

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence
    from pathlib import Path

Answer = TypeVar("Answer")
_PIECE: Final = 4 << 20  # bytes asked for at a time
_SILENT_S: Final = 20.0  # without a byte, from which a server is taken as gone
_PIECE_S: Final = 300.0  # for a piece at most, however slowly bytes drip
_TRIES: Final = 3
_WAIT_S: Final = 0.5  # before a second try; doubled for a third
_AT_ONCE: Final = 4  # files
_HELD_S: Final = 600.0
_PORTS: Final = {"http": 80, "https": 443}
_HERE: Final = frozenset({"localhost", "127.0.0.1", "::1"})
_RANGE: Final = re.compile(r"bytes (\d+)-(\d+)/(\d+)")
_KEPT_NAME: Final = re.compile(r"[^\w.\-]")
_OK, _PART, _BEYOND = 200, 206, 416


@dataclass(frozen=True, slots=True)
class _Known:
    """What a server says of a file: its size, and what changes when the file does."""

    url: str
    size: int
    tag: str


@dataclass(frozen=True, slots=True)
class Fetched:
    """Remote files as they lie here.

    Parameters
    ----------
    paths : by address.
    notices : of files whose server could not be asked again.
    asked_bytes : that were fetched now.
    """

    paths: dict[str, Path]
    notices: tuple[Problem, ...]
    asked_bytes: int


class _Fault(Exception):  # noqa: N818 - never seen outside
    """What went wrong with an address, in words; `again` where a second try may help."""

    def __init__(self, text: str, mend: str, *, again: bool = False) -> None:
        super().__init__(text)
        self.text, self.mend, self.again = text, mend, again


def refuse_hosts(urls: Sequence[str], hosts: Collection[str]) -> None:
    """Refuse addresses on hosts that nobody named, before anything is asked.

    Parameters
    ----------
    hosts : names, with a port where it is not the usual one.

    Raises
    ------
    InputError
        With every address that is refused.
    """
    problems = []
    for url in urls:
        parts = urlsplit(url)
        host = _host(parts)
        if not host or parts.username or parts.password or set(url) & set("*[]{} "):
            fault = "is no plain address of a file", "write it out, without patterns and passwords."
        elif host not in {name.lower() for name in hosts}:
            fault = (
                f"lies on {host}, which inputs.hosts does not name; nothing was asked of it",
                f'if you trust it, write hosts = ["{host}"] under [inputs].',
            )
        else:
            continue
        problems.append(Problem(Severity.ERROR, *fault, url))
    if problems:
        raise InputError(problems)


def place_of(url: str, folder: Path) -> Path:
    """Return where a remote file is kept, under its own name."""
    parts = urlsplit(url)
    name = _KEPT_NAME.sub("_", PurePosixPath(unquote(parts.path)).name) or "file"
    host = _KEPT_NAME.sub("_", _host(parts))
    return folder / host / hashlib.sha256(url.encode()).hexdigest()[:12] / name


def is_kept(url: str, folder: Path) -> bool:
    """Tell whether a remote file lies here as a whole."""
    return place_of(url, folder).is_file()


def fetch(
    urls: Sequence[str],
    folder: Path,
    hosts: Collection[str],
    told: Callable[[str, int, int], None] = lambda *_: None,
) -> Fetched:
    """Fetch remote files as far as they are not here, several at a time.

    Parameters
    ----------
    folder : where they are kept.
    hosts : that may be asked, also where a server sends on to another.
    told : called with an address, how many of its bytes are here, and how many it has.

    Raises
    ------
    InputError
        With every file that could not be had; what came of it is kept for the next time.
    StoreError
        If files cannot be written here.
    """
    refuse_hosts(urls, hosts)
    allowed = frozenset(name.lower() for name in hosts)
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        coming = {
            url: pool.submit(_one, url, place_of(url, folder), allowed, told)
            for url in dict.fromkeys(urls)
        }
    paths, notices, problems, asked = {}, [], [], 0
    for url, future in coming.items():
        try:
            paths[url], notice, count = future.result()
        except _Fault as fault:
            problems.append(Problem(Severity.ERROR, fault.text, fault.mend, url))
            continue
        asked += count
        notices += notice
    if problems:
        raise InputError(problems)
    return Fetched(paths, tuple(notices), asked)


def _one(
    url: str, path: Path, hosts: frozenset[str], told: Callable[[str, int, int], None]
) -> tuple[Path, list[Problem], int]:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(path.parent / "lock", timeout=_HELD_S):
            return _held(url, path, hosts, told)
    except Timeout:
        raise StoreError(f"{path}: another run fetches it since {_HELD_S:.0f} s") from None
    except OSError as fault:
        raise told_plainly(fault, path) from fault


def _held(
    url: str, path: Path, hosts: frozenset[str], told: Callable[[str, int, int], None]
) -> tuple[Path, list[Problem], int]:
    """Bring one file up to date, while no other run does."""
    note, part = path.parent / "known.json", path.parent / "part"
    before = _read_note(note)
    try:
        known = _patiently(partial(_asked, url, hosts))
    except _Fault as fault:
        if not (fault.again and before and path.is_file()):
            raise
        text = f"its server cannot be asked ({fault.text}); the copy kept here was taken"
        return path, [Problem(Severity.WARNING, text, "run again when it answers.", url)], 0
    if before == known and path.is_file() and path.stat().st_size == known.size:
        return path, [], 0
    path.unlink(missing_ok=True)
    if before != known:
        part.unlink(missing_ok=True)
        write_text(note, json.dumps(asdict(known)))
    here = part.stat().st_size if part.exists() else 0
    _refuse_without_room(path, known.size - here)
    asked = short = 0
    with part.open("ab") as file:
        while here < known.size:
            count = min(_PIECE, known.size - here)
            piece = _patiently(partial(_piece, known, here, count, hosts))
            file.write(piece)
            here += len(piece)
            asked += len(piece)
            short = short + 1 if len(piece) < count else 0
            if short == _TRIES:
                raise _Fault(
                    f"ended after {here} of its {known.size} bytes, {_TRIES} times",
                    "run again: what came is kept, and the rest is asked for.",
                )
            told(url, here, known.size)
    part.replace(path)
    return path, [], asked


def _read_note(note: Path) -> _Known | None:
    try:
        return _Known(**json.loads(note.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None


def _refuse_without_room(path: Path, count: int) -> None:
    free = shutil.disk_usage(path.parent).free
    if count > free:
        raise StoreError(
            f"{path} needs {count / 1e9:.2g} GB of disk, of which {free / 1e9:.2g} GB are free;"
            " make room and run again"
        )


def _patiently(ask: Callable[[], Answer]) -> Answer:
    """Ask a few times where a server may only be busy."""
    for left in range(_TRIES - 1, -1, -1):
        try:
            return ask()
        except _Fault as fault:
            if not (fault.again and left):
                raise
        time.sleep(_WAIT_S * (_TRIES - left))
    raise AssertionError  # the last try returns or raises


def _asked(url: str, hosts: frozenset[str]) -> _Known:
    """Ask for the first byte: how large the file is, and what tells that it changed."""
    _, _, size, tag = _range(url, 0, 1, hosts)
    return _Known(url, size, tag)


def _piece(known: _Known, at: int, count: int, hosts: frozenset[str]) -> bytes:
    content, first, size, tag = _range(known.url, at, count, hosts)
    if (size, tag) != (known.size, known.tag):
        raise _Fault("changed while it was fetched", "run again.")
    if first != at or not content:
        raise _Fault(
            f"ended after {at} of its {size} bytes",
            "run again: what came is kept, and the rest is asked for.",
            again=True,
        )
    return content


def _range(url: str, at: int, count: int, hosts: frozenset[str]) -> tuple[bytes, int, int, str]:
    """Ask for some bytes of a file.

    Returns
    -------
    the bytes, where they begin, the size of the file, and the tag of its state.
    """
    asked = urllib.request.Request(  # noqa: S310 - the scheme was looked at
        url, headers={"Range": f"bytes={at}-{at + count - 1}", "Accept-Encoding": "identity"}
    )
    later = "run again when it answers: what came is kept."
    try:
        with _opener(url, hosts).open(asked, timeout=_SILENT_S) as answer:
            found = _RANGE.fullmatch(answer.headers.get("Content-Range", ""))
            if answer.status != _PART or found is None:
                raise _Fault(
                    "comes from a server that does not answer requests for ranges of bytes",
                    "download the file, and name the copy.",
                )
            tag = answer.headers.get("ETag") or answer.headers.get("Last-Modified") or ""
            return _read(answer, count), int(found[1]), int(found[3]), tag
    except urllib.error.HTTPError as fault:
        fault.close()
        busy = fault.code >= 500 or fault.code == 429
        if fault.code == _BEYOND:
            raise _Fault("is empty", "name another file.") from fault
        mend = later if busy else "check the address, and whether it needs a login."
        raise _Fault(f"is answered with {fault.code} {fault.reason}", mend, again=busy) from fault
    except (OSError, http.client.HTTPException) as fault:
        reason = getattr(fault, "reason", None) or fault
        raise _Fault(f"its server does not answer ({reason})", later, again=True) from fault


def _read(answer: IO[bytes], count: int) -> bytes:
    """Read what was asked for, in bounded time; less where the server ends before."""
    content, last_s = bytearray(), time.monotonic() + _PIECE_S
    while len(content) < count and time.monotonic() < last_s:
        try:
            more = answer.read(min(count - len(content), 1 << 16))
        except http.client.IncompleteRead as fault:
            content += fault.partial
            break
        if not more:
            break
        content += more
    return bytes(content)


class _SameHosts(urllib.request.HTTPRedirectHandler):
    """Follows a server that sends on only to hosts that were named."""

    def __init__(self, hosts: frozenset[str]) -> None:
        self._hosts = hosts

    def redirect_request(self, *asked: Any, **more: Any) -> urllib.request.Request | None:  # noqa: ANN401
        """Return the request to go on with; the last argument is where to."""
        url = str(more.get("newurl", asked[-1]))
        host = _host(urlsplit(url))
        if host not in self._hosts:
            asked[1].close()  # the answer
            raise _Fault(
                f"sends on to {host or url}, which inputs.hosts does not name; it was not asked",
                "name that host too if you trust it.",
            )
        return super().redirect_request(*asked, **more)


def _opener(url: str, hosts: frozenset[str]) -> urllib.request.OpenerDirector:
    direct = [urllib.request.ProxyHandler({})] if urlsplit(url).hostname in _HERE else []
    return urllib.request.build_opener(_SameHosts(hosts), *direct)


def _host(parts: SplitResult) -> str:
    """Return the host of an address, with its port where it is not the usual one."""
    try:
        port = parts.port
    except ValueError:
        return ""
    scheme, name = parts.scheme.lower(), parts.hostname or ""
    if scheme not in _PORTS or not name:
        return ""
    return name if port in (None, _PORTS[scheme]) else f"{name}:{port}"
