"""A run that ends at any of its writes leaves the old result whole, and the next one goes on.

Each write, rename and removal of a run is a moment: the interpreter tells of it before it happens.
A run is repeated in a process of its own for each, which is killed there, or told that the disk is
full. What GDAL writes by itself is cut short by the system in `test_publishing_under_stress.py`.
"""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="POSIX forks and signals"),
]
KILLS = 200

DRIVER = r'''
import errno, json, os, re, signal, sqlite3, sys
from pathlib import Path

import brimline.publish, brimline.stages.registry
from brimline.cli.main import main

site, how, most = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
folder, results = site.parent, site.parent / "runs" / "site"
EVENTS = {"full": ("os.rename", "os.mkdir"),
          "kill": ("os.rename", "os.mkdir", "os.remove", "os.rmdir")}
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT


def watched(at):
    """Count moments inside the folder; do at the given one what is asked."""
    count = 0

    def hook(event, args):
        nonlocal count
        if event == "open":
            path, mode, flags = args
            if not flags & WRITES or not isinstance(path, str | bytes):
                return
        elif event in EVENTS[how]:
            path = args[0]
        else:
            return
        path = os.fsdecode(path)
        if not path.startswith(str(folder)) and not path.startswith("/proc/self/fd"):
            return
        if path.endswith((".lock", "journal.jsonl")):
            return
        count += 1
        if count == at:
            if how == "kill":
                os.kill(os.getpid(), signal.SIGKILL)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), path)

    sys.addaudithook(hook)
    return lambda: count


def run(interval, at):
    """Run in a process of its own; return its exit status, what it said and its moments."""
    text = re.sub(r"interval_m = [\d.]+", f"interval_m = {interval}", site.read_text())
    site.write_text(text)
    said = folder.parent / "said"
    pid = os.fork()
    if pid == 0:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(300)  # a run that hangs ends, and is told by its status
        handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(handle, 1), os.dup2(handle, 2)
        counted = watched(at)
        sys.argv = ["brimline", "run", str(site), "--until", "contours", "--jobs", "1"]
        code = 0
        try:
            main()
        except SystemExit as leave:
            code = int(leave.code or 0)
        sys.stdout.flush()
        os.write(handle, f"\nmoments {counted()}".encode())
        os._exit(code)
    status = os.waitpid(pid, 0)[1]
    text = said.read_text()
    found = re.search(r"moments (\d+)", text)
    return os.waitstatus_to_exitcode(status), text, int(found[1]) if found else None


def whole():
    """Return the interval of the run folder, which every part must tell; -1 where they differ."""
    told = json.loads((results / "run.json").read_text())["parameters"]["contours"]["interval_m"]
    with sqlite3.connect(results / "site.gpkg") as base:
        levels = sorted({row[0] for row in base.execute("SELECT level_m FROM contours")})
    even = len(levels) > 2 and all(
        abs(high - low - told) < 1e-6 for low, high in zip(levels, levels[1:])
    )
    halves = [path for path in (folder / "runs").rglob("*.part-*")]
    return told if even and not (halves and how == "full") else -1


code, text, moments = run(1.0, 0)
assert code == 0, text
code, text, moments = run(1.5, 0)
print(json.dumps({"moments": moments}))
step = max(1, -(-moments // most)) if how == "full" else 1
every = list(range(1, moments + 1, step))
while how == "kill" and len(every) < most:
    every += every[: most - len(every)]
for turn, at in enumerate(every[:most]):
    old, new = whole(), round(1.01 + 0.01 * turn, 2)
    code, text, _ = run(new, at)
    now = whole()
    print(json.dumps({"at": at, "old": old, "new": new, "now": now, "code": code, "said": text}))
    sys.stdout.flush()
code, text, _ = run(4.0, 0)
print(json.dumps({"last": whole(), "code": code, "said": text}))
'''


def _moments(site, how, most):
    site.tables = "[contours]\ninterval_m = 1.0\n[keep]\nruns = 0\n"
    site.dem = site.dem[:60, :60]
    site.size = 60
    path = site.write()
    done = subprocess.run(
        [sys.executable, "-c", DRIVER, str(path), how, str(most)],
        capture_output=True, text=True, check=False, timeout=3600,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert (lines[-1]["code"], lines[-1]["last"]) == (0, 4.0), lines[-1]
    return lines[0]["moments"], lines[1:-1]


def test_killed_at_two_hundred_moments_the_result_is_old_or_new(site):
    moments, turns = _moments(site, "kill", KILLS)
    assert moments > 30
    assert len(turns) == KILLS
    assert all(turn["code"] in (-9, 0) for turn in turns)
    assert sum(turn["code"] == -9 for turn in turns) > 0.8 * KILLS
    assert [turn for turn in turns if turn["now"] not in (turn["old"], turn["new"])] == []


def test_a_disk_that_is_full_at_any_write_is_told_and_costs_nothing(site):
    moments, turns = _moments(site, "full", 150)
    assert moments > 30
    failed = [turn for turn in turns if turn["code"] != 0]
    assert len(failed) > 0.7 * len(turns)  # measured: 10 of 12; the others are of what may be lost
    for turn in turns:
        assert turn["now"] == (turn["new"] if turn["code"] == 0 else turn["old"]), turn
    for turn in failed:
        assert turn["code"] == 2, turn
        assert "full" in turn["said"] or "room" in turn["said"], turn
        assert "Traceback" not in turn["said"], turn
