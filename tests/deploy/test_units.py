"""The service units and the device rule, held against systemd itself and against our own code."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from propstick.app import cli
from propstick.app.garden_file.models import WatchTable

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
UNITS = ("propstick-watch.service", "propstick-serve.service")


@pytest.fixture(params=UNITS)
def unit(request):
    """The unit's keys by section; a key given twice keeps both values."""
    found = {}
    section = {}
    for line in (DEPLOY / request.param).read_text().splitlines():
        if line.startswith("["):
            section = found.setdefault(line.strip("[]"), {})
        elif "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            section.setdefault(key, []).append(value)
    return request.param, found


def test_systemd_takes_every_line(tmp_path):
    """`systemd-analyze verify` with the program in its place: it names unknown keys and values."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed (Debian: systemd)")
    program = tmp_path / "propstick"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    for name in UNITS:
        text = (DEPLOY / name).read_text().replace("/opt/propstick/current/bin/propstick", str(program))
        (tmp_path / name).write_text(text)
    found = subprocess.run(
        ["systemd-analyze", "verify", *UNITS], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (found.returncode, [line for line in found.stderr.splitlines() if "propstick" in line]) == (0, [])


@pytest.mark.parametrize(
    ("name", "at_most"), [("propstick-watch.service", 1.8), ("propstick-serve.service", 1.4)]
)
def test_exposure_stays_low(name, at_most):
    """systemd's own figure, 0 (closed) to 10 (open)."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed (Debian: systemd)")
    found = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", "--no-pager", str(DEPLOY / name)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    match = re.search(r"Overall exposure level for \S+: ([\d.]+)", found.stdout)
    if match is None:
        pytest.skip("this systemd does not analyse unit files offline")
    assert float(match[1]) <= at_most


def test_the_command_line_is_one_of_ours(unit, capsys):
    """The words of ExecStart are taken by the program: a missing file is the only fault."""
    _, keys = unit
    (line,) = keys["Service"]["ExecStart"]
    program, *words = line.split()
    assert program == "/opt/propstick/current/bin/propstick"
    words[words.index("/etc/propstick/garden.toml")] = "/nowhere/garden.toml"
    assert cli.main(words) == cli.REFUSED
    assert "/nowhere/garden.toml" in capsys.readouterr().err


def test_a_slow_watch_is_not_taken_for_a_dead_one(unit):
    """The longest step the garden file allows, twice, fits into the watchdog's patience."""
    name, keys = unit
    (patience,) = keys["Service"]["WatchdogSec"]
    limits = [m for m in WatchTable.model_fields["step_s"].metadata if hasattr(m, "le")]
    longest_step_s = limits[0].le
    if name == "propstick-watch.service":
        assert patience == "10min"
        assert 2 * longest_step_s <= 10 * 60
    assert keys["Service"]["Type"] == ["notify"]


def test_it_writes_its_state_folder_only(unit):
    _, keys = unit
    service = keys["Service"]
    assert service["ProtectSystem"] == ["strict"]
    assert service["StateDirectory"] == ["propstick"]
    assert not {"ReadWritePaths", "ReadWriteDirectories", "BindPaths"} & service.keys()
    # Tried in the namespace of the service: without this it could write there.
    assert service["InaccessiblePaths"] == ["-/dev/shm"]
    assert service["PrivateTmp"] == ["yes"]
    assert service["User"] == ["propstick"]
    assert service["CapabilityBoundingSet"] == [""]


def test_the_rule_opens_the_trigger_and_nothing_else():
    """udev replaces %p by the probe's path under /sys, and $$ by $; the rest is a shell's."""
    (rule,) = [
        line
        for line in (DEPLOY / "60-propstick-w1.rules").read_text().splitlines()
        if not line.startswith("#")
    ]
    command = re.search(r'RUN\+="(.*)"$', rule)[1]
    assert command.startswith("/bin/sh -c '")
    assert command.endswith("'")
    assert re.findall(r"/sys\S+", command) == ["/sys%p/../therm_bulk_read;"]
    script = command.removeprefix("/bin/sh -c '").removesuffix("'").replace("$$", "$")
    subprocess.run(["sh", "-n", "-c", script], check=True)


def test_the_rule_does_what_it_says(tmp_path):
    """Its shell line, run on a folder like the kernel's with stand-ins for the group."""
    rule = (DEPLOY / "60-propstick-w1.rules").read_text()
    script = re.search(r"RUN\+=\"/bin/sh -c '(.*)'\"", rule)[1].replace("$$", "$")
    master = tmp_path / "devices/w1_bus_master1"
    (master / "28-3c01b556e1a2").mkdir(parents=True)
    trigger = master / "therm_bulk_read"
    trigger.touch(mode=0o644)
    script = script.replace("/sys%p", str(master / "28-3c01b556e1a2")).replace("chgrp propstick", ":")
    subprocess.run(["sh", "-c", script], check=True)
    assert trigger.stat().st_mode & 0o777 == 0o664


def test_nginx_takes_the_example(tmp_path):
    """`nginx -t` on the example as it is, but for the certificate's place."""
    if shutil.which("nginx") is None or shutil.which("openssl") is None:
        pytest.skip("nginx or openssl is not installed (Debian: nginx, openssl)")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
         "-keyout", "server.key", "-out", "server.crt", "-subj", "/CN=garden.local"],
        cwd=tmp_path, check=True, capture_output=True,
    )  # fmt: skip
    example = (DEPLOY / "reverse-proxy.conf").read_text().replace("/etc/nginx/propstick", str(tmp_path))
    (tmp_path / "nginx.conf").write_text(
        f"pid {tmp_path}/pid;\nerror_log {tmp_path}/log;\nevents {{}}\n"
        f"http {{\naccess_log off;\n{example}\n}}\n"
    )
    found = subprocess.run(
        ["nginx", "-t", "-c", str(tmp_path / "nginx.conf")], capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stderr
