"""What people expect of any command: -h, -q, examples, one item by name, each warning once."""

from __future__ import annotations

import sys

import pytest

from brimline.cli import console
from brimline.cli.main import main
from brimline.errors import Problem, Severity

COMMANDS = ("new", "check", "run", "watch", "compare", "options", "apply", "survey", "layers")


@pytest.fixture
def call(monkeypatch, capsys):
    def called(*arguments: str):
        monkeypatch.setattr(sys, "argv", ["brimline", *arguments])
        code = 0
        try:
            main()
        except SystemExit as leave:
            code = int(leave.code or 0)
        return code, *capsys.readouterr()

    yield called
    console.be_quiet(quiet=False)
    console.begin()


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_shows_an_example(call, command):
    code, out, _ = call(command, "-h")
    assert code == 0
    assert f"brimline {command} " in out.split("Example")[1]


def test_no_summary_of_a_command_is_cut_off(call):
    code, out, _ = call("-h")
    assert code == 0
    assert "..." not in out.split("Commands:")[1]
    assert all(f"\n  {command}" in out for command in COMMANDS)
    assert "--install-completion" in out


def test_one_layer_or_flag_is_printed_by_its_name(call):
    code, out, _ = call("layers", "overflows")
    assert code == 0
    assert out.startswith("overflows  (LineString)")
    assert "elements" not in out.split("\n")[0]
    assert "a licensed engineer" in call("layers", "engineer")[1]
    code, _, err = call("layers", "overflow")
    assert code == 2
    assert "did you mean overflows" in err


def test_a_warning_is_said_once_and_quiet_commands_say_it_too(call, capsys):
    warning = Problem(Severity.WARNING, "holes", "fill them", "terrain.tif")
    notice = Problem(Severity.NOTICE, "cut", "", "terrain.tif")
    for _ in range(2):
        console.say_problem(warning)
    console.say_problem(notice)
    assert capsys.readouterr().err.count("holes") == 1
    console.begin()
    console.be_quiet(quiet=True)
    console.say("stage done")
    console.say_problem(notice)
    console.say_problem(warning)
    told = capsys.readouterr().err
    assert "holes" in told
    assert "cut" not in told
    assert "done" not in told
