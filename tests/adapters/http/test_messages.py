"""Call -> request, with everything checked before a byte is sent (RFC 9110, RFC 9112)."""

import base64
from dataclasses import replace
from importlib.metadata import PackageNotFoundError
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import HeadraceError, NotPossible, WrongWords
from adapters.http import messages
from adapters.http.messages import first_hop, request_fields, request_target, user_agent
from adapters.port import Call, CredentialKind, Credentials, Validators

SECRET = "s3 cr&t+ä"


def call(**changes: Any) -> Call:
    return replace(Call(url="http://a.example:81/p?q=1"), **changes)


def sent(made: Call, *, personal: bool = True, cookies: str = "") -> dict[str, str]:
    fields = request_fields(made, replace(first_hop(made), personal=personal), cookies)
    names = [name.lower() for name, _ in fields]
    assert len(names) == len(set(names)), "no field twice"
    return {name.decode(): value.decode("utf-8") for name, value in fields}


def credentials(kind: CredentialKind, name: str = "reader", secret: str = SECRET) -> Credentials:
    return Credentials(kind, name, secret)


def test_a_plain_call() -> None:
    assert sent(call()) == {
        "Host": "a.example:81",
        "User-Agent": user_agent(),
        "Accept": "*/*",
        "Accept-Encoding": "gzip",
    }


def test_who_is_asking(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 9110 section 10.1.5."""

    def nothing_installed(name: str) -> str:
        raise PackageNotFoundError(name)

    try:
        for version, product in ((lambda _: "9.8"), "headrace/9.8 ("), (nothing_installed, "headrace ("):
            monkeypatch.setattr(messages, "version", version)
            user_agent.cache_clear()
            assert user_agent().startswith(product)
    finally:
        monkeypatch.undo()
        user_agent.cache_clear()


def test_a_call_with_everything() -> None:
    made = call(
        method="POST",
        body=b'{"a":1}',
        media_type="application/json",
        accept="text/xml",
        headers=(("X-Club", "ä"), ("user-agent", "mine")),
        changes=True,
    )
    assert sent(made, cookies="s=1") == {
        "Host": "a.example:81",
        "user-agent": "mine",
        "Accept": "text/xml",
        "Accept-Encoding": "gzip",
        "Content-Type": "application/json",
        "X-Club": "ä",
        "Cookie": "s=1",
        "Content-Length": "7",
        "Connection": "close",
    }


def test_a_call_s_own_cookie_is_joined_by_those_of_the_chain() -> None:
    """RFC 6265 section 5.4: one Cookie field."""
    assert sent(call(headers=(("cookie", "own=1"),)), cookies="s=1; t=2")["Cookie"] == "own=1; s=1; t=2"


@pytest.mark.parametrize(
    ("method", "length"), [("POST", "0"), ("PUT", "0"), ("PATCH", "0"), ("GET", None), ("DELETE", None)]
)
def test_an_empty_body_is_announced_where_one_is_expected(method: str, length: str | None) -> None:
    """RFC 9110 section 8.6."""
    assert sent(call(method=method)).get("Content-Length") == length


@pytest.mark.parametrize(
    ("made", "name", "value"),
    [
        # RFC 7617 section 2 and its UTF-8 example in section 2.1
        (credentials(CredentialKind.BASIC, "test", "123£"), "Authorization", "Basic dGVzdDoxMjPCow=="),
        (
            credentials(CredentialKind.BASIC, "Aladdin", "open sesame"),
            "Authorization",
            "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==",
        ),
        (
            credentials(CredentialKind.BASIC, "", "a:b"),
            "Authorization",
            "Basic " + base64.b64encode(b":a:b").decode(),
        ),
        # RFC 6750 section 2.1
        (
            credentials(CredentialKind.BEARER, "", "mF_9.B5f-4.1JqM"),
            "Authorization",
            "Bearer mF_9.B5f-4.1JqM",
        ),
        (credentials(CredentialKind.HEADER, "X-Key", SECRET), "X-Key", SECRET),
    ],
)
def test_credentials_in_fields(made: Credentials, name: str, value: str) -> None:
    found = sent(call(credentials=made))
    assert found[name] == value
    assert request_target(call(credentials=made), first_hop(call())) == b"/p?q=1"


@pytest.mark.parametrize(
    ("url", "target"),
    [
        ("http://a.example/p?q=1", b"/p?q=1&api_key=s3%20cr%26t%2B%C3%A4"),
        ("http://a.example", b"/?api_key=s3%20cr%26t%2B%C3%A4"),
        ("http://a.example/p?", b"/p?api_key=s3%20cr%26t%2B%C3%A4"),
        ("http://a.example/p?api_key=old&q=%26+&api%5Fkey=x", b"/p?q=%26+&api_key=s3%20cr%26t%2B%C3%A4"),
    ],
)
def test_a_key_in_the_query(url: str, target: bytes) -> None:
    made = call(url=url, credentials=credentials(CredentialKind.QUERY, "api_key"))
    hop = first_hop(made)
    assert request_target(made, hop) == target
    assert "s3" not in str(hop.url)
    assert "s3" not in str(sent(made))


def test_nothing_personal_for_another_origin() -> None:
    for kind in CredentialKind:
        made = call(headers=(("X-Club", "1"),), credentials=credentials(kind, "X-Key", "hush"))
        hop = replace(first_hop(made), personal=False)
        assert set(sent(made, personal=False)) == {"Host", "User-Agent", "Accept", "Accept-Encoding"}
        assert request_target(made, hop) == b"/p?q=1"


def test_validators_go_back_as_they_came() -> None:
    """RFC 9110 sections 8.8 and 13.1; a byte is a character."""
    validators = Validators('W/"\xe9"', "Sun, 06 Nov 1994 08:49:37 GMT")
    fields = dict(request_fields(call(validators=validators), first_hop(call()), ""))
    assert fields[b"If-None-Match"] == b'W/"\xe9"'
    assert fields[b"If-Modified-Since"] == b"Sun, 06 Nov 1994 08:49:37 GMT"
    assert b"If-None-Match" not in dict(
        request_fields(call(method="POST", validators=validators), first_hop(call(method="POST")), "")
    )


SPLITS = ["a\r\nX: y", "a\nb", "a\rb", "a\0b", "\x7f", "\x1b", "\ud800"]


@pytest.mark.parametrize("value", SPLITS)
def test_what_could_split_a_request_is_refused(value: str) -> None:
    for made in (
        call(headers=(("X-Club", value),)),
        call(headers=((value, "x"),)),
        call(accept=value),
        call(media_type=value, body=b""),
        call(method=f"GET{value}"),
        call(url=f"http://a.example/{value}") if value != "\ud800" else call(headers=((value, ""),)),
    ):
        with pytest.raises(WrongWords):
            first_hop(made)
    for kind in (CredentialKind.BASIC, CredentialKind.BEARER, CredentialKind.HEADER, CredentialKind.QUERY):
        with pytest.raises(HeadraceError) as caught:
            first_hop(call(credentials=credentials(kind, "X-Key", f"hush{value}")))
        assert "hush" not in caught.value.sentence


@pytest.mark.parametrize(
    "name",
    [
        "Host",
        "content-length",
        "Transfer-Encoding",
        "CONNECTION",
        "TE",
        "Upgrade",
        "Expect",
        "",
        "a b",
        "a:",
        "ä",
    ],
)
def test_fields_that_a_call_may_not_write(name: str) -> None:
    with pytest.raises(WrongWords):
        first_hop(call(headers=((name, "x"),)))
    with pytest.raises(HeadraceError):
        first_hop(call(credentials=credentials(CredentialKind.HEADER, name)))


@pytest.mark.parametrize("method", ["", "GE T", "GÉT", "GET/1"])
def test_what_is_no_method(method: str) -> None:
    with pytest.raises(WrongWords):
        first_hop(call(method=method))


@pytest.mark.parametrize("method", ["CONNECT", "TRACE", "trace"])
def test_methods_without_documents(method: str) -> None:
    with pytest.raises(NotPossible):
        first_hop(call(method=method))


def test_a_user_with_a_colon() -> None:
    """RFC 7617 section 2: a server would split it in the wrong place."""
    with pytest.raises(HeadraceError):
        first_hop(call(credentials=credentials(CredentialKind.BASIC, "a:b")))


@given(st.text(max_size=30), st.text(max_size=30))
def test_no_header_forges_a_line(name: str, value: str) -> None:
    try:
        found = request_fields(call(headers=((name, value),)), first_hop(call(headers=((name, value),))), "")
    except WrongWords:
        return
    for pair in found:
        for part in pair:
            assert not {0, 10, 13} & set(part)
