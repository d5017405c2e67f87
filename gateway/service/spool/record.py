"""SpooledJob <-> the text of its file: JSON with a digest over it, so that damage never passes unseen."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Final

from adapters.files import Condition, Kind, Stat, Was
from adapters.port import Validators

_VERSION: Final = 1
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Damaged(Exception):
    """A file of the spool is not what was written. The text says how, and names no content."""


class JobKind(StrEnum):
    """What is to be done."""

    STORE = "store"
    APPEND = "append"
    COPY = "copy"  # without data: that one was begun, should it never end


@dataclass(frozen=True, slots=True)
class SpooledJob:
    """What is to be done with the data, as it was when the client asked. Never a place's secret, but the
    query of a URL that a client typed is in it.

    `ref` is whole (`PLACE:path`, or a URL), `source` the ref that a COPY reads. `condition` is what has to be
    at the target still.
    """

    kind: JobKind
    ref: str
    condition: Condition = Was.ANYTHING
    source: str = ""
    created: datetime = _EPOCH


@dataclass(frozen=True, slots=True)
class Record:
    """A sealed job: the size of its data in bytes, and their SHA-256 in lower-case hex."""

    job: SpooledJob
    size: int
    digest: str


def record_text(record: Record) -> bytes:
    """One line of ASCII."""
    job = record.job
    said = json.dumps(
        {
            "version": _VERSION,
            "kind": job.kind.value,
            "ref": job.ref,
            "condition": _condition_values(job.condition),
            "source": job.source,
            "created": job.created.isoformat(),
            "size": record.size,
            "sha256": record.digest,
        }
    )
    return f"{_seal(said)} {said}\n".encode("ascii")


def read_record(text: bytes) -> Record:
    """The record, or Damaged."""
    seal, _, said = text.removesuffix(b"\n").decode("latin-1").partition(" ")
    if seal != _seal(said):
        raise Damaged("its description does not match its digest")
    try:
        values = json.loads(said)
        if values["version"] != _VERSION:
            raise Damaged(f"it is of version {values['version']!r}")
        job = SpooledJob(
            kind=JobKind(values["kind"]),
            ref=_text(values["ref"]),
            condition=_condition(values["condition"]),
            source=_text(values["source"]),
            created=datetime.fromisoformat(values["created"]),
        )
        return Record(job, int(values["size"]), _text(values["sha256"]))
    except (ValueError, KeyError, TypeError) as error:
        raise Damaged("its description cannot be read") from error


def _seal(said: str) -> str:
    return hashlib.sha256(said.encode("latin-1")).hexdigest()


def _condition_values(condition: Condition) -> dict[str, object]:
    if isinstance(condition, Was):
        return {"was": condition.value}
    return {
        "kind": condition.kind.value,
        "size": condition.size,
        "modified": condition.modified.isoformat() if condition.modified else None,
        "etag": condition.validators.etag,
        "last_modified": condition.validators.last_modified,
        "media_type": condition.media_type,
        "charset": condition.charset,
        "origin": condition.origin,
    }


def _condition(values: Mapping[str, object]) -> Condition:
    if "was" in values:
        return Was(values["was"])
    size, modified = values["size"], _text_or_none(values["modified"])
    if size is not None and not isinstance(size, int):
        raise TypeError("a size that is no number")
    return Stat(
        kind=Kind(values["kind"]),
        size=size,
        modified=datetime.fromisoformat(modified) if modified is not None else None,
        validators=Validators(_text_or_none(values["etag"]), _text_or_none(values["last_modified"])),
        media_type=_text(values["media_type"]),
        charset=_text_or_none(values["charset"]),
        origin=_text(values["origin"]),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("what should be text is not")
    return value


def _text_or_none(value: object) -> str | None:
    return None if value is None else _text(value)
