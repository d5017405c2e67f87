"""systemd itself, as the first process of namespaces of its own (unshare(1)): nothing outside is touched.

Only root can have such namespaces. What it runs is what `headrace unit` prints, and a drop-in that lets the
units see this copy of the program, and makes them start again at once.
"""

import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.gateway.commands.processes import PATIENCE, ROOT, headrace

SYSTEMD = Path("/lib/systemd/systemd")
CREDENTIAL, SECRET = "club-key", "a-secret-of-the-tests"

# Where a folder above the program is for its owner only, the program is shown at the same place without it.
_SCRIPT = """
set -e
mount -t tmpfs -o mode=755 none /run
mkdir -p /run/systemd/system /run/seen
number=0
for path in {seen}; do
    number=$((number + 1)); mkdir "/run/seen/$number"; mount --bind "$path" "/run/seen/$number"
done
for top in {closed}; do mount -t tmpfs -o mode=755 none "$top"; done
number=0
for path in {seen}; do
    number=$((number + 1)); mkdir -p "$path"; mount --bind "/run/seen/$number" "$path"
done
mount -t tmpfs -o mode=755 none /var/lib
mkdir -m 700 /run/credstore
printf {secret} > /run/credstore/{credential}
umount -l /sys/fs/cgroup
mount -t cgroup2 none /sys/fs/cgroup
own=/sys/fs/cgroup/trial-$$
mkdir "$own"
echo $$ > "$own/cgroup.procs"
export container=trial SYSTEMD_UNIT_PATH={units}
unshare --pid --fork --kill-child --mount-proc --cgroup --uts --ipc bash -c '
    umount -l /sys/fs/cgroup; mount -t cgroup2 none /sys/fs/cgroup
    mount --make-rshared /
    exec {systemd} --system --unit=trial.target --log-target=console --log-level=notice' </dev/null &
trap 'kill -9 $!' TERM
wait $! || wait $! || true
echo $$ > "$(dirname "$own")/cgroup.procs"
for _ in $(seq 100); do
    find "$own" -depth -type d -exec rmdir {{}} ';' 2>&1 | true
    [ -d "$own" ] || break
    sleep 0.05
done
"""

_GROUPS = 'mount -t tmpfs none /run; mount -t cgroup2 none /run; rmdir "$(mktemp -d /run/trial-XXXXXX)"'

_DROP_IN = """[Unit]
DefaultDependencies=no
Wants=
[Service]
BindReadOnlyPaths={seen}
Environment=PYTHONPATH={root} PYTHONWARNINGS=error
StandardError=append:/run/said
WatchdogSec=2
RestartSec=100ms
"""


def may_be_had() -> bool:
    """Whether such namespaces can be made here, with control groups in them. (`.ci/run` asks the same.)"""
    asked = ["unshare", "--mount", "--pid", "--fork", "--cgroup", "--uts", "--ipc", "sh", "-ec", _GROUPS]
    return (
        shutil.which("unshare") is not None
        and subprocess.run(asked, capture_output=True, check=False).returncode == 0
    )


@dataclass
class Managed:
    """A running systemd."""

    process: int
    folder: Path

    def _run(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """In its namespaces."""
        inside = ["nsenter", "--target", str(self.process), "--mount", "--pid", "--ipc", "--uts", "--cgroup"]
        return subprocess.run(
            [*inside, *words], capture_output=True, text=True, timeout=2 * PATIENCE, check=False
        )

    def ask(self, *words: str) -> str:
        """What systemctl says."""
        done = self._run("systemctl", *words)
        if done.returncode:
            more = self._run("systemctl", "status", "headrace").stdout, self._run("cat", "/run/said").stdout
            raise AssertionError("\n".join((done.stderr, *more, (self.folder / "log").read_text())))
        return done.stdout.strip()

    def told(self, name: str, unit: str = "headrace") -> str:
        """A property."""
        return self.ask("show", "--property", name, "--value", unit)

    def main(self) -> dict[str, str]:
        """/proc/PID/status of the gateway's main process (proc(5))."""
        done = self._run("cat", f"/proc/{self.told('MainPID')}/status")
        assert done.returncode == 0, done.stderr
        return dict(line.split(":\t", 1) for line in done.stdout.splitlines())


@contextmanager
def managed(folder: Path, catalogue: str) -> Iterator[Managed]:
    """systemd with the units for a catalogue, none of them started; all that it runs ends at the end."""
    if not SYSTEMD.exists():
        pytest.skip("systemd is not installed")
    if not may_be_had():
        pytest.skip("namespaces: only root can have them")
    folder.chmod(0o755)  # the unit's user is another one
    units = folder / "units"
    (units / "headrace.service.d").mkdir(parents=True)
    (folder / "headrace.toml").write_text(catalogue)
    for what in ("service", "activated", "socket"):
        done = headrace("unit", what, folder=folder)
        assert done.returncode == 0, done.stderr
        text = done.stdout.decode().splitlines()
        start = f"ExecStart={sys.executable} -m gateway.commands.main serve --config {folder}/headrace.toml"
        text = [start if line.startswith("ExecStart=") else line for line in text]
        name = "headrace.socket" if what == "socket" else f"headrace.service.{what}"
        (units / name).write_text("\n".join(text))
    seen = sorted({sys.base_prefix, sys.prefix, str(ROOT), str(folder)})
    (units / "headrace.service.d" / "trial.conf").write_text(_DROP_IN.format(seen=" ".join(seen), root=ROOT))
    (units / "headrace.socket.d").mkdir()
    (units / "headrace.socket.d" / "trial.conf").write_text("[Unit]\nDefaultDependencies=no\n")
    (units / "trial.target").write_text("[Unit]\nDefaultDependencies=no\nAllowIsolate=yes\n")
    closed = sorted({str(top) for each in seen if (top := _closed(Path(each))) is not None})
    script = _SCRIPT.format(
        credential=CREDENTIAL,
        secret=SECRET,
        seen=" ".join(f"'{each}'" for each in seen),
        closed=" ".join(closed),
        units=units,
        systemd=SYSTEMD,
    )
    with (folder / "log").open("wb") as log:
        outer = subprocess.Popen(
            ["unshare", "--mount", "--propagation", "private", "bash", "-c", script], stdout=log, stderr=log
        )
        try:
            yield Managed(_first(outer, folder / "log"), folder)
        finally:
            outer.terminate()
            outer.wait(PATIENCE)


def _closed(path: Path) -> Path | None:
    """The topmost folder above it that others may not enter."""
    above = reversed([each for each in path.parents if each != Path("/")])
    return next((each for each in above if not each.stat().st_mode & 0o001), None)


def _first(outer: "subprocess.Popen[bytes]", log: Path) -> int:
    """systemd's process number, as seen from here, once it takes orders."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until and outer.poll() is None:
        for each in _below(outer.pid):
            with suppress(OSError):
                if (
                    Path(f"/proc/{each}/comm").read_text() == "systemd\n"
                    and Path(f"/proc/{each}/root/run/systemd/private").exists()
                ):
                    return each
        time.sleep(0.05)
    raise AssertionError(log.read_text())


def _below(process: int) -> Iterator[int]:
    with suppress(OSError):
        for each in Path(f"/proc/{process}/task/{process}/children").read_text().split():
            yield int(each)
            yield from _below(int(each))
