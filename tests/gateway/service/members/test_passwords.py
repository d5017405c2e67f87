"""Hashes of passwords, against the reference implementation's own form (RFC 9106, the PHC string format)."""

from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type

from gateway.service.members.passwords import hashed, matches


def test_a_hash_is_salted_and_as_costly_as_the_standard_says() -> None:
    """RFC 9106 section 4: Argon2id with 64 MiB, three passes, four lanes, a salt of 128 bits."""
    one, other = hashed("a password"), hashed("a password")
    assert one != other
    found = extract_parameters(one)
    kept = (found.type, found.memory_cost, found.time_cost, found.parallelism, found.salt_len, found.hash_len)
    assert kept == (Type.ID, 65_536, 3, 4, 16, 32)
    assert matches("a password", one)
    assert not matches("A password", one)
    assert not matches("", one)


def test_one_that_another_program_made() -> None:
    """Other costs are taken as they stand in the hash."""
    kept = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1).hash("Straße")
    assert matches("Straße", kept)
    assert not matches("Strasse", kept)


def test_what_looks_the_same_is_the_same() -> None:
    """RFC 8265 section 4.2.2: normalization form C."""
    assert matches("cafe\u0301", hashed("caf\u00e9"))


def test_what_is_no_hash_matches_nothing() -> None:
    for kept in ("", "$argon2id$", "plain", "$2b$12$abcdefghijklmnopqrstuv"):
        assert not matches("plain", kept)
