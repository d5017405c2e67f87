import tomllib
from pathlib import Path

import pytest

from adapters.recorded.tree.table import TextFault
from gateway.commands.sites import SiteFault
from gateway.testing.stage import Stage
from tests.gateway.testing.harbour import CATALOGUE, MOLE, ORIGIN, RECORDS

ASK = "ASK TIDES mole"
NOON = "2026-05-17T12:00:00Z"


def contents(folder: Path) -> dict[str, bytes]:
    return {str(each.relative_to(folder)): each.read_bytes() for each in folder.rglob("*") if each.is_file()}


def test_recorded_and_played(stage: Stage) -> None:
    far = stage.upstreams()
    far.on("/mole.json").json(MOLE)
    far.on("/bar.json").json(MOLE)
    instead = {ORIGIN: far.url}
    site = stage.sites()
    recording = stage.gateways(CATALOGUE, instead=instead, site=site, clock=NOON)
    client = stage.clients(recording)
    there = [client.ask(each) for each in (ASK, "ASK TIDES bar", "ASK TIDES gate")]
    assert [reply.status for reply in there] == [200, 200, 550]
    client.close()
    recording.stop()
    assert sorted(site.recordings) == [f"GET {far.url}/{each}.json" for each in ("bar", "gate", "mole")]
    assert site.hidden == ()
    kept = contents(site.path)
    far.refuse()
    asked = far.count()

    played = stage.sites(site.path)
    assert played.path != site.path
    offline = stage.gateways(CATALOGUE, instead=instead, site=played, clock="recorded")
    client = stage.clients(offline)
    assert [client.ask(each) for each in (ASK, "ASK TIDES bar")] == there[:2]
    assert played.unused == [f"GET {far.url}/gate.json"]
    newest = max(
        tomllib.loads(text.decode())["at"] for name, text in kept.items() if name.endswith(".1.toml")
    )
    assert client.ask("TIME").records[0][:19] == f"{newest:%Y-%m-%d %H:%M:%S}"
    assert client.ask("ASK TIDES light").status == 504
    assert far.count() == asked
    assert contents(site.path) == kept == contents(played.path)

    far.accept()
    more = stage.sites(site.path, record=True)
    adding = stage.gateways(CATALOGUE, instead=instead, site=more)
    far.on("/light.json").json(MOLE)
    client = stage.clients(adding)
    assert client.ask("ASK TIDES light").records == RECORDS
    client.close()
    adding.stop()
    assert len(more.recordings) == 4
    assert contents(site.path) == kept, "a copy was added to"


def test_a_site_in_the_tests_folder_and_secrets_that_are_not_there(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with Stage(tmp_path, lambda: tmp_path_factory.mktemp("headrace")) as stage:
        far = stage.upstreams()
        far.on("/mole.json").json(MOLE)
        locked = CATALOGUE.replace(
            'rows = "$.events"', 'rows = "$.events"\nauth = { bearer = true, secret = "file:key.txt" }'
        )
        (tmp_path / "key.txt").write_text("an-invented-key")
        site = stage.sites()
        live = stage.gateways(locked, instead={ORIGIN: far.url}, site=site)
        client = stage.clients(live)
        there = client.ask(ASK)
        client.close()
        assert far.requests[0].header("Authorization") == "Bearer an-invented-key"
        live.stop()
        assert b"an-invented-key" not in b"".join(contents(site.path).values())
        site.path.rename(tmp_path / "recorded")
        (tmp_path / "key.txt").unlink()
        offline = stage.gateways(locked, instead={ORIGIN: far.url}, site=stage.sites("recorded"))
        assert stage.clients(offline).ask(ASK) == there


def test_folders_are_recorded_too(stage: Stage, tmp_path: Path) -> None:
    (tmp_path / "shelf").mkdir()
    (tmp_path / "shelf" / "note.txt").write_text("High water at noon\n")
    shelf = f'[place.shelf]\nbase = "{(tmp_path / "shelf").as_uri()}/"\n'
    site, requests = stage.sites(), ("TEXT shelf:note.txt", "LIST shelf:", "TEXT shelf:none.txt")
    client = stage.clients(stage.gateways(shelf, site=site))
    there = [client.ask(each) for each in requests]
    assert [reply.status for reply in there] == [200, 200, 550]
    (tmp_path / "shelf" / "note.txt").write_text("Low water at noon\n")
    client = stage.clients(stage.gateways(shelf, site=stage.sites(site.path)))
    assert [client.ask(each) for each in requests] == there


def test_sites_that_cannot_be_used(stage: Stage, tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"no recordings at .*nowhere"):
        stage.sites("nowhere")
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "a.1.toml").write_text("method = [")
    with pytest.raises(SiteFault, match=r"a\.1\.toml"):
        stage.gateways(CATALOGUE, site=stage.sites(tmp_path / "site"))
    unused = stage.sites()
    with pytest.raises(ValueError, match="give the site to a gateway first"):
        unused.recordings  # noqa: B018 - it is looked at
    stage.gateways(CATALOGUE, site=unused)
    with pytest.raises(ValueError, match="a site is for one gateway"):
        stage.gateways(CATALOGUE, site=unused)
    with pytest.raises(ValueError, match="wants a site with recordings"):
        stage.gateways(CATALOGUE, site=stage.sites(), clock="recorded")


PLAN = """
[[fault]]
url = "*/mole.json"
do = "cut"
times = 1
"""


def test_faults_on_cue(stage: Stage, tmp_path: Path) -> None:
    far = stage.upstreams()
    far.on("/mole.json").json(MOLE)
    site = stage.sites()
    stage.clients(stage.gateways(CATALOGUE, instead={ORIGIN: far.url}, site=site)).ask(ASK)
    (tmp_path / "plan.toml").write_text(PLAN)
    for faults in (PLAN, tmp_path / "plan.toml"):
        played = stage.sites(site.path, faults=faults)
        client = stage.clients(stage.gateways(CATALOGUE, instead={ORIGIN: far.url}, site=played))
        assert client.ask(ASK).status == 426
        assert client.ask(ASK).records == RECORDS
    assert far.count() == 1
    with pytest.raises(ValueError, match="recordings that are played"):
        stage.sites(faults=PLAN)
    with pytest.raises(TextFault, match="do: none of"):
        stage.sites(site.path, faults=PLAN.replace("cut", "break"))
