"""Extended commands against V.250 sections 5.4, 6.1 and 6.2, from memory."""

import pytest

from adapters.errors import WrongWords
from gateway.modem.commands import Extended, commands
from gateway.modem.extended import EXTENDED_ACTIONS, EXTENDED_PARAMETERS, Identity, extended
from gateway.modem.parameters import Parameters

PLAIN = Parameters()
IDENTITY = Identity(2_400, "1.2")


def run(body: str, parameters: Parameters = PLAIN) -> tuple[Parameters, str | None]:
    (command,) = commands(body)
    assert isinstance(command, Extended)
    return extended(command, parameters, IDENTITY)


SHOWN = [
    ("+GMI", "headrace"),
    ("+GMM", "headrace modem"),
    ("+GMR", "1.2"),
    ("+GCAP", "+GCAP: "),
    ("+GMI=?", None),
    ("+IPR?", "+IPR: 2400"),
    ("+IPR=?", "+IPR: (),(2400)"),
    ("+IPR=2400", None),
    ("+ICF?", "+ICF: 3,3"),
    ("+ICF=?", "+ICF: (3),(0-3)"),
    ("+IFC?", "+IFC: 2,2"),
    ("+IFC=?", "+IFC: (0,2),(0,2)"),
    ("+ILRR?", "+ILRR: 0"),
    ("+ILRR=?", "+ILRR: (0,1)"),
]


@pytest.mark.parametrize(("body", "text"), SHOWN)
def test_what_is_shown(body: str, text: str | None) -> None:
    assert run(body) == (PLAIN, text)


def test_what_is_set() -> None:
    assert run("+ILRR=1") == (Parameters(rate_report=1), None)
    assert run("+IFC=0,2") == (Parameters(flow_in=0), None)
    assert run("+ICF=3,1") == (Parameters(parity=1), None)


def test_a_value_left_out_stays_as_it_was() -> None:
    before = Parameters(flow_in=0, parity=1)
    assert run("+IFC=,0", before) == (Parameters(flow_in=0, flow_out=0, parity=1), None)
    assert run("+ICF=3", before) == (before, None)
    assert run("+IFC=", before) == (before, None)


WRONG = ["+IPR=9600", "+IPR=0", "+IPR", "+IPR=2400,2400", "+ICF=1", "+ICF=3,4", "+IFC=1,2", "+IFC=2,2,2"]
WRONG += ["+ILRR=2", "+ILRR", "+GMI?", "+GMI=1"]
# The recommendation's own that mean nothing here, and one that it does not have
WRONG += ["+MS?", "+MS=V34", "+ES=1", "+DS?", "+MR=1", "+ER?", "+DR=?", "+GCI?", "+GSN", "+GOI", "+XYZ"]


@pytest.mark.parametrize("body", WRONG)
def test_mistakes(body: str) -> None:
    with pytest.raises(WrongWords):
        run(body)


def test_every_parameter_can_be_asked_for_what_it_takes() -> None:
    for name in EXTENDED_PARAMETERS:
        _, text = run(f"{name}=?")
        assert text is not None
        assert text.startswith(f"{name}: (")


def test_texts_can_be_sent() -> None:
    """Section 5.1: the alphabet is that of T.50."""
    for name in EXTENDED_ACTIONS:
        _, text = run(name)
        assert text is not None
        assert text.isascii()
        assert text.isprintable()


def test_name_and_version() -> None:
    assert IDENTITY.text == "headrace 1.2"
    assert Identity().text == "headrace"
