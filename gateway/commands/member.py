"""`headrace member`: who may log in. It writes the members' file, which a running gateway notices."""

import argparse
import getpass
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Final

from adapters import limits
from gateway.catalogue.access import Member
from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.model import Catalogue
from gateway.catalogue.schema.names import ALLOWED_NAME, is_name
from gateway.commands import membership, wiring
from gateway.service.members.codes import key_url, new_key
from gateway.service.members.passwords import hashed

_LEAST: Final = 8  # characters of a password (NIST SP 800-63B section 3.1.1, from memory)
_TYPEABLE: Final = re.compile(r"[ -~]+")


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "member",
        help="say who may log in",
        description="Add, list or remove those who may LOGIN, and what they may do: a [rights.NAME] of the"
        " catalogue, or everything.",
        epilog="Passwords are kept as salted hashes. What is typed at LOGIN goes over the line as it is."
        f" {epilog}",
    )
    wiring.add_config(parser)
    acts = parser.add_subparsers(dest="act", metavar="ACT", required=True)
    add = acts.add_parser("add", help="add a member, or give one another secret or other rights")
    add.add_argument("name", metavar="NAME")
    add.add_argument("--rights", metavar="NAME", help="what the member may do (default: everything)")
    add.add_argument(
        "--code",
        action="store_true",
        help="log in with codes that an authenticator shows (RFC 6238), instead of a password",
    )
    remove = acts.add_parser("remove", help="remove a member")
    remove.add_argument("name", metavar="NAME")
    acts.add_parser("list", help="list the members and their rights")
    for each in acts.choices.values():
        each.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the catalogue")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """1 where the file cannot be written, 2 for wrong usage or a wrong catalogue."""
    catalogue = wiring.catalogue_or_complaint(Path(options.config), offline=True)
    if catalogue is None:
        return wiring.WRONG_USAGE
    if options.act == "list":
        return _list(catalogue)
    try:
        return _add(options, catalogue) if options.act == "add" else _remove(options.name, catalogue)
    except OSError as error:
        print(f"headrace: cannot write {catalogue.gateway.members}: {error.strerror}", file=sys.stderr)
        return 1


def _list(catalogue: Catalogue) -> int:
    for name, member in sorted(catalogue.members.items()):
        ways = [way for way, there in (("password", member.password), ("code", member.key)) if there]
        print(f"{name.lower():12} {member.rights.lower() or '(everything)':12} {' '.join(ways)}")
    if not catalogue.members:
        print("nobody may log in; headrace member add NAME", file=sys.stderr)
    return 0


def _add(options: argparse.Namespace, catalogue: Catalogue) -> int:
    name, wanted = options.name.upper(), options.rights
    if not is_name(name):
        print(f"headrace: {options.name!r} is no name: {ALLOWED_NAME}", file=sys.stderr)
        return wiring.WRONG_USAGE
    if wanted is not None and wanted.upper() not in catalogue.rights:
        near = nearest(wanted, catalogue.rights).lower()
        known = " ".join(sorted(each.lower() for each in catalogue.rights)) or "none: [rights.NAME]"
        hint = f"; did you mean {near}?" if near else ""
        print(f"headrace: no rights {wanted!r}{hint} The catalogue has {known}", file=sys.stderr)
        return wiring.WRONG_USAGE
    known_before = catalogue.members.get(name)
    rights = (known_before.rights if known_before else "") if wanted is None else wanted.upper()
    member = Member(name, rights)
    if options.code:
        member = replace(member, key=new_key())
    else:
        password = _password()
        if password is None:
            return wiring.WRONG_USAGE
        member = replace(member, password=hashed(password))
    membership.write_file(Path(catalogue.gateway.members), {**catalogue.members, name: member})
    if options.code:
        print(f"Key for an authenticator, shown this once: {member.key}")
        print(key_url(member.key, name))
    print(f"{name.lower()} may log in and do {rights.lower() or 'everything'}", file=sys.stderr)
    return 0


def _password() -> str | None:
    """Typed twice at a terminal, or the first line of standard input; None, told, where it will not do."""
    if sys.stdin.isatty():
        typed = getpass.getpass("Password: ")
        if typed != getpass.getpass("Once more: "):
            print("headrace: the two differ", file=sys.stderr)
            return None
    else:
        typed = sys.stdin.readline().rstrip("\r\n")
    if not _LEAST <= len(typed) <= limits.SECRET_CHARACTERS:
        allowed = f"{_LEAST} to {limits.SECRET_CHARACTERS} characters"
        print(f"headrace: a password has {allowed}", file=sys.stderr)
        return None
    if _TYPEABLE.fullmatch(typed) is None:
        print("headrace: mind that small machines may lack some of these characters", file=sys.stderr)
    return typed


def _remove(name: str, catalogue: Catalogue) -> int:
    left = {each: member for each, member in catalogue.members.items() if each != name.upper()}
    if len(left) == len(catalogue.members):
        near = nearest(name, catalogue.members).lower()
        hint = f"; did you mean {near}?" if near else ""
        print(f"headrace: no member {name!r}{hint}", file=sys.stderr)
        return wiring.WRONG_USAGE
    membership.write_file(Path(catalogue.gateway.members), left)
    print(f"{name.lower()} is no member any more", file=sys.stderr)
    return 0
