"""Contexts that verify, whatever they are made from. Handshakes are in http/link/test_tls.py."""

import ssl
from pathlib import Path

import pytest
import trustme

from adapters.errors import HeadraceError
from adapters.trust import trust_context, trust_key


@pytest.fixture
def ca_file(tmp_path: Path) -> Path:
    path = tmp_path / "ca.pem"
    trustme.CA().cert_pem.write_to_path(str(path))
    return path


def test_verification_is_always_on(ca_file: Path) -> None:
    for ca in (None, str(ca_file)):
        context = trust_context(ca)
        assert context.check_hostname
        assert context.verify_mode == ssl.CERT_REQUIRED
        assert context.minimum_version >= ssl.TLSVersion.TLSv1_2


def test_the_usual_anchors_are_many_and_a_ca_file_replaces_them(ca_file: Path) -> None:
    assert len(trust_context(None).get_ca_certs()) > 50
    assert len(trust_context(str(ca_file)).get_ca_certs()) == 1


def test_no_key_log_whatever_the_environment_asks_for(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, ca_file: Path
) -> None:
    monkeypatch.setenv("SSLKEYLOGFILE", str(tmp_path / "keys"))
    assert trust_context(str(ca_file)).keylog_filename is None


@pytest.mark.parametrize("content", [None, b"", b"no certificate", b"-----BEGIN CERTIFICATE-----\nAAAA\n"])
def test_a_ca_file_that_cannot_be_used(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "hush-hush.pem"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(HeadraceError) as caught:
        trust_key(str(path))
        trust_context(str(path))
    assert caught.value.code == 451
    assert "hush" not in caught.value.sentence


def test_a_changed_file_is_another_key(ca_file: Path) -> None:
    assert trust_key(None) is None
    before = trust_key(str(ca_file))
    assert trust_key(str(ca_file)) == before
    ca_file.write_bytes(ca_file.read_bytes() * 2)
    assert trust_key(str(ca_file)) != before


def test_a_path_with_a_nul() -> None:
    with pytest.raises(HeadraceError):
        trust_key("a\0b")
