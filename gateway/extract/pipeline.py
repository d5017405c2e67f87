"""document + Plan + Style -> Sheet: rows, then distinct, sorted, limited, then laid out or folded.

CONTRACT section 4, in its order. What it leaves open, and is settled here:

- Rows are distinct by the record that the client would see, and the first of each stays.
- A column is sorted by the value after its `map`, `scale` and `offset` and before rounding and cutting:
  numbers by size, dates by instant, text by what is printed, case-blind and then exact. Unreadable numbers
  and dates come after the readable, then null, then missing, ascending and descending alike; equal rows keep
  their order.
- With `fold` there is always one record, of no rows too. A field without a fold among folded ones shows its
  first value.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final

from adapters import limits
from adapters.errors import WrongWords
from gateway.extract.fields.cell import Cell, Fit, Group, Laid, make_cell
from gateway.extract.fields.folding import fold
from gateway.extract.fields.text import Lettering
from gateway.extract.plan import Fold, Plan, Record, Row, Sheet, Style
from gateway.extract.rows import RowReader
from gateway.extract.values import Value


def extract(body: bytes, media_type: str, charset: str | None, plan: Plan, style: Style) -> Sheet:
    """All records of one document.

    `media_type` is `type/subtype` in lower case, or empty; `charset` as the server named it, or None. Raises
    WrongDocument, TooLarge, and PathFault for a path that its document's language does not know.
    """
    prepared = _prepared(plan, style)
    return prepared.sheet(prepared.reader.read(body, media_type, charset))


def lay_out(rows: Sequence[Row], plan: Plan, style: Style) -> Sheet:
    """The records of rows that were picked already."""
    return _prepared(plan, style).sheet(rows)


class _Prepared:
    """What one plan and one style need once for any number of documents."""

    def __init__(self, plan: Plan, style: Style) -> None:
        lettering = Lettering(style.charset, plan.letters)
        self.plan = plan
        self.reader = RowReader(plan)
        self._cells: tuple[Cell, ...] = tuple(make_cell(each, lettering, style.zone) for each in plan.fields)
        self._lays: tuple[Callable[[Value], Laid], ...] = tuple(cell.lay for cell in self._cells)
        self._maps = any(each.map for each in plan.fields)
        self._folds = any(each.fold for each in plan.fields)
        self._sort = None if plan.sort is None else _index(plan, plan.sort)
        self._gap = " " * plan.gap

    def sheet(self, rows: Sequence[Row]) -> Sheet:
        plan = self.plan
        lines = [self._resolved(row.values) for row in rows] if self._maps else [row.values for row in rows]
        if plan.distinct:
            lines = self._distinct(lines)
        if self._sort is not None:
            lines = self._sorted(lines, self._sort)
        limited = plan.limit is not None and len(lines) > plan.limit
        if limited:
            lines = lines[: plan.limit]
        records = (self._folded(lines),) if self._folds else tuple(map(self._record, lines))
        cuts = Counter(name for record in records if record.cut for name in record.cut)
        misfits = Counter(name for record in records if record.misfit for name in record.misfit)
        return Sheet(plan.width, records, limited, tuple(cuts.items()), tuple(misfits.items()))

    def _resolved(self, values: Sequence[Value]) -> tuple[Value, ...]:
        return tuple(cell.resolve(value) for cell, value in zip(self._cells, values, strict=True))

    def _distinct(self, lines: list[tuple[Value, ...]]) -> list[tuple[Value, ...]]:
        first: dict[str, tuple[Value, ...]] = {}
        for line in lines:
            first.setdefault(self._record(line).text, line)
        return list(first.values())

    def _sorted(self, lines: list[tuple[Value, ...]], column: int) -> list[tuple[Value, ...]]:
        cell = self._cells[column]
        ordered = [(cell.order(line[column]), line) for line in lines]
        result: list[tuple[Value, ...]] = []
        for group in Group:
            members = [each for each in ordered if each[0].group is group]
            members.sort(key=lambda each: each[0].key, reverse=self.plan.descending)  # stable either way
            result += [line for _, line in members]
        return result

    def _record(self, values: Sequence[Value]) -> Record:
        return self._joined([lay(value) for lay, value in zip(self._lays, values, strict=True)])

    def _folded(self, lines: Sequence[Sequence[Value]]) -> Record:
        return self._joined(
            [
                fold(cell, each.fold or Fold.FIRST, [line[column] for line in lines])
                for column, (cell, each) in enumerate(zip(self._cells, self.plan.fields, strict=True))
            ]
        )

    def _joined(self, laid: Sequence[Laid]) -> Record:
        text = self._gap.join([each.text for each in laid])
        if [each.fit for each in laid].count(Fit.WHOLE) == len(laid):
            return Record(text)
        return Record(text, self._names(laid, Fit.MISFIT), self._names(laid, Fit.CUT))

    def _names(self, laid: Sequence[Laid], fit: Fit) -> tuple[str, ...]:
        return tuple(
            field.name for field, each in zip(self.plan.fields, laid, strict=True) if each.fit is fit
        )


def _index(plan: Plan, name: str) -> int:
    for index, each in enumerate(plan.fields):
        if each.name.casefold() == name.casefold():
            return index
    raise WrongWords("No field of that name to sort by")


# By the plan's identity: the same plan object serves every request of its source. An entry holds its plan, so
# that no other object can come to have the same identity.
_recent: Final[dict[tuple[int, Style], _Prepared]] = {}


def _prepared(plan: Plan, style: Style) -> _Prepared:
    key = (id(plan), style)
    prepared = _recent.get(key)
    if prepared is None:
        prepared = _Prepared(plan, style)
        if len(_recent) >= limits.PREPARED_PLANS:
            _recent.clear()
        _recent[key] = prepared
    return prepared
