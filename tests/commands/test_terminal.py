"""The command line as a person meets it: narrow, without colour, not a terminal at all.

Each command runs in a process of its own with its output in a pipe and ``COLUMNS=60``: no line is
wider than sixty columns, nothing of colour or of a progress bar is left, no display is needed.
"""

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from click.testing import CliRunner

from wobble.cli import MODULES, main

ROOT = Path(__file__).parents[2]
LUNAR = ROOT / "tests" / "data" / "lunar_ranging" / "scenario.toml"
ESCAPE = "\x1b"
CALL = [sys.executable, "-c", "from wobble.cli import main; main(prog_name='wobble')"]


def environment(**more):
    left_out = ("DISPLAY", "MPLBACKEND", "COLUMNS", "NO_COLOR", "WAYLAND_DISPLAY")
    kept = {name: value for name, value in os.environ.items() if name not in left_out}
    return kept | {"COLUMNS": "60", "PYTHONPATH": str(ROOT)} | more


def wobble(*arguments, **more):
    return subprocess.run(
        [*CALL, *map(str, arguments)],
        capture_output=True,
        text=True,
        env=environment(**more),
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def scenario(short_text, tmp_path_factory):
    """Three weeks of the demonstration."""
    path = tmp_path_factory.mktemp("scenario") / "campaign.toml"
    path.write_text(short_text.replace("stop = 2031-07-01", "stop = 2031-05-22"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def results(scenario, tmp_path_factory):
    folder = tmp_path_factory.mktemp("terminal") / "r"
    done = wobble("run", scenario, "--out", folder)
    assert done.returncode == 0, done.stderr
    return folder, done


def test_a_whole_run_needs_no_display_and_leaves_clean_text(results):
    folder, done = results
    assert (folder / "report.html").stat().st_size > 100_000
    _assert_clean(done, longest_word=folder)


COMMANDS = {
    "budget": ["budget", "SCENARIO"],
    "plan": ["plan", "SCENARIO"],
    "check": ["check", "SCENARIO", "--quick"],
    "fit": ["fit", "SCENARIO", "RESULTS/measurements.ecsv"],
    "fit of real ranges": ["fit", LUNAR],
    "compare": ["compare", "RESULTS", "RESULTS"],
    "interior": [
        *("interior", "--rate", "-7608.3 +- 2.1 mas/yr", "--core-factor", "0.061 +- 0.006"),
        *("--core-period", "-242.3 +- 2.7 d", "--samples", "200"),
    ],
    "nutation": ["nutation", "mars"],
    "angles": ["angles", "mars", "--date", "2031-05-01"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_fits_sixty_columns_and_says_what_is_next(name, results, scenario):
    words = {"SCENARIO": str(scenario), "RESULTS": str(results[0])}
    arguments = [re.sub("SCENARIO|RESULTS", lambda m: words[m[0]], str(a)) for a in COMMANDS[name]]
    done = wobble(*arguments)
    assert done.returncode == 0, done.stderr
    _assert_clean(done, longest_word=results[0])


def _assert_clean(done, longest_word):
    assert ESCAPE not in done.stdout + done.stderr
    assert done.stderr == ""  # no progress bar, no warning
    assert "\r" not in done.stdout
    for line in done.stdout.splitlines():
        # A path is not broken, however long it is.
        assert len(line) <= 60 or max(map(len, line.split())) > 50, line
    assert re.search(r"^next: ", done.stdout, re.MULTILINE)


@pytest.mark.parametrize("command", ["", *sorted(MODULES)])
def test_help_fits_sixty_columns_and_has_an_example(command):
    arguments = [*([command] if command else []), "--help"]
    done = CliRunner().invoke(main, arguments, terminal_width=60)
    assert done.exit_code == 0
    assert "Example: wobble" in done.stdout
    # Examples are lines to be copied: they are not broken, and neither are their own lines.
    told = [line for line in done.stdout.splitlines() if "wobble " not in line and "--" not in line]
    assert [line for line in told if len(line) > 60] == []


def test_json_ends_with_its_brace(scenario):
    done = wobble("budget", scenario, "--json")
    assert json.loads(done.stdout)["contribution"][-1] == "total"
    assert "next:" not in done.stdout


def _in_a_terminal(*arguments, **more):
    """Output of a command whose standard output and error are a terminal."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 60, 0, 0))
    with subprocess.Popen(
        [*CALL, *map(str, arguments)], stdout=slave, stderr=slave, env=environment(**more)
    ) as process:
        os.close(slave)
        parts = []
        while True:
            try:
                part = os.read(master, 4096)
            except OSError:  # how a closed terminal ends on Linux
                break
            if not part:
                break
            parts.append(part)
        process.wait()
    os.close(master)
    return b"".join(parts).decode()


ALARM = (
    "from wobble.commands.output import alarm, say; import click; "
    "click.echo(alarm('A FACTOR OF 3 apart'))"
)


def test_an_alarm_has_colour_in_a_terminal_only_and_words_everywhere(monkeypatch):
    monkeypatch.setattr(sys.modules[__name__], "CALL", [sys.executable, "-c", ALARM])
    assert ESCAPE in _in_a_terminal()
    for text in (_in_a_terminal(NO_COLOR="1"), wobble().stdout):
        assert text.strip() == "A FACTOR OF 3 apart"


def test_a_progress_bar_is_shown_in_a_terminal(scenario):
    assert "%" in _in_a_terminal("plan", scenario)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (["plann", "x"], "perhaps 'plan'"),
        (["bugdet"], "perhaps 'budget'"),
        (["plan", "--tarjet", "x"], "--target"),
        (["interior", "--core-faktor", "1"], "--core-factor"),
    ],
)
def test_what_is_mistyped_is_answered_with_the_nearest_right_one(typed, meant):
    done = CliRunner().invoke(main, typed)
    assert done.exit_code == 2
    assert meant in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_a_script_of_the_shell(shell):
    done = CliRunner().invoke(main, ["completion", shell])
    assert done.exit_code == 0
    assert f"_WOBBLE_COMPLETE={shell}_complete" in done.stdout


def test_completion_completes():
    # The protocol of click's completion for bash.
    asked = {"COMP_WORDS": "wobble pla", "COMP_CWORD": "1", "_WOBBLE_COMPLETE": "bash_complete"}
    assert wobble(**asked).stdout.strip() == "plain,plan"
