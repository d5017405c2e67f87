"""`headrace check`: all mistakes at once, and everything explained."""

from pathlib import Path

from gateway.catalogue.keys.explain import KEYS
from gateway.wire.settings import SETTINGS
from tests.gateway.commands.processes import headrace

WRONG = """[gateway]
wiat = 30

[source.tides]
url = "https://tides.example/{station}"
args = ["sation"]
[[source.tides.field]]
name = "TIME"
at = "$.when["
kind = "tmie"
width = 5
"""


def test_every_mistake_at_once_with_a_caret(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text(WRONG)
    done = headrace("check", folder=tmp_path)
    said = done.stderr.decode()
    assert done.returncode == 2
    for place, word in (("2:1", "wiat"), ("5:", "station"), ("9:", "$.when["), ("10:9", "tmie")):
        assert f"headrace.toml:{place}" in said
        assert word in said
    for nearest in ("wait", "time"):
        assert nearest in said
    assert said.count("^") >= 4


def test_a_good_catalogue_is_0(tmp_path: Path) -> None:
    good = (
        WRONG.replace("wiat", "wait")
        .replace("sation", "station")
        .replace("when[", "when")
        .replace("tmie", "time")
    )
    (tmp_path / "headrace.toml").write_text(good)
    done = headrace("check", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"ASK TIDES STATION: records of 5" in done.stdout


def test_explain_tells_every_key_and_setting(tmp_path: Path) -> None:
    done = headrace("check", "--explain", folder=tmp_path)
    said = done.stdout.decode()
    assert done.returncode == 0
    words = set(said.split())
    assert {key.name for key in KEYS} <= words
    assert set(SETTINGS) <= words


def test_every_scheme_is_offered(tmp_path: Path) -> None:
    said = " ".join(headrace("check", "--explain", folder=tmp_path).stdout.decode().split())
    assert "http https dav davs ftp ftps file tcp tls telnet udp" in said


def test_not_utf8_and_not_there_are_2(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_bytes(b"# caf\xe9\n")
    assert headrace("check", folder=tmp_path).returncode == 2
    assert headrace("check", "--config", "nowhere.toml", folder=tmp_path).returncode == 2
    assert headrace("check", "--config", ".", folder=tmp_path).returncode == 2


def test_what_there_is_for_calls_is_counted(tmp_path: Path) -> None:
    text = '[place.mill]\nbase = "tcp://mill.example:23"\n[phone.5550100]\ndial = "mill"\n'
    (tmp_path / "headrace.toml").write_text(text + "[hear.8200]\n[hear.8201]\n")
    done = headrace("check", folder=tmp_path)
    assert done.stdout.endswith(b"listeners 1, phone numbers 1, ports for calls in 2.\n")
