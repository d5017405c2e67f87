"""Whole open data sets through the gateway, against the reference library's own answers.

ISO 3166-1 as the package pycountry carries it (from Debian's iso-codes), and the IANA time zone database as
the standard library reads it from the system or the package tzdata.
"""

import zoneinfo
from datetime import datetime
from pathlib import Path

import pycountry
from anyascii import anyascii
from pytest_httpserver import HTTPServer

from tests.gateway.talking import running, say

LIST = Path(pycountry.__file__).parent / "databases" / "iso3166-1.json"
CATALOGUE = """
[gateway]
state = "{state}"
[[listen]]
port = 0
[source.countries]
url = "{url}"
rows = "$['3166-1']"
sort = "CODE"
[[source.countries.field]]
name = "CODE"
at = "$.alpha_2"
kind = "code"
width = 2
[[source.countries.field]]
name = "LONG"
at = "$.alpha_3"
kind = "code"
width = 3
[[source.countries.field]]
name = "NUMBER"
at = "$.numeric"
kind = "code"
width = 3
[[source.countries.field]]
name = "NAME"
at = "$.name"
width = 60
"""


async def test_the_iso_3166_list_whole(httpserver: HTTPServer, tmp_path: Path) -> None:
    httpserver.expect_request("/iso3166.json").respond_with_data(
        LIST.read_bytes(), content_type="application/json"
    )
    text = CATALOGUE.format(url=httpserver.url_for("/iso3166.json"), state=tmp_path / "state")
    async with running(text, tmp_path) as bound:
        ascii_reply, _, latin_reply = await say(
            bound, "ASK countries", "SET charset=latin1", "ASK countries", charset="latin-1"
        )
    countries = sorted(pycountry.countries, key=lambda country: country.alpha_2)
    assert len(countries) > 200
    assert ascii_reply[0] == latin_reply[0] == f"200 {len(countries):05} 071 .."
    for country, plain, latin in zip(countries, ascii_reply[1], latin_reply[1], strict=True):
        codes = f"{country.alpha_2} {country.alpha_3} {country.numeric} "
        assert plain == codes + anyascii(country.name).ljust(60)
        assert latin == codes + country.name.ljust(60)


async def test_the_time_in_every_iana_zone(tmp_path: Path) -> None:
    names = sorted(zoneinfo.available_timezones())
    assert len(names) > 400
    async with running(
        f'[gateway]\nstate = "{tmp_path / "state"}"\n[[listen]]\nport = 0\n', tmp_path
    ) as bound:
        before = datetime.now().astimezone()
        said = await say(bound, *(f"TIME {name}" for name in names))
        after = datetime.now().astimezone()
    for name, (status, records) in zip(names, said, strict=True):
        assert status == "200 00001 027 .."
        told = datetime.strptime(records[0][:19] + records[0][21:], "%Y-%m-%d %H:%M:%S %z")
        zone = zoneinfo.ZoneInfo(name)
        assert before.replace(microsecond=0) <= told <= after
        assert records[0][:19] == f"{told.astimezone(zone):%Y-%m-%d %H:%M:%S}"
        assert records[0][20] == str(told.astimezone(zone).isoweekday())
