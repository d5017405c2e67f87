"""Rights and LOGIN, through a session: every request that reaches anything is refused where it may not be."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import AskedTooOften, LoginFirst, LoginRefused
from gateway.catalogue.access import NOTHING, Member, Rights
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, GatewaySettings, Place, ReservedPort
from gateway.session.access import Access, access_of
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.visitors import Visitor
from gateway.session.wishes import (
    Accepted,
    Act,
    ActWish,
    CounterWish,
    Granted,
    LoginWish,
    SayWish,
    Wish,
    WorkWish,
)
from gateway.wire.settings import Settings
from tests.gateway.session.conftest import SOURCES, Talk
from tests.gateway.session.files.far import Far

PLACES = {
    "CLUB": Place("CLUB", "https://far.example/club/", write=True),
    "OWN": Place("OWN", "https://far.example/own/", write=True),
    "WIRE": Place("WIRE", "tcp://far.example:23/"),
}
STAFF = Member("ANNA", "STAFF", password="x")
ALL = Member("BEA", "", password="x")


@dataclass
class Clubhouse:
    """A catalogue that can change, and what is granted."""

    far: Far = field(default_factory=Far)
    members: dict[str, Member] = field(default_factory=lambda: {"ANNA": STAFF, "BEA": ALL})
    rights: dict[str, Rights] = field(default_factory=dict)
    charged: list[str] = field(default_factory=list)
    left: int = 1_000
    carried: list[tuple[str, int]] = field(default_factory=list)

    def catalogue(self) -> Catalogue:
        return Catalogue(
            gateway=GatewaySettings(urls=("far.example",)),
            places=MappingProxyType(PLACES),
            sources=MappingProxyType({name: SOURCES[name] for name in ("TIDES", "SCORE", "GUEST")}),
            reserved=MappingProxyType({8200: ReservedPort(8200)}),
            rights=MappingProxyType(self.rights),
            members=MappingProxyType(self.members),
        )

    def moved(self, who: str, count: int) -> None:
        self.carried.append((who, count))

    def charge(self, who: str, rights: Rights) -> None:
        self.charged.append(who)
        self.left -= 1
        if self.left < 0:
            raise AskedTooOften("Too many requests; wait", 17)

    def grant(self, wish: Wish) -> Granted:
        if isinstance(wish, LoginWish):
            assert wish.address == "192.0.2.7"
            assert "right" not in repr(wish)
            if wish.secret != "right" or wish.member not in self.members:
                raise LoginRefused("LOGIN was not accepted")
            return Accepted(wish.member)
        return self.far.grant(wish)

    def talk(self, rights: str = "GUESTS") -> Talk:
        world = World(self.catalogue, lambda: datetime(2026, 3, 29, tzinfo=UTC), accounts=self)
        return Talk(Session(world, "PLAIN", Visitor("192.0.2.7", lambda: rights)), self.grant)


@pytest.fixture
def house() -> Clubhouse:
    return Clubhouse(rights={"GUESTS": NOTHING, "STAFF": Rights(urls=())})


def without(rights: Rights, name: str) -> Rights:
    """The same rights with one of the lists empty."""
    lists = [() if each == name else getattr(rights, each) for each in LISTS]
    return Rights(lists[0], lists[1], lists[2], lists[3], lists[4])


LISTS = ("sources", "places", "write", "streams", "urls")
REQUESTS = [
    "ASK tides",
    "TELL score 3",
    "TELL guest",
    "PICK club:x.json $",
    "PICK https://far.example/x.json $",
    "LAYOUT tides",
    "BASE club:",
    "LIST club:",
    "LIST https://far.example/",
    "TEXT club:x.txt",
    "READ club:x.txt",
    "STORE club:x.txt",
    "STORE club:x.txt 3",
    "APPEND club:x.txt",
    "COPY club:x.txt own:",
    "ERASE club:x.txt",
    "RENAME club:x.txt club:y.txt",
    "MKDIR club:new",
    "TALK wire:",
    "TALK club:",
    "TALK tcp://far.example:7",
    "HEAR 8200",
    "HEAR 8200 who",
    "HEAR 8200 refuse",
]


@pytest.mark.parametrize("request_", REQUESTS)
def test_nothing_is_reached_without_the_right(house: Clubhouse, request_: str) -> None:
    """530 for whoever could log in, 532 for whoever could not or has; and nobody is told of the wish."""
    talk = house.talk()
    assert talk.status(request_)[:3] == "530"
    assert not talk.wishes
    house.members.clear()
    assert talk.status(request_)[:3] == "532"
    house.members.update(ANNA=STAFF)
    house.rights["STAFF"] = NOTHING
    assert talk.status("LOGIN anna right") == "230 00000 000 .."
    assert talk.status(request_)[:3] == "532"
    assert len(talk.wishes) == 1


@pytest.mark.parametrize(
    ("request_", "least"),
    [
        ("ASK tides", Rights(("TIDES",), (), (), (), ())),
        ("TELL score 3", Rights(("SC*",), (), ("SCORE",), (), ())),
        ("PICK club:x.json $", Rights((), ("CLUB",), (), (), ())),
        ("PICK https://far.example/x.json $", Rights((), (), (), (), ("*.example",))),
        ("LIST club:", Rights((), ("C*",), (), (), ())),
        ("STORE club:x.txt", Rights((), ("CLUB",), ("CLUB",), (), ())),
        ("ERASE club:x.txt", Rights((), ("CLUB",), ("CLUB",), (), ())),
        ("COPY club:x.txt own:", Rights((), ("*",), ("OWN",), (), ())),
        ("RENAME club:x.txt club:y.txt", Rights((), ("CLUB",), ("CLUB",), (), ())),
        ("TALK wire:", Rights((), (), (), ("WIRE",), ())),
        ("TALK tcp://far.example:7", Rights((), (), (), ("8*",), ("far.example",))),
        ("TALK club:", Rights((), ("CLUB",), (), (), ())),
        ("HEAR 8200", Rights((), (), (), ("82*",), ())),
    ],
)
def test_the_least_that_is_needed(house: Clubhouse, request_: str, least: Rights) -> None:
    """With that the wish is made; without any one of it, it is not."""
    reached: list[Wish] = []

    def grant(wish: Wish) -> Granted:
        reached.append(wish)
        raise LoginRefused("far enough")

    talk = house.talk()
    talk.grant = grant
    house.rights["GUESTS"] = least
    assert talk.status(request_)[:3] == "535"
    assert len(reached) == 1
    for name in LISTS:
        if getattr(least, name):
            house.rights["GUESTS"] = without(least, name)
            assert talk.status(request_)[:3] == "530"
    assert len(reached) == 1


def test_a_copy_needs_the_one_read_and_the_other_written(house: Clubhouse) -> None:
    access = Access(Rights(write=("OWN",)))
    club, own = (Ref(PLACES[name].base + "x", PLACES[name]) for name in ("CLUB", "OWN"))
    access.check(ActWish(Act.COPY, club, own))
    for act, ref, to in ((Act.COPY, own, club), (Act.RENAME, club, own), (Act.ERASE, club, None)):
        with pytest.raises(Exception, match="You may not change CLUB"):
            access.check(ActWish(act, ref, to))


def test_what_goes_on_with_what_was_allowed_passes() -> None:
    access = Access(NOTHING)
    for wish in (SayWish.__new__(SayWish), WorkWish(0, list), LoginWish("ANNA", "x")):
        access.check(wish)


def test_the_counter_is_told_what_may_not_be_wished_for(house: Clubhouse) -> None:
    """What is wished for at a counter is checked as it is wished for: STORE needs more than the call did."""
    wishes: list[CounterWish] = []

    def grant(wish: Wish) -> Granted:
        assert isinstance(wish, CounterWish)
        wishes.append(wish)
        raise LoginRefused("far enough")

    talk = house.talk()
    talk.grant = grant
    house.rights["GUESTS"] = Rights(write=())
    talk.say("TALK club:")
    ref = Ref(PLACES["CLUB"].base + "x", PLACES["CLUB"])
    wishes[0].check(CounterWish(ref, Settings()))
    with pytest.raises(Exception, match="LOGIN first to change CLUB"):
        wishes[0].check(ActWish(Act.ERASE, ref))


def test_only_what_may_be_used_is_told_of(house: Clubhouse) -> None:
    house.rights["GUESTS"] = Rights(("TIDES",), ("OWN",), (), (), ())
    talk = house.talk()
    assert [each[:12].strip() for each in talk.records("SOURCES")] == ["TIDES"]
    assert [each.partition(":")[0] for each in talk.records("HELP places")[1:]] == ["OWN"]
    assert talk.status("HELP club")[:3] == "550"
    assert talk.status("HELP score")[:3] == "550"
    assert talk.status("HELP own")[:3] == "200"


# LOGIN


def test_who_logs_in_has_the_members_rights_until_logged_out(house: Clubhouse) -> None:
    talk = house.talk()
    house.far.listings[PLACES["CLUB"].base] = ()
    assert talk.say("LOGIN Anna right") == ("230 00000 000 ..", [])
    assert talk.status("LIST club:")[:3] == "200"
    assert talk.status("PICK https://far.example/x $")[:3] == "532"
    assert talk.status("BASE club:")[:3] == "200"
    assert talk.say("LOGIN") == ("230 00000 000 ..", [])
    assert talk.status("LIST club:")[:3] == "530"
    assert talk.records("LIST")[0].rstrip() == "No BASE is set; wanted LIST ref"
    assert talk.status("NAME #1")[:3] == "503"


def test_a_wrong_secret_changes_nothing(house: Clubhouse) -> None:
    talk = house.talk()
    assert talk.status("LOGIN anna wrong") == "535 00001 040 .."
    assert talk.status("LIST club:")[:3] == "530"
    talk.say("LOGIN bea right")
    house.far.listings[PLACES["CLUB"].base] = ()
    assert talk.status("LOGIN anna wrong")[:3] == "535"
    assert talk.status("LIST club:")[:3] == "200"


@pytest.mark.parametrize("words", ["anna", "anna right more"])
def test_wrong_words(house: Clubhouse, words: str) -> None:
    talk = house.talk()
    assert talk.say(f"LOGIN {words}") == ("501 00001 040 ..", ["Wanted: LOGIN [member secret]".ljust(40)])
    assert not talk.wishes


def test_a_secret_with_blanks_and_quotes(house: Clubhouse) -> None:
    talk = house.talk()
    talk.say('LOGIN anna "two words"')
    talk.say("LOGIN anna 'it''s'")
    assert [each.secret for each in talk.wishes if isinstance(each, LoginWish)] == ["two words", "it's"]


def test_a_member_who_is_none_any_more_is_a_visitor(house: Clubhouse) -> None:
    talk = house.talk()
    house.far.listings[PLACES["CLUB"].base] = ()
    talk.say("LOGIN bea right")
    assert talk.status("LIST club:")[:3] == "200"
    del house.members["BEA"]
    assert talk.status("LIST club:")[:3] == "530"


def test_rights_that_are_none_any_more_allow_nothing(house: Clubhouse) -> None:
    catalogue = house.catalogue()
    visitor = Visitor("192.0.2.7", lambda: "GONE")
    assert access_of(catalogue, visitor) == Access(NOTHING, stranger=True)
    assert access_of(catalogue, visitor, "BEA") == Access(Rights(), stranger=False)
    assert access_of(replace(catalogue, members=MappingProxyType({})), Visitor()) == Access()


# What it costs


def test_who_is_charged(house: Clubhouse) -> None:
    house.rights.update(GUESTS=Rights(rate=5), STAFF=Rights(bytes=5))
    talk = house.talk()
    for request in ("NOOP", "LOGIN anna right", "NOOP", "LOGIN", "TIME", "nonsense", "BYE"):
        talk.say(request)
    assert house.charged == ["from 192.0.2.7", "ANNA", "from 192.0.2.7"]
    assert house.talk("STAFF").session.who.payer == "from 192.0.2.7"
    house.rights["GUESTS"] = Rights()
    assert talk.session.who.payer is None


def test_too_often_is_429_and_tells_the_seconds(house: Clubhouse) -> None:
    house.rights["GUESTS"] = Rights(rate=1)
    house.left = 1
    talk = house.talk()
    assert talk.status("NOOP")[:3] == "200"
    told = "Too many requests; wait".ljust(38) + "17"
    assert talk.say("NOOP") == ("429 00001 040 ..", [told])
    assert talk.status("BYE")[:3] == "221"


def test_raw_bytes_behind_a_store_that_costs_too_much_are_not_run(house: Clubhouse) -> None:
    house.rights["GUESTS"] = Rights(rate=1)
    house.left = 0
    talk = house.talk()
    answer = talk.raw(b"STORE club:x.txt 5\rBYE\r\r")
    assert answer.count(b"429 ") == 1
    assert b"221 " not in answer


def test_a_change_at_a_url_is_a_matter_of_reading_it_first() -> None:
    """A place says whether it is written; what is in none is refused by the request itself."""
    known = Clubhouse(rights={"GUESTS": NOTHING, "ALL": Rights()}).catalogue()
    everything = access_of(known, Visitor("192.0.2.7", lambda: "ALL"), "")
    everything.check_change(Ref("https://far.example/x"))
    with pytest.raises(LoginFirst):
        access_of(known, Visitor("192.0.2.7", lambda: "GUESTS"), "").check_change(
            Ref("https://far.example/x")
        )


@pytest.mark.parametrize(("member", "carried"), [("ANNA", [("ANNA", 7)]), ("BEA", [])])
def test_what_a_copy_carries_is_on_its_askers_account(
    house: Clubhouse, member: str, carried: list[tuple[str, int]]
) -> None:
    house.rights["STAFF"] = Rights(bytes=1_000)
    house.far.documents["https://far.example/club/a"] = b"A"
    talk = house.talk()
    assert talk.status(f"LOGIN {member} right")[:3] == "230"
    assert talk.status("COPY club:a own:a")[:3] == "250"
    (wish,) = (each for each in talk.wishes if isinstance(each, ActWish))
    assert house.carried == []
    talk.say("LOGIN")
    wish.carried(7)
    assert house.carried == carried
