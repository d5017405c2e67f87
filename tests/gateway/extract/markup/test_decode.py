"""Encodings: byte order marks, mislabelled documents, and labels as the web means them."""

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongDocument
from gateway.extract.markup.decode import codec_of, decode, decode_bytewise, decoded_pieces

TEXT = "<a>Grüße, €5 — naïve</a>"


@pytest.mark.parametrize(
    ("mark", "codec"),
    [
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF32_BE, "utf-32-be"),
    ],
)
@pytest.mark.parametrize("label", [None, "utf-8", "iso-8859-1", "utf-16", "shift_jis"])
def test_a_byte_order_mark_beats_every_label(mark: bytes, codec: str, label: str | None) -> None:
    """RFC 7303 section 3.3; XML 1.0 appendix F."""
    assert decode(mark + TEXT.encode(codec), [label], strict=True) == TEXT


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be"])
def test_wide_encodings_without_a_mark_show_by_their_nuls(codec: str) -> None:
    assert decode(TEXT.encode(codec), ["utf-16"]) == TEXT
    assert decode(TEXT.encode(codec), [None]) == TEXT
    assert decode("name;Wert\r\nä;1\r\n".encode(codec), ["iso-8859-1"]) == "name;Wert\r\nä;1\r\n"


@pytest.mark.parametrize(
    "label", ["iso-8859-1", "latin1", "us-ascii", "windows-1252", "iso-8859-15", "koi8-r"]
)
def test_valid_utf_8_beats_a_single_byte_label(label: str) -> None:
    assert decode(TEXT.encode(), [label], strict=True) == TEXT


@pytest.mark.parametrize("label", ["utf-8", "UTF8", None])
def test_latin_1_labelled_utf_8(label: str | None) -> None:
    body = "<a>Grüße</a>".encode("latin-1")
    with pytest.raises(WrongDocument, match="Not valid in its own encoding"):
        decode(body, [label], strict=True)
    assert decode(body, [label]) == "<a>Grüße</a>"


def test_a_second_label_counts_where_the_first_does_not_fit() -> None:
    body = "<a>Grüße</a>".encode("latin-1")
    assert decode(body, ["utf-8", "iso-8859-1"], strict=True) == "<a>Grüße</a>"
    assert decode(body, [None, "iso-8859-1"], strict=True) == "<a>Grüße</a>"
    assert decode(body, ["x-nobody-knows", "iso-8859-2"], strict=True) == "<a>Grüße</a>"
    assert decode(body, ["x-nobody-knows"], strict=True) == "<a>Grüße</a>"
    assert decode("ж".encode("cp1251"), ["windows-1251", "utf-8"], strict=True) == "ж"


@pytest.mark.parametrize(
    "label", ["iso-8859-1", "ISO_8859-1", "latin1", "l1", "ascii", "us-ascii", "cp1252", "x-cp1252"]
)
def test_latin_1_means_windows_1252(label: str) -> None:
    """WHATWG Encoding Standard section 4.2, from memory: byte 80h is the euro sign."""
    assert decode(b"\x80 5 \x93quoted\x94", [label]) == "€ 5 “quoted”"
    assert codec_of(label) == "cp1252"


def test_the_five_bytes_that_windows_1252_lacks_are_controls() -> None:
    """WHATWG's index maps them to the C1 controls; Python's codec refuses them."""
    assert decode_bytewise(b"\x81\x8d\x8f\x90\x9d\xe9", "cp1252") == "\x81\x8d\x8f\x90\x9dé"
    assert decode_bytewise(bytes(range(256)), "latin-1") == bytes(range(256)).decode("latin-1")
    assert decode(b"\xaa\xe1", ["windows-1253"]) == "\ufffdα"


@pytest.mark.parametrize(
    ("label", "text"),
    [
        ("shift_jis", "港の時刻表"),
        ("Shift_JIS", "①"),  # only in the larger set that the label means
        ("euc-jp", "港の時刻表"),
        ("iso-2022-jp", "港の時刻表"),
        ("gb2312", "港口時刻"),  # the last two only in the larger set that the label means
        ("GBK", "港口時刻"),
        ("gb18030", "港口😀"),
        ("big5", "港口時刻表"),
        ("euc-kr", "항구 시간표"),
        ("koi8-r", "Гавань"),
        ("windows-1251", "Гавань"),
        ("iso-8859-5", "Гавань"),
        ("macintosh", "Größe"),
        ("iso-8859-9", "İstanbul €"),
        ("iso-8859-2", "Łódź"),
        ("ibm866", "Гавань"),
        ("cp437", "Größe ░"),
    ],
)
def test_other_encodings(label: str, text: str) -> None:
    codec = codec_of(label)
    assert codec is not None
    assert decode(f"<a>{text}</a>".encode(codec), [label], strict=True) == f"<a>{text}</a>"
    assert decode(b"<a>plain</a>", [label], strict=True) == "<a>plain</a>"


def test_a_label_of_many_bytes_is_believed_before_utf_8() -> None:
    """These bytes are valid in both."""
    assert "茅".encode("gbk").decode("utf-8") == "é"
    assert decode("茅".encode("gbk"), ["gbk"], strict=True) == "茅"
    assert decode("茅".encode("gbk"), ["iso-8859-1"], strict=True) == "é"


@pytest.mark.parametrize(
    "label",
    [
        *(
            "utf-7",
            "punycode",
            "idna",
            "rot13",
            "base64",
            "zlib",
            "hex",
            "undefined",
            "unicode_escape",
            "mbcs",
            "cp037",
        ),
        *(
            "",
            " ",
            "-",
            "no-such",
            "../../x",
            "utf-8\0",
            "ü",
            "a" * 500,
            "unicode-escape",
            "raw_unicode_escape",
        ),
        *("encodings.utf_8", "__init__", "aliases", "charmap"),
    ],
)
def test_labels_of_no_document_count_as_none(label: str) -> None:
    assert codec_of(label) is None
    assert decode("é".encode(), [label]) == "é"


def test_mixed_bytes_keep_the_good_utf_8() -> None:
    mostly = "Überfälle, Öl und Ärger".encode()
    assert decode(mostly + b" \xff", ["utf-8"]) == "Überfälle, Öl und Ärger \ufffd"
    assert decode(b"caf\xe9 \x80", ["utf-8"]) == "café €"


@given(
    st.binary(max_size=40),
    st.lists(st.sampled_from([None, "utf-8", "utf-16", "latin1", "gbk", "x", "cp1253"]), max_size=2),
)
def test_any_bytes_are_some_text_or_refused(body: bytes, labels: list[str | None]) -> None:
    for strict in (False, True):
        try:
            text = decode(body, labels, strict)
        except WrongDocument:
            continue
        text.encode("utf-8")  # no half surrogate pairs


@given(st.text(max_size=20))
def test_utf_8_comes_through(text: str) -> None:
    clean = text.replace("\0", "").replace("\ufeff", "")
    assert decode(clean.encode("utf-8"), ["iso-8859-1"], strict=True) == clean


WIDE_TEXT = st.text(st.sampled_from("ab\r\né\u0301я日本語カ€🎵"), max_size=40)
CODECS = (
    "utf-8",
    "utf-16-le",
    "utf-32-be",
    "cp1252",
    "koi8-r",
    "cp932",
    "euc_jp",
    "gb18030",
    "big5hkscs",
    "iso2022_jp",
)


@given(st.one_of(st.binary(max_size=60), WIDE_TEXT), st.sampled_from(CODECS), st.integers(1, 9))
def test_pieces_give_what_one_call_gives(source: bytes | str, codec: str, size: int) -> None:
    """Python's own `bytes.decode` is the yardstick."""
    body = source.encode(codec, "ignore") if isinstance(source, str) else source
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "DECODE_BYTES", size)
        try:
            wanted = body.decode(codec)
        except UnicodeDecodeError:
            with pytest.raises(UnicodeDecodeError):
                list(decoded_pieces(body, codec))
        else:
            assert "".join(decoded_pieces(body, codec)) == wanted
        if codec.startswith("utf-"):
            if codec != "utf-8":  # these choose the order of bytes by their mark
                codec = codec.removesuffix("-le").removesuffix("-be")
                body = (codecs.BOM_UTF16_BE if codec == "utf-16" else codecs.BOM_UTF32_BE) + body
            assert "".join(decoded_pieces(body, codec, "replace")) == body.decode(codec, "replace")


@given(
    st.one_of(st.binary(max_size=60), WIDE_TEXT.map(str.encode)),
    st.sampled_from([None, "cp1252", "cp874", "cp932", "utf-16", "iso-2022-jp", "no-such"]),
    st.booleans(),
    st.integers(1, 9),
)
def test_the_size_of_the_pieces_shows_nowhere(
    body: bytes, label: str | None, strict: bool, size: int
) -> None:
    def outcome() -> str | None:
        try:
            return decode(body, [label], strict)
        except WrongDocument:
            return None

    whole = outcome()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "DECODE_BYTES", size)
        assert outcome() == whole
        assert decode_bytewise(body, "cp1252") == "".join(
            decode_bytewise(bytes((each,)), "cp1252") for each in body
        )
