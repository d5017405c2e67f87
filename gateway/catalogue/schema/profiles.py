"""[profile.NAME] -> Settings, through the same table that SET uses."""

from collections.abc import Mapping

from adapters.errors import HeadraceError
from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.document.positions import Path
from gateway.catalogue.keys.table import KEYS
from gateway.catalogue.model import Number
from gateway.catalogue.schema.names import named_tables
from gateway.catalogue.schema.report import Report, shown
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.charsets import Charsets
from gateway.catalogue.schema.values.zones import near_zone
from gateway.wire.ready import PROFILES
from gateway.wire.settings import CHECK_WIDTHS, Settings, change

_PLAIN = "PLAIN"


def read_profiles(top: Table, charsets: Charsets) -> dict[str, Settings]:
    """All profiles by name in upper case, `plain` and the ready ones among them."""
    profiles = dict(PROFILES)
    for name, path, values in named_tables(top, "profile"):
        if name == _PLAIN:
            top.report.at_key(path, "plain, which is all defaults", "another name")
        settings = _read_profile(top.report, path, values, charsets)
        if name != _PLAIN:
            profiles[name] = settings
    return profiles


def _read_profile(report: Report, path: Path, values: Mapping[str, object], charsets: Charsets) -> Settings:
    table = Table(report, "profile", path, values)
    pairs: list[tuple[str, str]] = []
    for key in KEYS["profile"].values():
        word = _word(table.mixed(key.name))
        if word is None:
            if key.name in table:
                table.wrong(key.name, shown(values[key.name]))
            continue
        if key.name == "charset":
            pairs += [(key.name, word)] if charsets.accepts(table, str(path[-1]), word) else []
            continue
        try:
            change(Settings(cols=16), [(key.name, word)])
        except HeadraceError:
            near = near_zone(word) if key.name == "zone" else nearest(word, key.allowed.split())
            table.wrong(key.name, shown(values[key.name]), near)
        else:
            pairs.append((key.name, word))
    return _settings(table, pairs, charsets)


def _settings(table: Table, pairs: list[tuple[str, str]], charsets: Charsets) -> Settings:
    """What they come to; where some do not go together, that is reported, and so is what else is at odds."""
    while True:
        try:
            return change(Settings(), pairs, charsets.tables)
        except HeadraceError as error:
            names = [name for name, _ in pairs]
            wide = {"cols", "most"} & set(names) and "cols" in error.sentence
            others = ("charset", "eol", "bits") if "charset" in error.sentence else ("eol", "bits")
            culprit = next(each for each in (("cols", "most") if wide else others) if each in names)
            table.wrong(culprit, error.sentence, allowed=_together(culprit, dict(pairs)))
            dropped = {"cols", "most"} if wide else {culprit}
            pairs = [each for each in pairs if each[0] not in dropped]


def _together(culprit: str, words: Mapping[str, str]) -> str:
    """What goes together with the other settings, where each by itself is right."""
    plain = Settings()
    cols, most = int(words.get("cols", plain.cols)), int(words.get("most", plain.most))
    check = CHECK_WIDTHS[words.get("check", plain.check).lower()]
    if cols + check > most:
        also = ", less the check" if check else ""
        also_most = " and the check" if check else ""
        return (
            f"cols at most {most - check}, which is most{also}"
            if culprit == "cols"
            else f"most at least {cols + check}, which is cols{also_most}"
        )
    if culprit == "charset":
        return "a charset that goes with bits and eol: ascii latin1 caseswap"
    return "bits = 8 with eol 9b, or another eol"


def _word(value: object) -> str | None:
    """A TOML value as a client would type it."""
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, int | str):
        return str(value)
    return value.text if isinstance(value, Number) else None
