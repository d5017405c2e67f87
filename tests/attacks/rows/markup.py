"""XML and HTML that is made to hurt whoever reads it."""

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground
from tests.attacks.rows.document import document_row

_XXE = "OWASP XML External Entity Prevention; CWE-611"
_BOMB = "CWE-776; OWASP XML Security"
_XML = "application/xml"


def _xml(
    name: str, source: str, does: str, reply: str, text: str, request: str = "", *, served: bool = False
) -> Attack:
    def make(ground: Ground) -> bytes:
        return text.replace("TRAP", f"{ground.far.url}/trap").encode()

    request = request or "PICK far:{path} - /a/b:40"
    return document_row(name, "XML", source, does, reply, make, _XML, request=request, served=served)


_LAUGHS = (
    '<!DOCTYPE a [<!ENTITY l0 "ha">'
    + "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    + "]><a><b>&l9;</b></a>"
)

MARKUP = (
    _xml(
        "billion laughs",
        _BOMB,
        "ten entities of ten each, nine deep",
        "551 The document declares entities",
        _LAUGHS,
        served=True,
    ),
    _xml(
        "quadratic blow-up",
        _BOMB,
        "one entity of 50,000 characters, used 2,000 times",
        "551 The document declares entities",
        f'<!DOCTYPE a [<!ENTITY l "{"x" * 50_000}">]><a><b>{"&l;" * 2_000}</b></a>',
    ),
    _xml(
        "an external entity, a file",
        _XXE,
        '`SYSTEM "file:///etc/passwd"`',
        "551 The document declares entities",
        '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><a><b>&x;</b></a>',
        served=True,
    ),
    _xml(
        "an external entity, a URL",
        _XXE,
        "an entity at the far server itself, which notes who asks",
        "551 The document declares entities",
        '<!DOCTYPE a [<!ENTITY x SYSTEM "TRAP">]><a><b>&x;</b></a>',
        served=True,
    ),
    _xml(
        "a parameter entity",
        _XXE,
        "`<!ENTITY % x SYSTEM ...> %x;`",
        "551 The document declares entities",
        '<!DOCTYPE a [<!ENTITY % x SYSTEM "TRAP"> %x;]><a><b>text</b></a>',
    ),
    _xml(
        "an external DTD",
        _XXE,
        "`<!DOCTYPE a SYSTEM ...>`: it is not fetched",
        "200 text",
        '<!DOCTYPE a SYSTEM "TRAP"><a><b>text</b></a>',
        served=True,
    ),
    _xml(
        "an external DTD with its entity",
        _XXE,
        "the same, and an entity that it could declare",
        "551 Entity x is not declared",
        '<!DOCTYPE a SYSTEM "TRAP"><a><b>&x;</b></a>',
    ),
    _xml(
        "a public DTD",
        _XXE,
        "`<!DOCTYPE a PUBLIC ...>` with a URL",
        "200 text",
        '<!DOCTYPE a PUBLIC "-//invented//DTD//EN" "TRAP"><a><b>text</b></a>',
    ),
    _xml(
        "a default attribute",
        _XXE,
        "an ATTLIST that adds an attribute",
        "200 added",
        '<!DOCTYPE a [<!ATTLIST b c CDATA "added">]><a><b>text</b></a>',
        "PICK far:{path} - /a/b/@c:40",
    ),
    _xml(
        "an attribute bomb",
        _BOMB,
        "a default attribute of 50,000 characters, for 10,000 elements",
        "552 A part of the XML is too large",
        f'<!DOCTYPE a [<!ATTLIST b c CDATA "{"x" * 50_000}">]><a>{"<b/>" * 10_000}</a>',
        "PICK far:{path} - count(/a/b):40",
    ),
    _xml(
        "XInclude",
        _XXE,
        "`xi:include` of a file, and of a URL",
        "200 []",
        '<a xmlns:xi="http://www.w3.org/2001/XInclude"><b>['
        '<xi:include href="file:///etc/passwd" parse="text"/>'
        '<xi:include href="TRAP"/>]</b></a>',
    ),
    _xml(
        "a style sheet",
        _XXE,
        "`<?xml-stylesheet?>` at a URL, and other processing instructions",
        "200 text",
        '<?xml version="1.0"?><?xml-stylesheet type="text/xsl" href="TRAP"?><a><b>te<?php x?>xt</b></a>',
    ),
    _xml(
        "a schema location",
        _XXE,
        "`xsi:schemaLocation` at a URL",
        "200 text",
        '<a xmlns:x="http://www.w3.org/2001/XMLSchema-instance" x:noNamespaceSchemaLocation="TRAP">'
        "<b>text</b></a>",
    ),
    _xml(
        "deep XML",
        "CWE-674; OWASP XML Security",
        "100,000 elements inside one another",
        "551 Nested too deeply",
        "<a>" + "<b>" * 100_000 + "</b>" * 100_000 + "</a>",
        served=True,
    ),
    _xml(
        "many attributes",
        "CWE-400; CWE-407",
        "50,000 attributes of one element",
        "200 text",
        "<a><b " + " ".join(f"c{n}='1'" for n in range(50_000)) + ">text</b></a>",
    ),
    _xml(
        "a long namespace",
        "CWE-400",
        "a namespace name of 100,000 characters",
        "552 A namespace name is too long",
        f'<a xmlns:n="http://{"x" * 100_000}"><b>text</b></a>',
    ),
    _xml(
        "text cut by comments",
        "CWE-436; XML 1.0 section 2.5",
        "`user<!-- -->x` in a value: all of it is read",
        "200 userx",
        "<a><b>user<!-- -->x</b></a>",
    ),
    document_row(
        "a false encoding",
        "XML",
        "CWE-436; XML 1.0 section 4.3.3",
        '`encoding="UTF-7"`',
        "200 +ADw-b+AD4-",
        b'<?xml version="1.0" encoding="UTF-7"?><a><b>+ADw-b+AD4-</b></a>',
        _XML,
        request="PICK far:{path} - /a/b:40",
    ),
    document_row(
        "UTF-16 that says UTF-8",
        "XML",
        "CWE-436; XML 1.0 section 4.3.3",
        "a UTF-16 document that declares UTF-8",
        "200 text",
        '<?xml version="1.0" encoding="UTF-8"?><a><b>text</b></a>'.encode("utf-16"),
        _XML,
        request="PICK far:{path} - /a/b:40",
    ),
    document_row(
        "a DTD in a listing",
        "WebDAV listings",
        f"{_XXE}; RFC 4918 section 20.6",
        "a multistatus with a DOCTYPE",
        "551 The document declares entities",
        b'<!DOCTYPE d:multistatus [<!ENTITY x "y">]><d:multistatus xmlns:d="DAV:"/>',
        _XML,
        request="PICK far:{path} - /multistatus:40",
    ),
    document_row(
        "a table bomb",
        "TEXT",
        "CWE-400",
        "a table with `colspan=999999999` and `rowspan` likewise",
        "200 one  two",
        b"<table><tr><td colspan=999999999 rowspan=999999999>one<td>two</table>",
        "text/html",
        request="TEXT far:{path}",
        together=True,
    ),
    document_row(
        "deep HTML",
        "TEXT",
        "CWE-674",
        "100,000 `<b>` inside one another",
        "551 Nested too deeply",
        b"<b>" * 100_000 + b"text",
        "text/html",
        request="TEXT far:{path}",
        together=True,
    ),
    document_row(
        "scripts and styles",
        "TEXT",
        "CWE-79",
        "script, style, template, comment and an event handler",
        "200 text",
        b"<script>one</script><style>two</style><template>three</template><!-- four --><p onclick=five>text",
        "text/html",
        request="TEXT far:{path}",
    ),
)
