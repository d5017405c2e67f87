"""The one table of keys has what the contract has."""

from gateway.catalogue.keys.key import TABLES
from gateway.catalogue.keys.table import KEYS
from gateway.wire.settings import SETTINGS

CONTRACT = {
    "gateway": "urls allow state wait letters",
    "listen": "host port profile",
    "place": "base user secret write",
    "source": "about url args format rows keep stale auth field method headers body send namespaces distinct "
    "sort descending limit gap choices",
    "auth": "header basic bearer query secret",
    "field": "name at kind width decimals scale offset align fill missing null map in out zone cut "
    "required fold",
}
"""The keys that CONTRACT section 4 names."""


def test_every_key_of_the_contract_is_there() -> None:
    for table, names in CONTRACT.items():
        assert set(names.split()) <= set(KEYS[table])


def test_profiles_have_every_setting() -> None:
    assert set(KEYS["profile"]) == set(SETTINGS)


def test_every_table_has_keys_and_no_key_is_there_twice() -> None:
    assert set(KEYS) == set(TABLES)
    assert all(keys and all(name == key.name for name, key in keys.items()) for keys in KEYS.values())


def test_words_that_people_try_are_no_keys_of_the_same_table() -> None:
    for keys in KEYS.values():
        tried = [word for key in keys.values() for word in key.also]
        assert len(tried) == len(set(tried))
        assert not set(tried) & set(keys)
