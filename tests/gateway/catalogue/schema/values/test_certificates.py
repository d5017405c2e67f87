"""`ca`: looked at where the caller says how."""

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.reading import load_catalogue
from tests.gateway.catalogue.marked import SECRETS, source


def reason(path: str) -> str | None:
    """What a caller may find of a certificate file."""
    return None if path == "good.pem" else "is not there"


@pytest.mark.parametrize(
    ("head", "column"), [('[place.p]\nbase = "https://a.example/"\n', 7), (source("").split("[[")[0], 7)]
)
def test_certificates_are_asked_for(head: str, column: int) -> None:
    tail = source("").partition("[[")[2]
    rest = f"[[{tail}" if head.startswith("[source") else ""
    load_catalogue(f'{head}ca = "good.pem"\n{rest}', "f", SECRETS.get, check_ca=reason)
    load_catalogue(f'{head}ca = "bad.pem"\n{rest}', "f", SECRETS.get)
    with pytest.raises(CatalogueFaults) as caught:
        load_catalogue(f'{head}ca = "bad.pem"\n{rest}', "f", SECRETS.get, check_ca=reason)
    (mistake,) = caught.value.mistakes
    assert (mistake.column, mistake.length) == (column, len("bad.pem"))
    assert mistake.found == '"bad.pem", which is not there'
