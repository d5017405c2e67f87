"""A document as it was recorded, and as it is now -> findings: what became of a source's rows and fields."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from gateway.drift.kinds import NULL, kind_of, text_kind
from gateway.drift.likely import Lost, likely_paths, likely_rows, read_rows
from gateway.drift.nothing import none_now
from gateway.drift.places import Document, Places, below, places
from gateway.extract.pipeline import lay_out
from gateway.extract.plan import Field, Plan, Row, Style
from gateway.extract.values import MISSING, Value


class What(Enum):
    """What is found; those after NEW are no drift."""

    GONE = "gone"  # no row has it any more
    ROWS = "rows"  # the rows are not where they were
    KIND = "kind"  # another kind of value
    FIT = "fit"  # does not fit its width any more, or cannot be laid out
    NEVER = "never"  # without a recording: no row has it
    NEW = "new"  # there is more beside it
    EMPTY = "empty"  # there are no rows now


@dataclass(frozen=True, slots=True)
class Finding:
    """`field` is empty for what concerns the rows. `said` says what was found, `likely` paths to paste."""

    what: What
    field: str
    said: str
    likely: tuple[str, ...] = ()

    @property
    def drift(self) -> bool:
        """Whether something is to be done about it."""
        return self.what not in (What.NEW, What.EMPTY)


def compared(plan: Plan, before: Document, now: Document) -> list[Finding]:
    """What has changed for the plan's fields. HeadraceError where the document now is not what it reads."""
    old_rows, rows = read_rows(before, plan), read_rows(now, plan)
    old, new = places(before, plan), places(now, plan)
    findings: list[Finding] = []
    if old_rows and not rows:
        moved, plan = _moved_rows(plan, now, new, old)
        findings.append(moved)
        if not moved.likely:
            return findings
        rows = read_rows(now, plan)
    elif plan.rows is not None and _none_of(plan, old_rows, rows):
        found = likely_rows(now, plan, new, old)
        if found is not None and found.new:
            said = f'"{plan.rows.text}" finds what has none of the fields'
            findings.append(Finding(What.ROWS, "", said, (found.text,)))
            plan = replace(plan, rows=found.path)
            rows = read_rows(now, plan)
    if not old_rows or not rows:
        return findings
    for index, each in enumerate(plan.fields):
        was, is_now = ([row.values[index] for row in some] for some in (old_rows, rows))
        findings += _field(each, was, is_now, _Where(plan, now, new, old))
    findings += _fits(plan, old_rows, rows, {each.field for each in findings})
    return findings + list(_beside(plan, new, old))


def alone(plan: Plan, now: Document) -> list[Finding]:
    """What is wrong with the fields, without a recording to compare with. HeadraceError as above."""
    rows = read_rows(now, plan)
    if not rows:
        return [Finding(What.EMPTY, "", "there are no rows now")]
    findings = [
        Finding(What.NEVER, each.name, f"{_quoted(each)} finds nothing in {_count(len(rows), 'row')}")
        for index, each in enumerate(plan.fields)
        if all(row.values[index] is MISSING for row in rows)
    ]
    return findings + _fits(plan, [], rows, {each.field for each in findings})


@dataclass(frozen=True, slots=True)
class _Where:
    plan: Plan
    document: Document
    now: Places
    before: Places


def _moved_rows(plan: Plan, document: Document, now: Places, before: Places) -> tuple[Finding, Plan]:
    said = "none of the columns is there" if plan.rows is None else f'"{plan.rows.text}" finds nothing'
    found = likely_rows(document, plan, now, before)
    if not (found is not None and found.new) and none_now(plan, now, before):
        return Finding(What.EMPTY, "", "there are no rows now"), plan
    if found is not None:
        finding = Finding(What.ROWS, "", said, (found.text,))
        return finding, replace(plan, rows=found.path)
    return Finding(What.ROWS, "", said), plan


def _none_of(plan: Plan, old_rows: Sequence[Row], rows: Sequence[Row]) -> bool:
    """Whether the rows have none of the fields that they had."""
    had, has = (
        {index for index in range(len(plan.fields)) if any(row.values[index] is not MISSING for row in some)}
        for some in (old_rows, rows)
    )
    return bool(had) and not has & had


def _field(field: Field, was: Sequence[Value], now: Sequence[Value], where: _Where) -> Iterator[Finding]:
    had = [value for value in was if value is not MISSING]
    has = [value for value in now if value is not MISSING]
    if had and not has:
        lost = Lost(field, tuple(had))
        likely = likely_paths(lost, where.document, where.plan, where.now, where.before)
        yield Finding(What.GONE, field.name, f"{_quoted(field)} finds nothing", tuple(likely))
        return
    kind = text_kind if where.now.text else kind_of
    kinds, kinds_now = ({kind(value) for value in some} for some in (had, has))
    strange = kinds_now - kinds - {NULL}
    if where.now.text and len(kinds) > 1:
        return  # text of any kind
    if strange and kinds - {NULL}:
        lost = Lost(field, tuple(had))
        likely = likely_paths(lost, where.document, where.plan, where.now, where.before, new=True)
        said = f"{_words(kinds - {NULL})} before, {_words(kinds_now)} now"
        yield Finding(What.KIND, field.name, said, tuple(likely))
    elif kinds_now == {NULL} and kinds - {NULL}:
        yield Finding(What.KIND, field.name, f"{_words(kinds - {NULL})} before, always null now")


def _fits(plan: Plan, old_rows: Sequence[Row], rows: Sequence[Row], told: set[str]) -> list[Finding]:
    """What does not fit now and did before. Where the kind has changed, that says it already."""
    before, now = (lay_out(some, plan, Style()) for some in (old_rows, rows))
    findings = []
    for pairs, old_pairs, word in (
        (now.cuts, before.cuts, "is cut to"),
        (now.misfits, before.misfits, "does not fit, or is no such value, in"),
    ):
        known = dict(old_pairs)
        for name, count in pairs:
            if name not in known and name not in told:
                width = next(each.width for each in plan.fields if each.name == name)
                said = f"{word} {width} in {count} of {_count(len(now.records), 'record')}"
                findings.append(Finding(What.FIT, name, said))
    return findings


def _beside(plan: Plan, now: Places, before: Places) -> Iterator[Finding]:
    """What is new in the rows."""
    place, old_place = now.row_place(plan), before.row_place(plan)
    if place is None or place != old_place:
        return
    new = [
        now.path(rest)
        for each in now.leaves
        if each not in before.leaves and (rest := below(each, place)) is not None and rest
    ]
    if new:
        yield Finding(What.NEW, "", f"new beside the fields: {', '.join(new[:5])}{' ...' if new[5:] else ''}")


def _quoted(field: Field) -> str:
    return " or ".join(f'"{path.text}"' for path in field.at) or "the row"


def _words(kinds: set[str]) -> str:
    return " or ".join(sorted(kinds))


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
