"""An invented harbour's catalogue, and what its far server says on a good day."""

ORIGIN = "https://tides.example"
CATALOGUE = f"""
[source.tides]
url = "{ORIGIN}/{{station}}.json"
args = ["station"]
rows = "$.events"

[[source.tides.field]]
name = "TIME"
at = "$.at"
width = 5

[[source.tides.field]]
name = "METRES"
at = "$.height"
kind = "fixed"
width = 6

[source.book]
url = "{ORIGIN}/book"
method = "POST"
body = "lines"

[[source.book.field]]
name = "NUMBER"
at = "$.number"
kind = "int"
width = 4

[place.quay]
base = "{ORIGIN}/quay/"
write = true
"""
MOLE = {"events": [{"at": "06:12", "height": 4.1}, {"at": "12:30", "height": 0.7}]}
RECORDS = ("06:12   4.10", "12:30   0.70")


def with_ca(ca: object) -> str:
    """The catalogue's first source alone, which trusts the authority in that file."""
    first = CATALOGUE.partition("[source.book]")[0]
    return first.replace("rows =", f'ca = "{ca}"\nrows =')
