"""What the machine refuses is told as a message with a mend, not as a trace of the code."""

import errno
import json
import os
import subprocess
import sys

import pytest

_COMMAND = """
import errno, signal, sys
# whoever began the tests may ignore interrupts, and a child inherits that
signal.signal(signal.SIGINT, signal.default_int_handler)
from brimline.cli import layers, main
def fail(*_, **__):
    raise {fault}
layers.run = fail
sys.argv = ["brimline", "layers", *sys.argv[1:]]
main.main()
"""


def _leave_with(fault: str, *options: str) -> subprocess.CompletedProcess[str]:
    code = _COMMAND.format(fault=fault)
    return subprocess.run(
        [sys.executable, "-c", code, *options], capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("MemoryError", "not enough memory"),
        ("RecursionError", "nested too deeply"),
        (f"OSError({errno.ENOSPC}, 'No space left on device', 'out.gpkg')", "make room"),
        (f"OSError({errno.ENAMETOOLONG}, 'File name too long', 'x' * 999)", "shorten the names"),
        (f"PermissionError({errno.EACCES}, 'Permission denied', 'runs')", "who may read"),
    ],
)
def test_what_the_machine_refuses_is_a_message(fault, told):
    done = _leave_with(fault)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert max(len(line) for line in done.stderr.splitlines()) < 200


def test_it_is_told_to_machines_too():
    done = _leave_with("MemoryError", "--json")
    assert json.loads(done.stdout)["ok"] is False


@pytest.mark.parametrize("fault", ["ValueError('odd')", f"OSError({errno.EINVAL}, 'Invalid')"])
def test_a_fault_of_ours_still_says_so(fault):
    done = _leave_with(fault)
    assert done.returncode == 1
    assert "fault of brimline's own" in done.stderr
    assert "Traceback" in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="needs a pipe that closes")
def test_a_reader_that_leaves_early_is_shown_no_trace():
    done = subprocess.run(
        f"{sys.executable} -m brimline layers | head -n 1",
        shell=True, executable="/bin/bash", capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


@pytest.mark.skipif(os.name != "posix", reason="asks a process to stop by a signal")
@pytest.mark.parametrize("signal", ["SIGTERM", "SIGINT"])
def test_a_stop_lost_in_a_callback_is_still_a_stop(signal):
    # an exception raised inside a C library's callback is dropped, and what called it fails later
    code = f"""
import contextlib, os, signal
with contextlib.suppress(KeyboardInterrupt):
    os.kill(os.getpid(), signal.{signal})
    __import__("time").sleep(5)
raise RuntimeError("no compiled object yet")
"""
    done = _leave_with(f"exec({code!r})")
    assert done.returncode == 3
    assert "interrupted" in done.stderr
    assert "Traceback" not in done.stderr
