"""The command line as a person meets it: help, mistakes, exit status, and no traceback ever."""

import argparse
import re
import shlex
import subprocess
import sys
from importlib.util import find_spec

import pytest

from propstick.app import cli
from propstick.errors import ConfigError, ProbeError, StoreError

HEAVY = ("numpy", "pydantic", "sqlalchemy", "fastapi", "apprise", "paho", "w1thermsensor", "tomlkit")


@pytest.fixture
def command(monkeypatch):
    """Puts a function in the place of a command."""

    def put(name, function):
        module = type(sys)(f"propstick.app.commands.{cli.COMMANDS[name][0]}")
        module.configure = lambda parser: None
        module.run = function
        monkeypatch.setitem(sys.modules, module.__name__, module)

    return put


def raising(error):
    def run(args):
        raise error

    return run


def test_help_opens_with_one_sentence_and_lines_to_copy(capsys):
    assert cli.main(["--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Propstick watches cold frames")
    assert lines[0].endswith(".")
    assert lines[2].split()[:2] == ["propstick", "demo"]


def test_help_lists_every_command(capsys):
    cli.main(["--help"])
    out = capsys.readouterr().out
    assert all(f"\n    {name}" in out for name in cli.COMMANDS)


def test_help_imports_nothing_heavy():
    """`--help` on a small Pi must not wait for numpy."""
    code = (
        "import sys; from propstick.app.cli import main; main(['--help']); "
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("name", [n for n, (module, _) in cli.COMMANDS.items()])
def test_every_command_has_a_help_of_its_own(name, capsys):
    module = f"propstick.app.commands.{cli.COMMANDS[name][0]}"
    if find_spec(module) is None:
        pytest.skip(f"{module} is not there yet")
    assert cli.main([name, "--help"]) == 0
    out = capsys.readouterr().out
    assert f"propstick {name}" in out
    assert "--garden" in out


def parsers_of(parser):
    """Every command's parser, and those of its own commands."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield inner
                yield from parsers_of(inner)


def test_every_help_has_an_example_and_every_example_is_understood():
    """A line to copy that the command itself would refuse is worse than none. What stands behind two
    spaces, a pipe or a redirection is for the reader or the shell."""
    whole = cli.whole_parser()
    for parser in parsers_of(whole):
        lines = [line.strip() for line in (parser.epilog or "").splitlines()]
        examples = [line for line in lines if f"{line} ".startswith(f"{parser.prog} ")]
        assert examples, f"{parser.prog} --help has no example"
        for line in examples:
            words = shlex.split(re.split(r"  |[|>]", line)[0])[1:]
            assert whole.parse_args(cli.garden_first(words)).command == words[0]


def test_a_misspelt_command_is_told_the_nearest(capsys):
    assert cli.main(["chekc"]) == 2
    err = capsys.readouterr().err
    assert "got 'chekc'" in err
    assert "the nearest is check" in err


def test_no_command_is_a_usage_error(capsys):
    assert cli.main([]) == 2
    assert "COMMAND" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "error", "status"),
    [
        ("check", ConfigError("a", hint="b"), 2),
        ("check", StoreError("a", hint="b"), 1),
        ("check", ProbeError("a", hint="b"), 1),
        ("watch", StoreError("a", hint="b"), 3),
        ("watch", ConfigError("a", hint="b"), 2),
    ],
)
def test_our_errors_become_two_lines_and_a_status(command, capsys, name, error, status):
    command(name, raising(error))
    assert cli.main([name]) == status
    assert capsys.readouterr().err == "propstick: a\nTry: b\n"


def test_control_c_ends_as_a_shell_expects(command):
    command("check", raising(KeyboardInterrupt()))
    assert cli.main(["check"]) == 130


def test_a_reader_that_goes_away_is_no_fault(tmp_path):
    """`propstick ... | head -1` says nothing on standard error."""
    code = (
        "import sys, types; m = types.ModuleType('m'); m.configure = lambda p: None\n"
        "def run(args):\n    [print('x' * 100) for _ in range(10000)]\n    return 0\n"
        "m.run = run; sys.modules['propstick.app.commands.check'] = m\n"
        "from propstick.app.cli import main; sys.exit(main(['check']))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as run:
        run.stdout.readline()
        run.stdout.close()
        assert run.stderr.read() == b""
    assert run.returncode == 0


@pytest.mark.parametrize("words", [["--garden", "x.toml", "check"], ["check", "--garden", "x.toml"]])
def test_the_garden_file_may_be_named_before_or_after_the_command(command, words):
    seen = []
    command("check", lambda args: seen.append(args.garden) or 0)
    assert cli.main(words) == 0
    assert seen == ["x.toml"]


def test_a_missing_garden_file_is_refused_without_a_traceback(tmp_path, capsys):
    assert cli.main(["check", "--garden", str(tmp_path / "none.toml")]) == 2
    err = capsys.readouterr().err
    assert err.startswith("propstick: ")
    assert "Traceback" not in err


def test_the_version_is_that_of_the_package(capsys):
    from importlib.metadata import version

    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == f"propstick {version('propstick')}\n"
