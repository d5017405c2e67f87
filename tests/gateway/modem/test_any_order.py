"""Anything in any order: a small model beside the modem, and what must hold whatever comes."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gateway.modem.calls import State
from gateway.modem.effects import Answer, Carrier, Dial, Effect, HangUp, Refuse, Send, Show
from gateway.modem.modem import Modem
from gateway.modem.parameters import PARAMETERS, Parameters
from gateway.modem.results import Failure
from gateway.modem.terminal import ModemSettings
from tests.gateway.modem.desk import SETTINGS, merged

WORDS = {0: "OK", 1: "CONNECT 9600", 2: "RING", 3: "NO CARRIER", 4: "ERROR", 6: "NO DIALTONE", 7: "BUSY"}
EIGHTHS = st.integers(0, 80).map(lambda eighths: eighths / 8)


class Model(RuleBasedStateMachine):
    """What a modem must say and want. It reads no bytes: each rule knows what its own line means.

    Times are eighths of a second, and S10 is 10, so that all sums are exact.
    """

    @initialize(verbose=st.integers(0, 1), ready=st.integers(0, 2), wait=st.integers(1, 9))
    def begin(self, verbose: int, ready: int, wait: int) -> None:
        self.at_first = Parameters(verbose=verbose, ready=ready, wait=wait, loss=10, pause=3)
        self.modem = Modem(ModemSettings(SETTINGS.identity, self.at_first))
        self.now = 1_000.0
        self.state = "command"
        self.echo, self.quiet, self.always_up, self.answer = True, False, False, 0
        self.ring_at = self.give_up_at = self.dial_at = self.gone_at = self.quiet_since = 0.0
        self.rings = 0
        self.up = self.terminal_ready = True
        self.up = False
        self.line_at = 0.0
        self.kept = b""
        self.expected: list[Effect] = []

    # The model's own words

    def say(self, number: int) -> None:
        if not self.quiet:
            words = f"\r\n{WORDS[number]}\r\n" if self.at_first.verbose else f"{number}\r"
            self.expected.append(Show(words.encode()))

    def typed_line(self, line: bytes) -> None:
        if self.echo:
            self.expected.append(Show(line))

    def wire(self) -> None:
        up = self.always_up or (self.state in {"online", "online command"} and not self.gone_at)
        if up != self.up:
            self.up = up
            self.expected.append(Carrier(up))

    def over(self, known: bool = True) -> None:
        """`known`: the network has a call to be let go."""
        if known and self.state != "pausing":
            self.expected.append(HangUp())
        self.state, self.gone_at, self.kept = "command", 0.0, b""
        self.wire()

    def ring(self) -> None:
        self.rings += 1
        self.ring_at = self.now + 6
        self.say(2)
        if 0 < self.answer <= self.rings and (self.terminal_ready or self.at_first.ready != 2):
            self.expected.append(Answer())
            self.state, self.give_up_at = "answering", self.now + self.at_first.wait

    def check(self, effects: tuple[Effect, ...]) -> None:
        assert merged(effects) == merged(self.expected)
        self.expected = []

    # What happens

    @rule(seconds=EIGHTHS)
    def time(self, seconds: float) -> None:
        until = self.now + seconds
        while (due := self.modem.due()) is not None and due <= until:
            self.now = due
            if self.state == "ringing" and due == self.ring_at:
                self.ring()
            elif self.state == "pausing" and due == self.dial_at:
                self.expected.append(Dial("harbour"))
                self.state, self.give_up_at = "dialling", self.now + self.at_first.wait
            elif due == (self.give_up_at if self.state in {"dialling", "answering"} else self.gone_at):
                self.over()
                self.say(3)
            else:
                raise AssertionError(f"nothing is due in {self.state}")
            self.check(self.modem.at(due))
        self.now = until
        assert self.modem.at(until) == ()

    def command(self, line: bytes) -> bool:
        """A line is typed; whether it is one, since it ends an attempt or is data instead."""
        if self.state in {"dialling", "answering", "pausing"}:
            if self.now >= self.line_at + 0.125:
                self.over()
                self.say(3)
                self.typed_line(line[1:])  # the first character is gone, and with it the prefix
            self.check(self.modem.typed(line, self.now))
            return False
        if self.state == "online":
            if not self.gone_at:
                self.expected.append(Send(line))
                self.quiet_since = self.now
            self.check(self.modem.typed(line, self.now))
            return False
        self.typed_line(line)
        self.line_at = self.now
        return True

    @rule(
        line=st.sampled_from(
            [b"ATK\r", b"ATE2\r", b"ATS6=1\r", b"AT+MS?\r", b"ATH1\r", b"AT" + b"E0" * 200 + b"\r"]
        )
    )
    def mistake(self, line: bytes) -> None:
        if self.command(line):
            self.say(4)
            self.check(self.modem.typed(line, self.now))

    @rule(on=st.booleans())
    def set_echo(self, on: bool) -> None:
        line = b"ATE1\r" if on else b"ATE0\r"
        if self.command(line):
            self.echo = on
            self.say(0)
            self.check(self.modem.typed(line, self.now))

    @rule(on=st.booleans())
    def set_quiet(self, on: bool) -> None:
        line = b"at q 1\r" if on else b"at q 0\r"
        if self.command(line):
            self.quiet = on
            self.say(0)
            self.check(self.modem.typed(line, self.now))

    @rule(rings=st.integers(0, 3))
    def set_answer(self, rings: int) -> None:
        line = f"ATS0={rings}\r".encode()
        if self.command(line):
            self.answer = rings
            self.say(0)
            self.check(self.modem.typed(line, self.now))

    @rule(on=st.booleans())
    def set_carrier(self, on: bool) -> None:
        line = b"AT&C0\r" if on else b"AT&C1\r"
        if self.command(line):
            self.always_up = on
            self.say(0)
            self.wire()
            self.check(self.modem.typed(line, self.now))

    @rule(pause=st.booleans())
    def dial(self, pause: bool) -> None:
        line = b"ATDT,harbour\r" if pause else b"ATDTharbour\r"
        if not self.command(line):
            return
        if self.state == "online command":
            self.say(4)
        else:
            if self.state == "ringing":
                self.expected.append(Refuse())
            if pause:
                self.state, self.dial_at = "pausing", self.now + 3
            else:
                self.expected.append(Dial("harbour"))
                self.state, self.give_up_at = "dialling", self.now + self.at_first.wait
        self.check(self.modem.typed(line, self.now))

    @rule()
    def take_call(self) -> None:
        if not self.command(b"ATA\r"):
            return
        if self.state == "ringing":
            self.expected.append(Answer())
            self.state, self.give_up_at = "answering", self.now + self.at_first.wait
        else:
            self.say(4 if self.state == "online command" else 3)
        self.check(self.modem.typed(b"ATA\r", self.now))

    @rule()
    def hang_up(self) -> None:
        if not self.command(b"ATH\r"):
            return
        if self.state == "ringing":
            self.expected.append(Refuse())
            self.state = "command"
        elif self.state == "online command":
            self.over()
        self.say(0)
        self.check(self.modem.typed(b"ATH\r", self.now))

    @rule()
    def reset(self) -> None:
        if not self.command(b"ATZ\r"):
            return
        if self.state == "online command":
            self.over()
        self.echo, self.quiet, self.always_up, self.answer = True, False, False, 0
        self.say(0)
        self.wire()
        self.check(self.modem.typed(b"ATZ\r", self.now))

    @rule()
    def go_back(self) -> None:
        if not self.command(b"ATO\r"):
            return
        if self.state != "online command":
            self.say(4)
        elif self.gone_at:
            self.over()
            self.say(3)
        else:
            self.online()
        self.check(self.modem.typed(b"ATO\r", self.now))

    def online(self) -> None:
        self.say(1)
        self.state, self.quiet_since = "online", self.now
        self.wire()
        if self.kept:
            self.expected.append(Show(self.kept))
        self.kept = b""

    @precondition(lambda self: self.state == "online" and not self.gone_at)
    @rule(before=EIGHTHS, after=EIGHTHS)
    def escape(self, before: float, after: float) -> None:
        self.time(before)
        held = self.now >= self.quiet_since + 1
        self.quiet_since = self.now
        if not held:
            self.expected.append(Send(b"+++"))
        self.check(self.modem.typed(b"+++", self.now))
        self.now += after
        if held and after >= 1:
            self.state = "online command"
            self.say(0)
        self.check(self.modem.at(self.now))
        if held and after < 1:
            self.expected.append(Send(b"+++x"))
            self.quiet_since = self.now
            self.check(self.modem.typed(b"x", self.now))

    @rule()
    def rang(self) -> None:
        if self.state == "command":
            self.state, self.rings = "ringing", 0
            self.ring()
        else:
            self.expected.append(Refuse())
        self.check(self.modem.rang(self.now))

    @rule()
    def ring_over(self) -> None:
        if self.state == "ringing":
            self.state = "command"
        self.check(self.modem.ring_over(self.now))

    @rule()
    def connected(self) -> None:
        if self.state in {"dialling", "answering"}:
            self.online()
        self.check(self.modem.connected(self.now))

    @rule(failure=st.sampled_from([Failure.REFUSED, Failure.BUSY, Failure.NO_LINE]))
    def failed(self, failure: Failure) -> None:
        if self.state in {"dialling", "answering"}:
            number = {Failure.REFUSED: 3, Failure.BUSY: 7, Failure.NO_LINE: 6}[failure]
            number = number if self.state == "dialling" else 3
            self.over(known=False)
            self.say(number)
        self.check(self.modem.failed(failure, self.now))

    @rule()
    def carrier_lost(self) -> None:
        if self.state in {"online", "online command"} and not self.gone_at:
            self.gone_at = self.now + 1
            self.wire()
        self.check(self.modem.carrier_lost(self.now))

    @rule(data=st.binary(min_size=1, max_size=3))
    def received(self, data: bytes) -> None:
        if self.state == "online" and not self.gone_at:
            self.expected.append(Show(data))
        elif self.state == "online command" and not self.gone_at:
            self.kept += data
        self.check(self.modem.received(data, self.now))

    @rule(up=st.booleans())
    def dtr(self, up: bool) -> None:
        dropped, self.terminal_ready = self.terminal_ready and not up, up
        if dropped and self.at_first.ready == 1 and self.state == "online":
            self.state = "online command"
            self.say(0)
        elif dropped and self.at_first.ready == 2 and self.state not in {"command", "ringing"}:
            self.over()
            self.say(3)
        self.check(self.modem.dtr(up, self.now))

    @invariant()
    def they_agree(self) -> None:
        if not hasattr(self, "modem"):
            return
        names = {
            State.COMMAND: {"command"},
            State.RINGING: {"ringing"},
            State.DIALLING: {"dialling", "pausing"},
            State.ANSWERING: {"answering"},
            State.ONLINE: {"online"},
            State.ONLINE_COMMAND: {"online command"},
        }
        assert self.state in names[self.modem.state]
        assert self.modem.carrier == self.up
        assert self.modem.parameters == replace(
            self.at_first,
            echo=int(self.echo),
            quiet=int(self.quiet),
            carrier=int(not self.always_up),
            answer_rings=self.answer,
        )


TestModel = Model.TestCase
TestModel.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)


# Whatever comes

PIECES = st.one_of(
    st.binary(max_size=8),
    st.lists(st.sampled_from(list(b"AaTt/+DEH01QSVXZ=?;,@&CF \r\r\r\n\x08")), max_size=12).map(bytes),
    st.sampled_from(
        [
            b"ATDTharbour\r",
            b"ATD,harbour@\r",
            b"ATA\r",
            b"ATO\r\n",
            b"ATH\r",
            b"ATZ\r",
            b"A/",
            b"+++",
            b"ATS0=1\r",
            b"ATS3=65\r",
            b"ATS5=13\r",
            b"AT&C0\r",
            b"ATDT5;\r",
            b"AT+ILRR=1;V0\r",
        ]
    ),
)
HAPPENINGS = st.one_of(
    PIECES,
    PIECES,
    EIGHTHS,
    st.sampled_from(["rang", "ring_over", "connected", "carrier_lost", "up", "down"]),
    st.sampled_from(list(Failure)),
)
Happening = bytes | float | str | Failure


def play(happenings: list[Happening], single: bool) -> tuple[list[list[Effect]], Modem]:
    """What came of each, and the modem as it is then. `single`: the bytes come one by one."""
    modem, now, found = Modem(SETTINGS), 7.0, []
    for each in happenings:
        effects: list[Effect] = []
        if isinstance(each, bytes):
            pieces = [each[place : place + 1] for place in range(len(each))] if single else [each]
            for piece in pieces:
                effects += modem.typed(piece, now)
        elif isinstance(each, float):
            now += each
            effects += modem.at(now)
        elif isinstance(each, Failure):
            effects += modem.failed(each, now)
        elif each in {"up", "down"}:
            effects += modem.dtr(each == "up", now)
        else:
            effects += getattr(modem, each)(now)
        due = modem.due()
        assert due is None or due > now, "all that is due is done"
        found.append(merged(effects))
    return found, modem


@given(st.lists(HAPPENINGS, max_size=25))
def test_how_the_bytes_are_cut_never_matters(happenings: list[Happening]) -> None:
    whole, left = play(happenings, single=False)
    cut, right = play(happenings, single=True)
    assert whole == cut
    assert (left.state, left.parameters, left.due()) == (right.state, right.parameters, right.due())


@given(st.lists(HAPPENINGS, max_size=25))
def test_calls_begin_and_end_in_order(happenings: list[Happening]) -> None:
    """One call at a time: dialled or answered, then hung up, unless it failed by itself."""
    found, modem = play(happenings, single=False)
    call = carrier = False
    for each, effects in zip(happenings, found, strict=True):
        if isinstance(each, Failure) and effects:
            assert call
            call = False
        for effect in effects:
            if isinstance(effect, Dial | Answer):
                assert not call
                call = True
            elif isinstance(effect, HangUp):
                assert call
                call = False
            elif isinstance(effect, Carrier):
                assert effect.up != carrier
                carrier = effect.up
            elif isinstance(effect, Send):
                assert call
    assert modem.carrier == carrier
    quiet = {State.COMMAND, State.RINGING}
    assert call == (modem.state not in quiet) or modem.state is State.DIALLING


LINE_CHARACTERS = st.tuples(st.sampled_from([3, 4, 5]), st.integers(0, 127)).map(
    lambda pair: f"ats{pair[0]}={pair[1]}\r".encode()
)


@given(st.lists(st.one_of(HAPPENINGS, LINE_CHARACTERS), max_size=25))
def test_what_a_modem_says_itself_can_be_printed(happenings: list[Happening]) -> None:
    """Nothing is received here, so all that is shown is its own: printable ASCII, S3, S4 and S5."""
    modem, now, allowed = Modem(SETTINGS), 7.0, {13, 10, 8}
    for each in happenings:
        for byte in each if isinstance(each, bytes) else b"":
            shown = modem.typed(bytes((byte,)), now)
            allowed |= {modem.parameters.end, modem.parameters.feed, modem.parameters.rubout}
            for effect in shown:
                assert not isinstance(effect, Show) or all(
                    32 <= byte <= 126 or byte in allowed for byte in effect.data
                )
        if isinstance(each, float):
            now += each
        elif each in {"rang", "connected"}:
            getattr(modem, str(each))(now)


@given(st.lists(PIECES, max_size=30))
def test_no_parameter_leaves_its_range(pieces: list[bytes]) -> None:
    modem = Modem(SETTINGS)
    for piece in pieces:
        modem.typed(piece, 7.0)
        for each in PARAMETERS.values():
            assert each.lowest <= getattr(modem.parameters, each.field) <= each.highest
