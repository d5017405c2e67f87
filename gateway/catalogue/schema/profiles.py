"""[profile.NAME] -> Settings, through the same table that SET uses."""

from collections.abc import Mapping

from adapters.errors import HeadraceError, NotPossible
from gateway.catalogue.keys import KEYS
from gateway.catalogue.mistakes import nearest
from gateway.catalogue.model import Number
from gateway.catalogue.positions import Path
from gateway.catalogue.schema.names import named_tables
from gateway.catalogue.schema.report import LATER, Report, shown
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.zones import near_zone
from gateway.wire.settings import Settings, change

_PLAIN = "PLAIN"


def read_profiles(top: Table) -> dict[str, Settings]:
    """All profiles by name in upper case, `plain` among them."""
    profiles = {_PLAIN: Settings()}
    for name, path, values in named_tables(top, "profile"):
        if name == _PLAIN:
            top.report.at_key(path, "plain, which is all defaults", "another name")
        settings = _read_profile(top.report, path, values)
        profiles.setdefault(name, settings)
    return profiles


def _read_profile(report: Report, path: Path, values: Mapping[str, object]) -> Settings:
    table = Table(report, "profile", path, values)
    pairs: list[tuple[str, str]] = []
    for key in KEYS["profile"].values():
        if key.later:
            continue
        word = _word(table.mixed(key.name))
        if word is None:
            if key.name in table:
                table.wrong(key.name, shown(values[key.name]))
            continue
        try:
            change(Settings(cols=16), [(key.name, word)])
        except NotPossible:
            table.wrong(key.name, f"{word}: {LATER}")
        except HeadraceError:
            near = near_zone(word) if key.name == "zone" else nearest(word, key.allowed.split())
            table.wrong(key.name, shown(values[key.name]), near)
        else:
            pairs.append((key.name, word))
    try:
        return change(Settings(), pairs)
    except HeadraceError as error:
        names = [name for name, _ in pairs]
        wide = {"cols", "most"} & set(names) and "cols" in error.sentence
        culprit = next(each for each in (("cols", "most") if wide else ("eol", "bits")) if each in names)
        table.wrong(culprit, error.sentence, allowed=_together(culprit, dict(pairs)))
        return Settings()


def _together(culprit: str, words: Mapping[str, str]) -> str:
    """What goes together with the other settings, where each by itself is right."""
    plain = Settings()
    cols, most = int(words.get("cols", plain.cols)), int(words.get("most", plain.most))
    if cols > most:
        return (
            f"cols at most {most}, which is most"
            if culprit == "cols"
            else f"most at least {cols}, which is cols"
        )
    return "bits = 8 with eol 9b, or another eol"


def _word(value: object) -> str | None:
    """A TOML value as a client would type it."""
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, int | str):
        return str(value)
    return value.text if isinstance(value, Number) else None
