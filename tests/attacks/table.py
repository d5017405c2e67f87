"""All attacks, in the order of the table in DEVELOPERS.md, which is made from this one."""

from tests.attacks.attack import Attack
from tests.attacks.rows.addresses import ADDRESSES
from tests.attacks.rows.answers import ANSWERS
from tests.attacks.rows.clients import CLIENTS
from tests.attacks.rows.documents import DOCUMENTS
from tests.attacks.rows.elsewhere import ELSEWHERE
from tests.attacks.rows.far import FAR
from tests.attacks.rows.folders import FOLDERS
from tests.attacks.rows.injection import INJECTION
from tests.attacks.rows.markup import MARKUP
from tests.attacks.rows.output import OUTPUT
from tests.attacks.rows.paths import PATHS
from tests.attacks.rows.redirects import REDIRECTS
from tests.attacks.rows.selections import SELECTIONS

FAMILIES: dict[str, tuple[Attack, ...]] = {
    "Addresses": ADDRESSES,
    "Redirects and other ways elsewhere": (*REDIRECTS, *ELSEWHERE),
    "Injection": (*INJECTION, *OUTPUT),
    "Documents": (*MARKUP, *DOCUMENTS),
    "Answers that break the protocol": ANSWERS,
    "Selections": SELECTIONS,
    "Paths out of a folder": (*PATHS, *FOLDERS),
    "Slowness and floods": (*CLIENTS, *FAR),
}
