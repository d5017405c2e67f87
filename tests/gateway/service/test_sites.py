"""The folder of recordings that a gateway works with."""

from adapters.registry import SCHEMES
from gateway.catalogue.reading import load_catalogue
from gateway.service.sites import credential_names

SOURCE = """
[source.{name}]
url = "https://x.example/"
auth = {{ {way}, secret = "env:K" }}
[[source.{name}.field]]
name = "N"
width = 3
"""


def test_names_that_secrets_travel_under() -> None:
    ways = ('header = "X-Harbour"', 'query = "pier"', 'basic = "clerk"', "bearer = true")
    text = "".join(SOURCE.format(name=f"s{index}", way=way) for index, way in enumerate(ways))
    catalogue = load_catalogue(text, "x.toml", lambda _: "secret", lambda _: None, SCHEMES)
    assert set(credential_names(catalogue)) == {"X-Harbour", "pier"}
