"""Where the far servers are -> the catalogue that all attacks are tried against; all of it is invented."""

from string import Template

_TEXT = Template("""
[gateway]
urls = ["*.names.example"]
state = "$state"
wait = $wait

[place.far]
base = "$far/"
write = true

[place.cloud]
base = "dav://$far_host/dav/"
write = true

[place.secure]
base = "$secure/"
ca = "$ca"

[place.raw]
base = "http://127.0.0.1:$raw/"

[place.rawcloud]
base = "dav://127.0.0.1:$raw/dav/"

[place.pages]
base = "$far/pages/"
index = "html"

[place.files]
base = "ftp://127.0.0.1:$ftp/pub/"
user = "reader"
secret = "file:secret"
write = true

[place.fresh]
base = "ftp://127.0.0.1:$fresh/pub/"
user = "reader"
secret = "file:secret"

[place.new-1]
base = "ftp://127.0.0.1:$fresh/pub/"
user = "first"
secret = "file:secret"

[place.new-2]
base = "ftp://127.0.0.1:$fresh/pub/"
user = "second"
secret = "file:secret"

[place.new-3]
base = "ftp://127.0.0.1:$fresh/pub/"
user = "third"
secret = "file:secret"

[place.disk]
base = "$disk/"
write = true

[place.line]
base = "tcp://127.0.0.1:$raw"

[place.voice]
base = "telnet://127.0.0.1:$raw"

[place.mute]
base = "https://127.0.0.1:$raw/"

[place.mutefiles]
base = "ftp://127.0.0.1:$raw/"

[place.loud]
base = "ftp://127.0.0.1:$loud/"

[hear.$hear]
banner = "invented"
busy = "busy"

[source.item]
url = "$far/item/{name}"
args = ["name"]
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.find]
url = "$far/find{?word}"
args = ["word"]
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.number]
url = "$far/number{?n}"
args = ["n:int"]
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.head]
url = "$far/head"
args = ["word"]
headers = { X-Word = "{word}" }
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.keyed]
url = "$far/{path}"
args = ["path"]
auth = { header = "X-Key", secret = "file:secret" }
headers = { X-Own = "own" }
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.sendjson]
url = "$far/json"
args = ["word"]
method = "POST"
body = { name = "{word}", note = "by {word}" }
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.sendform]
url = "$far/form"
args = ["word"]
method = "POST"
body = { name = "{word}" }
send = "form"
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.sendxml]
url = "$far/xml"
args = ["word"]
method = "POST"
body = "<a><name>{word}</name></a>"
field = [{ name = "V", at = "$$.v", width = 20 }]

[source.put]
url = "$far/moved"
args = ["word"]
method = "POST"
body = { name = "{word}" }
field = [{ name = "V", at = "$$.v", width = 20 }]
""")


def catalogue(
    *,
    far: str,
    secure: str,
    ca: str,
    raw: int,
    ftp: int,
    fresh: int,
    loud: int,
    hear: int,
    disk: str,
    state: str,
    wait: float,
) -> str:
    """The catalogue's text."""
    return _TEXT.substitute(
        far=far,
        far_host=far.partition("://")[2],
        secure=secure,
        ca=ca,
        raw=raw,
        ftp=ftp,
        fresh=fresh,
        loud=loud,
        hear=hear,
        disk=disk,
        state=state,
        wait=max(1, round(wait)),
    )
