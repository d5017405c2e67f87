"""Secrets and catalogues from the outside world."""

import errno
import os
import threading
from contextlib import suppress
from pathlib import Path

import pytest
import trustme

from adapters import limits
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue, GatewaySettings
from gateway.commands import wiring
from gateway.commands.wiring import check_ca, check_folder, read_catalogue, read_secret, read_table
from tests.gateway.commands.processes import headrace

TEXT = """
[gateway]
state = "kept"
[source.a]
url = "https://far.example/"
auth = { bearer = true, secret = "file:key" }
field = [{ name = "A", width = 3 }]
"""


def test_a_secret_is_read_without_its_line_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "key").write_text("open sesame \n")
    monkeypatch.setenv("CLUB_KEY", "from outside")
    assert read_secret(tmp_path, "file:key") == "open sesame "
    assert read_secret(tmp_path, f"file:{tmp_path / 'key'}") == "open sesame "
    assert read_secret(tmp_path, "env:CLUB_KEY") == "from outside"


def test_what_is_not_there_or_no_text_is_none(tmp_path: Path) -> None:
    (tmp_path / "junk").write_bytes(b"\xff\xfe")
    assert read_secret(tmp_path, "file:nothing") is None
    assert read_secret(tmp_path, "file:junk") is None
    assert read_secret(tmp_path, "env:HEADRACE_TEST_NOT_SET") is None


def test_paths_count_from_the_catalogues_folder(tmp_path: Path) -> None:
    (tmp_path / "key").write_text("s3cret-key")
    (tmp_path / "headrace.toml").write_text(TEXT)
    catalogue = read_catalogue(tmp_path / "headrace.toml")
    assert catalogue.gateway.state == str(tmp_path / "kept")
    assert list(catalogue.secrets.values()) == ["s3cret-key"]
    assert "s3cret-key" not in repr(catalogue)


def test_a_mapping_file_counts_from_the_catalogues_folder_and_is_not_read_without_end(tmp_path: Path) -> None:
    (tmp_path / "maps").mkdir()
    (tmp_path / "maps" / "own.txt").write_bytes(b"0x41\t0x0041\t# \xc4\r\n")
    assert read_table(tmp_path, "maps/own.txt") == "0x41\t0x0041\t# \xc4\r\n"
    assert read_table(Path("elsewhere"), str(tmp_path / "maps" / "own.txt")) is not None
    assert read_table(tmp_path, "maps/other.txt") is None
    assert read_table(tmp_path, "maps") is None
    assert read_table(tmp_path, "~nobody-of-that-name/own.txt") is None
    (tmp_path / "long.txt").write_bytes(b"#" * (limits.TABLE_BYTES + 99))
    assert len(read_table(tmp_path, "long.txt") or "") == limits.TABLE_BYTES + 1


def test_a_fifo_or_device_is_no_mapping_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert read_table(tmp_path, "pipe") is None
    assert read_table(tmp_path, "/dev/zero") is None


def test_a_fifo_is_no_secret_and_no_certificate(tmp_path: Path) -> None:
    """Nobody may ever write to one: reading it could keep `serve` from starting, or a reload from ending."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)

    def write() -> None:
        with suppress(BrokenPipeError):
            pipe.write_text("open sesame\n")

    # writers, so that who does read it is not kept
    writers = [threading.Thread(target=write, daemon=True) for _ in range(2)]
    for each in writers:
        each.start()
    assert read_secret(tmp_path, "file:pipe") is None
    assert check_ca(tmp_path, "pipe") == "is no ordinary file"
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    for each in writers:
        each.join()
    os.close(reader)
    assert read_secret(tmp_path, "file:/dev/zero") is None


def test_nobodys_home_folder_is_no_traceback(tmp_path: Path) -> None:
    (tmp_path / "key").write_text("s3cret-key")
    (tmp_path / "headrace.toml").write_text(TEXT.replace('"kept"', '"~nobody-of-that-name/kept"'))
    with pytest.raises(OSError, match="no such home folder"):
        read_catalogue(tmp_path / "headrace.toml")
    assert read_secret(tmp_path, "file:~nobody-of-that-name/key") is None
    done = headrace("check", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr == b"headrace: cannot read headrace.toml: no such home folder: ~nobody-of-that-name\n"


def test_a_catalogue_that_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "headrace.toml"
    path.write_bytes(b"# caf\xe9\n")
    assert wiring.catalogue_or_complaint(path) is None
    assert capsys.readouterr().err == f"headrace: {path} is not UTF-8 (byte 6)\n"
    assert wiring.catalogue_or_complaint(tmp_path) is None
    assert capsys.readouterr().err == f"headrace: cannot read {tmp_path}: Is a directory\n"


def test_why_nobody_can_listen() -> None:
    taken = OSError(errno.EADDRINUSE, "Address already in use")
    advised = wiring.cannot_listen(taken)
    assert advised.startswith("headrace: cannot listen: Address already in use; end what listens there, or ")
    denied = PermissionError(errno.EACCES, "Permission denied")
    assert wiring.cannot_listen(denied) == "headrace: cannot listen: Permission denied"


def test_a_certificate_file_is_looked_at_and_counts_from_the_catalogues_folder(tmp_path: Path) -> None:
    (tmp_path / "key").write_text("s3cret-key")
    text = TEXT.replace("field =", 'ca = "own.pem"\nfield =')
    (tmp_path / "headrace.toml").write_text(text)
    done = headrace("check", folder=tmp_path)
    assert done.returncode == 2
    assert b"is not there" in done.stderr
    (tmp_path / "own.pem").write_text("no certificate")
    assert b"cannot be read as PEM" in headrace("check", folder=tmp_path).stderr
    trustme.CA().cert_pem.write_to_path(str(tmp_path / "own.pem"))
    assert read_catalogue(tmp_path / "headrace.toml").sources["A"].ca == str(tmp_path / "own.pem")


def test_a_place_may_lead_to_a_stream(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text('[place.quay]\nbase = "telnet://quay.example"\n')
    assert headrace("check", folder=tmp_path).returncode == 0


def test_a_folder_of_this_computer_has_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "a folder").mkdir()
    (tmp_path / "text").write_text("x")
    (tmp_path / "link").symlink_to("a folder")
    base = tmp_path.as_uri()
    assert check_folder(f"{base}/a%20folder/") is None
    assert check_folder(f"{base}/link/") is None
    assert check_folder("file:///") is None
    assert check_folder(f"{base}/text/") == "is no folder"
    assert check_folder(f"{base}/text/below/") == "is not there"
    assert check_folder(f"{base}/caf%e9/") == "is not there"
    assert check_folder(f"{base}/{'x' * 300}/") == "may not be looked into"
    (tmp_path / "headrace.toml").write_text(f'[place.shelf]\nbase = "{base}/gone"\n')
    done = headrace("check", folder=tmp_path)
    assert done.returncode == 2
    assert b'", which is not there\n' in done.stderr


def test_where_a_secret_may_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A credential is a file of the folder that systemd names (systemd.exec(5), Credentials)."""
    (tmp_path / "key").write_text("of the file\n")
    (tmp_path / "loaded").mkdir()
    (tmp_path / "loaded" / "club-key").write_text("of systemd\n")
    monkeypatch.setenv("CLUB", "of the environment")
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    assert wiring.read_secret(tmp_path, "env:CLUB") == "of the environment"
    assert wiring.read_secret(tmp_path, "file:key") == "of the file"
    assert wiring.read_secret(tmp_path, "credential:club-key") is None
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path / "loaded"))
    assert wiring.read_secret(tmp_path, "credential:club-key") == "of systemd"
    assert wiring.read_secret(tmp_path, "credential:none") is None


@pytest.mark.parametrize(("mode", "refused"), [(0o600, False), (0o644, False), (0o602, True), (0o666, True)])
def test_a_secret_that_others_may_change_is_refused(tmp_path: Path, mode: int, refused: bool) -> None:
    """CWE-732. One that they may only read is told of in the log."""
    (tmp_path / "key").write_text("secret\n")
    (tmp_path / "key").chmod(mode)
    path = tmp_path / "headrace.toml"
    path.write_text('[place.club]\nbase = "ftp://x.example/"\nuser = "u"\nsecret = "file:key"\n')
    if not refused:
        assert len(wiring.read_catalogue(path).secrets) == 1
        return
    with pytest.raises(CatalogueFaults) as faults:
        wiring.read_catalogue(path)
    (mistake,) = faults.value.mistakes
    assert mistake.found == f"file:key, which others may change (mode {mode:04o})"
    assert mistake.allowed.endswith("chmod 600")


async def test_why_nothing_can_be_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the disk of the state folder, or of where it would be made; a small disk has a smaller reserve."""
    parts = wiring.Parts(Catalogue(gateway=GatewaySettings(state=str(tmp_path / "to" / "be" / "made"))))

    def disk(blocks: int, free: int) -> None:
        room = os.statvfs_result((512, 4096, blocks, free, free, 0, 0, 0, 0, 255))
        monkeypatch.setattr(os, "statvfs", lambda _: room)

    disk(1 << 30, limits.SPOOL_RESERVE_BYTES // 4096 + 1)
    assert parts.troubles() == []
    disk(1 << 30, limits.SPOOL_RESERVE_BYTES // 4096)
    assert parts.troubles() == ["The disk of the state folder is full"]
    disk(256, 200)  # 1 MiB, as the spool takes it
    assert parts.troubles() == []
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert parts.troubles() == ["The state folder cannot be written"]
    monkeypatch.undo()
    await parts.aclose()
    nothing_kept = wiring.Parts(Catalogue(), keep_on_disk=False)
    assert nothing_kept.troubles() == []
    await nothing_kept.aclose()
