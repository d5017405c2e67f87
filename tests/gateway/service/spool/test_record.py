"""What a job's file says is what was written, or it is known to be damaged."""

import hashlib
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Condition, Kind, Stat, Was
from adapters.port import Validators
from gateway.service.spool.record import Damaged, JobKind, Record, SpooledJob, read_record, record_text

texts = st.text(st.characters(), max_size=30)  # lone surrogates too: refs come from clients
times = st.datetimes(
    timezones=st.just(UTC) | st.builds(timezone, st.timedeltas(timedelta(hours=-23), timedelta(hours=23)))
)
conditions: st.SearchStrategy[Condition] = st.sampled_from(Was) | st.builds(
    Stat,
    kind=st.sampled_from(Kind),
    size=st.none() | st.integers(min_value=0),
    modified=st.none() | times,
    validators=st.builds(Validators, st.none() | texts, st.none() | texts),
    media_type=texts,
    charset=st.none() | texts,
    origin=texts,
)
records = st.builds(
    Record,
    job=st.builds(
        SpooledJob,
        kind=st.sampled_from(JobKind),
        ref=texts,
        condition=conditions,
        source=texts,
        created=times,
    ),
    size=st.integers(min_value=0),
    digest=texts,
)


@given(records)
def test_there_and_back(record: Record) -> None:
    text = record_text(record)
    assert read_record(text) == record
    assert text.isascii()
    assert text.count(b"\n") == 1


@given(records, st.data())
def test_any_damage_is_noticed(record: Record, data: st.DataObject) -> None:
    text = bytearray(record_text(record))
    kind = data.draw(st.sampled_from(["byte", "cut", "grown"]))
    if kind == "byte":
        place = data.draw(st.integers(0, len(text) - 2))
        text[place] ^= data.draw(st.integers(1, 255))
    elif kind == "cut":
        del text[data.draw(st.integers(0, len(text) - 2)) :]
    else:
        text += data.draw(st.binary(min_size=1, max_size=5))
    with pytest.raises(Damaged):
        read_record(bytes(text))


@pytest.mark.parametrize(
    "text", [b"", b"\n", b"\0" * 4096, b"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855 \n"]
)
def test_what_a_lost_power_supply_leaves(text: bytes) -> None:
    """An empty file, or zeros; the last one is the SHA-256 of nothing (FIPS 180-4) over nothing."""
    with pytest.raises(Damaged):
        read_record(text)


def test_another_version_is_not_guessed_at() -> None:
    said = record_text(Record(SpooledJob(JobKind.STORE, "A:b"), 0, "")).decode().partition(" ")[2].strip()
    newer = said.replace('"version": 1', '"version": 2')
    assert newer != said
    with pytest.raises(Damaged, match="version 2"):
        read_record(f"{hashlib.sha256(newer.encode()).hexdigest()} {newer}\n".encode())


def test_a_time_keeps_its_microseconds() -> None:
    when = datetime(2026, 11, 26, 1, 2, 3, 456789, tzinfo=UTC)
    job = SpooledJob(JobKind.STORE, "A:b", Stat(Kind.FILE, 1, when), created=when)
    assert read_record(record_text(Record(job, 1, "x"))).job == job


@pytest.mark.parametrize(
    ("told", "instead"), [('"size": 5', '"size": "5"'), ('"media_type": "text/plain"', '"media_type": 7')]
)
def test_values_of_another_kind_are_damage(told: str, instead: str) -> None:
    """Whole by its digest, such as from another program."""
    condition = Stat(Kind.FILE, 5, media_type="text/plain")
    written = record_text(Record(SpooledJob(JobKind.STORE, "A:b", condition=condition), 0, ""))
    said = written.decode().partition(" ")[2].strip()
    assert said.count(told) == 1
    other = said.replace(told, instead)
    with pytest.raises(Damaged):
        read_record(f"{hashlib.sha256(other.encode()).hexdigest()} {other}\n".encode())
