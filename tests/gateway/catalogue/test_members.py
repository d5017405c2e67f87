"""The members' file: read, with all its mistakes, and written."""

import pytest

from gateway.catalogue.access import Member
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.members import members_text, read_members

HASH = "$argon2id$v=19$m=65536,t=3,p=4$UPVKMCRe4TdMK6PqsKMI8w$dtm2OsdoLh/z2uskYIRrYaVpmL"
KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
MEMBERS = {
    "ANNA": Member("ANNA", "STAFF", HASH),
    "BEA-2": Member("BEA-2", "", "", KEY),
}


def test_what_is_written_is_read() -> None:
    text = members_text(MEMBERS)
    assert text.startswith("# Who may log in.")
    assert read_members(text, "m", {"STAFF"}) == MEMBERS
    assert read_members(members_text({}), "m", ()) == {}


def test_names_and_rights_in_any_case() -> None:
    text = f'[Anna]\nrights = "Staff"\npassword = "{HASH}"\n'
    assert read_members(text, "m", {"STAFF"}) == {"ANNA": MEMBERS["ANNA"]}


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("[anna\n", 1, "no TOML"),
        ("anna = 1\n", 1, "no table"),
        (f'\n[a_b]\npassword = "{HASH}"\n', 2, "the name a_b"),
        (f'[http]\npassword = "{HASH}"\n', 1, "the name http"),
        (f'[anna]\nsecret = "{HASH}"\n', 1, "the key secret"),
        ("[anna]\npassword = 1\n", 1, "password, which is no text"),
        (f'[bea]\nkey = "{KEY}"\n[anna]\nrights = "stuff"\npassword = "{HASH}"\n', 3, "rights stuff"),
        ('[anna]\npassword = "opensesame"\n', 1, "a password that is no hash"),
        ('[anna]\nkey = "opensesame"\n', 1, "a key that is none"),
        ('[anna]\nrights = "staff"\n', 1, "neither password nor key"),
        (f'[anna]\nkey = "{KEY}"\n[ANNA]\nkey = "{KEY}"\n', 3, "ANNA, once more in another case"),
    ],
)
def test_mistakes(text: str, line: int, found: str) -> None:
    with pytest.raises(CatalogueFaults) as faults:
        read_members(text, "members.toml", {"STAFF"})
    (mistake,) = faults.value.mistakes
    assert (mistake.line, mistake.found) == (line, found)
    rendered = faults.value.render()
    assert rendered.startswith(f"members.toml:{line}:1:")
    assert "opensesame" not in rendered
    assert HASH not in rendered
    assert KEY not in rendered


def test_what_is_no_toml_is_marked_at_its_lines_beginning() -> None:
    with pytest.raises(CatalogueFaults) as faults:
        read_members("\n[anna\n", "m", ())
    (mistake,) = faults.value.mistakes
    assert (mistake.line, mistake.column, mistake.length) == (2, 1, 1)


def test_all_mistakes_at_once() -> None:
    with pytest.raises(CatalogueFaults) as faults:
        read_members('[a]\nkey = ""\n[b]\nrights = "none"\n', "m", {"STAFF"})
    assert [each.line for each in faults.value.mistakes] == [1, 3]
    assert "staff" in faults.value.render()
