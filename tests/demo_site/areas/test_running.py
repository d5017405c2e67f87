"""The town's folders: originals that say what they are, copies that can be written, three URLs."""

import ftplib
from pathlib import Path
from urllib.parse import unquote, urlsplit

import httpx
import pytest
from lxml import html

from demo_site.areas.running import (
    EMPTY,
    FOLDERS,
    LEDGER_FILE,
    LEDGER_USER,
    MODIFIED,
    QUAY_FILE,
    QUAY_USER,
    SHIP,
    DemoAreas,
)

SEEDS = sorted(path for path in FOLDERS.rglob("*") if path.is_file())
SIGNALS = FOLDERS / "quay" / "glyphs" / "signals.chr"
ORDER = FOLDERS / "quay" / "notices" / "lamp-order.txt"


def relative(path: Path) -> str:
    return path.relative_to(FOLDERS).as_posix()


@pytest.mark.parametrize("path", [path for path in SEEDS if path != SIGNALS], ids=relative)
def test_every_seed_says_that_it_is_invented(path: Path) -> None:
    assert b"nvented" in path.read_bytes()


def test_the_character_set_is_32_different_glyphs_that_its_readme_describes() -> None:
    glyphs = SIGNALS.read_bytes()
    assert len(glyphs) == 32 * 8
    assert len({glyphs[start : start + 8] for start in range(0, 256, 8)}) == 32
    assert all(row & 0x80 for row in glyphs)  # each flag hangs on its mast, in the leftmost column
    assert b"nvented" in (SIGNALS.parent / "README.txt").read_bytes()


def test_one_notice_is_latin_1_and_not_utf_8() -> None:
    assert "Hafenstraße" in ORDER.read_text("latin-1")
    with pytest.raises(UnicodeDecodeError):
        ORDER.read_text("utf-8")


def test_texts_have_long_lines_and_names_test_listings() -> None:
    """40 columns leave 12 for a name; a line longer than 40 has to be wrapped."""
    assert max(map(len, (FOLDERS / "quay/notices/quay-rules.txt").read_text("ascii").splitlines())) > 200
    names = [path.name for path in (FOLDERS / "quay").iterdir()]
    assert any(" " in name for name in names)
    assert any(len(name) > 40 for name in names)
    assert SHIP[0] in names
    assert not SHIP[1].isascii()
    for place in ("quay", "ledger", "shelf"):
        assert len((FOLDERS / place / "README.txt").read_text("ascii").splitlines()) > 10  # pages of ten


@pytest.mark.parametrize("path", [path for path in SEEDS if path.suffix == ".html"], ids=relative)
def test_links_of_the_pages_lead_somewhere(path: Path) -> None:
    links = [link.get("href", "") for link in html.fromstring(path.read_text("utf-8")).iter("a")]
    assert links
    for link in links:
        assert (path.parent / unquote(link)).exists(), link


def test_the_copies_are_served_and_written_and_the_seeds_are_not(tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in SEEDS}
    with DemoAreas(tmp_path) as areas:
        urls = areas.urls
        assert [urlsplit(url).scheme for url in (urls.quay, urls.ledger, urls.shelf)] == [
            "ftp",
            "dav",
            "file",
        ]
        assert all(url.endswith("/") for url in (urls.quay, urls.ledger, urls.shelf))
        with ftplib.FTP(timeout=10, encoding="utf-8") as client:
            client.connect("127.0.0.1", urlsplit(urls.quay).port or 0)
            client.login(QUAY_USER, QUAY_FILE.read_text("ascii").strip())
            facts = dict(client.mlsd())
            assert list(client.mlsd(EMPTY)) == []
            client.delete("README.txt")
        names = {path.name for path in (FOLDERS / "quay").iterdir()}
        assert set(facts) == names - {SHIP[0]} | {SHIP[1], EMPTY}
        # RFC 3659 section 2.3: time values are in UTC
        assert {fact["modify"] for fact in facts.values()} == {MODIFIED.strftime("%Y%m%d%H%M%S")}
        auth = (LEDGER_USER, LEDGER_FILE.read_text("ascii").strip())
        ledger = urls.ledger.replace("dav://", "http://")
        put = httpx.put(f"{ledger}README.txt", content=b"x", auth=auth, trust_env=False)
        assert put.status_code == 204
        shelf = Path(unquote(urlsplit(urls.shelf).path))
        assert (shelf / "books" / "knots.txt").read_bytes() == (
            FOLDERS / "shelf/books/knots.txt"
        ).read_bytes()
        (shelf / "README.txt").unlink()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ledger", "quay", "shelf"]
    assert {path: path.read_bytes() for path in SEEDS} == before
