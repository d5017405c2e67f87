"""auth of a source -> Auth: exactly one of its four forms."""

from typing import Final

from adapters.port import CredentialKind
from gateway.catalogue.model import Auth
from gateway.catalogue.schema.source.headers import name_fault
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.secrets import Secrets

_FORMS: Final = ("header", "basic", "bearer", "query")
_ALLOWED: Final = "one of header basic bearer query"


def read_auth(source: Table, secrets: Secrets) -> Auth | None:
    """The credentials of a source, or None."""
    values = source.table("auth")
    if values is None:
        return None
    table = Table(source.report, "auth", source.at("auth"), values)
    forms = [each for each in _FORMS if each in table]
    secret = secrets.read(table, header="header" in forms or "bearer" in forms)
    names = {each: table.text(each) for each in _FORMS if each != "bearer"}
    bearer = table.flag("bearer")
    if not forms and table.settled(*_FORMS):
        table.report.at_key(table.path, "none of them", _ALLOWED)
    for form in forms[1:]:
        table.report.at_key(table.at(form), f"{form} beside {forms[0]}", _ALLOWED)
    if len(forms) != 1 or secret is None:
        return None
    kind = CredentialKind(forms[0])
    if kind is CredentialKind.BEARER:
        if bearer is False:
            table.wrong("bearer", "false", "true")
        return Auth(kind, "", secret)
    name = names[forms[0]]
    if name is None:
        return None
    if kind is CredentialKind.HEADER:
        fault = name_fault(name)
        if fault is not None:
            table.wrong("header", fault[0], allowed=fault[1])
            return None
    if kind is CredentialKind.BASIC and ":" in name:
        table.wrong("basic", "a colon in a user's name", allowed="the user alone, the password under secret")
        return None
    return Auth(kind, name, secret)
