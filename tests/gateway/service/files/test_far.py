"""Who does what where."""

import pytest

from adapters.errors import NotPossible, WrongMoment
from adapters.files import Ability, Target
from adapters.port import CredentialKind, Credentials
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue
from gateway.service.files.far import Far, far_of, refuse_itself
from tests.gateway.service.files.memory import MemoryFiles


def far(adapter: MemoryFiles, url: str, secret: str = "") -> Far:
    login = Credentials(CredentialKind.BASIC, "reader", secret) if secret else None
    return Far(Ref(url), Target(url, url, login), adapter)


def test_an_adapter_without_documents_is_refused() -> None:
    with pytest.raises(NotPossible):
        far_of(Catalogue(), lambda url: object(), Ref("tcp://h.example:7"))


def test_beside_means_one_server_and_one_login() -> None:
    one, other = MemoryFiles(), MemoryFiles()
    first = far(one, "ftp://h.example/a", "x")
    assert first.beside(far(one, "ftp://h.example/b", "x"))
    assert not first.beside(far(one, "ftp://h.example/b", "y"))
    assert not first.beside(far(one, "ftp://g.example/b", "x"))
    assert not first.beside(far(one, "ftps://h.example/b", "x"))
    assert not first.beside(far(other, "ftp://h.example/b", "x"))


def test_where_it_is_names_no_path() -> None:
    assert far(MemoryFiles(), "ftp://h.example:2121/a/b").origin == "ftp://h.example:2121"
    assert far(MemoryFiles(), "file:///srv/shelf/a").origin == "this gateway's disk"


def test_nothing_is_copied_onto_itself() -> None:
    one = MemoryFiles()
    with pytest.raises(WrongMoment):
        refuse_itself(far(one, "ftp://h.example/a"), far(one, "ftp://h.example/a"))
    refuse_itself(far(one, "ftp://h.example/a"), far(one, "ftp://h.example/b"))


def test_abilities_are_the_adapters() -> None:
    limited = MemoryFiles(Ability.READ | Ability.STAT)
    assert far(limited, "ftp://h.example/a").can(Ability.READ)
    assert not far(limited, "ftp://h.example/a").can(Ability.READ | Ability.WRITE)
