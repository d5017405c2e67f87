"""Whatever is asked of files, each reply has the one shape, and nothing but writable places changes."""

from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from tests.gateway.session.files.far import CLUB, Far, entries, far_talk
from tests.gateway.talking import replies

# Lists of words that no quotes hide (SIM905 would have them quoted one by one).
_WORDS = """
LIST NAME TEXT READ STORE APPEND COPY ERASE RENAME MKDIR BASE PICK MORE AGAIN WHY HELP NOOP READ LIST
"""
_REFS = """
club: club:a club:docs/ club:docs/b shelf:s dos:x a ../ / #1 #2 #9 http://open.example/x file:///x ? #
http://closed.example/ nowhere:x club:%2e%2e/%e9
"""
_SETTINGS = """
cols=16 cols=255 mark=on mark=off guard=on case=upper page=1 page=3 page=0 bytes=raw bytes=hex bytes=ihex
bytes=line names=8.3 names=long order=size block=7 typed=lower bits=7 bits=8
"""
_WORD = st.sampled_from(_WORDS.split())
_REF = st.one_of(
    st.sampled_from(["", *_REFS.split()]),
    st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=8),
)
_ARG = st.one_of(_REF, st.sampled_from(["0", "5", "flow", "B1", "99999999", "$", "$.x:5i"]))
_SETTING = st.sampled_from(["most=40 cols=16", *_SETTINGS.split()])


def _quoted(word: str) -> str:
    return '"' + word.replace('"', '""') + '"'


_LINE = st.one_of(
    st.builds(lambda word, args: " ".join([word, *map(_quoted, args)]), _WORD, st.lists(_ARG, max_size=3)),
    _SETTING.map(lambda setting: f"SET {setting}"),
    st.sampled_from([">data", ".", ">" + "x" * 9_000, "", "TIME"]),
)


@given(st.lists(_LINE, max_size=12), st.sampled_from([b"\r\n", b"\r", b"\n"]))
def test_every_reply_has_its_shape(lines: list[str], end: bytes) -> None:
    long = Entry(b"x" * 300 + b"\xff .", Kind.FILE, 10**12)
    far = Far(
        {CLUB + "a": bytes(range(256)), CLUB + "docs/b": b"B\r\n" * 30, "https://far.example/shelf/s": b"S"},
        {CLUB: [*entries("a", "docs/", "two words"), long], CLUB + "docs/": entries("b")},
        links=("CLUB:a", "http://closed.example/"),
    )
    shelf = dict(far.documents)
    talk = far_talk(far)
    talk.raw(b"NOOP" + end)
    for line in lines:
        answer = talk.raw(line.encode() + end)
        status = answer[:16].decode("ascii")
        if answer and status[:3] == "200" and status[10:13] == "001" and len(answer) == 18 + int(status[4:9]):
            continue  # bare bytes
        for status, records in replies(answer):
            assert status[:1] in "12345"
            assert all(record.isascii() and record.decode().isprintable() for record in records)
    changed = {url for url in far.documents if far.documents[url] != shelf.get(url)}
    assert all(url.startswith((CLUB, "dav://far.example/dos/")) for url in changed)
    talk.session.lost()
    assert talk.session._state.transfer is None
