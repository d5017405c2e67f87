"""Bodies of command lines against V.250 sections 5.3 and 5.4, from memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.modem.commands import ACTIONS, Act, Ask, Assign, Call, Command, Extended, Form, commands
from gateway.modem.dialling import DialString
from gateway.modem.parameters import PARAMETERS


def read(body: str) -> tuple[list[Command], bool]:
    """The commands up to a mistake, and whether there was none."""
    found: list[Command] = []
    try:
        for each in commands(body):
            found.append(each)  # noqa: PERF402 - those before a mistake count
    except WrongWords:
        return found, False
    return found, True


BODIES: list[tuple[str, list[Command]]] = [
    ("", []),
    ("   ", []),
    ("E", [Assign("E", 0)]),
    ("E1", [Assign("E", 1)]),
    ("e1q0", [Assign("E", 1), Assign("Q", 0)]),
    ("E0V1X4&C1&D2", [Assign("E", 0), Assign("V", 1), Assign("X", 4), Assign("&C", 1), Assign("&D", 2)]),
    (" E 0 & c 1 ", [Assign("E", 0), Assign("&C", 1)]),
    ("X0004", [Assign("X", 4)]),  # leading zeros are ignored
    ("EQV", [Assign("E", 0), Assign("Q", 0), Assign("V", 0)]),
    ("S0=1", [Assign("S0", 1)]),
    ("S00=001", [Assign("S0", 1)]),
    ("s10 = 20", [Assign("S10", 20)]),
    ("S0=", [Assign("S0", 0)]),
    ("S0=S7=60", [Assign("S0", 0), Assign("S7", 60)]),
    ("S0?", [Ask("S0")]),
    ("S0?S3?S10 ?", [Ask("S0"), Ask("S3"), Ask("S10")]),
    ("A", [Act("A")]),
    ("H", [Act("H")]),
    ("H0", [Act("H")]),
    ("Z0", [Act("Z")]),
    ("&F", [Act("&F")]),
    ("&F0E0", [Act("&F"), Assign("E", 0)]),
    ("TP", [Act("T"), Act("P")]),
    ("D", [Call(DialString(), False)]),
    ("E0DT5550100", [Assign("E", 0), Call(DialString("5550100"), False)]),
    ("DTHarbour", [Call(DialString("Harbour"), False)]),
    ("D T Harbour E0", [Call(DialString("HarbourE0"), False)]),
    ("D5550100;H", [Call(DialString("5550100"), True), Act("H")]),
    ("D+15550100", [Call(DialString("+15550100"), False)]),
    ("+GMI", [Extended("+GMI", Form.DO)]),
    ("+gmi;+gmm", [Extended("+GMI", Form.DO), Extended("+GMM", Form.DO)]),
    ("+GMI;", [Extended("+GMI", Form.DO)]),
    ("E0+GMI;E1", [Assign("E", 0), Extended("+GMI", Form.DO), Assign("E", 1)]),
    ("+IPR?", [Extended("+IPR", Form.READ)]),
    ("+IPR=?", [Extended("+IPR", Form.TEST)]),
    ("+IPR=9600", [Extended("+IPR", Form.SET, (9_600,))]),
    ("+IFC=2,2", [Extended("+IFC", Form.SET, (2, 2))]),
    ("+IFC= 2 , 2 ;E0", [Extended("+IFC", Form.SET, (2, 2)), Assign("E", 0)]),
    ("+IFC=,2", [Extended("+IFC", Form.SET, (None, 2))]),
    ("+GMI E0", [Extended("+GMIE0", Form.DO)]),  # blanks part nothing
    ("+ IFC ?", [Extended("+IFC", Form.READ)]),
    ("+IFC= ?", [Extended("+IFC", Form.TEST)]),
    ("+A8/b:c.d_e-f%g!h", [Extended("+A8/B:C.D_E-F%G!H", Form.DO)]),
]


@pytest.mark.parametrize(("body", "expected"), BODIES)
def test_commands(body: str, expected: list[Command]) -> None:
    assert read(body) == (expected, True)


# What is wrong, and how many commands before that are right
WRONG = [
    ("K", 0),
    ("E0K", 1),
    ("E0;", 1),
    ("&", 0),
    ("&K0", 0),
    ("%C0", 0),
    ("H1", 0),
    ("Z1", 0),
    ("O1", 0),
    ("I3", 0),
    ("&F1", 0),
    ("A0", 0),
    ("T0", 0),
    ("P1", 0),
    ("S", 0),
    ("S=1", 0),
    ("S0", 0),
    ("S0E0", 0),
    ("S0=1 0", 1),  # a blank ends a number
    ("0", 0),
    ("?", 0),
    ("+", 0),
    ("+1", 0),
    ("+GMI?x", 0),
    ("+IPR=96 00", 0),
    ("+IPR=9600E0", 0),
    ('+IPR="9600"', 0),
    ("+IPR=?1", 0),
    ("+GMI;;E0", 1),
    ("+ABCDEFGHIJKLMNOPQ", 0),
]


@pytest.mark.parametrize(("body", "right"), WRONG)
def test_mistakes(body: str, right: int) -> None:
    found, good = read(body)
    assert (len(found), good) == (right, False)


NUMBERED = sorted(name for name in PARAMETERS if not name.startswith("S"))


@given(
    st.lists(
        st.one_of(
            st.tuples(st.sampled_from(NUMBERED), st.integers(0, 300)).map(lambda pair: Assign(*pair)),
            st.tuples(st.integers(0, 300), st.integers(0, 300)).map(
                lambda pair: Assign(f"S{pair[0]}", pair[1])
            ),
            st.integers(0, 300).map(lambda number: Ask(f"S{number}")),
            st.sampled_from(sorted(ACTIONS)).map(Act),
        ),
        max_size=8,
    ),
    st.booleans(),
    st.sampled_from(["", " ", "  "]),
)
def test_what_is_written_is_read(wanted: list[Assign | Ask | Act], lower: bool, blank: str) -> None:
    words = []
    for each in wanted:
        if isinstance(each, Assign):
            mark = "=" if each.name.startswith("S") else ""
            words.append(f"{each.name}{blank}{mark}{each.value}")
        else:
            words.append(f"{each.name}{'?' if isinstance(each, Ask) else ''}")
    body = blank.join(words)
    assert read(body.lower() if lower else body) == (wanted, True)


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40))
def test_any_body_ends_well_or_as_a_mistake(body: str) -> None:
    found, good = read(body)
    assert len(found) <= len(body)
    assert good or body.strip()
