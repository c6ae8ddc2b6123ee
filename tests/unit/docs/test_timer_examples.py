"""The timer examples are what their programs take, and call options that exist."""

import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import typer

from brimline.cli.main import app

TIMERS = Path(__file__).parents[3] / "docs" / "timers"
# minute, hour, day of month, month, day of week: POSIX crontab, "INPUT FILES"
FIELD = r"(\*|\d+(-\d+)?)(/\d+)?(,(\*|\d+(-\d+)?)(/\d+)?)*"
ENTRY = re.compile(rf"({FIELD}\s+){{5}}\S.*")
SETTING = re.compile(r"[A-Z_]+=\S+")
SCHEMA = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"


def calls():
    """Every call of brimline in the examples, as words after the command."""
    found = []
    for name in ("brimline-site.service", "brimline-watch.service"):
        line = re.search(r"ExecStart=(.*)", (TIMERS / name).read_text())[1]
        found.append(line.split(" brimline ")[1])
    entry = (TIMERS / "crontab.txt").read_text().splitlines()[-1]
    found.append(entry.split("bin/brimline ")[1].split(" 2>>")[0])
    task = ET.parse(TIMERS / "brimline-task.xml")
    found.append(task.find(f".//{SCHEMA}Arguments").text)
    return [line.split() for line in found]


@pytest.mark.parametrize("words", calls(), ids=" ".join)
def test_the_options_exist(words):
    command = typer.main.get_command(app).commands[words[0]]
    known = {name for param in command.params for name in param.opts}
    assert {word for word in words if word.startswith("--")} <= known


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd is not on this machine")
@pytest.mark.parametrize(
    "name", ["brimline-site.service", "brimline-site.timer", "brimline-watch.service"]
)
def test_systemd_takes_the_units(name, tmp_path):
    for unit in TIMERS.glob("brimline-*.[st]*"):
        shutil.copy(unit, tmp_path)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", str(tmp_path / name)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, [line for line in done.stderr.splitlines() if name in line]) == (0, [])


def test_crontab_lines_are_comments_settings_or_entries():
    lines = (TIMERS / "crontab.txt").read_text().splitlines()
    kinds = [
        "#" if line.startswith("#") else "=" if SETTING.fullmatch(line) else "" for line in lines
    ]
    entries = [line for line, kind in zip(lines, kinds, strict=True) if not kind]
    assert len(entries) == 1
    assert ENTRY.fullmatch(entries[0])
    assert "%" not in entries[0]  # cron takes it for a line end


def test_the_windows_task_is_well_formed_and_in_its_schema():
    root = ET.parse(TIMERS / "brimline-task.xml").getroot()
    assert root.tag == f"{SCHEMA}Task"
    assert [child.tag.removeprefix(SCHEMA) for child in root] == [
        "RegistrationInfo", "Triggers", "Settings", "Actions",
    ]  # fmt: skip
    assert root.find(f".//{SCHEMA}Command").text.endswith("brimline.exe")
