"""[[source.NAME.field]]: options that fit the kind, widths that fit."""

from decimal import Decimal

import pytest

from gateway.catalogue.keys.key import FOLD_KINDS, WIDTHS
from gateway.catalogue.keys.table import KEYS
from gateway.extract.plan import Align, Cut, Fold, Kind
from tests.gateway.catalogue.marked import check, field, load, mistakes, source

WRONG = {
    "no name": ("width = 4\nnmae = 'X'\n^^^^ name", None),
    "kind": ("kind = 'fixd'\n        ^^^^ fixed\nwidth = 9", None),
    "name": ("name = 'vitesse né'\n        ^^^^^^^^^^\nwidth = 4", None),
    "long name": ("name = 'abcdefghijklm'\n        ^^^^^^^^^^^^^ abcdefghijkl\nwidth = 4", None),
    "width 0": ("width = 0\n        ^ 1", "text"),
    "width 256": ("width = 256\n        ^^^ 255", "text"),
    "decimals on text": ("width = 9\ndecimals = 1\n^^^^^^^^", "text"),
    "decimals on int": ("width = 9\ndecimals = 1\n^^^^^^^^", "int"),
    "cut on code": ("width = 9\ncut = 'end'\n^^^", "code"),
    "zone on int": ("width = 9\nzone = 'UTC'\n^^^^", "int"),
    "fill on hex": ("width = 9\nfill = 'x'\n^^^^", "hex"),
    "align": ("width = 9\nalign = 'rihgt'\n         ^^^^^ right", "text"),
    "fill of two": ("width = 9\nfill = '--'\n        ^^", "text"),
    "fill beyond ASCII": ("width = 9\nfill = '·'\n        ^", "text"),
    "missing too long": ("width = 3\nmissing = 'none'\n           ^^^^", "text"),
    "null too long": ("width = 1\nnull = '--'\n        ^^", "int"),
    "missing and required": ("width = 3\nrequired = true\nmissing = '?'\n^^^^^^^", "text"),
    "scale": ("width = 3\nscale = '0.1'\n         ^^^", "int"),
    "scale that is none": ("width = 3\nscale = nan\n        ^^^", "int"),
    "scale too great": ("width = 3\nscale = 1e40\n        ^^^^", "int"),
    "out": ("width = 9\nout = '%Y-%Q'\n          ^^", "date"),
    "out cut short": ("width = 9\nout = '%d.%m.%'\n             ^", "date"),
    "in": ("in = '%Y-%Q'\n         ^^", "date"),
    "zone": ("zone = 'Lisbon'\n        ^^^^^^ Europe/Lisbon", "date"),
    "zone in another case": ("zone = 'Europe/Lisbom'\n        ^^^^^^^^^^^^^ Europe/Lisbon", "date"),
    "date too narrow": ("width = 8\n        ^ 10", "date"),
    "date too narrow for its pattern": ("width = 7\n        ^ 8\nout = '%d.%m.%y'", "date"),
    "pattern too wide for the width": ("out = '%d.%m.%Y %H:%M'\n       ^^^^^^^^^^^^^^", "date"),
    "time too narrow": ("width = 4\n        ^ 5", "time"),
    "fixed too narrow": ("width = 3\n        ^ 4", "fixed"),
    "sum of dates": ("fold = 'sum'\n        ^^^", "date"),
    "map": ("width = 3\nmap = { a = [] }\n            ^^", "text"),
    "control in a map": ('width = 3\nmap = { a = "\\n" }\n             ^^', "text"),
}


@pytest.mark.parametrize(("lines", "kind"), WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str, kind: str | None) -> None:
    if kind is not None:
        check(field(lines, kind))
        return
    head = '[source.a]\nurl = "https://a.example/"\n[[source.a.field]]\n'
    if "name" not in lines and "nmae" not in lines:
        lines = "name = 'X'\n" + lines
    check(head + lines)


@pytest.mark.parametrize("kind", [each.value for each in Kind])
def test_widths_that_need_not_be_told(kind: str) -> None:
    default = WIDTHS.get(Kind(kind))
    if default is None:
        check(field("", kind).replace("[[source.a.field]]", "[[source.a.field]]\n" + " " * 11 + "^^^^^"))
    else:
        assert load(field("", kind)).sources["A"].plan.fields[0].width == default


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("key", [each for each in KEYS["field"].values() if each.kinds is not None])
def test_each_option_goes_with_its_kinds_and_no_others(kind: Kind, key: object) -> None:
    """The one table (KEYS) decides: what it says is what is taken."""
    from gateway.catalogue.keys.key import Key

    assert isinstance(key, Key)
    assert key.kinds is not None
    value = {"decimals": "1", "scale": "2", "offset": "-1.5"}.get(key.name)
    value = value or {"align": "'left'", "fill": "'.'", "in": "'%d'", "out": "'%d'", "zone": "'UTC'"}.get(
        key.name
    )
    found = mistakes(field(f"width = 12\n{key.name} = {value or repr('end')}", kind.value))
    assert bool(found) == (kind not in key.kinds)


@pytest.mark.parametrize("fold", list(Fold))
@pytest.mark.parametrize("kind", list(Kind))
def test_each_fold_goes_with_its_kinds(fold: Fold, kind: Kind) -> None:
    found = mistakes(field(f"width = 12\nfold = '{fold.value}'", kind.value))
    assert bool(found) == (kind not in FOLD_KINDS[fold])


@pytest.mark.parametrize("name", ["A", "wind speed", "m/s", "T_C", "123456789012"])
def test_names_of_fields(name: str) -> None:
    assert load(field("width = 4").replace('"X"', f'"{name}"')).sources["A"].plan.fields[0].name == name


def test_names_of_fields_differ_in_more_than_case() -> None:
    check(source("", '[[source.a.field]]\nname = "x"\n        ^\nwidth = 2'))


def test_a_record_is_at_most_255_wide() -> None:
    def wide(*widths: int, gap: int = 1) -> str:
        fields = "".join(f'[[source.a.field]]\nname = "F{n}"\nwidth = {w}\n' for n, w in enumerate(widths))
        return f'[source.a]\nurl = "https://a.example/"\ngap = {gap}\n{fields}'

    assert load(wide(127, 127)).sources["A"].plan.width == 255
    assert load(wide(127, 128, gap=0)).sources["A"].plan.width == 255
    (mistake,) = mistakes(wide(100, 100, 100, 100))
    assert (mistake.line, mistake.column, mistake.length) == (12, 9, 3)
    assert "302" in mistake.found


def test_all_fields_fold_or_none() -> None:
    check(source("", 'fold = "first"\n[[source.a.field]]\n           ^^^^^\nname = "Y"\nwidth = 2'))


def test_what_is_read() -> None:
    lines = """
name = "HEIGHT"
at = ["$.h", "$.height"]
kind = "fixed"
width = 8
decimals = 3
scale = 0.10
offset = -5
align = "center"
fill = "."
missing = "?"
null = "none"
map = { high = "1", 7 = 8, true = "x" }
required = false
fold = "max"
"""
    read = (
        load(f'[source.a]\nurl = "https://a.example/"\n[[source.a.field]]{lines}').sources["A"].plan.fields[0]
    )
    assert (read.name, read.width, read.kind, read.decimals) == ("HEIGHT", 8, Kind.FIXED, 3)
    assert (read.scale, read.offset) == (Decimal("0.10"), Decimal(-5))
    assert (read.align, read.fill, read.missing, read.null) == (Align.CENTER, ".", "?", "none")
    assert read.map == {"high": "1", "7": "8", "true": "x"}
    assert (read.required, read.fold, read.cut) == (False, Fold.MAX, Cut.END)
    assert [each.text for each in read.at] == ["$.h", "$.height"]


def test_dates_are_read() -> None:
    read = (
        load(field("in = '%d/%m/%Y'\nout = '%a %d'\nzone = 'europe/lisbon'", "date"))
        .sources["A"]
        .plan.fields[0]
    )
    assert (read.in_pattern, read.out_pattern, read.zone) == ("%d/%m/%Y", "%a %d", "Europe/Lisbon")


def test_a_pattern_with_a_plain_year_fits_its_own_text() -> None:
    assert load(field("width = 6\nout = '%b %-d'", "date")).sources["A"].plan.fields[0].width == 6
