from pathlib import Path

import pytest

from adapters.recorded.tree.site import FORMAT, read_site, site_text, utf_8
from adapters.recorded.tree.table import TextFault


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    hidden = {"header Authorization of http://a.example", 'query "odd"\n of http://a.example'}
    path.write_text(site_text(hidden))
    assert read_site(path) == hidden
    path.write_text(site_text(()))
    assert read_site(path) == frozenset()


@pytest.mark.parametrize(
    ("text", "mistake"),
    [
        ("", "format: missing, or no number from 1 on"),
        ("format = 0", "format: missing, or no number from 1 on"),
        ('format = "1"', "format: missing, or no number from 1 on"),
        (f"format = {FORMAT + 1}", f"format: {FORMAT + 1} is newer than this program, which knows {FORMAT}"),
        ("format = 1\nhidden = 'x'", "hidden: not a list of texts"),
        ("format = 1\nhidden = [1]", "hidden: not a list of texts"),
    ],
)
def test_mistakes(tmp_path: Path, text: str, mistake: str) -> None:
    path = tmp_path / "site.toml"
    path.write_text(text)
    with pytest.raises(TextFault) as raised:
        read_site(path)
    assert raised.value.mistakes == [mistake]


def test_no_toml_and_no_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text("\ufeffformat = 1")
    assert read_site(path) == frozenset()
    path.write_text("format")
    with pytest.raises(TextFault):
        read_site(path)
    with pytest.raises(TextFault, match="not UTF-8, from byte 3 on"):
        utf_8(b"ab\xe9")
