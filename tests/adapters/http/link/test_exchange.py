"""The facts of one fetch."""

from adapters.http.link.exchange import CURRENT, Exchange


def test_nothing_is_doubtful_before_something_was_sent() -> None:
    assert not Exchange(dialled=True, answered=True, ended=True).doubtful
    assert Exchange(sent=True).doubtful
    assert Exchange(acted=True).doubtful


def test_another_request_forgets_what_concerned_the_last() -> None:
    exchange = Exchange(dialled=True, answered=True, ended=True, sent=True, acted=True)
    exchange.begin_request()
    assert exchange == Exchange(sent=True, acted=True)


def test_outside_of_a_fetch_there_is_none() -> None:
    assert CURRENT.get() is None
