"""Drive damaged bytes into every reader for a stated time, guided by what code they reach.

The readers, their sound files and what counts as a find are those of
`tests/properties/test_readers_hold.py`. Needs atheris (Apache-2.0): `make fuzz`.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import io
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

HOLDS = Path(__file__).parents[1] / "properties" / "test_readers_hold.py"
PACKAGE = Path(__file__).parents[2] / "pipeline" / "brimline"
OUT = Path("build") / "fuzz"
TOKENS = (
    "nan", "inf", "1e999", "-1", '"', ";", ",", "\n", "\r\n", "#", "=1+1", "[", "]", "{", "}",
    "true", "GPKG", "EPSG:4326", "99999999999999999999", "null", "NaN",
)  # fmt: skip


def readers(*, watched: bool) -> ModuleType:
    """Return the module that holds the readers; `watched` tells the fuzzer what code they reach."""
    spec = importlib.util.spec_from_file_location("holds", HOLDS)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    if not watched:
        spec.loader.exec_module(module)
        return module
    import atheris

    compiled = [".".join(["brimline", *path.relative_to(PACKAGE).with_suffix("").parts])
                for path in PACKAGE.rglob("_kernels.py")]  # fmt: skip
    with atheris.instrument_imports(include=["brimline.io", "brimline.config"], exclude=compiled):
        spec.loader.exec_module(module)
    return module


def one(name: str, seconds: int) -> None:
    """Fuzz one reader in this process, which libFuzzer ends."""
    import atheris

    from brimline.errors import InputError

    warnings.simplefilter("ignore")
    module, folder = readers(watched=True), OUT / name
    made, read = module.READERS[name]
    work = Path(tempfile.mkdtemp())
    (corpus := work / "corpus").mkdir()
    sound = corpus / name
    made(sound) if callable(made) else sound.write_bytes(made)
    tokens = work / "tokens"
    tokens.write_text("".join('"' + "".join(f"\\x{b:02x}" for b in t.encode()) + '"\n'
                              for t in TOKENS))  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    counts, found, path = {"tried": 0, "read": 0, "refused": 0, "finds": 0}, set(), work / name
    told_s = 0.0

    def target(raw: bytes) -> None:
        nonlocal told_s
        path.write_bytes(raw)
        counts["tried"] += 1
        try:
            with contextlib.redirect_stderr(io.StringIO()):
                read(path)
            counts["read"] += 1
        except InputError as error:
            counts["refused"] += 1
            if strange := module.FOREIGN.search(str(error)):
                keep(raw, f"foreign word {strange[0]}", str(error))
        except Exception as error:  # noqa: BLE001 - each is a find
            text = traceback.format_exc()
            place = re.findall(r'brimline/(\S+)", line (\d+)', text)[-1:]
            keep(raw, f"{type(error).__name__} {place}", text)
        if time.monotonic() - told_s > 1:
            told_s = time.monotonic()
            (folder / "counts.json").write_text(json.dumps(counts))

    def keep(raw: bytes, what: str, text: str) -> None:
        counts["finds"] += 1
        if what not in found:
            found.add(what)
            (folder / f"find{len(found)}").write_bytes(raw)
            (folder / f"find{len(found)}.txt").write_text(f"{what}\n{text}")

    atheris.Setup(
        [sys.argv[0], str(corpus), f"-max_total_time={seconds}", "-max_len=70000", "-timeout=60",
         f"-dict={tokens}", "-rss_limit_mb=6000", f"-artifact_prefix={folder}/ended-",
         "-len_control=0"],
        target,
    )  # fmt: skip
    atheris.Fuzz()


def main() -> int:
    """Fuzz each reader in a process of its own; return 1 where anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seconds", type=int, help="time for each reader")
    parser.add_argument("names", nargs="*", help="readers; default: all")
    parser.add_argument("--one", action="store_true", help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.one:
        one(said.names[0], said.seconds)
    names, faults = said.names or list(readers(watched=False).READERS), 0
    for name in names:
        done = subprocess.run(
            [sys.executable, __file__, "--one", str(said.seconds), name],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, timeout=said.seconds + 300,
            check=False, env=os.environ | {"PYTHONWARNINGS": "ignore"},
        )  # fmt: skip
        reached = re.findall(rb"cov: (\d+) ft: (\d+)", done.stderr)
        counts = json.loads((OUT / name / "counts.json").read_text())
        told = ", ".join(f"{count} {what}" for what, count in counts.items())
        edges = (
            f"{int(reached[0][0])} edges at first, {int(reached[-1][0])} at the end"
            if reached
            else ""
        )
        print(
            f"{name}: {said.seconds} s, {told}; {edges}; ended with {done.returncode}", flush=True
        )
        if done.returncode:
            print(done.stderr[-2000:].decode("utf-8", "replace"))
        faults += bool(counts["finds"] or done.returncode)
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
