"""Every row of the attack table, through a gateway in this process, and many through a process of its own."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.attacks.attack import Attack
from tests.attacks.bystander import PATIENCE, Bystander
from tests.attacks.ground import Ground, in_process, served
from tests.attacks.table import FAMILIES

ATTACKS = [attack for family in FAMILIES.values() for attack in family]
SHORT = 1.5
"""Seconds of `wait` for rows that run into it."""


def _ids(attack: Attack) -> str:
    return attack.name


@pytest.fixture(scope="module")
def patient(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    with in_process(tmp_path_factory.mktemp("attacks") / "patient", wait=10) as ground:
        yield ground


@pytest.fixture(scope="module")
def process(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    with served(tmp_path_factory.mktemp("attacks") / "process", wait=10) as ground:
        yield ground


def try_it(attack: Attack, ground: Ground) -> None:
    """The reply is the one in the table, and nobody was reached who should not be."""
    dialled, reached = len(ground.refused), ground.other.connections
    if attack.together:
        with Bystander(ground) as bystander:
            said = attack.run(ground)
        assert bystander.worst < PATIENCE
    else:
        said = attack.run(ground)
    assert said == attack.reply
    assert tuple(each.rpartition(":")[0] for each in ground.refused[dialled:]) == attack.dialled
    assert ground.other.connections == reached


@pytest.mark.parametrize("attack", [each for each in ATTACKS if not each.waits], ids=_ids)
def test_an_attack(attack: Attack, patient: Ground) -> None:
    try_it(attack, patient)


@pytest.mark.parametrize("attack", [each for each in ATTACKS if each.served and not each.waits], ids=_ids)
def test_an_attack_on_a_process(attack: Attack, process: Ground) -> None:
    try_it(attack, process)


def _all_at_once(attacks: Sequence[Attack], ground: Ground) -> None:
    """Rows that only wait, side by side, with somebody who has nothing to do with them."""

    def outcome(attack: Attack) -> str:
        try:
            return attack.run(ground)
        except Exception as error:  # noqa: BLE001 - a row that fails is told with the others
            return f"{type(error).__name__}: {error}"

    with Bystander(ground) as bystander, ThreadPoolExecutor(len(attacks)) as pool:
        said = list(zip(attacks, pool.map(outcome, attacks), strict=True))
    wrong = {each.name: (told, each.reply) for each, told in said if told != each.reply}
    assert not wrong
    assert bystander.worst < PATIENCE
    assert not ground.refused
    assert not ground.other.connections


@pytest.mark.alone
def test_attacks_that_take_their_time(tmp_path: Path) -> None:
    with in_process(tmp_path / "short", wait=SHORT) as ground:
        _all_at_once([each for each in ATTACKS if each.waits], ground)


@pytest.mark.alone
def test_attacks_that_take_the_time_of_a_process(tmp_path: Path) -> None:
    with served(tmp_path / "short", wait=SHORT) as ground:
        _all_at_once([each for each in ATTACKS if each.waits and each.served], ground)


def test_the_table() -> None:
    """It is as large as it was meant to be, and each family is tried through a process, too."""
    assert len(ATTACKS) >= 75
    assert len({attack.name for attack in ATTACKS}) == len(ATTACKS)
    assert all(any(attack.served for attack in family) for family in FAMILIES.values())
    assert all(attack.reply and attack.source and attack.does for attack in ATTACKS)
